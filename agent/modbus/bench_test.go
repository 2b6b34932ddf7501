package modbus

import (
	"context"
	"encoding/binary"
	"io"
	"net"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

// BenchmarkRead times a link beside the least that any client can do: a loop that
// writes a prepared request to the socket and reads the answer unseen. Both take
// turns in short runs, so that a busy machine slows both alike. "of-raw" is the
// link's rate as a part of the raw loop's.
func BenchmarkRead(b *testing.B) {
	const run = 64
	address := echo(b)
	link := Open(Settings{Address: address, Timeout: time.Minute})
	defer link.Close()
	conn, err := net.Dial("tcp", address)
	require.NoError(b, err)
	defer conn.Close()
	ctx, cancel := context.WithCancel(context.Background())
	defer cancel()
	r := Request{UnitID: 1, Kind: Holding, Address: 100, Quantity: 10}
	request := []byte{0, 1, 0, 0, 0, 6, 1, 3, 0, 100, 0, 10}
	answer := make([]byte, maxFrame)

	var ours, raw time.Duration
	for b.Loop() {
		start := time.Now()
		for range run {
			if _, err := link.Read(ctx, r); err != nil {
				b.Fatal(err)
			}
		}
		middle := time.Now()
		for range run {
			if _, err := conn.Write(request); err != nil {
				b.Fatal(err)
			}
			if _, err := io.ReadFull(conn, answer[:29]); err != nil {
				b.Fatal(err)
			}
		}
		ours += middle.Sub(start)
		raw += time.Since(middle)
	}
	b.ReportMetric(float64(raw)/float64(ours), "of-raw")
	b.ReportMetric(float64(ours.Microseconds())/float64(run*b.N), "us/read")
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
