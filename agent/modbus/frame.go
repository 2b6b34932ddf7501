package modbus

import (
	"encoding/binary"
	"fmt"
)

// Layout of a frame on TCP (the TCP guide, 3.1.3): transaction id (2 bytes),
// protocol id, always 0 (2), length of what follows (2), unit id (1), then the PDU:
// function code (1) and data.
const (
	lengthEnd  = 6   // the length field counts from here
	unitAt     = 6   //
	functionAt = 7   //
	countAt    = 8   // byte count of an answer, or the exception code
	maxFrame   = 260 // 7 + the largest PDU, 253
	minFrame   = 9   // no answer is shorter than an exception
	refusal    = 0x80
)

// cut returns the first whole frame in buf, or nil while bytes are missing. An
// error means that what came is no Modbus at all, and the stream is lost.
func cut(buf []byte) ([]byte, error) {
	if len(buf) >= 4 && (buf[2] != 0 || buf[3] != 0) {
		return nil, fmt.Errorf("received %q, which is not Modbus; is another service on this port?", clip(buf))
	}
	if len(buf) < lengthEnd {
		return nil, nil
	}
	size := lengthEnd + int(binary.BigEndian.Uint16(buf[4:]))
	if size < minFrame || size > maxFrame {
		return nil, fmt.Errorf("frame of %d bytes: want %d to %d", size, minFrame, maxFrame)
	}
	if len(buf) < size {
		return nil, nil
	}
	return buf[:size], nil
}

// clip keeps an error text short, whatever a peer sent.
func clip(b []byte) []byte { return b[:min(len(b), 24)] }

// verdict is what a whole frame is to the request that waits for an answer.
type verdict int

const (
	answer   verdict = iota // the answer, or a refusal by the right party
	late                    // belongs to an earlier request: throw away
	foreign                 // speaks for another unit: throw away, but remember
	unusable                // our transaction, but not what was asked
	torn                    // its own lengths disagree: the stream is lost
)

// judge compares a whole frame with the request. The reason is empty for an
// answer. With zeroID also transaction id 0 passes for ours.
func judge(request, frame []byte, zeroID bool) (verdict, string) {
	id, asked := binary.BigEndian.Uint16(frame), binary.BigEndian.Uint16(request)
	if id != asked && (!zeroID || id != 0) {
		return late, "an answer to an earlier request"
	}
	unit, function := frame[unitAt], frame[functionAt]
	// A gateway that refuses on its own behalf may sign with 255 or 0.
	signed := function&refusal != 0 && (unit == 255 || unit == 0)
	if unit != request[unitAt] && !signed {
		return foreign, fmt.Sprintf("unit %d answered", unit)
	}
	switch function {
	case request[functionAt] | refusal:
		if len(frame) != minFrame {
			return torn, fmt.Sprintf("exception of %d bytes", len(frame)-functionAt)
		}
		return answer, ""
	case request[functionAt]:
		return weigh(request, frame)
	}
	return unusable, fmt.Sprintf("function code %d in the answer, asked with %d", function, request[functionAt])
}

// weigh compares the byte count of an answer with its length and with what was
// asked for.
func weigh(request, frame []byte) (verdict, string) {
	count, carried := int(frame[countAt]), len(frame)-countAt-1
	if count != carried {
		return torn, fmt.Sprintf("byte count %d, but %d bytes follow", count, carried)
	}
	if want := wanted(request[functionAt:]); count != want {
		return unusable, fmt.Sprintf("%d bytes of data, asked for %d", count, want)
	}
	return answer, ""
}

// wanted is the number of data bytes that the PDU of a read request asks for.
func wanted(pdu []byte) int {
	quantity := int(binary.BigEndian.Uint16(pdu[3:]))
	if pdu[0] <= 2 { // coils, discrete inputs: eight to the byte
		return (quantity + 7) / 8
	}
	return 2 * quantity
}

// readOnly reports whether a PDU is one of the four reads (function codes 1 to 4) in
// full length.
func readOnly(pdu []byte) bool {
	return len(pdu) == 5 && pdu[0] >= 1 && pdu[0] <= 4
}
