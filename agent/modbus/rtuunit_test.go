package modbus

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A unit that answers only to what it knows, and not to a proof, is read all the same
// after it was once not heard.
func TestUnitThatTakesNoProof(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{rtu: true, usual: func(c call) {
			if c.quantity() == 2 {
				c.send(c.good())
			}
		}}
		defer p.end()
		link := Open(Settings{Address: onConverter, Dial: p.dial})
		defer link.Close()
		mustRead(t, link, second)
		p.next(silent)
		_, err := link.Read(t.Context(), other)
		require.ErrorIs(t, err, ErrTimeout)
		bad := 0
		for i := range 180 {
			data, err := link.Read(t.Context(), []Request{second, other}[i%2])
			if err != nil {
				if i > 120 {
					bad++
				}
			} else {
				require.Equal(t, expected([]Request{second, other}[i%2]), data)
			}
			time.Sleep(time.Second)
		}
		assert.LessOrEqual(t, bad, 8, "then only about one proof in ten seconds is tried")
	})
}

// A line that is always one answer behind, and never hands out the last one before it
// is asked again, is found out.
func TestAlwaysOneBehind(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var kept []byte
		p := &peer{rtu: true, usual: func(c call) {
			c.send(kept)
			kept = c.good()
		}}
		defer p.end()
		link := Open(Settings{Address: onConverter, Dial: p.dial})
		defer link.Close()
		good := 0
		for i := range 120 {
			r := []Request{second, other, third, other, second, second, second}[i%7]
			data, err := link.Read(t.Context(), r)
			if err == nil {
				good++
				require.Equal(t, expected(r), data, "read %d", i)
			}
			time.Sleep(time.Second)
		}
		assert.Positive(t, good, "and can be read, with patience")
	})
}

// A proof differs in form from all that is owed, stays within the table, and near.
func TestProof(t *testing.T) {
	for _, c := range []struct {
		request Request
		owed    []form
		address int
		want    int
	}{
		{Request{Kind: Holding, Address: 300, Quantity: 2}, nil, 300, 1},
		{Request{Kind: Holding, Address: 300, Quantity: 1}, nil, 300, 2},
		{Request{Kind: Holding, Address: 300, Quantity: 125}, nil, 300, 124},
		{Request{Kind: Holding, Address: 65535, Quantity: 1}, nil, 65534, 2},
		{Request{Kind: Holding, Address: 300, Quantity: 2}, []form{{3, 2}, {3, 6}}, 300, 4},
		{Request{Kind: Holding, Address: 300, Quantity: 2}, []form{{4, 2}}, 300, 1},
		{Request{Kind: Coil, Address: 300, Quantity: 1}, nil, 300, 9},
		{Request{Kind: Discrete, Address: 300, Quantity: 20}, nil, 300, 12},
		{Request{Kind: Discrete, Address: 65535, Quantity: 1}, nil, 65527, 9},
	} {
		u := &rtuUnit{owed: c.owed}
		request := sum(asked(c.request))
		u.owe(request)
		got := u.proof(request)
		require.True(t, sealed(got))
		assert.Equal(t, c.address, int(call{frame: got, rtu: true}.address()), "%v", c.request)
		assert.Equal(t, c.want, int(call{frame: got, rtu: true}.quantity()), "%v", c.request)
	}
}
