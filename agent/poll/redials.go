package poll

import (
	"context"
	"net"
	"sync/atomic"
)

// redials counts the connections made to one address.
type redials struct {
	through func(ctx context.Context, network, address string) (net.Conn, error)
	made    atomic.Uint64
}

func newRedials(dial func(ctx context.Context, network, address string) (net.Conn, error)) *redials {
	if dial == nil {
		dial = new(net.Dialer).DialContext
	}
	return &redials{through: dial}
}

func (r *redials) dial(ctx context.Context, network, address string) (net.Conn, error) {
	c, err := r.through(ctx, network, address)
	if err == nil {
		r.made.Add(1)
	}
	return c, err
}

// again is the number of connections after the first; none are counted on a serial line.
func (r *redials) again() uint64 {
	if r == nil {
		return 0
	}
	return max(1, r.made.Load()) - 1
}
