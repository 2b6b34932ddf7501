package modbus

import (
	"context"
	"encoding/binary"
	"fmt"
	"io"
	"net"
	"os/exec"
	"strconv"
	"testing"
	"time"

	client "github.com/goburrow/modbus"
	"github.com/stretchr/testify/require"
)

// BenchmarkRead times a link beside the least that any client can do, a loop that
// writes a prepared request to the socket and reads the answer unseen; beside the
// client library as it comes; and beside a client of another library in C. All take
// turns in short runs, so that a busy machine slows all alike. The results are rates
// as parts of the raw loop's, and the processor time of a link's run, server included,
// against that of a raw run.
func BenchmarkRead(b *testing.B) {
	const run = 64
	address := echo(b)
	link := Open(Settings{Address: address, Timeout: time.Minute})
	defer link.Close()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r := Request{UnitID: 1, Kind: Holding, Address: 100, Quantity: 10}
	raw, stock, c := rawLoop(b, address), stockLoop(b, address), inC(b, address)

	var ours, least, library, other, busy, leastBusy time.Duration
	runs := []func(){
		func() {
			from := processor()
			ours += timed(func() {
				for range run {
					if _, err := link.Read(ctx, r); err != nil {
						b.Fatal(err)
					}
				}
			})
			busy += processor() - from
		},
		func() {
			from := processor()
			least += timed(func() { raw(run) })
			leastBusy += processor() - from
		},
		func() { library += timed(func() { stock(run) }) },
		func() { other += c(run) },
	}
	for turn := 0; b.Loop(); turn++ {
		// Who comes first finds the processor as another process left it, so all take
		// turns at that too.
		for k := range runs {
			runs[(turn+k*(1+2*(turn/4%2)))%len(runs)]()
		}
	}
	b.ReportMetric(float64(least)/float64(ours), "of-raw")
	b.ReportMetric(float64(least)/float64(library), "stock-of-raw")
	if other > 0 {
		b.ReportMetric(float64(least)/float64(other), "c-of-raw")
	}
	b.ReportMetric(float64(busy)/float64(leastBusy), "cpu-of-raw")
	b.ReportMetric(float64(ours.Microseconds())/float64(run*b.N), "us/read")
	b.ReportMetric(testing.AllocsPerRun(1000, func() { _, _ = link.Read(ctx, r) }), "allocs/read")
}

func timed(f func()) time.Duration {
	start := time.Now()
	f()
	return time.Since(start)
}

func rawLoop(b *testing.B, address string) func(n int) {
	conn, err := net.Dial("tcp", address)
	require.NoError(b, err)
	b.Cleanup(func() { conn.Close() })
	request, answer := []byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 100, 0, 10}, make([]byte, 29)
	return func(n int) {
		for range n {
			if _, err := conn.Write(request); err != nil {
				b.Fatal(err)
			}
			if _, err := io.ReadFull(conn, answer); err != nil {
				b.Fatal(err)
			}
		}
	}
}

func stockLoop(b *testing.B, address string) func(n int) {
	h := client.NewTCPClientHandler(address)
	h.SlaveId = 1
	require.NoError(b, h.Connect())
	b.Cleanup(func() { h.Close() })
	c := client.NewClient(h)
	return func(n int) {
		for range n {
			if _, err := c.ReadHoldingRegisters(100, 10); err != nil {
				b.Fatal(err)
			}
		}
	}
}

// inC is the client on libmodbus, in a process of its own; where it cannot be built it
// takes no time.
func inC(b *testing.B, address string) func(n int) time.Duration {
	if _, err := exec.LookPath("cc"); err != nil {
		b.Log("no C compiler: no comparison with a client in C")
		return func(int) time.Duration { return 0 }
	}
	_, port, err := net.SplitHostPort(address)
	require.NoError(b, err)
	o := start(b, libmodbus(b), "client", port)
	require.Equal(b, "ready", o.line(b))
	return func(n int) time.Duration {
		_, err := fmt.Fprintln(o.in, n)
		require.NoError(b, err)
		took, err := strconv.ParseInt(o.line(b), 10, 64)
		require.NoError(b, err)
		return time.Duration(took)
	}
}

// BenchmarkDecode times one value out of an answer.
func BenchmarkDecode(b *testing.B) {
	v := Value{Type: F32, Order: CDAB, Scale: 0.1, Sentinels: []uint64{0xFFFFFFFF, 0x7FFFFFFF}, Low: 0, High: 3000}
	data := make([]byte, 20)
	binary.BigEndian.PutUint32(data[8:], 0x00003F80)
	b.ReportAllocs()
	for b.Loop() {
		if _, cause := v.Pick(Holding, data, 4); cause != OK {
			b.Fatal(cause)
		}
	}
}

// echo serves ten registers as fast as it can.
func echo(b *testing.B) string {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	require.NoError(b, err)
	b.Cleanup(func() { l.Close() })
	go func() {
		for {
			conn, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer conn.Close()
				frame := make([]byte, 12)
				answer := append([]byte{0, 0, 0, 0, 0, 23, 1, 3, 20}, make([]byte, 20)...)
				for {
					if _, err := io.ReadFull(conn, frame); err != nil {
						return
					}
					copy(answer, frame[:2])
					if _, err := conn.Write(answer); err != nil {
						return
					}
				}
			}()
		}
	}()
	return l.Addr().String()
}
