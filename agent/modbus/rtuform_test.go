package modbus

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// A copy of an answer that comes when another question has been asked is known by its
// form, however long after: reads of one unit never look alike.
func TestCopyOfAnAnswer(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		var before []byte
		p := &peer{rtu: true, usual: func(c call) {
			c.send(before, c.good())
			before = c.good()
		}}
		defer p.end()
		link := Open(Settings{Address: onSerialLine, Dial: p.dial})
		defer link.Close()
		for i := range 40 {
			mustRead(t, link, []Request{second, other, third, second, bits, other}[i%6])
		}
	})
}

// Who refuses the longer read, or keeps silent on it, or answers it short, is read as
// asked; and the right data come through either way.
func TestLongerReadNotTaken(t *testing.T) {
	for name, usual := range map[string]func(call){
		"refused": func(c call) { c.send(c.pdu([]byte{c.function() | refusal, IllegalAddress})) },
		"silent":  silent,
		"short":   resized(-2),
		"taken":   right,
	} {
		synctest.Test(t, func(t *testing.T) {
			longer := 0
			p := &peer{rtu: true, usual: func(c call) {
				if c.address() == other.Address && c.quantity() != other.Quantity {
					longer++
					usual(c)
					return
				}
				c.send(c.good())
			}}
			defer p.end()
			link := Open(Settings{Address: onConverter, Dial: p.dial})
			defer link.Close()
			mustRead(t, link, second)
			missed := 0
			for range 30 {
				data, err := link.Read(t.Context(), other)
				if err != nil {
					missed++
				} else {
					require.Equal(t, expected(other), data, name)
				}
				mustRead(t, link, second)
				time.Sleep(time.Second)
			}
			if name == "taken" {
				assert.Equal(t, 30, longer)
			} else {
				assert.LessOrEqual(t, longer, 1+2+3, "%s: tried, and given up", name)
			}
			assert.LessOrEqual(t, missed, 1+2+3, name)
			if name == "silent" {
				usual = right
				time.Sleep(againAfter)
				mustRead(t, link, other)
				before := longer
				mustRead(t, link, other)
				assert.Equal(t, before+1, longer, "taken after all")
			}
		})
	}
}

// A refusal of a read that the unit took before is passed on.
func TestLongerReadRefusedLater(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{rtu: true}
		defer p.end()
		link := Open(Settings{Address: onConverter, Dial: p.dial})
		defer link.Close()
		mustRead(t, link, second)
		mustRead(t, link, other)
		p.next(func(c call) { c.send(c.pdu([]byte{c.function() | refusal, DeviceFailure})) })
		_, err := link.Read(t.Context(), other)
		require.Truef(t, match(err, &Exception{DeviceFailure}), "%v", err)
		mustRead(t, link, other)
	})
}

func TestShapes(t *testing.T) {
	u := &rtuUnit{}
	ask := func(kind Kind, address, quantity uint16) *shape {
		return u.shape(sum(asked(Request{UnitID: 2, Kind: kind, Address: address, Quantity: quantity})))
	}
	seen := map[form]bool{}
	for i, s := range []*shape{
		ask(Holding, 0, 2), ask(Holding, 10, 2), ask(Holding, 20, 2), ask(Holding, 30, 3), ask(Input, 0, 2),
		ask(Holding, 40, 125), ask(Coil, 0, 5), ask(Coil, 100, 3), ask(Discrete, 0, 5),
	} {
		require.False(t, seen[s.form()], "read %d", i)
		seen[s.form()] = true
	}
	assert.Same(t, ask(Holding, 10, 2), ask(Holding, 10, 2))
	assert.Nil(t, ask(Holding, 200, 125).longer, "no room")
	assert.Nil(t, ask(Input, 65534, 2).longer, "no register behind")
	for i := range uint16(500) {
		ask(Holding, 1000+i, 1)
	}
	assert.Len(t, u.shapes, mostShapes)
}

// The answer to a longer read is cut to what was asked for, bits too.
func TestCut(t *testing.T) {
	for _, r := range []Request{other, {UnitID: 2, Kind: Coil, Address: 3, Quantity: 11}, {UnitID: 2, Kind: Discrete, Address: 3, Quantity: 16}} {
		request := sum(asked(r))
		whole := call{frame: longer(request, 2), rtu: true}.good()
		assert.Equal(t, call{frame: request, rtu: true}.good(), cutTo(whole, request), "%s", r)
	}
}
