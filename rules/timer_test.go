package rules

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
)

// The expectations are read off the timing diagrams of IEC 61131-3:2013, figure 15 (timers TP, TON, TOF), PT = 10.
// One row is one instant: the input from then on, and Q and ET at that instant.
type timing struct {
	at int
	in bool
	q  bool
	et int
}

const preset = 10 * time.Second

func TestTONFollowsIEC61131(t *testing.T) {
	var timer TON
	play(t, []timing{
		{0, false, false, 0},
		{1, true, false, 0},   // rising: ET counts from 0
		{5, true, false, 4},   //
		{6, false, false, 0},  // falls before PT: ET 0 at once, Q never rose
		{10, true, false, 0},  //
		{19, true, false, 9},  //
		{20, true, true, 10},  // ET = PT: Q
		{40, true, true, 10},  // ET holds PT
		{41, false, false, 0}, // falling: Q and ET 0 at once
	}, func(dt time.Duration) { timer.Advance(dt, preset) }, timer.Set, func() (bool, time.Duration) { return timer.Q(preset), timer.ET })
}

func TestTOFFollowsIEC61131(t *testing.T) {
	var timer TOF
	play(t, []timing{
		{0, false, false, 0},
		{1, true, true, 0},     // rising: Q at once
		{5, false, true, 0},    // falling: ET counts
		{9, false, true, 4},    //
		{10, true, true, 0},    // rising within PT zeroes ET, Q stays
		{12, false, true, 0},   //
		{21, false, true, 9},   //
		{22, false, false, 10}, // ET = PT: Q falls
		{60, false, false, 10}, // ET holds
		{61, true, true, 0},    //
	}, func(dt time.Duration) { timer.Advance(dt, preset) }, func(in bool) { timer.Set(in, preset) }, func() (bool, time.Duration) { return timer.Q(), timer.ET })
}

func TestTPFollowsIEC61131(t *testing.T) {
	var timer TP
	play(t, []timing{
		{0, false, false, 0},
		{1, true, true, 0},    // rising when idle: the pulse begins
		{4, false, true, 3},   // IN may fall
		{6, true, true, 5},    // a further edge is ignored
		{10, true, true, 9},   //
		{11, true, false, 10}, // PT: Q falls, ET holds while IN stays
		{15, true, false, 10}, // a held input gives no second pulse
		{16, false, false, 0}, // IN falls: ET 0
		{20, true, true, 0},   //
		{21, false, true, 1},  //
		{30, false, false, 0}, // pulse over with IN false: ET 0 at once
		{31, true, true, 0},   //
		{41, false, false, 0}, // PT and falling input in one instant
		{42, false, false, 0}, //
	}, func(dt time.Duration) { timer.Advance(dt, preset) }, timer.Set, func() (bool, time.Duration) { return timer.Q(), timer.ET })
}

func play(t *testing.T, rows []timing, advance func(time.Duration), set func(bool), read func() (bool, time.Duration)) {
	t.Helper()
	now := 0
	for _, row := range rows {
		advance(time.Duration(row.at-now) * time.Second)
		now = row.at
		set(row.in)
		q, et := read()
		assert.Equal(t, row.q, q, "Q at %d", row.at)
		assert.Equal(t, time.Duration(row.et)*time.Second, et, "ET at %d", row.at)
	}
}

func TestTimersSayWhatIsLeft(t *testing.T) {
	ton := TON{In: true, ET: 4 * time.Second}
	left, runs := ton.Left(preset)
	assert.Equal(t, 6*time.Second, left)
	assert.True(t, runs)
	ton.Advance(6*time.Second, preset)
	_, runs = ton.Left(preset)
	assert.False(t, runs)

	tof := TOF{}
	_, runs = tof.Left(preset)
	assert.False(t, runs, "idle")
	tof.Set(true, preset)
	_, runs = tof.Left(preset)
	assert.False(t, runs, "held")
	tof.Set(false, preset)
	left, runs = tof.Left(preset)
	assert.Equal(t, preset, left)
	assert.True(t, runs)

	tp := TP{}
	tp.Set(true)
	tp.Advance(time.Second, preset)
	left, runs = tp.Left(preset)
	assert.Equal(t, 9*time.Second, left)
	assert.True(t, runs)
}

func TestTOFWithoutDelayFollowsItsInput(t *testing.T) {
	var timer TOF
	timer.Set(true, 0)
	assert.True(t, timer.Q())
	timer.Set(false, 0)
	assert.False(t, timer.Q())
}
