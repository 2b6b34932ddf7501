package mqtt

import (
	"fmt"
	"sync"
	"testing"
	"time"

	paho "github.com/eclipse/paho.mqtt.golang"
	"github.com/stretchr/testify/require"

	"ionward/agent/forward/forwardtest"
)

// BenchmarkDrain empties a journal through the client, and sends the same payloads with the library alone and the same
// window; it prints the ratio of the two.
func BenchmarkDrain(b *testing.B) {
	const entries, window = 20000, 256
	br := newBroker(b, nil)
	j := forwardtest.Open(b, b.TempDir())
	for from := uint64(1); from <= entries; from += 1000 {
		forwardtest.Record(j, from, from+999)
	}
	set := settings(br.address)
	set.Feed.Window = window
	payload := set.logOf(forwardtest.Entry(12345, false))
	var drained, bare time.Duration
	for n := range b.N {
		j.SetCursor("mqtt", j.Epoch(), 0)
		c := start(b, set, j, nil)
		eventually(b, "up", func() bool { return c.Health().Connected })
		began := time.Now()
		for c.Health().Feed.Cursor < entries {
			time.Sleep(time.Millisecond)
		}
		drained += time.Since(began)
		c.stop()
		bare += library(b, br.address, fmt.Sprintf("bare-%d", n), payload, entries, window)
	}
	b.ReportMetric(float64(entries*b.N)/drained.Seconds(), "scans/s")
	b.ReportMetric(float64(entries*b.N)/bare.Seconds(), "bare/s")
	b.ReportMetric(bare.Seconds()/drained.Seconds(), "ratio")
	b.ReportMetric(float64(len(payload)), "bytes")
}

// library sends n times the payload with at most window messages in flight.
func library(b *testing.B, address, id string, payload []byte, n, window int) time.Duration {
	o := paho.NewClientOptions().AddBroker("mqtt://" + address).SetClientID(id).SetProtocolVersion(4).SetAutoReconnect(false).SetOrderMatters(false)
	client := paho.NewClient(o)
	token := client.Connect()
	require.True(b, token.WaitTimeout(waitLimit))
	require.NoError(b, token.Error())
	defer client.Disconnect(100)
	flying := make(chan paho.Token, window-1)
	var wg sync.WaitGroup
	wg.Add(1)
	began := time.Now()
	go func() {
		defer wg.Done()
		for token := range flying {
			<-token.Done()
		}
	}()
	for range n {
		flying <- client.Publish("plant/bare/log", 1, false, payload)
	}
	close(flying)
	wg.Wait()
	return time.Since(began)
}
