package probe_test

import (
	"context"
	"errors"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent/modbus"
	"ionward/agent/probe"
)

// device answers like an instrument with holes in its map.
type device struct {
	words  map[int]uint16
	most   int              // most registers it gives in one answer
	fails  map[int][]error  // by the first address: what comes instead, one after another
	always error            // instead of everything
	asked  []modbus.Request //
}

func (d *device) Read(ctx context.Context, r modbus.Request) ([]byte, error) {
	if err := errors.Join(ctx.Err(), r.Check()); err != nil {
		return nil, err
	}
	d.asked = append(d.asked, r)
	if d.always != nil {
		return nil, d.always
	}
	at := int(r.Address)
	if list := d.fails[at]; len(list) > 0 {
		d.fails[at] = list[1:]
		return nil, list[0]
	}
	if d.most > 0 && int(r.Quantity) > d.most {
		return nil, &modbus.Exception{Code: modbus.IllegalValue}
	}
	data := make([]byte, 2*int(r.Quantity))
	for k := range int(r.Quantity) {
		w, ok := d.words[at+k]
		if !ok {
			return nil, fmt.Errorf("cannot read: %w", &modbus.Exception{Code: modbus.IllegalAddress})
		}
		if r.Kind.Bits() {
			data[k/8] |= byte(w) << (k % 8)
			continue
		}
		data[2*k], data[2*k+1] = byte(w>>8), byte(w)
	}
	return data, nil
}

func settings(first, last int) probe.Settings {
	return probe.Settings{UnitID: 1, Range: probe.Range{First: first, Last: last}}
}

// Whatever holes a map has and however little the device gives at once: what it holds is read, the rest is told as
// refused, and no request is larger than allowed or outside the range.
func TestReadFindsEveryHole(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		first := rapid.IntRange(0, 65400).Draw(t, "first")
		last := first + rapid.IntRange(0, 130).Draw(t, "length")
		kind := modbus.Kind(rapid.IntRange(0, 3).Draw(t, "kind"))
		d := &device{words: map[int]uint16{}, most: rapid.IntRange(1, 125).Draw(t, "most")}
		if kind.Bits() {
			d.most = 0
		}
		for at := first; at <= last; at++ {
			if rapid.Bool().Draw(t, "there") {
				d.words[at] = uint16(rapid.IntRange(0, 1).Draw(t, "word"))
			}
		}
		s := settings(first, last)
		s.Kind, s.Most = kind, rapid.IntRange(0, 125).Draw(t, "ask")
		got, err := probe.Read(t.Context(), d, s)
		require.NoError(t, err)
		require.Equal(t, d.words, got.Words)
		missing := 0
		before := first - 2
		for _, r := range got.Refused {
			require.Greater(t, r.First, before+1, "runs do not touch")
			before = r.Last
			missing += r.Len()
			for at := r.First; at <= r.Last; at++ {
				require.NotContains(t, d.words, at)
			}
		}
		require.Equal(t, last-first+1, missing+len(d.words))
		require.Less(t, len(d.asked), 2*(last-first+1)+1, "halving costs at most one request more for each address")
		for _, r := range d.asked {
			require.GreaterOrEqual(t, int(r.Address), first)
			require.LessOrEqual(t, int(r.Address)+int(r.Quantity)-1, last)
			require.True(t, s.Most == 0 || kind.Bits() || int(r.Quantity) <= s.Most)
		}
	})
}

// A table that does not exist is refused once, not register by register.
func TestReadAsksAMissingTableOnce(t *testing.T) {
	d := &device{always: &modbus.Exception{Code: modbus.IllegalFunction}}
	got, err := probe.Read(t.Context(), d, settings(0, 99))
	require.NoError(t, err)
	require.Len(t, d.asked, 2, "one for each stretch of fifty")
	require.Len(t, got.Refused, 1)
	assert.Equal(t, probe.Range{First: 0, Last: 99}, got.Refused[0].Range)
}

func TestReadIsPatientAndEnds(t *testing.T) {
	silence := fmt.Errorf("cannot read: %w", modbus.ErrTimeout)
	busy := &modbus.Exception{Code: modbus.Busy}
	d := &device{words: map[int]uint16{0: 7, 1: 8}, fails: map[int][]error{0: {silence, busy}}}
	got, err := probe.Read(t.Context(), d, settings(0, 1))
	require.NoError(t, err)
	assert.Equal(t, d.words, got.Words)
	assert.Len(t, d.asked, 3)

	for want, always := range map[error]error{modbus.ErrTimeout: silence, modbus.ErrDown: fmt.Errorf("x: %w", modbus.ErrDown)} {
		d = &device{always: always}
		_, err = probe.Read(t.Context(), d, settings(0, 500))
		require.ErrorIs(t, err, want)
		assert.LessOrEqual(t, len(d.asked), 3)
	}
	d = &device{always: busy}
	_, err = probe.Read(t.Context(), d, settings(0, 500))
	require.ErrorAs(t, err, new(*modbus.Exception))

	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	s := settings(0, 9)
	s.Pause = time.Hour
	_, err = probe.Read(ctx, d, s)
	require.ErrorIs(t, err, context.Canceled)
}

// A device that gives fewer registers than asked for breaks the answer; smaller questions work.
func TestReadHalvesBrokenAnswers(t *testing.T) {
	broken := fmt.Errorf("cannot read: %w", modbus.ErrFrame)
	d := &device{words: map[int]uint16{0: 1, 1: 2, 2: 3, 3: 4}, fails: map[int][]error{0: {broken}}}
	var steps [][2]int
	s := settings(0, 3)
	s.Progress = func(done, of int) { steps = append(steps, [2]int{done, of}) }
	got, err := probe.Read(t.Context(), d, s)
	require.NoError(t, err)
	assert.Equal(t, d.words, got.Words)
	assert.Equal(t, [][2]int{{4, 4}}, steps)
}

func TestScan(t *testing.T) {
	answers := map[uint8]error{
		1: nil, 2: &modbus.Exception{Code: modbus.IllegalAddress}, 3: &modbus.Exception{Code: modbus.GatewayTarget},
		4: modbus.ErrTimeout, 5: &modbus.Exception{Code: modbus.Busy}, 6: modbus.ErrFrame,
	}
	link := reader(func(r modbus.Request) ([]byte, error) { return []byte{1, 2}, answers[r.UnitID] })
	var there, nobody []uint8
	require.NoError(t, probe.Scan(t.Context(), link, probe.Range{First: 1, Last: 6}, time.Second, 0, func(f probe.Found) {
		assert.NotEmpty(t, f.Says)
		if f.There {
			there = append(there, f.UnitID)
		} else {
			nobody = append(nobody, f.UnitID)
		}
		if f.UnitID == 1 {
			assert.True(t, f.Held)
			assert.EqualValues(t, 258, f.Register)
		}
	}))
	assert.Equal(t, []uint8{1, 2, 5}, there)
	assert.Equal(t, []uint8{3, 4, 6}, nobody)

	down := reader(func(modbus.Request) ([]byte, error) { return nil, modbus.ErrDown })
	require.ErrorIs(t, probe.Scan(t.Context(), down, probe.Range{First: 1, Last: 9}, 0, 0, nil), modbus.ErrDown)
}

type reader func(modbus.Request) ([]byte, error)

func (f reader) Read(_ context.Context, r modbus.Request) ([]byte, error) { return f(r) }

func TestParseRange(t *testing.T) {
	for text, want := range map[string]probe.Range{"0-40": {0, 40}, "7": {7, 7}, " 3 - 9 ": {3, 9}, "65535": {65535, 65535}} {
		got, err := probe.ParseRange(text, 0, 65535, 100)
		require.NoError(t, err, text)
		assert.Equal(t, want, got)
	}
	for _, text := range []string{"", "a-b", "5-4", "-1", "0-65536", "0-100", "1-2-3", "0x10"} {
		_, err := probe.ParseRange(text, 0, 65535, 100)
		assert.Error(t, err, text)
	}
}
