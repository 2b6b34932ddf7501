package modbus

import (
	"context"
	"errors"
	"fmt"
)

// The kinds of failure of a Read; errors.Is tells them apart. An instrument that
// answers with a refusal gives an *Exception instead.
var (
	// ErrTimeout: asked, and no answer came before the deadline.
	ErrTimeout = errors.New("no answer in time")
	// ErrDown: there is no connection, or the peer ended it without an answer.
	ErrDown = errors.New("link down")
	// ErrFrame: something came that is not an answer to what was asked.
	ErrFrame = errors.New("broken answer")
	// ErrCancelled: the caller's context was cancelled, or the link was closed.
	ErrCancelled = errors.New("cancelled")
)

// The exception codes of Modbus Application Protocol V1.1b3, section 7.
const (
	IllegalFunction = 0x01
	IllegalAddress  = 0x02
	IllegalValue    = 0x03
	DeviceFailure   = 0x04
	Acknowledge     = 0x05
	Busy            = 0x06
	MemoryParity    = 0x08
	GatewayPath     = 0x0A
	GatewayTarget   = 0x0B
)

// Exception is an answer that refuses the request.
type Exception struct {
	Code byte // 0x01 to 0x0B, see the constants; others are vendors' own
}

// Error names the code as the standard does.
func (e *Exception) Error() string {
	name, ok := map[byte]string{
		IllegalFunction: "illegal function",
		IllegalAddress:  "illegal data address",
		IllegalValue:    "illegal data value",
		DeviceFailure:   "server device failure",
		Acknowledge:     "acknowledge",
		Busy:            "server device busy",
		MemoryParity:    "memory parity error",
		GatewayPath:     "gateway path unavailable",
		GatewayTarget:   "gateway target device failed to respond",
	}[e.Code]
	if !ok {
		name = "not in the standard"
	}
	return fmt.Sprintf("exception %02X (%s)", e.Code, name)
}

// Bad reports whether a failed Read counts as a bad reading: the instrument
// itself answered that it has no sound value. Every other failure, also a busy
// instrument (05, 06) and a gateway that could not reach it (0A, 0B), means that
// nobody answered for the water: no reading at all. Codes outside both lists (08
// and vendors' own) are the instrument's word, so they count as bad.
func Bad(err error) bool {
	var e *Exception
	if !errors.As(err, &e) {
		return false
	}
	switch e.Code {
	case Acknowledge, Busy, GatewayPath, GatewayTarget:
		return false
	}
	return true
}

// fate is what a failure means for the connection it happened on.
type fate int

const (
	keep    fate = iota // the stream is in step: go on using it
	replace             // drop it; the failure took its time, so dial again at once
	rest                // drop it and let the back-off pass before dialling again
)

// failure is one exchange gone wrong, with its consequence.
type failure struct {
	kind   error // one of the Err values
	detail string
	fate   fate
	// hungUp: the peer ended the connection before any byte of an answer. On a
	// connection that had lain open this may be an old goodbye, seen only now.
	hungUp bool
	// garbled: what came was damaged on the way; asking again may well succeed.
	garbled bool
	// answered: the right unit answered, though of no use; no other answer is owed.
	answered bool
	// silent: the deadline passed without the wanted answer.
	silent bool
}

func (f *failure) Error() string { return f.kind.Error() + ": " + f.detail }
func (f *failure) Unwrap() error { return f.kind }

// ended says why a context is over: a passed deadline is a time-out, anything
// else a cancellation. It is nil while the context runs.
func ended(ctx context.Context) error {
	switch err := ctx.Err(); {
	case err == nil:
		return nil
	case errors.Is(err, context.DeadlineExceeded):
		return fmt.Errorf("%w: the caller's deadline passed", ErrTimeout)
	default:
		return fmt.Errorf("%w: %v", ErrCancelled, err)
	}
}
