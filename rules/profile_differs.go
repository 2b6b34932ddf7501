package rules

import (
	"errors"
	"fmt"
)

// Differs names the answers of the profile that say another thing than the rule does. The rule is the expectation, so
// such a unit will be seen to differ from it; nobody should learn that from an alarm.
func (s *Settings) Differs() []Fault {
	var list []Fault
	p := &s.Profile
	add := func(differs bool, q Question, key, what string) {
		if differs {
			list = append(list, Fault{"profile." + q.String() + "." + key, errors.New(what)})
		}
	}
	span := func(q Span, key, setting string) {
		// A span that cannot be is told by Check.
		add(q.Lo <= q.Hi, TryTimers, key, fmt.Sprintf("the unit takes %v to %v and off_spec.%s says otherwise; set off_spec.%s to what the unit does", q.Lo, q.Hi, setting, setting))
	}
	if d := s.DelaySpan(); s.Delay < d.Lo {
		span(d, "delay_min", "delay")
	} else if s.Delay > d.Hi {
		span(d, "delay_max", "delay")
	}
	if b := s.BypassSpan(); s.Bypass < b.Lo {
		span(b, "bypass_min", "bypass")
	} else if s.Bypass > b.Hi {
		span(b, "bypass_max", "bypass")
	}
	add(p.ShortDip.Yes && s.ClearDelay > 0, TryShortDip, "restarts", "off_spec.clear_delay makes the rule pass over short dips, and this unit's delay restarts with each; set off_spec.clear_delay to 0s")
	add(!p.ShortDip.Yes && s.ClearDelay <= 0, TryShortDip, "restarts", "the rule restarts the delay with every dip, this unit does not; set off_spec.clear_delay to the dip that it passes over")
	add(!p.AtEndpoint.Yes, TryAtEndpoint, "trips", "for the rule exactly the endpoint is off spec; set off_spec.endpoint one step higher")
	add(p.PressOnSpec.Yes, TryPressOnSpec, "starts", "for the rule a press on good water has no effect: its countdown will be shorter than this unit's")
	add(!p.PressInDelay.Yes, TryPressInDelay, "accepted", "the rule accepts a press in the delay: its countdown will be longer than this unit's")
	add(p.PressWhileRunning.Yes, TryPressWhileRunning, "restarts", "for the rule a press while the bypass runs has no effect: its countdown will be shorter than this unit's")
	add(p.HeldButton.Yes, TryHeldButton, "holds_open", "for the rule a held button gives one bypass: it will stop before this unit does")
	add(!p.GoodWhileShut.Yes, TryGoodWhileShut, "stays_shut", "the rule stays shut until a press: it will not follow when this unit opens by itself")
	add(p.PowerWhileShut.Yes != s.KeepTrip, TryPowerWhileShut, "stays_shut", fmt.Sprintf(
		"off_spec.keep_trip says %v; set it to what this unit does when control power comes back", s.KeepTrip))
	add(!p.PowerDip.Yes, TryPowerDip, "restarts", "for the rule every loss of power restarts the delay: it will stop after this unit does")
	add(!p.AnalyzerFault.Yes, TryAnalyzerFault, "counts_as_off", "for the rule a bad reading counts as off spec: it will stop where this unit goes on")
	return list
}
