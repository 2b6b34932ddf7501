package modbus

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
)

// Limits of the requests that a plan may make.
type Limits struct {
	MaxRegisters int // most in one request, 1 to 125; 0 = 125
	Gap          int // most registers read for nothing between two values, see Address.Gap
}

// of gives the limits in what a table counts: registers, or bits, 16 to a register.
func (l Limits) of(kind Kind) (most, gap int) {
	if kind.Bits() {
		return 16 * l.MaxRegisters, 16 * l.Gap
	}
	return l.MaxRegisters, l.Gap
}

// Place is where one value stands in the data of a block.
type Place struct {
	Index  int // of the value in the list given to NewPlan
	Offset int // registers or bits from the start of the data
}

// Block is one request and the values it brings.
type Block struct {
	Request Request
	Places  []Place // by address

	known  bool // it was answered, or refused, once
	silent int  // times in a row that it was not, before that
}

// Plan covers a list of values with few requests. Each value lies whole in one
// block: two halves from two moments would make a number that never was.
type Plan struct {
	values []Request
	blocks []Block
}

// NewPlan groups values of the same unit and table. A value is the request that
// would read it alone. All values of an instrument share their time-out.
func NewPlan(values []Request, l Limits) (*Plan, error) {
	if l.MaxRegisters == 0 {
		l.MaxRegisters = MaxRegisters
	}
	if l.MaxRegisters < 1 || l.MaxRegisters > MaxRegisters || l.Gap < 0 {
		return nil, fmt.Errorf("max_registers %d, gap %d: want 1 to %d, and 0 or more", l.MaxRegisters, l.Gap, MaxRegisters)
	}
	p := &Plan{values: slices.Clone(values)}
	order := make([]int, len(values))
	for i, v := range values {
		if err := v.Check(); err != nil {
			return nil, err
		}
		if most, _ := l.of(v.Kind); int(v.Quantity) > most {
			return nil, fmt.Errorf("%s: needs %d in one request, max_registers allows %d", v, v.Quantity, most)
		}
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return compare(values[a], values[b]) })
	// Greedy is enough: a value left out of a block by its length is followed only
	// by values that start later, and those that end earlier lie inside its block.
	start, end := 0, 0
	for i, at := range order {
		v := values[at]
		if i > start && !joins(values[order[start]], v, end, l) {
			p.blocks = append(p.blocks, p.block(order[start:i]))
			start, end = i, 0
		}
		end = max(end, v.end())
	}
	if start < len(order) {
		p.blocks = append(p.blocks, p.block(order[start:]))
	}
	return p, nil
}

// compare sorts by unit, table, address and length.
func compare(a, b Request) int {
	return cmp.Or(cmp.Compare(a.UnitID, b.UnitID), cmp.Compare(a.Kind, b.Kind),
		cmp.Compare(a.Address, b.Address), cmp.Compare(a.Quantity, b.Quantity))
}

// joins reports whether v may join a block that begins with first and ends at end.
func joins(first, v Request, end int, l Limits) bool {
	most, gap := l.of(v.Kind)
	return first.UnitID == v.UnitID && first.Kind == v.Kind && int(v.Address)-end <= gap && v.end()-int(first.Address) <= most
}

// block covers the values with these indices, sorted by address.
func (p *Plan) block(indices []int) Block {
	b := Block{Request: p.values[indices[0]], Places: make([]Place, len(indices))}
	end := 0
	for i, at := range indices {
		v := p.values[at]
		end = max(end, v.end())
		b.Places[i] = Place{Index: at, Offset: int(v.Address) - int(b.Request.Address)}
	}
	b.Request.Quantity = uint16(end - int(b.Request.Address))
	return b
}

// Blocks are the requests to make, in order. The slice is the plan's: read it only,
// and ask again after a Split.
func (p *Plan) Blocks() []Block { return p.blocks }

// Split cuts block i in two, for good, if err says that the instrument refuses the
// run of registers as such (exceptions 02 and 03) and there is more than one value
// in it: a gap may be unmapped, or the run too long. The halves take places i and
// i+1, so a loop just goes on at i. False means that err stands for the block.
//
// The cut goes through the widest gap; among equals, through the one nearest the
// middle.
func (p *Plan) Split(i int, err error) bool {
	var e *Exception
	if !errors.As(err, &e) || e.Code != IllegalAddress && e.Code != IllegalValue {
		return false
	}
	b := p.blocks[i]
	indices := make([]int, len(b.Places))
	for k, place := range b.Places {
		indices[k] = place.Index
	}
	cut := p.widest(indices)
	if cut == 0 {
		return false
	}
	p.blocks = slices.Replace(p.blocks, i, i+1, p.block(indices[:cut]), p.block(indices[cut:]))
	return true
}

// trials is how often a run may go unanswered before a value is asked for alone.
const trials = 2

// Trial gives the request that tries out block i by one of its values alone, each in
// its turn, if the run holds registers that nobody asked for and was not answered yet,
// time after time.
// Some instruments do not refuse what they do not have: they keep silent, or answer
// short. If the value comes through and then the block still does not, Part it.
func (p *Plan) Trial(i int) (Request, bool) {
	b := &p.blocks[i]
	if b.known || b.silent < trials || len(p.runs(b)) == 1 {
		return Request{}, false
	}
	return p.values[b.Places[(b.silent-trials)%len(b.Places)].Index], true
}

// Note tells what came of asking for block i, or of its trial if that failed.
func (p *Plan) Note(i int, err error) {
	b := &p.blocks[i]
	switch {
	case err == nil:
		b.known = true
	case errors.Is(err, ErrTimeout) || errors.Is(err, ErrFrame):
		b.silent++
	}
}

// Part cuts block i at all its gaps, for good, and returns how many blocks it becomes.
func (p *Plan) Part(i int) int {
	runs := p.runs(&p.blocks[i])
	parts := make([]Block, len(runs))
	for k, indices := range runs {
		parts[k] = p.block(indices)
	}
	p.blocks = slices.Replace(p.blocks, i, i+1, parts...)
	return len(parts)
}

// runs are the values of a block, parted where a register lies between that belongs to
// none of them.
func (p *Plan) runs(b *Block) (runs [][]int) {
	end := -1
	for _, place := range b.Places {
		v := p.values[place.Index]
		if end < int(v.Address) {
			runs = append(runs, nil)
		}
		last := len(runs) - 1
		runs[last] = append(runs[last], place.Index)
		end = max(end, v.end())
	}
	return runs
}

// widest finds where to cut sorted values: before the returned position, or 0 when
// they all ask for the same.
func (p *Plan) widest(indices []int) int {
	best, width, off := 0, 0, 0
	end := p.values[indices[0]].end()
	for k := 1; k < len(indices); k++ {
		v, before := p.values[indices[k]], p.values[indices[k-1]]
		gap, fromMiddle := int(v.Address)-end, max(2*k-len(indices), len(indices)-2*k)
		end = max(end, v.end())
		// Values at the very same place stay together: parting them helps neither.
		if compare(v, before) == 0 {
			continue
		}
		if best == 0 || gap > width || gap == width && fromMiddle < off {
			best, width, off = k, gap, fromMiddle
		}
	}
	return best
}
