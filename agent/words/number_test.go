package words

import (
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// What counts as on spec is never written as the endpoint or above, at any endpoint and any number of digits; what
// counts as off spec is written as it is.
func TestProductOnSpecIsNeverWrittenAsTheEndpoint(t *testing.T) {
	p := English()
	rapid.Check(t, func(t *rapid.T) {
		limit := float64(rapid.IntRange(1, 3_000_000).Draw(t, "limit, 0.001 uS/cm")) / 1000
		value := limit * rapid.Float64Range(0, 1).Draw(t, "part")
		if rapid.Bool().Draw(t, "very near") {
			value = limit - limit*1e-7
		}
		if value >= limit {
			t.Skip("not below")
		}
		shown, err := strconv.ParseFloat(p.ProductNumber(value, limit, true), 64)
		require.NoError(t, err)
		written, err := strconv.ParseFloat(strings.TrimSuffix(p.Limit(limit), " uS/cm"), 64)
		require.NoError(t, err)
		if shown >= written {
			t.Fatalf("%v is on spec below %v and is written %v", value, limit, shown)
		}
		if shown < value-0.0011 && value < 10*limit {
			t.Fatalf("%v is written %v: more than one count below", value, shown)
		}
	})
	assert.Equal(t, "1.500 uS/cm", p.Product(1.5, 1, false))
	assert.Equal(t, "1.000", p.ProductNumber(1, 1, false))
	assert.Equal(t, "0.999", p.ProductNumber(1, 1, true), "kept on spec in spite of its number")
	assert.Equal(t, "9.999", p.ProductNumber(9.9996, 10, true))
	assert.Equal(t, "1812", p.ProductNumber(1812.4, 1, false))
	assert.Equal(t, "0.0555 uS/cm", p.Limit(0.0555))
}

func TestNumbersCarryTheirUnits(t *testing.T) {
	us, metric := English(), English().With(Settings{Metric: true})
	pair := func(number, unit string) string { return number + " " + unit }
	flow, volume := signal.GallonPerMinute.Inside(148.4), signal.Gallon.Inside(1000)
	assert.Equal(t, "148 gpm", pair(us.Flow(flow)))
	assert.Equal(t, "562 L/min", pair(metric.Flow(flow)))
	assert.Equal(t, "1000 gal", pair(us.Volume(volume)))
	assert.Equal(t, "3.8 m3", pair(metric.Volume(volume)))
	for v, want := range map[float64]string{0.055: "0.055", 9.9996: "10.00", 61.24: "61.24", 612.44: "612.4", 1812.4: "1812"} {
		number, unit := us.Conductivity(v)
		assert.Equal(t, want, number)
		assert.Equal(t, "uS/cm", unit)
	}
}

func TestTimesInWords(t *testing.T) {
	p := English()
	for d, want := range map[time.Duration]string{
		0: "0 s", 45 * time.Second: "45 s", 90 * time.Second: "1 min 30 s", 10 * time.Minute: "10 min", 250 * time.Millisecond: "0.25 s",
		2*time.Hour + 5*time.Minute + 9*time.Second: "2 h 5 min", 76 * time.Hour: "3 d 4 h", time.Hour + 3*time.Second: "1 h", -time.Minute: "-1 min",
	} {
		assert.Equal(t, want, p.Duration(d))
	}
	for d, want := range map[time.Duration]string{
		900 * time.Millisecond: "0 s", 99 * time.Second: "99 s", 100 * time.Second: "1 min", 99 * time.Minute: "99 min", 5 * time.Hour: "5 h", 50 * time.Hour: "2 d",
	} {
		assert.Equal(t, want, p.Age(d))
	}
	for d, want := range map[time.Duration]string{
		0: "0:00", time.Millisecond: "0:01", 10 * time.Minute: "10:00", 9*time.Minute + 59*time.Second + 1: "10:00", 65 * time.Second: "1:05",
		time.Hour + time.Second: "1:00:01", -time.Second: "0:00",
	} {
		assert.Equal(t, want, Countdown(d))
	}
	at := time.Date(2031, 3, 9, 14, 5, 7, 0, time.UTC)
	twelve := p.With(Settings{Clock12: true, Location: time.FixedZone("plant", -5*3600)})
	assert.Equal(t, "14:05", p.Clock(at))
	assert.Equal(t, "14:05:07", p.ClockSeconds(at))
	assert.Equal(t, "9:05 AM", twelve.Clock(at))
	assert.Equal(t, "9:05:07 AM", twelve.ClockSeconds(at))
}
