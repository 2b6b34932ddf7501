package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// ledger keeps the account of the water by hand, instant by instant, from the readings and the modes.
type ledger struct {
	flow, rinse, relief float64
	flowAt              time.Duration // when flow was last read
	flowKnown           bool
	reliefRead          bool // in the newest scan
	good                bool // the product reading of the newest scan
	product             float64

	volumes    [Buckets]float64
	in         [Modes]time.Duration
	unmeasured time.Duration
	slow       float64
	weighted   float64
	reliefTime time.Duration
	relieved   float64
	worst      float64
	hasWorst   bool
}

// pass lets the gap before an instant pass, in the mode that held in it.
func (a *ledger) pass(l *look) {
	mode, dt := l.before.Mode, l.in.Gap
	if !l.before.Started {
		return
	}
	a.in[mode] += dt
	measured := dt
	if stands := a.flowAt + time.Minute - (l.watch.now - dt); !a.flowKnown || stands < 0 {
		measured = 0
	} else if stands < dt {
		measured = stands
	}
	a.unmeasured += dt - measured
	volume := a.flow * measured.Hours()
	bucket := a.bucket(mode, l.before.Off())
	a.volumes[bucket] += volume
	switch bucket {
	case ToOnSpec, ToOffSpecDelay, ToOffSpecBypass:
		a.weighted += volume * a.product
	}
	if a.flow < l.set.Alarms[alarm.FlowTooLow].Limit {
		a.slow += volume
	}
	if (a.reliefRead && a.relief == 1) || (!a.reliefRead && mode == Shut) {
		a.reliefTime += dt
		a.relieved += volume
	}
}

func (a *ledger) bucket(mode Mode, off bool) Bucket {
	switch {
	case mode == NoPower, mode == Shut:
		return ToInletShut
	case a.rinse == 1:
		return ToRinse
	case !a.good:
		return ToUnknown
	case !off:
		return ToOnSpec
	case mode == Bypass:
		return ToOffSpecBypass
	}
	return ToOffSpecDelay
}

// read takes down what a scan shows.
func (a *ledger) read(l *look) {
	if !l.in.Scan {
		return
	}
	if r := l.in.Readings[signal.Flow]; r.Usable() {
		a.flow, a.flowAt, a.flowKnown = r.Value, l.watch.now, true
	}
	if r := l.in.Readings[signal.RinseOpen]; r.Usable() {
		a.rinse = r.Value
	}
	r := l.in.Readings[signal.ReliefOpen]
	if a.reliefRead = r.Usable(); a.reliefRead {
		a.relief = r.Value
	}
	p := l.product()
	a.good = p.Quality == signal.Good
	if p.Usable() {
		a.product = p.Value
	}
	if a.good && (!a.hasWorst || p.Value > a.worst) {
		a.worst, a.hasWorst = p.Value, true
	}
}

// compare holds the account of the rule against the ledger. seen are settings in which the meter sees the relief.
func (a *ledger) compare(t *rapid.T, seen *Settings, s *State) {
	c := &s.Custody
	const close = 1e-9
	delivered := 0.0
	for b := range Bucket(Buckets) {
		require.InDelta(t, a.volumes[b], c.Volume(b), close, "%v", b)
		if b >= ToOnSpec {
			delivered += a.volumes[b]
		}
	}
	require.Equal(t, a.in, c.In)
	require.Equal(t, a.unmeasured, c.Unmeasured)
	require.Equal(t, a.reliefTime, c.ReliefTime)
	require.InDelta(t, a.slow, c.UncertainVolume(), close)
	require.Equal(t, a.hasWorst, c.HasMax)
	require.InDelta(t, a.worst, c.Max, 0)
	mean, ok := c.FlowWeighted()
	require.Equal(t, delivered > 0, ok)
	if delivered > 0 {
		require.InDelta(t, a.weighted/delivered, mean, close*(1+mean))
	}
	relieved, estimated, known := c.ReliefVolume(seen)
	require.True(t, known && !estimated)
	require.InDelta(t, a.relieved, relieved, close)
}

func TestCustodyAgreesWithALedger(t *testing.T) {
	seen := Defaults()
	seen.Profile.ReliefTee.Seen = true
	limit := seen.Alarms[alarm.FlowTooLow].Limit
	require.Positive(t, limit)
	var total ledger
	rapid.Check(t, func(t *rapid.T) {
		r := drawRun(t)
		for i := range r.inputs {
			in := &r.inputs[i]
			switch rapid.IntRange(0, 9).Draw(t, "custody") {
			case 0:
				in.Gap += 90 * time.Second // longer than a flow reading stands
			case 1:
				in.Readings[signal.RinseOpen] = signal.Reading{Value: 1, Quality: signal.Good}
			case 2, 3:
				in.Readings[signal.ReliefOpen] = signal.Reading{Value: float64(rapid.IntRange(0, 1).Draw(t, "relief")), Quality: signal.Good}
			case 4:
				continue // flow not read
			}
			flow := rapid.SampledFrom([]float64{0, 5, limit, limit + 0.001, 40}).Draw(t, "flow")
			in.Readings[signal.Flow] = signal.Reading{Value: flow, Quality: signal.Good}
			if in.Scan && rapid.Bool().Draw(t, "rinse shut") && in.Readings[signal.RinseOpen].Quality == signal.None {
				in.Readings[signal.RinseOpen] = signal.Reading{Quality: signal.Good}
			}
		}
		var a ledger
		r.each(func(l *look) {
			a.pass(l)
			a.read(l)
			a.compare(t, &seen, &l.after)
		})
		total.unmeasured += a.unmeasured
		total.reliefTime += a.reliefTime
		for b := range a.volumes {
			total.volumes[b] += a.volumes[b]
		}
	})
	require.Positive(t, total.unmeasured)
	require.Positive(t, total.reliefTime)
	for b, v := range total.volumes {
		require.Positive(t, v, "no water went to %v: nothing was proved of it", Bucket(b))
	}
}
