package modbustest

import (
	"encoding/binary"
	"net"
	"time"
)

// Ask is what a request asks for.
type Ask struct {
	Unit, Function    byte
	Address, Quantity uint16
}

// Exchange is one request, waiting for what the proxy makes of it.
type Exchange struct {
	Ask
	RTU     bool
	Request []byte // the whole frame
	Conn    net.Conn

	proxy *Proxy
	deaf  bool
}

// True is the PDU that answers rightly.
func (e *Exchange) True() []byte { return e.proxy.Answer(e.Ask) }

// Frame wraps a PDU into a frame that answers the request.
func (e *Exchange) Frame(pdu []byte) []byte { return e.Signed(e.Unit, pdu) }

// Signed wraps a PDU into a frame of any unit.
func (e *Exchange) Signed(unit byte, pdu []byte) []byte {
	if e.RTU {
		return Seal(append([]byte{unit}, pdu...))
	}
	f := append([]byte(nil), e.Request[:2]...)
	f = append(f, 0, 0)
	f = binary.BigEndian.AppendUint16(f, uint16(1+len(pdu)))
	return append(append(f, unit), pdu...)
}

// Good is the right answer's frame, with the values of this instant.
func (e *Exchange) Good() []byte { return e.Frame(e.True()) }

// Refuse is the frame of an exception, signed by any unit.
func (e *Exchange) Refuse(unit, code byte) []byte {
	return e.Signed(unit, []byte{e.Function | 0x80, code})
}

// Send writes bytes as they are; whoever is gone does not get them.
func (e *Exchange) Send(frames ...[]byte) {
	var all []byte
	for _, f := range frames {
		all = append(all, f...)
	}
	_, _ = e.Conn.Write(all)
}

// Deafen leaves the connection open, and nobody will ever listen to it again: what a
// peer looks like that lost its power.
func (e *Exchange) Deafen() { e.deaf = true }

// Wait lets time pass. Further requests on the connection wait too. It ends early
// when the proxy is closed.
func (e *Exchange) Wait(d time.Duration) {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-t.C:
	case <-e.proxy.done:
	}
}

// Data is the PDU of a read with other data.
func Data(function byte, data []byte) []byte {
	return append([]byte{function, byte(len(data))}, data...)
}

// Seal appends the checksum of an RTU frame, worked out bit by bit as the serial line
// guide V1.02 tells it (6.2.2).
func Seal(frame []byte) []byte {
	crc := uint16(0xFFFF)
	for _, b := range frame {
		crc ^= uint16(b)
		for range 8 {
			odd := crc&1 == 1
			if crc >>= 1; odd {
				crc ^= 0xA001
			}
		}
	}
	return append(frame[:len(frame):len(frame)], byte(crc), byte(crc>>8))
}
