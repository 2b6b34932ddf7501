package rules

import (
	"bufio"
	"encoding/csv"
	"os"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// The cases are published counter sequences with the pulses to add; most is what the meter can count between two readings.
func TestCountedTable(t *testing.T) {
	f, err := os.Open("../testdata/water/totalizer.csv")
	require.NoError(t, err)
	defer f.Close()
	lines := bufio.NewReader(f)
	note, err := lines.ReadString('\n')
	require.NoError(t, err)
	require.Contains(t, note, "1.5*Kf*Qmax*dt")
	rows, err := csv.NewReader(lines).ReadAll()
	require.NoError(t, err)
	require.Len(t, rows, 5)
	for _, row := range rows[1:] {
		modulus, err := strconv.ParseFloat(row[2], 64)
		require.NoError(t, err)
		want, err := strconv.ParseFloat(row[3], 64)
		require.NoError(t, err)
		sum, old, reset := 0.0, 0.0, false
		for i, text := range strings.Split(row[1], ",") {
			reading, err := strconv.ParseFloat(text, 64)
			require.NoError(t, err)
			if i > 0 {
				added, again := Counted(old, reading, modulus, 1.5*1000)
				sum, reset = sum+added, reset || again
			}
			old = reading
		}
		require.Equal(t, want, sum, row[0])
		require.Equal(t, strings.HasPrefix(row[0], "reset"), reset, row[0])
	}
}

func TestCountedWithoutAModulus(t *testing.T) {
	added, reset := Counted(999990, 5, 0, 1e9)
	require.True(t, reset)
	require.Equal(t, 5.0, added)
	added, reset = Counted(7, 7, 0, 0)
	require.False(t, reset)
	require.Zero(t, added)
	added, reset = Counted(50, 40, 100, 90)
	require.False(t, reset)
	require.Equal(t, 90.0, added, "the most that can have passed is still a rollover")
	_, reset = Counted(50, 40, 100, 89.9)
	require.True(t, reset)
}

// total runs for d while the totalizer counts so many gpm.
func (c *scene) total(counts float64, d time.Duration) *scene {
	v := c.values[signal.Total].Value
	for range int(d / sec) {
		v += signal.GallonPerMinute.Inside(counts) / 3600
		c.to(signal.Total, v).run(sec)
	}
	return c
}

func TestTotalsDisagree(t *testing.T) {
	c := newScene().to(signal.Total, 1000).to(signal.BankB, 1).gpm(400)
	c.run(0).total(416, time.Hour+mins) // 4 % more
	require.Equal(t, "normal", c.phase(alarm.TotalsDisagree))
	c.total(440, 59*mins)
	require.Equal(t, "unacknowledged", c.phase(alarm.TotalsDisagree))
	e := c.events[len(c.events)-1]
	require.Equal(t, TotalsDiffer, e.Reason.Code)
	require.InDelta(t, signal.Gallon.Inside(26360), e.Reason.Value, 0.5)
	require.InDelta(t, signal.Gallon.Inside(24000), e.Reason.Limit, 0.5)
	c.total(412, time.Hour)
	require.True(t, c.state.Alarms[alarm.TotalsDisagree].Phase.Active(), "within the band")
	c.total(409, time.Hour)
	require.Equal(t, "returned", c.phase(alarm.TotalsDisagree))
	c.total(360, time.Hour)
	require.True(t, c.state.Alarms[alarm.TotalsDisagree].Phase.Active(), "too little is as wrong as too much")
	c.to(signal.Total, 0).run(sec)
	require.Equal(t, "suppressed", c.phase(alarm.TotalsDisagree), "after a reset")
	require.Equal(t, 1, c.state.Watch.Totals.Resets)
	c.total(400, time.Hour)
	require.Equal(t, "normal", c.phase(alarm.TotalsDisagree))
	c.total(440, time.Hour)
	require.Equal(t, "unacknowledged", c.phase(alarm.TotalsDisagree))
}

func TestALittleWaterIsNoDispute(t *testing.T) {
	c := newScene().to(signal.Total, 1000).gpm(60)
	c.run(0).total(64, 2*time.Hour+mins) // 240 gal an hour, 6.7 %
	require.Equal(t, "normal", c.phase(alarm.TotalsDisagree))
	require.Positive(t, c.state.Watch.Totals.Counted)
}

func TestTotalsThatRollOverAgree(t *testing.T) {
	c := newScene()
	c.set.Setup.TotalizerModulus = 1000
	c.to(signal.Total, 999.99).run(0)
	v := 999.99
	for range 7210 {
		if v += signal.GallonPerMinute.Inside(100) / 3600; v >= 1000 {
			v -= 1000
		}
		c.to(signal.Total, v).run(sec)
	}
	require.Equal(t, "normal", c.phase(alarm.TotalsDisagree))
	require.Zero(t, c.state.Watch.Totals.Resets)
	require.InDelta(t, c.state.Watch.Totals.Measured, c.state.Watch.Totals.Counted, 0.01)
	require.Positive(t, c.state.Watch.Totals.Counted)
}

func TestAnHourWithoutFlowReadingsProvesNothing(t *testing.T) {
	c := newScene().to(signal.Total, 1000).run(0)
	c.quality(signal.Flow, signal.None).total(100, 5*mins)
	c.gpm(100).total(100, 56*mins)
	require.Equal(t, "normal", c.phase(alarm.TotalsDisagree))
	require.Zero(t, c.state.Watch.Totals.Counted)
}
