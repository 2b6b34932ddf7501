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
	list := misbehaviours()
	rapid.Check(t, func(rt *rapid.T) {
		chaos(t, rt, Settings{}, &peer{}, list, []Request{first, second, third, bits})
	})
}

// On a line too, where answers carry no mark of their request. The requests look
// alike, and some answers are later than anybody would listen.
func TestNeverAWrongValueRTU(t *testing.T) {
	for _, address := range []string{onConverter, onSerialLine} {
		rapid.Check(t, func(rt *rapid.T) {
			list := misbehavioursRTU()
			for _, d := range rapid.SliceOfN(rapid.IntRange(1, 8000), 3, 3).Draw(rt, "lateness in ms") {
				list = append(list, bad{steps: []func(call){sleepy(time.Duration(d) * time.Millisecond)}})
			}
			chaos(t, rt, Settings{Address: address}, &peer{rtu: true}, list, []Request{second, other, second, other, third, bits, first})
		})
	}
}

func chaos(t *testing.T, rt *rapid.T, settings Settings, p *peer, list []bad, requests []Request) {
	faults := rapid.SliceOfN(rapid.IntRange(0, len(list)-1), 1, 8).Draw(rt, "faults")
	asked := rapid.SliceOfN(rapid.SampledFrom(requests), 8, 40).Draw(rt, "requests")
	pause := rapid.SampledFrom([]time.Duration{0, time.Second, 15 * time.Second}).Draw(rt, "pause")
	var failed error
	synctest.Test(t, func(t *testing.T) {
		defer p.end()
		for _, f := range faults {
			if s := list[f].settings; !s.ZeroID && !s.Echo {
				p.script = append(p.script, list[f].steps...)
			}
		}
		settings.Dial = p.dial
		link := Open(settings)
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
