package poll

import (
	"time"

	"ionward/agent"
	"ionward/rules/signal"
)

// gone is how many polls in a row must stay without an answer before an instrument counts as lost. One lost answer is
// the noise of a line, and says nothing about the instrument's supply.
const gone = 2

// HoldOff says when a link that comes and goes is not believed any more. The zero HoldOff believes every answer.
type HoldOff struct {
	Losses int           // so many losses, each of two polls or more ...
	Within time.Duration // ... in so long a time ...
	Steady time.Duration // ... and nothing is believed until it has answered every poll for so long
}

// presence follows whether an instrument answers at all, and decides whether its answers may be believed yet. Times
// are those of the source's clock.
type presence struct {
	warmUp  time.Duration
	holdOff HoldOff

	seen   bool            // it has answered once
	silent int             // polls in a row without an answer
	losses []time.Duration // the newest ones, at most holdOff.Losses
	lost   uint64          // how many there were in all
	warm   time.Duration   // warming up until then
	held   bool            // held off
	since  time.Duration   // when it began to answer without a break
}

// poll takes in the outcome of one poll that ended at now, and says whether what it brought is kept back.
func (p *presence) poll(now time.Duration, answered bool) agent.Withheld {
	if !answered {
		if p.silent++; p.silent == gone && p.seen {
			p.lose(now)
		}
		return agent.NotWithheld // there is nothing to keep back
	}
	if p.silent > 0 || !p.seen {
		p.since = now
	}
	// At the first answer of all nothing is known of a loss: an agent that starts beside a unit in service must not be
	// blind for the warm-up of instruments that have been on for days.
	if p.silent >= gone && p.seen {
		p.warm = now + p.warmUp
	}
	p.seen, p.silent = true, 0
	if p.held && now-p.since >= p.holdOff.Steady {
		p.held, p.losses = false, p.losses[:0]
	}
	switch {
	case p.held:
		return agent.Flapping
	case now < p.warm:
		return agent.WarmingUp
	default:
		return agent.NotWithheld
	}
}

// lose notes a loss, and holds off once there were too many in too short a time.
func (p *presence) lose(now time.Duration) {
	p.lost++
	if p.holdOff.Losses <= 0 {
		return
	}
	if p.losses = append(p.losses, now); len(p.losses) > p.holdOff.Losses {
		p.losses = append(p.losses[:0], p.losses[1:]...)
	}
	if len(p.losses) == p.holdOff.Losses && now-p.losses[0] <= p.holdOff.Within {
		p.held = true
	}
}

// withhold replaces what may not be believed. A bad reading stays: it is no number, and nobody may hide that an
// instrument calls itself faulty. Warm-up is about measuring; a contact is right from the first answer.
func withhold(why agent.Withheld, signals []Signal, readings []signal.Reading) {
	for k := range readings {
		if !readings[k].Usable() {
			continue
		}
		switch {
		case why == agent.Flapping:
			readings[k] = none(signal.LinkDown)
		case why == agent.WarmingUp && !signals[k].ID.Contact():
			readings[k] = none(signal.Busy)
		}
	}
}
