package modbus

import (
	"errors"
	"fmt"
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

func reg(address, quantity uint16) Request {
	return Request{UnitID: 1, Kind: Holding, Address: address, Quantity: quantity}
}

// outline writes a plan's requests as "address+quantity".
func outline(p *Plan) (s []string) {
	for _, b := range p.Blocks() {
		s = append(s, fmt.Sprintf("%d+%d", b.Request.Address, b.Request.Quantity))
	}
	return s
}

func TestPlan(t *testing.T) {
	for _, c := range []struct {
		name   string
		values []Request
		limits Limits
		want   []string
	}{
		{"none", nil, Limits{}, nil},
		{"neighbours", []Request{reg(2, 2), reg(0, 2), reg(4, 1)}, Limits{}, []string{"0+5"}},
		{"a gap too wide", []Request{reg(0, 2), reg(3, 2)}, Limits{}, []string{"0+2", "3+2"}},
		{"a gap allowed", []Request{reg(0, 2), reg(3, 2)}, Limits{Gap: 1}, []string{"0+5"}},
		{"too long", []Request{reg(0, 2), reg(2, 2), reg(4, 2)}, Limits{MaxRegisters: 5}, []string{"0+4", "4+2"}},
		{"never straddles", []Request{reg(0, 1), reg(1, 4)}, Limits{MaxRegisters: 4}, []string{"0+1", "1+4"}},
		{"same register twice", []Request{reg(7, 1), reg(7, 1)}, Limits{}, []string{"7+1"}},
		{"one within another, then a neighbour", []Request{reg(0, 4), reg(1, 1), reg(4, 1)}, Limits{}, []string{"0+5"}},
		{"overlap", []Request{reg(6, 2), reg(7, 2)}, Limits{}, []string{"6+3"}},
		{"the standard's most", []Request{reg(0, 1), reg(124, 1), reg(125, 1)}, Limits{Gap: 200}, []string{"0+125", "125+1"}},
		{"the last address", []Request{reg(65535, 1)}, Limits{}, []string{"65535+1"}},
		{"bits count 16 to a register", []Request{
			{Kind: Coil, Address: 0, Quantity: 1}, {Kind: Coil, Address: 31, Quantity: 1}, {Kind: Coil, Address: 32, Quantity: 1},
		}, Limits{MaxRegisters: 2, Gap: 2}, []string{"0+32", "32+1"}},
		{"a gap of bits", []Request{
			{Kind: Coil, Address: 0, Quantity: 1}, {Kind: Coil, Address: 17, Quantity: 1}, {Kind: Coil, Address: 35, Quantity: 1},
		}, Limits{Gap: 1}, []string{"0+18", "35+1"}},
		{"units and tables apart", []Request{
			{UnitID: 2, Kind: Input, Quantity: 1}, {UnitID: 1, Kind: Input, Quantity: 1}, {UnitID: 1, Kind: Holding, Address: 1, Quantity: 1},
		}, Limits{}, []string{"1+1", "0+1", "0+1"}},
	} {
		p, err := NewPlan(c.values, c.limits)
		require.NoError(t, err, c.name)
		assert.Equal(t, c.want, outline(p), c.name)
		valid(t, p, c.values, c.limits)
	}
}

func TestPlanErrors(t *testing.T) {
	_, err := NewPlan([]Request{reg(0, 4)}, Limits{MaxRegisters: 3})
	assert.ErrorContains(t, err, "needs 4 in one request, max_registers allows 3")
	_, err = NewPlan([]Request{reg(0, 0)}, Limits{})
	assert.ErrorContains(t, err, "quantity 0")
	_, err = NewPlan([]Request{reg(65535, 2)}, Limits{})
	assert.ErrorContains(t, err, "runs past 65535")
	_, err = NewPlan([]Request{{Kind: 9, Quantity: 1}}, Limits{})
	assert.ErrorContains(t, err, "kind 9")
	for _, l := range []Limits{{MaxRegisters: 126}, {MaxRegisters: -1}, {Gap: -1}} {
		_, err = NewPlan(nil, l)
		assert.ErrorContains(t, err, "max_registers")
	}
}

// valid checks what every plan owes: each value whole, once, where it says.
func valid(t require.TestingT, p *Plan, values []Request, l Limits) {
	found := make([]int, len(values))
	for _, b := range p.Blocks() {
		require.NoError(t, b.Request.Check())
		if l.MaxRegisters != 0 && !b.Request.Kind.Bits() {
			require.LessOrEqual(t, int(b.Request.Quantity), l.MaxRegisters)
		}
		require.NotEmpty(t, b.Places)
		for _, place := range b.Places {
			v := values[place.Index]
			found[place.Index]++
			require.Equal(t, v.UnitID, b.Request.UnitID)
			require.Equal(t, v.Kind, b.Request.Kind)
			require.Equal(t, int(v.Address), int(b.Request.Address)+place.Offset)
			require.LessOrEqual(t, v.end(), b.Request.end())
		}
	}
	for i, n := range found {
		require.Equal(t, 1, n, "value %d", i)
	}
}

// fewest finds by trying all partitions how few requests could do.
func fewest(values []Request, l Limits) int {
	best := math.MaxInt
	var groups [][]Request
	var try func(i int)
	try = func(i int) {
		if i == len(values) {
			for _, g := range groups {
				if !allowed(g, l) {
					return
				}
			}
			best = min(best, len(groups))
			return
		}
		for k := range groups {
			groups[k] = append(groups[k], values[i])
			try(i + 1)
			groups[k] = groups[k][:len(groups[k])-1]
		}
		groups = append(groups, []Request{values[i]})
		try(i + 1)
		groups = groups[:len(groups)-1]
	}
	try(0)
	return best
}

// allowed states in its own way what one request may cover: not too long, and no
// stretch longer than the gap read for nothing.
func allowed(group []Request, l Limits) bool {
	lo, hi := math.MaxInt, 0
	used := map[int]bool{}
	most, gap := l.MaxRegisters, l.Gap
	if group[0].Kind.Bits() {
		most, gap = 16*most, 16*gap
	}
	for _, v := range group {
		if v.UnitID != group[0].UnitID || v.Kind != group[0].Kind {
			return false
		}
		lo, hi = min(lo, int(v.Address)), max(hi, v.end())
		for a := int(v.Address); a < v.end(); a++ {
			used[a] = true
		}
	}
	idle := 0
	for a := lo; a < hi; a++ {
		if idle++; used[a] {
			idle = 0
		}
		if idle > gap {
			return false
		}
	}
	return hi-lo <= most
}

// drawMixed draws values of several units and tables.
func drawMixed(t *rapid.T, most int) []Request {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Request {
		r := reg(rapid.Uint16Range(0, 14).Draw(t, "address"), rapid.SampledFrom([]uint16{1, 2, 4}).Draw(t, "words"))
		r.UnitID = rapid.SampledFrom([]uint8{1, 1, 1, 2}).Draw(t, "unit")
		if r.Kind = rapid.SampledFrom([]Kind{Holding, Holding, Input, Coil}).Draw(t, "kind"); r.Kind.Bits() {
			r.Address, r.Quantity = 11*r.Address, 1
		}
		return r
	}), 1, most).Draw(t, "values")
}

func drawValues(t *rapid.T, most int) []Request {
	return rapid.SliceOfN(rapid.Custom(func(t *rapid.T) Request {
		return reg(rapid.Uint16Range(0, 14).Draw(t, "address"), rapid.SampledFrom([]uint16{1, 2, 4}).Draw(t, "words"))
	}), 1, most).Draw(t, "values")
}

// The plan is as good as the best of all.
func TestPlanAgainstBruteForce(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := drawMixed(t, 7)
		l := Limits{MaxRegisters: rapid.IntRange(4, 10).Draw(t, "max"), Gap: rapid.IntRange(0, 5).Draw(t, "gap")}
		p, err := NewPlan(values, l)
		require.NoError(t, err)
		valid(t, p, values, l)
		for _, b := range p.Blocks() {
			var group []Request
			for _, place := range b.Places {
				group = append(group, values[place.Index])
			}
			require.True(t, allowed(group, l), "%v", group)
		}
		require.Equal(t, fewest(values, l), len(p.Blocks()))
	})
}

func TestSplit(t *testing.T) {
	values := []Request{reg(0, 2), reg(2, 2), reg(9, 1), reg(12, 1), reg(13, 1)}
	p, err := NewPlan(values, Limits{Gap: 10})
	require.NoError(t, err)
	require.Equal(t, []string{"0+14"}, outline(p))
	refused := fmt.Errorf("cannot read: %w", &Exception{Code: IllegalAddress})
	for _, other := range []error{nil, ErrTimeout, errors.New("x"), &Exception{Code: DeviceFailure}, &Exception{Code: Busy}} {
		require.False(t, p.Split(0, other), "%v", other)
	}
	require.True(t, p.Split(0, refused))
	assert.Equal(t, []string{"0+4", "9+5"}, outline(p), "at the widest gap")
	require.True(t, p.Split(1, &Exception{Code: IllegalValue}))
	assert.Equal(t, []string{"0+4", "9+1", "12+2"}, outline(p))
	require.True(t, p.Split(2, refused))
	require.False(t, p.Split(1, refused), "one value cannot be parted")
	require.False(t, p.Split(3, refused))
	valid(t, p, values, Limits{})

	p, err = NewPlan([]Request{reg(0, 1), reg(1, 1), reg(2, 1), reg(3, 1), reg(4, 1)}, Limits{})
	require.NoError(t, err)
	require.True(t, p.Split(0, refused))
	assert.Equal(t, []string{"0+2", "2+3"}, outline(p), "no gap: in the middle")

	p, err = NewPlan([]Request{reg(5, 2), reg(5, 2)}, Limits{})
	require.NoError(t, err)
	require.False(t, p.Split(0, refused), "twice the same is one")
}

// Against an instrument with any holes in its map: split until it answers, and all
// values that it has come through, those that it lacks and no others are refused.
func TestSplitFindsTheHoles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		values := drawValues(t, 12)
		mapped := rapid.SliceOfN(rapid.Bool(), 18, 18).Draw(t, "mapped")
		has := func(r Request) bool {
			for a := int(r.Address); a < r.end(); a++ {
				if !mapped[a] {
					return false
				}
			}
			return true
		}
		p, err := NewPlan(values, Limits{Gap: rapid.IntRange(0, 9).Draw(t, "gap")})
		require.NoError(t, err)
		asked, through := 0, make([]bool, len(values))
		for i := 0; i < len(p.Blocks()); {
			asked++
			b := p.Blocks()[i]
			whole := has(b.Request)
			if !whole && p.Split(i, &Exception{Code: IllegalAddress}) {
				continue
			}
			for _, place := range b.Places {
				through[place.Index] = whole
			}
			i++
		}
		valid(t, p, values, Limits{})
		require.LessOrEqual(t, asked, 2*len(values))
		for i, v := range values {
			require.Equal(t, has(v), through[i], "%v", v)
		}
	})
}

// A run that an instrument neither answers nor refuses is tried out by one value, and
// parted at its gaps if that comes through.
func TestTrial(t *testing.T) {
	values := []Request{reg(0, 2), reg(2, 1), reg(5, 1), reg(9, 2)}
	p, err := NewPlan(values, Limits{Gap: 10})
	require.NoError(t, err)
	for range 2 {
		_, due := p.Trial(0)
		require.False(t, due)
		p.Note(0, ErrDown) // nobody was asked
		p.Note(0, fmt.Errorf("cannot read: %w", ErrTimeout))
	}
	r, due := p.Trial(0)
	require.True(t, due)
	require.Equal(t, reg(0, 2), r)
	for _, want := range []Request{reg(2, 1), reg(5, 1), reg(9, 2), reg(0, 2)} {
		p.Note(0, ErrTimeout)
		r, _ = p.Trial(0)
		require.Equal(t, want, r, "each in its turn")
	}
	require.Equal(t, 3, p.Part(0))
	assert.Equal(t, []string{"0+3", "5+1", "9+2"}, outline(p))
	valid(t, p, values, Limits{})
	for range 5 {
		p.Note(0, ErrFrame)
	}
	_, due = p.Trial(0)
	require.False(t, due, "a run without a gap asks for nothing that it does not need")

	p, err = NewPlan(values, Limits{Gap: 10})
	require.NoError(t, err)
	p.Note(0, nil)
	for range 5 {
		p.Note(0, ErrTimeout)
	}
	_, due = p.Trial(0)
	require.False(t, due, "what was answered once is only silent")
}
