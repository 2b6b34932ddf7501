package rules

import (
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

// define puts an alarm of the unit file into the first free place.
func (c *scene) define(id signal.ID, test Test, limit, band float64, wait time.Duration) alarm.ID {
	for n := range c.set.Users {
		if d := &c.set.Alarms[alarm.User(n)]; d.Name == "" {
			*d = alarm.Definition{Name: fmt.Sprint("a", n), Message: "x", Priority: alarm.Medium, On: wait, Limit: limit, Band: band}
			c.set.Users[n] = User{Signal: id, Test: test}
			return alarm.User(n)
		}
	}
	panic("no room")
}

func TestUserAlarms(t *testing.T) {
	const f = signal.FeedTemperature
	for name, x := range map[string]struct {
		test                    Test
		fine, out, band, behind float64
	}{
		"above":                {Above, 30, 30.001, 29.1, 29},
		"below":                {Below, 30, 29.999, 30.9, 31},
		"not equal, from over": {NotEqual, 31, 31.001, 30.501, 30.5},
		"not equal, from less": {NotEqual, 29, 28.999, 29.499, 29.5},
	} {
		t.Run(name, func(t *testing.T) {
			c := newScene().to(f, x.fine)
			id := c.define(f, x.test, 30, 1, 10*sec)
			c.run(mins)
			c.to(f, x.out).becomes(t, id, 11*sec)
			e := c.events[len(c.events)-1]
			require.Equal(t, Reason{Code: UserTemperature, Value: signal.Round(x.out, 0.001), Limit: 30, For: 10 * sec}, e.Reason)
			require.Equal(t, alarm.Medium, e.Priority)
			c.to(f, x.band).run(mins)
			require.Equal(t, "unacknowledged", c.phase(id), "within the deadband")
			c.quality(f, signal.Bad).run(mins)
			require.Equal(t, "unacknowledged", c.phase(id), "a lost reading does not clear")
			c.to(f, x.behind).clears(t, id, 0)
			c.quality(f, signal.None).to(f, x.fine)
			c.never(t, id, mins)
		})
	}
}

func TestUserAlarmOnAContact(t *testing.T) {
	c := newScene()
	id := c.define(signal.ProductOutletOpen, NotEqual, 1, 0, 0)
	c.run(sec).to(signal.ProductOutletOpen, 0).run(sec)
	require.Equal(t, "unacknowledged", c.phase(id))
	require.Equal(t, UserContact, c.state.because(&c.set, id).Code)
	c.order(Acknowledge, id, "").to(signal.ProductOutletOpen, 1).run(sec)
	require.Equal(t, "normal", c.phase(id))
}

func TestALostReadingRaisesNoUserAlarm(t *testing.T) {
	c := newScene()
	id := c.define(signal.DownstreamFlow, Below, 5, 0, 0)
	c.never(t, id, mins)
}

// All alarms of the unit file at once, on drawn readings: each says at every scan what looking at its signal alone says.
func TestUserAlarmsAgreeWithTheirReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		c := newScene()
		for range rapid.IntRange(1, alarm.Users).Draw(t, "alarms") {
			c.define(signal.ID(rapid.IntRange(0, signal.Count-1).Draw(t, "signal")), Test(rapid.IntRange(0, 2).Draw(t, "test")),
				float64(rapid.IntRange(0, 6).Draw(t, "limit"))/2, float64(rapid.IntRange(0, 2).Draw(t, "band"))/2, 0)
		}
		var stood [alarm.Users]bool
		for range rapid.IntRange(1, 40).Draw(t, "scans") {
			for range 3 {
				id := signal.ID(rapid.IntRange(0, signal.Count-1).Draw(t, "moves"))
				v := float64(rapid.IntRange(0, 8).Draw(t, "value")) / 2
				if id.Contact() {
					v = float64(int(v) & 1)
				}
				c.values[id] = id.Default(v, rapid.SampledFrom([]signal.Quality{signal.Good, signal.Good, signal.Uncertain, signal.Bad, signal.None}).Draw(t, "quality"))
			}
			c.step(sec)
			for n := range c.set.Users {
				d, u := &c.set.Alarms[alarm.User(n)], c.set.Users[n]
				if r := c.values[u.Signal]; d.Name != "" && r.Usable() {
					band := 0.0
					if stood[n] {
						band = d.Band
					}
					switch u.Test {
					case Above:
						stood[n] = r.Value > d.Limit-band
					case Below:
						stood[n] = r.Value < d.Limit+band
					default:
						band = d.Band
						if stood[n] {
							band /= 2
						}
						stood[n] = r.Value > d.Limit+band || r.Value < d.Limit-band
					}
				}
				require.Equal(t, stood[n], c.state.stands(alarm.User(n)), "alarm %d: %v %v", n, u, c.values[u.Signal])
			}
		}
	})
}
