package modbus

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"
	"time"

	"pgregory.net/rapid"
)

// Any sequence of misbehaviour, any sequence of requests: never a wrong value, and
// afterwards all is well again.
func TestNeverAWrongValue(t *testing.T) {
	requests := []Request{first, second, third, bits}
	rapid.Check(t, func(rt *rapid.T) {
		var all []bad
		for _, b := range misbehaviours() {
			if !b.settings.ZeroID {
				all = append(all, b)
			}
		}
		faults := rapid.SliceOfN(rapid.IntRange(0, len(all)-1), 1, 8).Draw(rt, "faults")
		asked := rapid.SliceOfN(rapid.SampledFrom(requests), 8, 40).Draw(rt, "requests")
		pause := rapid.SampledFrom([]time.Duration{0, time.Second, 15 * time.Second}).Draw(rt, "pause")
		var failed error
		synctest.Test(t, func(t *testing.T) {
			p := &peer{}
			defer p.end()
			for _, f := range faults {
				p.script = append(p.script, all[f].steps...)
			}
			link := Open(Settings{Dial: p.dial})
			defer link.Close()
			if failed = survive(link, asked, pause); failed != nil {
				return
			}
			p.next()
			time.Sleep(link.settings.RetryMost)
			// Junk behind the last answer may cost one more request.
			_, _ = link.Read(context.Background(), first)
			time.Sleep(link.settings.RetryMost)
			failed = strict(link, requests)
		})
		if failed != nil {
			rt.Fatal(failed)
		}
	})
}

// survive asks, and minds only wrong data.
func survive(link *Link, asked []Request, pause time.Duration) error {
	for _, r := range asked {
		data, err := link.Read(context.Background(), r)
		if err == nil && string(data) != string(expected(r)) {
			return errors.New("wrong data for " + r.String())
		}
		time.Sleep(pause)
	}
	return nil
}

// strict asks, and minds errors too.
func strict(link *Link, asked []Request) error {
	for _, r := range asked {
		data, err := link.Read(context.Background(), r)
		if err != nil || string(data) != string(expected(r)) {
			return errors.Join(errors.New("not mended: "+r.String()), err)
		}
	}
	return nil
}
