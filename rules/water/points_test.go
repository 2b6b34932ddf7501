package water_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"ionward/rules/water"
)

func TestPointsSlide(t *testing.T) {
	p := water.Points{Apart: 10}
	for i := range 10000 {
		taken := p.Add(water.Volume(i), water.Conductivity(i))
		require.Equal(t, i%10 == 0, taken)
	}
	require.Equal(t, water.MaxPoints, p.Count)
	require.EqualValues(t, 9990, p.Through[p.Count-1])
	for i := 1; i < p.Count; i++ {
		require.EqualValues(t, 10, p.Through[i]-p.Through[i-1])
		require.EqualValues(t, p.Through[i], p.Product[i], "each keeps its reading")
	}
	before := p
	for _, v := range []water.Volume{9990, 9999, 5, -1, water.Volume(math.NaN())} {
		require.False(t, p.Add(v, 1))
	}
	require.False(t, p.Add(1e6, -1))
	require.False(t, p.Add(1e6, water.Conductivity(math.NaN())))
	require.Equal(t, before, p, "what is not taken leaves no trace")
	broken := water.Points{Count: 99}
	require.False(t, broken.Add(1, 1))
	_, _, _, err := broken.Level()
	require.ErrorContains(t, err, "number of points")
}

func TestLevel(t *testing.T) {
	p := points(t, "forecast_flat.csv")
	base, off, level, err := p.Level()
	require.NoError(t, err)
	require.True(t, level)
	assert.InDelta(t, 0.0848, float64(base), 1e-12, "the median")
	assert.Less(t, off, water.Conductivity(0.0005))
	assert.Positive(t, off)
	for name, p := range map[string]*water.Points{"rises": points(t, "forecast_case.csv"), "none": {}} {
		_, _, level, err := p.Level()
		require.NoError(t, err)
		assert.False(t, level, name)
	}
	same := &water.Points{}
	for i := range 20 {
		same.Add(water.Volume(i), 0.08)
	}
	base, off, level, err = same.Level()
	require.NoError(t, err)
	require.True(t, level, "an instrument without noise is level, not without a trend")
	assert.InDelta(t, 0.08, float64(base), 0)
	assert.Zero(t, off)
	assert.Zero(t, testing.AllocsPerRun(100, func() { _, _, _, _ = p.Level() }))
}
