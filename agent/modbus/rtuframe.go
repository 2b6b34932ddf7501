package modbus

import (
	"fmt"
)

// Layout of an RTU frame (serial line guide V1.02, 2.5.1): unit id (1 byte), then
// the PDU (function code and data), then the checksum (2, low byte first).
const (
	rtuRequest = 8   // bytes of any read request
	rtuRefusal = 5   // bytes of an exception
	rtuFrame   = 256 // most
)

// rtuSize is how long the frame is that begins buf, an answer to a read; 0 if no
// answer begins like that.
func rtuSize(buf []byte) int {
	if len(buf) < 3 {
		return 0
	}
	switch function := buf[1]; {
	case function >= 1 && function <= 4:
		if size := rtuRefusal + int(buf[2]); size <= rtuFrame {
			return size
		}
	case function >= 1|refusal && function <= 4|refusal:
		return rtuRefusal
	}
	return 0
}

// scan finds the first whole answer in buf, whoever sent it. What stands before it is
// noise: bytes made up by a line that nobody drives for a moment are common. That
// noise passes for an answer to just the running request is as unlikely as a broken
// frame with a right checksum, for the same bits must all fall right.
func scan(buf []byte) (frame, rest []byte) {
	for from := range buf {
		size := rtuSize(buf[from:])
		if size > 0 && size <= len(buf)-from && sealed(buf[from:from+size]) {
			return buf[from : from+size], buf[from+size:]
		}
	}
	return nil, buf
}

// weighRTU compares a whole frame with the request. There is no transaction id: an
// answer of the right form may still belong to an earlier request, see doubt.
func weighRTU(request, frame []byte) (verdict, string) {
	unit, function := frame[0], frame[1]
	// A gateway that refuses on its own behalf may sign with 255 or 0.
	signed := function&refusal != 0 && (unit == 255 || unit == 0)
	if unit != request[0] && !signed {
		return foreign, fmt.Sprintf("unit %d answered", unit)
	}
	switch function {
	case request[1] | refusal:
		return answer, ""
	case request[1]:
		if want := wanted(request[1 : rtuRequest-2]); int(frame[2]) != want {
			return unusable, fmt.Sprintf("%d bytes of data, asked for %d", frame[2], want)
		}
		return answer, ""
	}
	return unusable, fmt.Sprintf("function code %d in the answer, asked with %d", function, request[1])
}

// refused is the code of an exception, 0 of any other answer.
func refused(frame []byte) byte {
	if frame[1]&refusal == 0 {
		return 0
	}
	return frame[2]
}
