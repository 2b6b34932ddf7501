package alarm

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// raise lets an alarm come and go at once.
func ring(f *Figures, at time.Duration, id ID) {
	f.Take(at, id, Normal, Unacknowledged, Low)
	f.Take(at, id, Unacknowledged, Returned, Low)
}

func TestFiguresOfAQuietDay(t *testing.T) {
	var f Figures
	f.Begin(time.Hour)
	f.Take(2*time.Hour, OffSpec, Normal, Unacknowledged, High)
	f.Take(3*time.Hour, OffSpec, Unacknowledged, Acknowledged, High)
	f.Take(4*time.Hour, OffSpec, Acknowledged, Normal, High)
	f.Take(5*time.Hour, Frozen, Normal, Unacknowledged, Low)
	f.Take(5*time.Hour, Swapped, Normal, Suppressed, Low)
	r := f.Report(25 * time.Hour)
	assert.Equal(t, 24*time.Hour, r.Span)
	assert.Equal(t, 2, r.Raised, "an acknowledgement and a suppression are no alarm")
	assert.Equal(t, [3]int{1, 0, 1}, r.ByPriority)
	assert.InDelta(t, 2, r.ADay, 1e-9)
	assert.InDelta(t, 2.0/144, r.PerTen, 1e-9)
	assert.Equal(t, 1, r.WorstTen)
	assert.Equal(t, 1, r.Standing)
	assert.Empty(t, r.Stale, "20 h are not stale")
	assert.Empty(t, r.Chattering)
	assert.Equal(t, []Bad{{OffSpec, 1, 0.5}, {Frozen, 1, 0.5}}, r.Top)
	assert.Equal(t, []ID{Frozen}, f.Report(30*time.Hour).Stale)
	assert.Empty(t, f.Report(25*time.Hour).Stale, "a report changes nothing")
}

func TestFloods(t *testing.T) {
	var f Figures
	f.Begin(0)
	times := func(n int, from time.Duration) {
		for i := range n {
			ring(&f, from+time.Duration(i)*time.Second, ID(i))
		}
	}
	times(10, 0) // ten are none
	times(11, TenMinutes)
	times(15, 2*TenMinutes) // one run of two periods
	times(12, 5*TenMinutes) // another
	r := f.Report(6 * TenMinutes)
	assert.Equal(t, 3, r.FloodPeriods)
	assert.Equal(t, 2, r.Floods)
	assert.Equal(t, 15, r.WorstTen)
	assert.Equal(t, 7, r.Periods)
}

func TestAFloodInTheOpenPeriodCounts(t *testing.T) {
	var f Figures
	for i := range 11 {
		ring(&f, time.Duration(i)*time.Second, ID(i))
	}
	r := f.Report(time.Minute)
	assert.Equal(t, 1, r.Floods)
	assert.Equal(t, 11, r.WorstTen)
}

func TestChattering(t *testing.T) {
	for gap, want := range map[time.Duration][]ID{30 * time.Second: {Hovering}, 31 * time.Second: nil} {
		var f Figures
		for i := range 3 {
			ring(&f, time.Hour+time.Duration(i)*gap, Hovering)
		}
		ring(&f, 2*time.Hour, OffSpec)
		assert.Equal(t, want, f.Report(3*time.Hour).Chattering, gap)
	}
	var f Figures
	ring(&f, 0, OffSpec)
	ring(&f, time.Second, OffSpec)
	assert.Empty(t, f.Report(time.Minute).Chattering, "twice is not three times, also at the start")
}

func TestStaleEndsWithTheAlarm(t *testing.T) {
	for long, want := range map[time.Duration][]ID{StaleAfter: nil, StaleAfter + 1: {FeedWorse}} {
		var f Figures
		f.Take(0, FeedWorse, Normal, Unacknowledged, Low)
		f.Take(time.Hour, FeedWorse, Unacknowledged, Acknowledged, Low)
		f.Take(long, FeedWorse, Acknowledged, Normal, Low)
		assert.Equal(t, want, f.Report(100*time.Hour).Stale, long)
	}
}

func TestTopTen(t *testing.T) {
	var f Figures
	f.Begin(0)
	total := 0
	for i := range 12 {
		for n := range i + 1 {
			ring(&f, time.Duration(i)*OneDay+time.Duration(n)*time.Hour, ID(i))
			total++
		}
	}
	r := f.Report(12 * OneDay)
	require.Len(t, r.Top, TopTen)
	assert.Equal(t, ID(11), r.Top[0].Alarm)
	assert.Equal(t, 12, r.Top[0].Times)
	assert.Equal(t, total, r.Raised)
	assert.InDelta(t, float64(total-1-2)/float64(total), r.TopShare, 1e-9)
	assert.Equal(t, 12, r.WorstDay)
}

func TestUnknownAlarmsAreNotCounted(t *testing.T) {
	var f Figures
	f.Take(0, ID(Count), Normal, Unacknowledged, Low)
	f.Take(0, OffSpec, Normal, Unacknowledged, High+1)
	assert.Equal(t, Report{Periods: 1}, f.Report(0))
}

// What is counted in one pass is what counting over the whole list gives.
func TestFiguresAgreeWithTheWholeList(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		var f Figures
		f.Begin(0)
		perPeriod, perDay, perAlarm, total := map[int]int{}, map[int]int{}, map[ID]int{}, 0
		at := time.Duration(0)
		for range rapid.IntRange(0, 200).Draw(t, "alarms") {
			at += time.Duration(rapid.IntRange(0, rapid.SampledFrom([]int{20, 2000, 200000}).Draw(t, "scale")).Draw(t, "gap")) * time.Second
			id := ID(rapid.IntRange(0, Count-1).Draw(t, "alarm"))
			ring(&f, at, id)
			perPeriod[int(at/TenMinutes)]++
			perDay[int(at/OneDay)]++
			perAlarm[id]++
			total++
		}
		r := f.Report(at)
		worstTen, floodPeriods, floods, worstDay := 0, 0, 0, 0
		for p, n := range perPeriod {
			worstTen = max(worstTen, n)
			if n > FloodOver {
				floodPeriods++
				if perPeriod[p-1] <= FloodOver {
					floods++
				}
			}
		}
		for _, n := range perDay {
			worstDay = max(worstDay, n)
		}
		require.Equal(t, total, r.Raised)
		require.Equal(t, [4]int{worstTen, floodPeriods, floods, worstDay}, [4]int{r.WorstTen, r.FloodPeriods, r.Floods, r.WorstDay})
		for _, b := range r.Top {
			require.Equal(t, perAlarm[b.Alarm], b.Times)
		}
	})
}
