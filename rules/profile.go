package rules

import (
	"errors"
	"time"
)

// Question is one of the fifteen questions of the panel profile: how the wired panel of this very trailer behaves. The
// wired timer cannot be read, so somebody has to try it; until then an answer is an assumption.
type Question uint8

// The questions, P1 to P15.
const (
	TryTimers             Question = iota // P1 real length of delay and bypass, and the relay's setpoint
	TryShortDip                           // P2 does one short dip restart the delay?
	TryAtEndpoint                         // P3 does a reading exactly at the endpoint count as off spec?
	TryPressOnSpec                        // P4 does a press on good water start the bypass?
	TryPressInDelay                       // P5 is a press in the delay accepted?
	TryPressWhileRunning                  // P6 does a press while the bypass runs restart it?
	TryHeldButton                         // P7 does a held button hold the inlet open?
	TryGoodWhileShut                      // P8 does the unit stay shut when the reading goes good?
	TryPowerWhileShut                     // P9 does it stay shut when control power goes and comes back?
	TryPowerDip                           // P10 does a power dip of a second restart the delay?
	TryReliefWithoutPower                 // P11 how does the relief stand without power?
	TryAnalyzerFault                      // P12 does a fault of the analyzer count as off spec?
	TryTravel                             // P13 travel times of inlet and relief
	TryReliefTee                          // P14 where does the relief tee off, and does the flow meter see it?
	TryAgentSupply                        // P15 does the agent lose its supply with control power?

	Questions int = iota // how many there are
)

var questionNames = [Questions]string{
	"timers", "short_dip", "at_endpoint", "press_on_spec", "press_in_delay", "press_while_running", "held_button",
	"good_while_shut", "power_while_shut", "power_dip", "relief_without_power", "analyzer_fault", "travel", "relief_tee", "agent_supply",
}

// String is the question's section of the unit file, below profile.
func (q Question) String() string {
	if int(q) < Questions {
		return questionNames[q]
	}
	return "?"
}

// Trial says who tried an answer on this unit, and when. The zero Trial is an assumption.
type Trial struct {
	Who  string // "" = assumed, not confirmed on this unit
	When string // the day, as 2026-03-14
}

// Confirmed reports whether somebody tried it.
func (t Trial) Confirmed() bool { return t.Who != "" }

// Answer is a yes or no of the profile.
type Answer struct {
	Yes bool
	Trial
}

// Span is a time that is known to lie between two others, ends included.
type Span struct {
	Lo time.Duration `json:"lo"`
	Hi time.Duration `json:"hi"`
}

// Width is how much is not known.
func (s Span) Width() time.Duration { return s.Hi - s.Lo }

// Rest is where a valve stands without power.
type Rest uint8

// The rests.
const (
	RestShut  Rest = iota // its spring shuts it
	RestOpen              // its spring opens it
	RestStays             // it stays as it stood
)

var restNames = [...]string{RestShut: "shut", RestOpen: "open", RestStays: "stays"}

func (r Rest) String() string { return restNames[r] }

// ParseRest finds a rest by its name.
func ParseRest(name string) (Rest, bool) {
	for i, n := range restNames {
		if n == name {
			return Rest(i), true
		}
	}
	return 0, false
}

// TimerTrial is what was measured of the wired timer, the shortest and the longest of at least three runs.
type TimerTrial struct {
	Delay    Span    // 0 = as off_spec.delay
	Bypass   Span    // 0 = as off_spec.bypass
	Setpoint float64 // uS/cm, of the relay; 0 = the endpoint
	Trial
}

// ReliefTrial is how the relief stands without power.
type ReliefTrial struct {
	Rest Rest
	Trial
}

// TravelTrial is how long the valves take from one end to the other at most; above 0.
type TravelTrial struct {
	Inlet, Relief time.Duration
	Trial
}

// TeeTrial is where the relief tees off.
type TeeTrial struct {
	Seen  bool   // the flow meter sees the relief's water
	Place string // in words; "" = not recorded
	Trial
}

// Profile holds the answers for one trailer.
type Profile struct {
	Timers             TimerTrial
	ShortDip           Answer // yes: one short dip restarts the delay
	AtEndpoint         Answer // yes: exactly at the endpoint counts as off spec
	PressOnSpec        Answer // yes: a press on good water starts the bypass
	PressInDelay       Answer // yes: accepted
	PressWhileRunning  Answer // yes: restarts the bypass
	HeldButton         Answer // yes: holds the inlet open
	GoodWhileShut      Answer // yes: stays shut
	PowerWhileShut     Answer // yes: stays shut
	PowerDip           Answer // yes: restarts the delay
	ReliefWithoutPower ReliefTrial
	AnalyzerFault      Answer // yes: counts as off spec
	Travel             TravelTrial
	ReliefTee          TeeTrial
	AgentSupply        Answer // yes: lost together with control power

	Margin float64       // uS/cm; nearer than this to the relay's setpoint nobody can tell what the relay sees
	Bridge time.Duration // a stretch without a reading between two that are off spec for certain counts as off spec up to this
	Press  time.Duration // a longer stretch without a reading of the button may hide a press
}

// DefaultProfile is what is assumed of a unit on which nothing was tried: that it does what the rule does.
func DefaultProfile() Profile {
	p := Profile{
		ShortDip: Answer{Yes: true}, AtEndpoint: Answer{Yes: true}, PressInDelay: Answer{Yes: true}, GoodWhileShut: Answer{Yes: true},
		PowerDip: Answer{Yes: true}, AnalyzerFault: Answer{Yes: true},
		Margin: 0.02, Bridge: 30 * time.Second, Press: 3 * time.Second,
	}
	p.Travel.Inlet, p.Travel.Relief = 30*time.Second, 30*time.Second
	return p
}

// Trial says who tried a question; the zero Trial for one that is not known.
func (p *Profile) Trial(q Question) Trial {
	trials := [Questions]*Trial{
		&p.Timers.Trial, &p.ShortDip.Trial, &p.AtEndpoint.Trial, &p.PressOnSpec.Trial, &p.PressInDelay.Trial, &p.PressWhileRunning.Trial,
		&p.HeldButton.Trial, &p.GoodWhileShut.Trial, &p.PowerWhileShut.Trial, &p.PowerDip.Trial, &p.ReliefWithoutPower.Trial,
		&p.AnalyzerFault.Trial, &p.Travel.Trial, &p.ReliefTee.Trial, &p.AgentSupply.Trial,
	}
	if int(q) >= Questions {
		return Trial{}
	}
	return *trials[q]
}

// Confirmed is how many of the questions were tried on this unit.
func (p *Profile) Confirmed() int {
	n := 0
	for q := range Questions {
		if p.Trial(Question(q)).Confirmed() {
			n++
		}
	}
	return n
}

// DelaySpan is the real length of the wired delay.
func (s *Settings) DelaySpan() Span { return s.Profile.Timers.Delay.around(s.Delay) }

// BypassSpan is the real length of the wired bypass.
func (s *Settings) BypassSpan() Span { return s.Profile.Timers.Bypass.around(s.Bypass) }

// Setpoint is what the relay compares product with, uS/cm.
func (s *Settings) Setpoint() float64 {
	if v := s.Profile.Timers.Setpoint; v > 0 {
		return v
	}
	return s.Endpoint
}

// around fills in what was not measured with the setting.
func (s Span) around(setting time.Duration) Span {
	if s.Lo <= 0 {
		s.Lo = setting
		if s.Hi > 0 {
			s.Lo = min(s.Lo, s.Hi)
		}
	}
	if s.Hi <= 0 {
		s.Hi = max(setting, s.Lo)
	}
	return s
}

// doubt widens a span that nobody measured by a tenth: the dial of a relay timer is set by eye.
func (s Span) doubt(measured bool) Span {
	if measured {
		return s
	}
	return Span{Lo: s.Lo - s.Lo/10, Hi: s.Hi + s.Hi/10}
}

// check names what the shadow cannot work with.
func (p *Profile) check() []Fault {
	var faults []Fault
	add := func(bad bool, path, what string) {
		if bad {
			faults = append(faults, Fault{"profile." + path, errors.New(what)})
		}
	}
	t := &p.Timers
	add(t.Delay.Lo > 0 && t.Delay.Hi > 0 && t.Delay.Hi < t.Delay.Lo, "timers.delay_max", "is shorter than delay_min")
	add(t.Bypass.Lo > 0 && t.Bypass.Hi > 0 && t.Bypass.Hi < t.Bypass.Lo, "timers.bypass_max", "is shorter than bypass_min")
	add(t.Delay.Lo < 0 || t.Delay.Hi < 0, "timers.delay_min", "must be longer than 0s")
	add(t.Bypass.Lo < 0 || t.Bypass.Hi < 0, "timers.bypass_min", "must be longer than 0s")
	add(!(t.Setpoint >= 0), "timers.setpoint", "must be above 0 uS/cm")
	add(p.Travel.Inlet <= 0, "travel.inlet", "must be longer than 0s")
	add(p.Travel.Relief <= 0, "travel.relief", "must be longer than 0s")
	add(!(p.Margin >= 0), "margin", "must not be negative")
	add(p.Bridge < 0, "bridge", "must not be negative")
	add(p.Press < 0, "press", "must not be negative")
	return faults
}
