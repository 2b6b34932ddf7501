package probe

import (
	"context"
	"errors"
	"fmt"
	"time"

	"ionward/agent/modbus"
)

// Found is what one unit id said.
type Found struct {
	UnitID   uint8
	There    bool          // a device answers at this id
	Says     string        // what it answered, or why nobody did, in a phrase
	Took     time.Duration // until the answer
	Register uint16        // holding register 0, with Held
	Held     bool
}

// Scan asks each unit id of the range once for holding register 0 and tells what came of it, as it comes. A pause lies
// between two questions. It ends early, with an error, when the link itself is down.
func Scan(ctx context.Context, link Reader, ids Range, timeout, between time.Duration, tell func(Found)) error {
	for id := ids.First; id <= ids.Last; id++ {
		if id > ids.First {
			if err := pause(ctx, between); err != nil {
				return err
			}
		}
		began := time.Now()
		data, err := link.Read(ctx, modbus.Request{UnitID: uint8(id), Kind: modbus.Holding, Address: 0, Quantity: 1, Timeout: timeout})
		f := Found{UnitID: uint8(id), Took: time.Since(began)}
		var refusal *modbus.Exception
		switch {
		case err == nil:
			f.There, f.Held, f.Register = true, true, uint16(data[0])<<8|uint16(data[1])
			f.Says = fmt.Sprintf("holding 0 = %d", f.Register)
		case errors.As(err, &refusal) && (refusal.Code == modbus.GatewayPath || refusal.Code == modbus.GatewayTarget):
			f.Says = "nobody, says the gateway"
		case errors.As(err, &refusal):
			f.There, f.Says = true, refusal.Error()
		case errors.Is(err, modbus.ErrTimeout):
			f.Says = "no answer"
		case errors.Is(err, modbus.ErrFrame):
			f.Says = "a broken answer"
		default:
			return err
		}
		tell(f)
	}
	return nil
}
