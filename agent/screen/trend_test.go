package screen

import (
	"encoding/json"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/signal"
)

// Whatever comes in, in whatever order: the trend stays bounded, keeps its span, and no peak or dip of a reading that is
// still in it is lost.
func TestTheTrendKeepsEveryPeak(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		tr := new(trend)
		type sample struct {
			key int64
			v   float64
		}
		var all []sample
		at := int64(1_900_000_000) * int64(time.Second)
		for range rapid.IntRange(1, 300).Draw(t, "readings") {
			at += int64(rapid.IntRange(-20, 120).Draw(t, "gap, s")) * int64(time.Second)
			v := float64(rapid.IntRange(0, 5000).Draw(t, "value")) / 1000
			usable := rapid.IntRange(0, 5).Draw(t, "usable") > 0
			before := tr.newest
			tr.add(at, v, usable)
			if key := at / int64(trendStep); usable && key > before-int64(trendSize) {
				all = append(all, sample{key, v})
			}
		}
		list := tr.since(0)
		require.LessOrEqual(t, len(list), trendSize)
		for i, b := range list {
			require.Greater(t, b.key, tr.newest-int64(trendSize))
			require.LessOrEqual(t, b.lo, b.hi)
			if i > 0 {
				require.Greater(t, b.key, list[i-1].key)
			}
		}
		byKey := map[int64]bucket{}
		for _, b := range list {
			byKey[b.key] = b
		}
		for _, x := range all {
			if x.key <= tr.newest-int64(trendSize) {
				continue
			}
			require.LessOrEqual(t, byKey[x.key].lo, x.v)
			require.GreaterOrEqual(t, byKey[x.key].hi, x.v)
		}
	})
}

func TestGapsStayGaps(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	moves := func() int {
		line, _ := s.trend.paths(3)
		return strings.Count(line, "M")
	}
	u.run(60, time.Second)
	assert.Equal(t, 1, moves())
	// One lost poll is no gap, half a minute without a reading is.
	u.lose(signal.ProductConductivity)
	u.run(1, time.Second)
	u.analog(signal.ProductConductivity, 0.1)
	u.run(20, time.Second)
	assert.Equal(t, 1, moves())
	u.lose(signal.ProductConductivity)
	u.run(30, time.Second)
	u.analog(signal.ProductConductivity, 0.1)
	u.run(20, time.Second)
	assert.Equal(t, 2, moves())
	// A bad reading is none either, and nothing at all for long is not bridged.
	u.readings[signal.ProductConductivity] = signal.Reading{Quality: signal.Bad, Cause: signal.NotANumber}
	u.run(10, time.Second)
	u.analog(signal.ProductConductivity, 0.1)
	u.run(20, time.Second)
	assert.Equal(t, 3, moves())
	u.at = u.at.Add(45 * time.Second)
	u.run(5, time.Second)
	assert.Equal(t, 4, moves())
	// Polls every 20 s are joined.
	u.run(10, 20*time.Second)
	assert.Equal(t, 4, moves())
}

func TestOffScaleIsMarked(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	u.analog(signal.ProductConductivity, 3)
	u.run(1, time.Second)
	_, off := s.trend.paths(3)
	assert.Empty(t, off)
	assert.Equal(t, "no", s.view().fields["trend.off"])
	u.analog(signal.ProductConductivity, 3.001)
	u.run(5, time.Second)
	line, off := s.trend.paths(3)
	assert.NotEmpty(t, off)
	assert.NotContains(t, line, "-", "nothing is drawn outside the plot")
	assert.Equal(t, "yes", s.view().fields["trend.off"])
}

func TestTheEndpointLineIsWhereTheEndpointIs(t *testing.T) {
	assert.EqualValues(t, 200, height(1, 3))
	assert.EqualValues(t, 300, height(0, 3))
	assert.EqualValues(t, 0, height(9, 3))
}

func TestTheTrendIsFilledFromTheRecord(t *testing.T) {
	u := newUnit()
	s := newScreen(t, u, nil)
	for i := range 60 {
		s.Fill(u.at.Add(time.Duration(i-60)*30*time.Second), signal.ProductConductivity.Default(0.2, signal.Good))
	}
	u.run(1, time.Second)
	var reply trendReply
	require.NoError(t, json.Unmarshal(get(t, s, "/trend").Body.Bytes(), &reply))
	assert.Len(t, reply.Points, 60)
	assert.Equal(t, 3.0, reply.Top)
	assert.Equal(t, 4.0, reply.Step)
	assert.Equal(t, trendSize, reply.Size)
	assert.Equal(t, 0.2, reply.Points[0][1])
	assert.EqualValues(t, reply.Newest, reply.Points[59][0])
}
