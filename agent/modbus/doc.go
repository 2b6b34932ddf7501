// Package modbus reads instruments over Modbus TCP, over RTU on a serial line, and over
// RTU through a converter on the network: a link that carries one request at a time, a
// codec from registers to numbers, and a plan that covers many values with few
// requests.
//
// It guarantees that a number it hands out was sent by the asked instrument, for
// the asked registers, in answer to that very request. Whatever else happens (no
// answer, a late one, half a frame, another unit's frame, noise, junk) comes back as an
// error of one of five kinds: ErrTimeout, ErrDown, ErrFrame, ErrCancelled or an
// *Exception. A link mends itself: it reconnects with growing, jittered pauses. On RTU,
// whose frames carry no mark of their request, the guarantee rests on an instrument
// that answers in order, and may cost a register read more than is wanted.
//
// It never writes to an instrument. Only function codes 1 to 4 can be built, and
// the transports refuse to send any other. It starts no goroutine that outlives its
// link, keeps no last good value, and logs nothing.
//
// Sources: Modbus Application Protocol V1.1b3 (2012); Modbus Messaging on TCP/IP
// Implementation Guide V1.0b (2006), here "the TCP guide"; Modbus over Serial Line
// Specification and Implementation Guide V1.02 (2006), here "the serial line guide". In
// these the two ends are named client and server since 2020.
package modbus
