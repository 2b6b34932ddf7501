package modbus

import (
	"fmt"
	"math/rand/v2"
	"time"
)

// pace spaces out attempts to connect: each failure in a row doubles the pause up
// to a limit, and half of it is random, so that many agents behind one gateway do
// not knock together after a power cut.
type pace struct {
	least, most time.Duration
	now         func() time.Time
	failures    int       // in a row
	until       time.Time // no attempt before this
	why         string    // the last failure, repeated while waiting
}

// fail starts the next pause.
func (p *pace) fail(why string) {
	pause := p.most
	// Past 20 doublings the limit holds anyway, and a shift could overflow.
	if p.failures < 20 {
		pause = min(p.least<<p.failures, p.most)
	}
	p.failures++
	p.until = p.now().Add(pause/2 + rand.N(pause/2+1))
	p.why = why
}

// good ends the row of failures: an answer came.
func (p *pace) good() { p.failures, p.until = 0, time.Time{} }

// held is the failure to report while a pause lasts, else nil.
func (p *pace) held() *failure {
	left := p.until.Sub(p.now())
	if p.until.IsZero() || left <= 0 {
		return nil
	}
	return &failure{kind: ErrDown, detail: fmt.Sprintf("%s; next try in %s", p.why, left.Round(time.Millisecond))}
}
