package alarm

import (
	"testing"
	"time"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

var plainAlarm = Definition{Name: "plain", On: 5 * time.Second, Off: 10 * time.Second, Priority: High, Second: Low}

// raised is an alarm that came up at 5 s.
func raised(d *Definition) State {
	var s State
	s.Offer(d, 0, true, false)
	s.Offer(d, 5*time.Second, true, false)
	return s
}

func TestShelf(t *testing.T) {
	d := &plainAlarm
	s := raised(d)
	require.True(t, s.Acknowledge())
	require.True(t, s.Shelve(6*time.Second, time.Minute))
	require.Equal(t, Shelved, s.Phase)
	require.False(t, s.Sounds())
	require.False(t, s.Acknowledge(), "what is put aside is not acknowledged")
	at, due := s.Due(d)
	require.True(t, due)
	require.Equal(t, 66*time.Second, at)
	s.Offer(d, 65*time.Second, true, false)
	require.Equal(t, Shelved, s.Phase)
	s.Offer(d, 66*time.Second, true, false)
	require.Equal(t, Unacknowledged, s.Phase, "it stands: it calls again")
	require.False(t, s.Unshelve())
}

func TestTheConditionIsFollowedOnTheShelf(t *testing.T) {
	for name, c := range map[string]struct {
		latch bool
		want  Phase
	}{"one that came and went is forgotten": {false, Normal}, "unless it is latched": {true, LatchedUnacknowledged}} {
		d := plainAlarm
		d.Latch = c.latch
		var s State
		require.True(t, s.Shelve(0, time.Hour))
		s.Offer(&d, 0, true, false)
		s.Offer(&d, 5*time.Second, true, false)
		s.Offer(&d, 6*time.Second, false, false)
		s.Offer(&d, 16*time.Second, false, false)
		require.Equal(t, Shelved, s.Phase)
		require.True(t, s.Unshelve())
		require.Equal(t, c.want, s.Phase, name)
	}
}

func TestShelfLimits(t *testing.T) {
	var s State
	require.False(t, s.Shelve(0, 0))
	require.False(t, s.Shelve(0, -time.Second))
	require.False(t, s.Shelve(0, ShelfLimit+1))
	require.True(t, s.Shelve(0, ShelfLimit))
	require.True(t, s.Shelve(time.Hour, time.Minute), "anew")
	require.Equal(t, time.Hour+time.Minute, s.Until)
}

func TestOutOfService(t *testing.T) {
	d := &plainAlarm
	s := raised(d)
	s.Shelve(5*time.Second, time.Hour)
	require.True(t, s.TakeOut())
	require.Equal(t, OutOfService, s.Phase)
	require.False(t, s.TakeOut())
	require.False(t, s.Shelve(6*time.Second, time.Hour))
	s.Offer(d, 2*time.Hour, true, false)
	require.Equal(t, OutOfService, s.Phase, "no shelf gives it back")
	require.True(t, s.PutBack(3*time.Hour))
	require.False(t, s.PutBack(3*time.Hour))
	s.Offer(d, 3*time.Hour, true, false)
	require.Equal(t, Normal, s.Phase)
	at, _ := s.Due(d)
	require.Equal(t, 3*time.Hour+d.On, at, "the on-delay begins anew")
}

func TestSuppressionWaitsBehindTheShelf(t *testing.T) {
	d := &plainAlarm
	s := raised(d)
	s.Shelve(6*time.Second, time.Minute)
	s.Offer(d, 7*time.Second, true, true)
	require.Equal(t, Shelved, s.Phase)
	s.Offer(d, 66*time.Second, true, true)
	require.Equal(t, Suppressed, s.Phase)
	s.TakeOut()
	s.PutBack(70 * time.Second)
	require.Equal(t, Suppressed, s.Phase)
}

func TestSilence(t *testing.T) {
	d := &plainAlarm
	var s State
	require.False(t, s.Silence(), "nothing sounds")
	s = raised(d)
	require.True(t, s.Sounds())
	require.True(t, s.Silence())
	require.False(t, s.Silence())
	require.Equal(t, Unacknowledged, s.Phase, "it goes on calling")
	s.Repeat()
	require.True(t, s.Sounds(), "when it calls again the horn does too")
	s.Acknowledge()
	require.False(t, s.Sounds())
	s.Repeat()
	require.Equal(t, Unacknowledged, s.Phase)
	s = State{}
	s.Repeat()
	require.Equal(t, Normal, s.Phase, "only what is active calls again")
}

func TestLowered(t *testing.T) {
	d := &plainAlarm
	s := raised(d)
	require.Equal(t, High, s.Priority(d))
	s.Acknowledge()
	s.Lower(true)
	require.Equal(t, Low, s.Priority(d))
	require.Equal(t, Acknowledged, s.Phase)
	s.Lower(false)
	require.Equal(t, Unacknowledged, s.Phase, "seen at the lower priority is not seen at the higher")
	mild := Definition{Priority: Low, Second: Medium}
	s.Lower(true)
	require.Equal(t, Low, s.Priority(&mild), "never higher than the site made it")
}

func TestDisabled(t *testing.T) {
	d := plainAlarm
	d.Disabled = true
	s := raised(&d)
	require.Equal(t, Normal, s.Phase)
}

func TestAWindowIsNoOnDelay(t *testing.T) {
	d := plainAlarm
	d.Window = true
	var s State
	s.Offer(&d, 0, true, false)
	require.Equal(t, Unacknowledged, s.Phase)
}

func TestDeadband(t *testing.T) {
	assert.Equal(t, 3.0, (&Definition{Limit: 30, Band: 1, Ratio: 0.1}).Deadband())
	assert.Equal(t, 4.0, (&Definition{Limit: 30, Band: 4, Ratio: 0.1}).Deadband())
}

func TestNamesOfUserAlarms(t *testing.T) {
	require.Equal(t, "user-1", User(0).String())
	id, ok := Parse("user-32")
	require.True(t, ok)
	n, ok := id.User()
	require.True(t, ok)
	require.Equal(t, 31, n)
	_, ok = OffSpec.User()
	require.False(t, ok)
	_, ok = ID(Count).User()
	require.False(t, ok)
	require.Equal(t, "?", Phase(Phases).String())
}

// allowed are the changes of phase that ANSI/ISA-18.2 knows: to which phases each may go.
var allowed = map[Phase][]Phase{
	Normal:                {Unacknowledged, Suppressed, Shelved, OutOfService},
	Unacknowledged:        {Acknowledged, Returned, LatchedUnacknowledged, Suppressed, Shelved, OutOfService},
	Acknowledged:          {Normal, Unacknowledged, LatchedAcknowledged, Suppressed, Shelved, OutOfService},
	Returned:              {Normal, Unacknowledged, Suppressed, Shelved, OutOfService},
	LatchedUnacknowledged: {LatchedAcknowledged, Unacknowledged, Suppressed, Shelved, OutOfService},
	LatchedAcknowledged:   {Normal, Unacknowledged, Suppressed, Shelved, OutOfService},
	Suppressed:            {Normal, Unacknowledged, Shelved, OutOfService},
	Shelved:               {Normal, Unacknowledged, LatchedUnacknowledged, LatchedAcknowledged, Suppressed, OutOfService},
	OutOfService:          {Normal, Suppressed},
}

func TestOnlyTheChangesOfTheStandardHappen(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := Definition{
			On: time.Duration(rapid.IntRange(0, 3).Draw(t, "on")), Off: time.Duration(rapid.IntRange(0, 3).Draw(t, "off")),
			Latch: rapid.Bool().Draw(t, "latch"),
		}
		var s State
		now := time.Duration(0)
		for range rapid.IntRange(1, 60).Draw(t, "deeds") {
			was := s.Phase
			switch rapid.IntRange(0, 9).Draw(t, "deed") {
			case 0:
				s.Acknowledge()
			case 1:
				s.Reset()
			case 2:
				s.Shelve(now, time.Duration(rapid.IntRange(1, 5).Draw(t, "for")))
			case 3:
				s.Unshelve()
			case 4:
				s.TakeOut()
			case 5:
				s.PutBack(now)
			default:
				now += time.Duration(rapid.IntRange(0, 3).Draw(t, "gap"))
				s.Offer(&d, now, rapid.Bool().Draw(t, "condition"), rapid.IntRange(0, 4).Draw(t, "suppressed") == 0)
			}
			if s.Phase != was {
				require.Contains(t, allowed[was], s.Phase, "from %s", was)
			}
			if at, waits := s.Due(&d); waits && s.Phase != OutOfService {
				require.GreaterOrEqual(t, at+d.On+d.Off, now, "a deadline lies ahead")
			}
			require.Equal(t, s.Out, s.Phase == OutOfService)
			require.Equal(t, s.Shelved && !s.Out, s.Phase == Shelved)
		}
	})
}
