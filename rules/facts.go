package rules

import (
	"time"

	"ionward/rules/alarm"
)

// Fact is something that a source knows beside the readings.
type Fact uint8

// The facts.
const (
	SettingsChanged Fact = 1 << iota // the analyzer's constants differ from the commissioned ones
	OnBattery                        // the agent's own supply is gone
	StoreFailing                     // the record is full or cannot be written
	FunctionCheck                    // somebody works on the instruments: what they read may be no water
	Forecast                         // there is a forecast: Left
)

// Facts are the facts that a source tells, or that hold. What is not Known keeps what it was.
type Facts struct {
	Known Fact          `json:"known"` // which bits of Set mean something
	Set   Fact          `json:"set"`
	Left  time.Duration `json:"left"` // until the beds are exhausted, the earlier end of the forecast; with Forecast
}

// take lets what is told replace what held.
func (f *Facts) take(told *Facts) {
	f.Known |= told.Known
	f.Set = f.Set&^told.Known | told.Set&told.Known
	if told.Known&Forecast != 0 {
		f.Left = told.Left
	}
}

// is reports whether a fact is known to hold.
func (f *Facts) is(fact Fact) bool { return f.Known&f.Set&fact != 0 }

// known are the alarms that come from facts. The forecast is made elsewhere; as long as nobody tells one, or it says that
// it cannot tell yet, no exchange is due.
func (s *State) known(set *Settings, b *Bits) {
	f := &s.Facts
	b.set(alarm.SettingsChanged, f.is(SettingsChanged) && !f.is(FunctionCheck))
	b.quiet(alarm.SettingsChanged, f.is(FunctionCheck) && !s.raised(alarm.SettingsChanged))
	b.set(alarm.OnBattery, f.is(OnBattery))
	b.set(alarm.StoreFull, f.is(StoreFailing))
	d := &set.Alarms[alarm.ExchangeDue]
	lead := d.Limit
	if s.stands(alarm.ExchangeDue) {
		lead += d.Deadband()
	}
	b.set(alarm.ExchangeDue, f.is(Forecast) && d.Limit > 0 && f.Left.Hours() < lead)
}
