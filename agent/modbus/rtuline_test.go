package modbus

import (
	"context"
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

// Between two frames a line is silent for T3.5: at 9600 baud 4.01 ms, above 19200
// baud 1.75 ms.
func TestSilenceBetweenFrames(t *testing.T) {
	for address, want := range map[string]time.Duration{
		"rtu:///dev/ttyTest?baud=9600":   0, // as the address says
		"rtu:///dev/ttyTest?baud=115200": 1750 * time.Microsecond,
	} {
		synctest.Test(t, func(t *testing.T) {
			p := &peer{rtu: true}
			defer p.end()
			link := Open(Settings{Address: address, Dial: p.dial})
			defer link.Close()
			if want == 0 {
				want = link.Address().Silence()
				require.InDelta(t, 4.01, want.Seconds()*1000, 0.01)
			}
			mustRead(t, link, first) // the first listens for longer
			for range 5 {
				begun := time.Now()
				mustRead(t, link, second)
				require.Equal(t, want, time.Since(begun))
			}
		})
	}
}

// A unit that does not answer is soon asked rarely, and its neighbours on the line are
// answered all the while. When it is back it is found within seconds.
func TestDeadUnitOnALine(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		dead := true
		p := &peer{rtu: true, usual: func(c call) {
			if c.unit() != 2 || !dead {
				c.send(c.good())
			}
		}}
		defer p.end()
		link := Open(Settings{Address: onSerialLine, Dial: p.dial})
		defer link.Close()
		var spent time.Duration
		for i := range 120 {
			mustRead(t, link, first)
			begun := time.Now()
			_, err := link.Read(t.Context(), second)
			require.Truef(t, match(err, ErrTimeout), "%v", err)
			if took := time.Since(begun); i > 30 {
				spent += took
			}
			time.Sleep(time.Second)
		}
		assert.Less(t, spent, 30*time.Second, "of about two minutes")
		dead = false
		back := time.Now()
		for {
			if _, err := link.Read(t.Context(), second); err == nil {
				break
			}
			time.Sleep(100 * time.Millisecond)
		}
		assert.LessOrEqual(t, time.Since(back), 6*time.Second)
		sessions, _, _ := p.count()
		assert.Equal(t, 1, sessions, "the line was never to blame")
	})
}

// Two clients on one line: while the other talks nothing is asked, and it is said.
func TestLineThatIsNeverSilent(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{rtu: true}
		defer p.end()
		link := Open(Settings{Address: onSerialLine, Dial: p.dial})
		defer link.Close()
		mustRead(t, link, first)
		stop := make(chan struct{})
		done := make(chan struct{})
		p.next(func(c call) {
			c.send(c.good())
			go func() {
				defer close(done)
				for {
					select {
					case <-stop:
						return
					case <-time.After(50 * time.Millisecond):
						c.send(c.frame, c.good())
					}
				}
			}()
		})
		mustRead(t, link, first)
		time.Sleep(time.Second)
		begun := time.Now()
		_, err := link.Read(t.Context(), second)
		require.Truef(t, match(err, ErrFrame), "%v", err)
		require.ErrorContains(t, err, "does another client use it?")
		require.Equal(t, time.Second, time.Since(begun), "one deadline")
		close(stop)
		<-done
		mustRead(t, link, second)
	})
}

// One deadline covers connecting, silence, asking, and asking again.
func TestOneDeadlineRTU(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := &peer{rtu: true}
		defer p.end()
		link := Open(Settings{Address: onConverter, Dial: p.dial})
		defer link.Close()
		mustRead(t, link, second)
		for name, step := range map[string]func(call){
			"silence": silent, "half": partial(5), "slow": sleepy(time.Minute),
			"trickle": func(c call) {
				for _, b := range c.good() {
					c.send([]byte{b})
					time.Sleep(200 * time.Millisecond)
				}
			},
		} {
			p.next(step)
			begun := time.Now()
			r := other
			r.Timeout = 700 * time.Millisecond
			_, err := link.Read(t.Context(), r)
			require.Error(t, err, name)
			require.Equal(t, 700*time.Millisecond, time.Since(begun), name)

			ctx, cancel := context.WithTimeout(t.Context(), 300*time.Millisecond)
			p.next(silent)
			begun = time.Now()
			_, err = link.Read(ctx, other)
			cancel()
			require.Error(t, err, name)
			require.LessOrEqual(t, time.Since(begun), 300*time.Millisecond, name)
			p.next()
			time.Sleep(2 * time.Minute)
			mustRead(t, link, second)
		}
	})
}

// Cancelling ends a request at once, in each of its phases, and what it leaves behind
// goes to nobody.
func TestCancelRTU(t *testing.T) {
	for _, after := range []time.Duration{0, time.Millisecond, 50 * time.Millisecond, 104 * time.Millisecond, 500 * time.Millisecond} {
		synctest.Test(t, func(t *testing.T) {
			p := &peer{rtu: true}
			defer p.end()
			link := Open(Settings{Address: onConverter, Dial: p.dial})
			defer link.Close()
			p.next(sleepy(1500*time.Millisecond), sleepy(300*time.Millisecond))
			for range 2 {
				ctx, cancel := context.WithCancel(t.Context())
				time.AfterFunc(after, cancel)
				begun := time.Now()
				_, err := link.Read(ctx, second)
				require.Truef(t, match(err, ErrCancelled), "%v", err)
				require.Equal(t, after, time.Since(begun))
			}
			for good := 0; good < 4; {
				data, err := link.Read(t.Context(), other)
				if err == nil {
					good++
					require.Equal(t, expected(other), data)
				}
			}
		})
	}
}
