package poll

import (
	"context"
	"errors"
	"time"

	"ionward/agent/modbus"
)

// errParted means that a block was cut into several, which are to be asked for in its place.
var errParted = errors.New("parted")

// read asks for one block. One that was never answered, though a value of it alone is, is parted: the registers in
// between may be what the instrument cannot give.
func (i *instrument) read(ctx context.Context, at int) ([]byte, error) {
	alone, trial := i.plan.Trial(at)
	if trial {
		if _, err := i.link.Read(ctx, alone); err != nil {
			i.plan.Note(at, err)
			return nil, err
		}
	}
	block := i.plan.Blocks()[at].Request
	data, err := i.link.Read(ctx, block)
	i.plan.Note(at, err)
	switch {
	case trial && (errors.Is(err, modbus.ErrTimeout) || errors.Is(err, modbus.ErrFrame)):
		i.plan.Part(at)
	case !i.plan.Split(at, err):
		return data, err
	}
	i.log.Warn("registers read apart from now on", "refused", block, "error", err)
	return nil, errParted
}

// gap is how many registers may be read for nothing between two signals.
func (in *Instrument) gap() int {
	if in.Gap != 0 {
		return max(0, in.Gap)
	}
	at, err := modbus.ParseAddress(in.Address)
	if err != nil {
		return 0 // opening the link tells what is wrong with it
	}
	return at.Gap()
}

// spread sets the phases. All instruments are polled at the start; from then on those that are polled less often than
// the quickest take turns, so that their requests do not fall on one line in the same scan. Phases are whole intervals
// of the quickest: a scan more would only cost.
func (s *Source) spread() {
	quickest := s.instruments[0].Every
	for _, i := range s.instruments {
		quickest = min(quickest, i.Every)
	}
	seen := map[*modbus.Link]int{}
	for _, i := range s.instruments {
		if i.Every == quickest {
			continue
		}
		turns := int(i.Every / quickest)
		i.phase = time.Duration(seen[i.link]%turns) * quickest
		seen[i.link]++
	}
}
