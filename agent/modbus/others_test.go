package modbus

import (
	"context"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// libmodbus serves 4000 of everything as unit 17, over TCP and over a serial line.
func TestReadsLibmodbus(t *testing.T) {
	peer := libmodbus(t)
	beyond := Request{UnitID: 17, Kind: Holding, Address: 3999, Quantity: 2}
	t.Run("tcp", func(t *testing.T) {
		link := Open(Settings{Address: "tcp://127.0.0.1:" + start(t, peer, "tcp").line(t), Timeout: time.Minute})
		defer link.Close()
		sweep(t, link, 17)
		refuses(t, link, IllegalAddress, beyond)
	})
	t.Run("rtu", func(t *testing.T) {
		here, there, _ := ptys(t)
		require.Equal(t, "ready", start(t, peer, "rtu", there, "19200").line(t))
		link := Open(Settings{Address: "rtu://" + here + "?baud=19200", Timeout: time.Minute, LateWindow: 10 * time.Millisecond})
		defer link.Close()
		sweep(t, link, 17)
		refuses(t, link, IllegalAddress, beyond)
		stranger(t, link, 18)
		sweep(t, link, 17)
	})
}

const python = "/usr/bin/python3"

// pymodbus serves maps that are odd but legal, over TCP, RTU over TCP, and a serial
// line.
func TestReadsPymodbus(t *testing.T) {
	need(t, python, "-c", "import pymodbus.server")
	for _, how := range []string{"tcp", "rtu+tcp"} {
		t.Run(how, func(t *testing.T) {
			link := Open(Settings{Address: how + "://127.0.0.1:" + start(t, python, "testdata/peer.py", how).line(t), Timeout: time.Minute, LateWindow: 10 * time.Millisecond})
			defer link.Close()
			odd(t, link)
		})
	}
	t.Run("rtu", func(t *testing.T) {
		here, there, _ := ptys(t)
		require.Equal(t, "ready", start(t, python, "testdata/peer.py", "rtu", there, "115200").line(t))
		link := Open(Settings{Address: "rtu://" + here + "?baud=115200&parity=none", Timeout: time.Minute, LateWindow: 10 * time.Millisecond})
		defer link.Close()
		odd(t, link)
	})
}

func odd(t *testing.T, link *Link) {
	sweep(t, link, 17)
	plan := func(limits Limits, values ...Request) int {
		t.Helper()
		p, err := NewPlan(values, limits)
		require.NoError(t, err)
		for round := range 2 {
			for i := 0; i < len(p.Blocks()); i++ {
				b := p.Blocks()[i]
				data, err := link.Read(context.Background(), b.Request)
				if p.Split(i, err) {
					require.Zero(t, round, "remembered")
					i--
					continue
				}
				require.NoError(t, err)
				for _, place := range b.Places {
					v := values[place.Index]
					got := data[2*place.Offset : 2*(place.Offset+int(v.Quantity))]
					assert.Equal(t, expected(v), got, "%s", v)
				}
			}
		}
		return len(p.Blocks())
	}
	value := func(unit uint8, address, words uint16) Request {
		return Request{UnitID: unit, Kind: Holding, Address: address, Quantity: words}
	}
	gap := Limits{Gap: 100}
	assert.Equal(t, 3, plan(gap, value(18, 0, 2), value(18, 4, 2), value(18, 8, 1)), "holes in the map")
	assert.Equal(t, 3, plan(gap, value(19, 0, 2), value(19, 2, 2), value(19, 6, 2)), "no more than two at once")
	refuses(t, link, IllegalAddress, value(19, 1, 2))
	for _, kind := range []Kind{Input, Coil, Discrete} {
		refuses(t, link, IllegalAddress, Request{UnitID: 20, Kind: kind, Quantity: 1})
	}
	assert.Equal(t, 1, plan(gap, value(20, 0, 2), value(20, 60, 2)), "one table only")
	assert.Equal(t, 1, plan(gap, value(21, 65530, 2), value(21, 65535, 1)), "the end of all addresses")
	refuses(t, link, IllegalAddress, value(21, 65529, 2))

	stranger(t, link, 99)
	sweep(t, link, 17)
}

// stranger asks a unit that is not there. On a line libraries take what comes next for
// its answer, and so miss a request of their own: one reading, never the wrong one.
func stranger(t *testing.T, link *Link, unit uint8) {
	t.Helper()
	_, err := link.Read(context.Background(), Request{UnitID: unit, Quantity: 2, Timeout: 50 * time.Millisecond})
	require.Truef(t, match(err, ErrTimeout), "nobody there: %v", err)
	own := Request{UnitID: 17, Quantity: 2, Timeout: 500 * time.Millisecond}
	for tries := 1; ; tries++ {
		data, err := link.Read(context.Background(), own)
		if err == nil {
			require.Equal(t, expected(own), data)
			return
		}
		require.Truef(t, match(err, ErrTimeout), "%v", err)
		require.Less(t, tries, 5)
	}
}
