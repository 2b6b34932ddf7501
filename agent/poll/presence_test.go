package poll_test

import (
	"testing"
	"testing/synctest"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/rules/signal"
)

// gone makes the device answer as a gateway does for one without power, or end that.
func (d *device) gone(on bool) {
	d.set(func(d *device) {
		d.script = nil
		if on {
			d.script = func(ask) reply { return reply{exception: modbus.GatewayTarget} }
		}
	})
}

// presence is an analyzer with a contact in it, as a unit with a relay has.
func presence(t testing.TB, change func(*poll.Instrument)) (*bench, *device) {
	d := newDevice(nil)
	d.float(0, 0.5)
	d.registers[4] = 1
	in := analyzer()
	in.Signals = append(in.Signals, poll.Signal{ID: signal.ControlPower, Kind: modbus.Input, Register: 4, Type: modbus.Bit})
	change(&in)
	return newBench(t, poll.Settings{Instruments: []poll.Instrument{in}}, map[string]*device{analyzerAt: d}), d
}

// After a loss of two polls or more an analyzer may have lost its supply: a number is no reading until it has warmed up;
// contacts and what is bad count at once.
func TestWarmUp(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, d := presence(t, func(in *poll.Instrument) { in.WarmUp = 30 * time.Second })
		require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity], "the first answer of all counts")

		d.gone(true)
		require.Equal(t, none(signal.Busy), b.scan()[signal.ProductConductivity])
		d.gone(false)
		require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity], "one lost poll is the line's noise")

		d.gone(true)
		b.scan()
		b.scan()
		d.gone(false)
		for k := range 30 {
			if k == 10 {
				d.float(0, 0) // an analyzer that gives zeros is faulty, warm or not
			}
			if k == 11 {
				d.float(0, 0.25)
			}
			set := b.scan()
			want := none(signal.Busy)
			if k == 10 {
				want = bad(signal.Implausible)
			}
			require.Equal(t, want, set[signal.ProductConductivity], "%d s after the return", k)
			require.Equal(t, good(1), set[signal.ControlPower])
			assert.Equal(t, agent.WarmingUp, b.source.Health()[0].Withheld)
		}
		require.Equal(t, good(0.25), b.scan()[signal.ProductConductivity])
		h := b.source.Health()[0]
		assert.Equal(t, agent.NotWithheld, h.Withheld)
		assert.EqualValues(t, 1, h.Losses)
	})
}

// A link that comes and goes is held off, contacts too, until it has been steady; then its past is forgotten.
func TestHoldOff(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, d := presence(t, func(in *poll.Instrument) {
			in.HoldOff = poll.HoldOff{Losses: 3, Within: time.Minute, Steady: 20 * time.Second}
		})
		flap := func() signal.Reading {
			d.gone(true)
			b.scan()
			b.scan()
			d.gone(false)
			return b.scan()[signal.ProductConductivity]
		}
		b.scan()
		require.Equal(t, good(0.5), flap())
		require.Equal(t, good(0.5), flap())
		require.Equal(t, none(signal.LinkDown), flap(), "the third loss within a minute")
		for k := 1; k < 20; k++ {
			set := b.scan()
			require.Equal(t, none(signal.LinkDown), set[signal.ProductConductivity], "%d s", k)
			require.Equal(t, none(signal.LinkDown), set[signal.ControlPower])
		}
		assert.Equal(t, agent.Flapping, b.source.Health()[0].Withheld)
		require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
		require.Equal(t, good(0.5), flap())
		require.Equal(t, good(0.5), flap())
		// A single lost poll while held off begins the steady time anew.
		require.Equal(t, none(signal.LinkDown), flap())
		for range 15 {
			b.scan()
		}
		d.gone(true)
		b.scan()
		d.gone(false)
		for range 20 {
			require.Equal(t, none(signal.LinkDown), b.scan()[signal.ProductConductivity])
		}
		require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
		assert.EqualValues(t, 6, b.source.Health()[0].Losses)
	})
}

// Losses that lie far apart are no flapping.
func TestRareLossesAreBelieved(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, d := presence(t, func(in *poll.Instrument) {
			in.HoldOff = poll.HoldOff{Losses: 2, Within: 10 * time.Second, Steady: time.Minute}
		})
		for range 5 {
			for range 10 {
				require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
			}
			d.gone(true)
			b.scan()
			b.scan()
			d.gone(false)
		}
	})
}

// A refusal is an answer: an instrument that says no has not lost its supply.
func TestRefusalsAreNoLoss(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, d := presence(t, func(in *poll.Instrument) { in.WarmUp = time.Minute })
		b.scan()
		d.set(func(d *device) { d.script = func(ask) reply { return reply{exception: modbus.DeviceFailure} } })
		for range 5 {
			require.Equal(t, bad(signal.Refused), b.scan()[signal.ProductConductivity])
		}
		d.gone(false)
		require.Equal(t, good(0.5), b.scan()[signal.ProductConductivity])
		assert.Zero(t, b.source.Health()[0].Losses)
	})
}

// However a link comes and goes: no number within the warm-up after a loss of two polls, none while held off, and with
// an end of the losses numbers come back after at most the longer of the two times.
func TestPresenceOfAnyLink(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		warm := rapid.IntRange(0, 10).Draw(t, "warm")
		losses, within, steady := rapid.IntRange(0, 4).Draw(t, "losses"), rapid.IntRange(1, 40).Draw(t, "within"), rapid.IntRange(0, 10).Draw(t, "steady")
		answers := rapid.SliceOfN(rapid.Bool(), 1, 120).Draw(t, "answers")
		for range warm + steady + 1 {
			answers = append(answers, true)
		}
		second := time.Second
		p := poll.NewPresence(time.Duration(warm)*second, poll.HoldOff{
			Losses: losses, Within: time.Duration(within) * second, Steady: time.Duration(steady) * second,
		})
		silent, seen, back := 0, false, -1000
		for at, answered := range answers {
			got := p.Poll(time.Duration(at)*second, answered)
			if !answered {
				silent++
				continue
			}
			if silent >= 2 && seen {
				back = at
			}
			silent, seen = 0, true
			if at-back < warm && got == agent.NotWithheld {
				t.Fatalf("a number %d s after a loss, warm-up %d s", at-back, warm)
			}
			if losses == 0 && at-back >= warm && got != agent.NotWithheld {
				t.Fatalf("%v at %d s without a reason", got, at)
			}
			if at == len(answers)-1 && got != agent.NotWithheld {
				t.Fatalf("%v though steady", got)
			}
		}
	})
}
