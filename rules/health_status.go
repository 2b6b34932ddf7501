package rules

import (
	"time"

	"ionward/rules/alarm"
	"ionward/rules/signal"
)

const (
	lostAfter  = 30 * time.Second // without a reading for longer a signal has failed
	jumpedLong = 60 * time.Second // for so long a jump is a reason to doubt
)

// Health is the condition of one signal: its NE 107 category, and why. Reason has a code where the rule found it out;
// else the quality of the reading says it, with Cause.
type Health struct {
	Status signal.Status
	Reason Reason
	Cause  signal.Cause
}

// Health judges a signal by its reading, by what the alarms found out about it and by facts. It only tells: the shutdown
// rule sees none of it.
func (s *State) Health(set *Settings, id signal.ID) Health {
	h := &s.Signals[id]
	worst := Health{Status: signal.Reading{Quality: h.Quality, Cause: h.Cause}.Status(), Cause: h.Cause}
	if h.Quality == signal.None && h.Known && s.Elapsed-h.Seen > lostAfter {
		worst.Status = signal.Failure
	}
	find := func(found bool, status signal.Status, r Reason) {
		if found && status > worst.Status {
			worst = Health{Status: status, Reason: r}
		}
	}
	for _, f := range findings {
		find(f.signals>>id&1 != 0 && s.raised(f.alarm) && s.stands(f.alarm), f.status, s.because(set, f.alarm))
	}
	find(h.Jumped > 0 && s.Elapsed-h.Jumped <= jumpedLong, signal.OutOfSpecification, Reason{Code: ReadingJumped})
	find(analyzer>>id&1 != 0 && s.Facts.is(FunctionCheck), signal.CheckFunction, Reason{Code: InstrumentChecked})
	return worst
}

const (
	product      = 1 << signal.ProductConductivity
	feed         = 1 << signal.FeedConductivity
	temperatures = 1<<signal.FeedTemperature | 1<<signal.ProductTemperature
	analyzer     = product | feed | temperatures
)

// findings are the alarms that say something about a signal, and how bad that is for it.
var findings = [...]struct {
	alarm   alarm.ID
	signals uint32
	status  signal.Status
}{
	{alarm.Swapped, product | feed, signal.OutOfSpecification},
	{alarm.SettingsChanged, analyzer, signal.OutOfSpecification},
	{alarm.TooLow, product, signal.OutOfSpecification},
	{alarm.Temperature, temperatures, signal.OutOfSpecification},
	{alarm.FlowTooLow, 1 << signal.Flow, signal.OutOfSpecification},
	{alarm.Frozen, product, signal.MaintenanceRequired},
	{alarm.TotalsDisagree, 1<<signal.Flow | 1<<signal.Total, signal.MaintenanceRequired},
	{alarm.FlowWhileShut, 1<<signal.Flow | 1<<signal.InletShut, signal.MaintenanceRequired},
}
