package rules

// paper is the rule worked by hand beside the code, in whole ticks: it counts where the code has timers, and its
// mode comes from the transition table alone.
type paper struct {
	started bool
	power   bool
	wired   contact // the power contact as last read
	button  contact
	class   int8 // +1 off spec, -1 on spec, 0 not classified
	off     bool // what counts as off after the clear delay
	good    int  // ticks since the class turned on, while the clear delay still calls it off
	ton     int  // ticks off without a break, at most the delay; -1 while on
	tp      int  // ticks since the press that the running bypass rests on; -1 while none runs
	held    bool // the accepted press still lasts
	latch   bool
	mode    Mode
}

func blank() paper { return paper{wired: unread, button: unread, ton: -1, tp: -1} }

// sight is what the conditions of the table speak of, at one instant.
type sight struct {
	lost    bool // control power went in this scan
	power   bool
	press   bool // rising edge of the button in this scan
	off     bool
	full    bool // off for the whole delay
	running bool // the bypass still runs
	kept    bool // the latch as it is before this instant's decision
	keeps   bool // the profile keeps a trip over a loss of power
	first   bool // first scan with power
}

// age lets ticks pass with the inputs held, up to the instant at which something may be decided.
func (p *paper) age(ticks int) {
	if !p.power {
		return
	}
	if p.off && p.class < 0 {
		p.good += ticks
	}
	if p.off {
		p.ton += ticks
	}
	if p.tp >= 0 {
		p.tp += ticks
	}
}

// decide settles what has run out at this instant: with the class of the scan in this instant, if there is one, so that
// off spec in the instant in which the clear delay ends is off without a break.
func (p *paper) decide(m model) {
	p.good = min(p.good, m.clear)
	p.off = p.class > 0 || (p.off && p.good < m.clear)
	switch {
	case !p.off:
		p.ton = -1
	case p.ton < 0:
		p.ton = 0
	}
	p.ton = min(p.ton, m.delay)
	if p.tp >= m.bypass {
		p.tp = -1
	}
}

// look takes in what a scan shows and says what there is to see.
func (p *paper) look(m model, k stimulus) sight {
	p.age(k.gap)
	was, seen := p.power, sight{keeps: m.keep}
	if k.scan {
		if k.power != unread {
			p.wired = k.power
		}
		p.power = p.wired != reads0
		seen.lost, seen.first = was && !p.power, p.power && !was
		if k.button != unread {
			seen.press = p.button == reads0 && k.button == reads1
			p.held = p.held && k.button == reads1
			p.button = k.button
		}
		if p.power {
			p.classify(m, k.water, seen.first)
		} else {
			p.class, p.off, p.good = 0, false, 0
		}
	}
	p.decide(m)
	seen.power, seen.off, seen.full, seen.running = p.power, p.off, p.off && p.ton >= m.delay, p.tp >= 0
	seen.kept = p.latch
	return seen
}

// judged is the table of classes: what a reading counts as, 0 = keep the last class. Without a band the value that the
// band would begin with is plainly below the endpoint.
func judged(m model, w water) int8 {
	switch w {
	case goodOff, uncertainHigh, badWater:
		return +1
	case goodOn:
		return -1
	case goodInBand:
		if !m.band {
			return -1
		}
	}
	return 0
}

func (p *paper) classify(m model, w water, first bool) {
	if c := judged(m, w); c != 0 {
		p.class = c
	} else if first {
		p.class = +1
	}
	if p.class > 0 {
		p.good = 0
	}
}

// why is the reason that a reading gives for off spec in a scan that turned it off.
func why(m model, w water, first bool) Code {
	switch {
	case w == badWater:
		return BadReading
	case w == noWater && first:
		return NoReadingYet
	case w == goodOff || w == uncertainHigh:
		return OffSpec
	case w == uncertainLow && first:
		return UncertainAtPowerBack
	case w == goodInBand && first && m.band:
		return EndpointHeld
	}
	return NoReason
}

// core is what the code must remember where paper remembers this.
func (p *paper) core(m model) core {
	c := core{
		Started: p.started, Powered: p.power, Tripped: p.latch, Mode: p.mode,
		Class:  [3]Class{ClassOn, Unclassified, ClassOff}[p.class+1],
		Button: [3]Button{ButtonReleased, ButtonHeld, ButtonUnread}[p.button],
		Delay:  TON{In: p.off, ET: ofTicks(max(p.ton, 0))},
		Clear:  TOF{In: p.class > 0, Armed: p.off, ET: ofTicks(p.good)},
		Bypass: TP{In: p.held, Running: p.tp >= 0, ET: ofTicks(max(p.tp, 0))},
	}
	if p.held && p.tp < 0 {
		c.Bypass.ET = ofTicks(m.bypass) // IEC 61131-3: ET holds PT until the input falls
	}
	return c
}
