// Package modbus reads instruments over Modbus: a link that carries one request
// at a time, a codec from registers to numbers, and a plan that covers many
// values with few requests.
//
// It guarantees that a number it hands out was sent by the asked instrument, for
// the asked registers, in answer to that very request. Whatever else happens (no
// answer, a late one, half a frame, another unit's frame, junk) comes back as an
// error of one of five kinds: ErrTimeout, ErrDown, ErrFrame, ErrCancelled or an
// *Exception. A link mends itself: it reconnects with growing, jittered pauses.
//
// It never writes to an instrument. Only function codes 1 to 4 can be built, and
// the transport refuses to send any other. It starts no goroutine that outlives
// a call, keeps no last good value, and logs nothing.
//
// Sources: Modbus Application Protocol V1.1b3 (2012); Modbus Messaging on TCP/IP
// Implementation Guide V1.0b (2006), here "the TCP guide". In these the two ends
// are named client and server since 2020.
package modbus
