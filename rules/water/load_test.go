package water_test

import (
	"math"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/water"
)

// Worked examples of public articles, rounded as they print them.
func TestRunLengths(t *testing.T) {
	for _, l := range table(t, "run_length.csv") {
		work := water.Kilograins(l.number("capacity_kgr_ft3") * l.number("resin_ft3"))
		v := ok(water.RunLength(work, water.GrainsPerGallon(l.number("load_gpg"))))
		assert.InEpsilon(t, l.number("gallons_expected"), v.Gallons(), 2e-5, l.text("case"))
	}
	// A mixed bed just regenerated has 9 kgr/ft3 where a new one has 10.
	assert.InEpsilon(t, 7200, ok(water.RunLength(water.Kilograins(180), water.GrainsPerGallon(25))).Gallons(), 1e-12)
}

func TestLoadOf(t *testing.T) {
	b := ok(water.LoadOf(300, water.AnyFeed))
	assert.Equal(t, water.LoadBand{Low: 120, Likely: 120, High: 150}, b, "the rule of thumb, 2.5, is the lenient end")
	for _, d := range []water.Divisors{water.BicarbonateFeed, water.ChlorideFeed} {
		in := ok(water.LoadOf(300, d))
		assert.Less(t, in.Low, in.Likely)
		assert.Less(t, in.Likely, in.High)
		assert.GreaterOrEqual(t, in.Low, b.Low)
		assert.LessOrEqual(t, in.High, b.High)
	}
	out[water.LoadBand](t, "conductivity")(water.LoadOf(-1, water.AnyFeed))
	out[water.LoadBand](t, "lowest divisor")(water.LoadOf(300, water.Divisors{}))
	out[water.LoadBand](t, "likely divisor")(water.LoadOf(300, water.Divisors{Low: 2.5, Likely: 2, High: 2.5}))
	out[water.LoadBand](t, "highest divisor")(water.LoadOf(300, water.Divisors{Low: 2, Likely: 2.5, High: 2.4}))
}

// What was fed over a run is the capacity it used: to 1e-9, whatever the units.
func TestLoadBalanceCloses(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		work := water.Kilograins(rapid.Float64Range(1, 1e5).Draw(t, "kgr"))
		load := water.GrainsPerGallon(rapid.Float64Range(0.1, 200).Draw(t, "gpg"))
		v := ok(water.RunLength(work, load))
		require.InEpsilon(t, float64(work), float64(ok(water.Fed(v, load))), 1e-9)
		require.InEpsilon(t, work.Equivalents(), 1e-3*load.Milliequivalents()*float64(v)*1000, 1e-9, "meq/L x L")
		part := rapid.Float64Range(0, 1).Draw(t, "part")
		fed := ok(water.Fed(v*water.Volume(part), load))
		left := ok(water.Left(work, fed, load, 1, 0)).Likely
		require.InDelta(t, float64(v), float64(v)*part+float64(left), 1e-9*float64(v))
	})
}

func TestTimeFor(t *testing.T) {
	assert.Equal(t, 10*time.Minute, ok(water.TimeFor(water.Gallons(3000), water.GPM(300))))
	assert.Zero(t, ok(water.TimeFor(0, 1)))
	out[time.Duration](t, "flow")(water.TimeFor(1, 0))
	out[time.Duration](t, "flow")(water.TimeFor(1, water.Flow(math.NaN())))
	out[time.Duration](t, "volume")(water.TimeFor(-1, 1))
	out[time.Duration](t, "time")(water.TimeFor(1e6, 1e-3))
}

func TestLoadsRefuse(t *testing.T) {
	out[water.Volume](t, "load")(water.RunLength(1, 0))
	out[water.Volume](t, "amount")(water.RunLength(-1, 1))
	out[water.Volume](t, "volume")(water.RunLength(1e9, 1e-6))
	out[water.Amount](t, "volume")(water.Fed(-1, 1))
	out[water.Amount](t, "load")(water.Fed(1, water.Load(math.NaN())))
}

func TestRemoval(t *testing.T) {
	assert.InDelta(t, 300, ok(water.Removal(300.055, 1.055)), 0.01)
	out[float64](t, "product conductivity")(water.Removal(300, 0.05))
	out[float64](t, "product conductivity")(water.Removal(1, 2))
	out[float64](t, "conductivity")(water.Removal(-1, 2))
}
