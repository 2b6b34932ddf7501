package modbustest

import (
	"bytes"
	"net"
	"slices"
	"sync"
	"time"
)

// Faults are ways in which instruments, gateways and lines misbehave, numbered as in
// the list of what the acquisition must survive, and some more. Late is how long a
// late answer takes: longer than the time-out of whoever asks.
func Faults(rtu bool, late time.Duration) []Fault {
	list := []Fault{
		{Name: "1 exception 0B", Do: func(e *Exchange) { e.Send(e.Refuse(e.Unit, 0x0B)) }},
		{Name: "1 exception 0B from unit 255", Do: func(e *Exchange) { e.Send(e.Refuse(255, 0x0B)) }},
		{Name: "2 half a frame, then silence", Do: func(e *Exchange) { f := e.Good(); e.Send(f[:len(f)/2]) }},
		{Name: "3 late answers", Do: func(e *Exchange) { f := e.Good(); e.Wait(late); e.Send(f) }},
		{Name: "3 very late answers", Do: func(e *Exchange) { f := e.Good(); e.Wait(4 * late); e.Send(f) }},
		behind(),
		{Name: "4 another unit's answer first", Do: func(e *Exchange) { e.Send(e.Signed(e.Unit+7, e.True()), e.Good()) }},
		{Name: "4 only another unit's answer", Do: func(e *Exchange) { e.Send(e.Signed(e.Unit+7, e.True())) }},
		{Name: "6 takes one client", Limit: 1},
		{Name: "6 takes nobody", Refuse: true, Do: hangUp},
		{Name: "7 closes after every answer", Do: func(e *Exchange) { e.Send(e.Good()); hangUp(e) }},
		{Name: "7 closes instead of answering", Do: hangUp},
		{Name: "8 never answers", Do: silent},
		{Name: "9 fewer registers", Do: resized(-2)},
		{Name: "9 more registers", Do: resized(2)},
		{Name: "9 another function", Do: func(e *Exchange) { e.Send(e.Frame(patched(e.True(), 0, e.Function^7))) }},
		{Name: "10 every answer twice", Do: func(e *Exchange) { f := e.Good(); e.Send(f, f) }},
		{Name: "10 junk", Do: func(e *Exchange) { e.Send([]byte("\x00\xff\x01\x03\x04\x80\x7f\x55\xaa\x00\x02\xff\xfe")) }},
		{Name: "10 junk before the answer", Do: func(e *Exchange) { e.Send([]byte{0, 0xFF, 0}, e.Good()) }},
		{Name: "10 junk behind the answer", Do: func(e *Exchange) { e.Send(e.Good(), []byte{0xFF, 0, 3}) }},
		{Name: "10 an HTTP answer", Do: func(e *Exchange) { e.Send([]byte("HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n")) }},
		{Name: "10 a greeting", Do: hangUp, Greet: func(c net.Conn) { _, _ = c.Write([]byte("220 ready\r\n")) }},
		{Name: "11 unplugged", Refuse: true, Do: hangUp},
		{Name: "12 busy, warming up", Do: func(e *Exchange) { e.Send(e.Refuse(e.Unit, 0x06)) }},
		{Name: "a byte at a time", Do: func(e *Exchange) { trickle(e, e.Good(), time.Millisecond) }},
		{Name: "a byte at a time, too slow", Do: func(e *Exchange) { trickle(e, e.Good(), late/8) }},
		{Name: "10 a second answer a little later", Do: func(e *Exchange) { f := e.Good(); e.Send(f); e.Wait(4 * time.Millisecond); e.Send(f, f) }},
		{Name: "10 a second answer much later", Do: func(e *Exchange) { f := e.Good(); e.Send(f); e.Wait(40 * time.Millisecond); e.Send(f) }},
		{Name: "every second answer lost", Do: everySecond(silent)},
		{Name: "every second answer late", Do: everySecond(func(e *Exchange) { f := e.Good(); e.Wait(late); e.Send(f) })},
	}
	if rtu {
		return append(list, rtuFaults()...)
	}
	return append(list, tcpFaults()...)
}

// Network are faults of a connection that a serial line cannot have.
func Network() []Fault {
	return []Fault{
		{Name: "half-open", Do: (*Exchange).Deafen},
	}
}

func rtuFaults() []Fault {
	return []Fault{
		{Name: "11 noise and a wrong checksum", Do: func(e *Exchange) { f := e.Good(); f[len(f)-1] ^= 0x10; e.Send([]byte{0xFE}, f) }},
		{Name: "11 one bit turned", Do: func(e *Exchange) { f := e.Good(); f[len(f)/2] ^= 0x04; e.Send(f) }},
		{Name: "11 local echo", Do: func(e *Exchange) { e.Send(e.Request, e.Good()) }},
		{Name: "11 local echo alone", Do: func(e *Exchange) { e.Send(e.Request) }},
		{Name: "a byte lost", Do: func(e *Exchange) { f := e.Good(); e.Send(slices.Delete(f, 3, 4)) }},
	}
}

func tcpFaults() []Fault {
	id := func(change byte) func(*Exchange) {
		return func(e *Exchange) { f := e.Good(); f[1] ^= change; e.Send(f) }
	}
	return []Fault{
		{Name: "5 transaction id 0, not expected", Do: func(e *Exchange) { f := e.Good(); f[0], f[1] = 0, 0; e.Send(f) }},
		{Name: "transaction id of another", Do: id(0x40)},
		{Name: "transaction id of the next", Do: id(0x01)},
		{Name: "length too long", Do: func(e *Exchange) { e.Send(patched(e.Good(), 5, 90)) }},
		{Name: "length too short", Do: func(e *Exchange) { e.Send(patched(e.Good(), 5, 4)) }},
		{Name: "not the protocol", Do: func(e *Exchange) { e.Send(patched(e.Good(), 3, 1)) }},
	}
}

// behind is always one answer late, and hands out the last one when asked again.
func behind() Fault {
	var mu sync.Mutex // a start may fall into an exchange
	var kept []byte
	take := func(next []byte) []byte {
		mu.Lock()
		defer mu.Unlock()
		last := kept
		kept = next
		return last
	}
	return Fault{
		Name: "3 one answer behind", Start: func() { take(nil) },
		Do: func(e *Exchange) { e.Send(take(e.Good())) },
	}
}

func silent(*Exchange) {}

func hangUp(e *Exchange) { _ = e.Conn.Close() } // twice does no harm

// resized answers with so many bytes of data more or less than asked for.
func resized(by int) func(*Exchange) {
	return func(e *Exchange) {
		pdu := e.True()
		if pdu[0]&0x80 != 0 || len(pdu) < 4 {
			e.Send(e.Frame(pdu))
			return
		}
		data := append(bytes.Clone(pdu[2:]), 0x3F, 0x80)
		e.Send(e.Frame(Data(pdu[0], data[:len(pdu)-2+by])))
	}
}

// patched changes one byte.
func patched(b []byte, at int, to byte) []byte {
	b = bytes.Clone(b)
	b[at] = to
	return b
}

func trickle(e *Exchange, frame []byte, pause time.Duration) {
	for i := range frame {
		e.Send(frame[i : i+1])
		e.Wait(pause)
	}
}

// everySecond misbehaves every second time.
func everySecond(do func(*Exchange)) func(*Exchange) {
	turn := false
	return func(e *Exchange) {
		if turn = !turn; turn {
			do(e)
		} else {
			e.Send(e.Good())
		}
	}
}

// Values are faults of what the registers say (12 to 15 of the list): where a float
// with its high word first is asked for, another answer is made of it.
func Values() []Fault {
	words := func(name string, change func(data []byte)) Fault {
		return Fault{Name: name, Do: func(e *Exchange) {
			pdu := e.True()
			if pdu[0] == 3 || pdu[0] == 4 {
				for at := 2; at+4 <= len(pdu); at += 4 {
					change(pdu[at : at+4])
				}
			}
			e.Send(e.Frame(pdu))
		}}
	}
	put := func(b ...byte) func([]byte) { return func(data []byte) { copy(data, b) } }
	return []Fault{
		words("12 zeros while warming up", put(0, 0, 0, 0)),
		{Name: "13 map off by one", Do: func(e *Exchange) {
			e.Address--
			e.Send(e.Good())
		}},
		words("14 swapped words", func(d []byte) { d[0], d[1], d[2], d[3] = d[2], d[3], d[0], d[1] }),
		words("14 NaN", put(0x7F, 0xC0, 0, 0)),
		words("14 a sentinel", put(0xFF, 0xFF, 0xFF, 0xFF)),
	}
}
