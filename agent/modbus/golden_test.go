package modbus

import (
	"context"
	"encoding/binary"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// The example exchanges of Modbus Application Protocol V1.1b3, by section.
var goldens = []struct {
	section       string
	request       Request
	asked, answer string // PDUs
	data          string // what Read hands out
	exception     byte
}{
	{"6.1 read coils", Request{UnitID: 17, Kind: Coil, Address: 0x13, Quantity: 0x13}, "01 0013 0013", "01 03 CD6B05", "CD6B05", 0},
	{"6.2 read discrete inputs", Request{UnitID: 17, Kind: Discrete, Address: 0xC4, Quantity: 0x16}, "02 00C4 0016", "02 03 ACDB35", "ACDB35", 0},
	{"6.3 read holding registers", Request{UnitID: 17, Kind: Holding, Address: 0x6B, Quantity: 3}, "03 006B 0003", "03 06 022B 0000 0064", "022B 0000 0064", 0},
	{"6.4 read input registers", Request{UnitID: 17, Kind: Input, Address: 8, Quantity: 1}, "04 0008 0001", "04 02 000A", "000A", 0},
	{"7 exception responses", Request{UnitID: 17, Kind: Coil, Address: 0x4A1, Quantity: 1}, "01 04A1 0001", "81 02", "", IllegalAddress},
}

// Each exchange goes over a real connection; the request's bytes are compared as
// the server received them.
func TestGoldenExchanges(t *testing.T) {
	for _, g := range goldens {
		t.Run(g.section, func(t *testing.T) {
			p := &peer{}
			link := Open(Settings{Address: p.listen(t), Timeout: time.Minute})
			defer link.Close()
			p.next(func(c call) { c.send(c.pdu(unhex(t, g.answer))) })

			data, err := link.Read(context.Background(), g.request)
			if g.exception != 0 {
				var e *Exception
				require.ErrorAs(t, err, &e)
				assert.Equal(t, g.exception, e.Code)
			} else {
				require.NoError(t, err)
				assert.Equal(t, unhex(t, g.data), data)
			}
			frame := p.calls[0].frame
			assert.Equal(t, unhex(t, g.asked), frame[7:], "PDU on the wire")
			assert.Equal(t, unhex(t, "0000 0006 11"), frame[2:7], "protocol, length, unit")
		})
	}
}

// The TCP guide 4.4.1.2 prints one whole request: transaction 1501h, unit FF.
// Transaction ids count up from 1, so request number 1501h has that id.
func TestGoldenTCPRequest(t *testing.T) {
	p := &peer{}
	link := Open(Settings{Address: p.listen(t), Timeout: time.Minute})
	defer link.Close()
	r := Request{UnitID: 0xFF, Kind: Holding, Address: 4, Quantity: 1}
	for range 0x1501 {
		data, err := link.Read(context.Background(), r)
		require.NoError(t, err)
		require.Equal(t, expected(r), data)
	}
	assert.Equal(t, unhex(t, "1501 0000 0006 FF 03 0004 0001"), p.calls[0x1500].frame)
	assert.Equal(t, 1, p.sessions, "all on one connection")
}

// Ids wrap after 65535; the request after the wrap is answered like any other.
func TestTransactionIDWraps(t *testing.T) {
	p := &peer{}
	link := Open(Settings{Address: p.listen(t), Timeout: time.Minute})
	defer link.Close()
	r := Request{UnitID: 1, Kind: Input, Address: 9, Quantity: 2}
	p.mu.Lock()
	p.calls = make([]call, 0, 1<<16+2)
	p.mu.Unlock()
	for range 1<<16 + 1 {
		data, err := link.Read(context.Background(), r)
		require.NoError(t, err)
		require.Equal(t, expected(r), data)
	}
	assert.EqualValues(t, 1, binary.BigEndian.Uint16(p.calls[1<<16].frame))
}
