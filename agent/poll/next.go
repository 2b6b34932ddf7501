package poll

import (
	"context"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/rules"
	"ionward/rules/signal"
)

// longest is how long the window of a scan may be.
const longest = 500 * time.Millisecond

// Next implements agent.Source. Within counts from the last step. When the context ends, all polls end with it.
func (s *Source) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	first := !s.begun
	if first {
		s.begin()
	}
	waiting, done := s.arm(ctx)
	defer done()
	scan := s.wait(waiting, after(s.last, within))
	if err := ctx.Err(); err != nil {
		s.halt()
		s.group.Wait()
		return err
	}
	now, utc := s.clock.Now(), s.clock.UTC()
	*in = rules.Input{Gap: now - s.last, At: utc.UnixNano(), Scan: scan, Estimated: first && !s.resume.IsZero()}
	s.last = now
	if scan {
		s.scanning = false
		in.Readings = s.assemble(now)
		in.Facts = s.facts()
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	in.Orders, s.orders = s.orders, nil
	if scan {
		s.scans, s.scanned = s.scans+1, utc
	}
	return nil
}

// begin sets the instant from which the first gap counts: now, or as long ago as the wall clock says that the
// checkpoint was made. A wall clock that was set back gives no gap rather than a negative one.
func (s *Source) begin() {
	now := s.clock.Now()
	s.last, s.begun = now, true
	if !s.resume.IsZero() {
		s.last -= max(0, s.clock.UTC().Sub(s.resume))
	}
	for _, i := range s.instruments {
		i.due = now
	}
}

// after is t + d, or never where that cannot be counted.
func after(t, d time.Duration) time.Duration {
	if d > 0 && t > agent.Never-d {
		return agent.Never
	}
	return t + d
}

// arm gives a context that ends with ctx or at an order, also one that came before.
func (s *Source) arm(ctx context.Context) (context.Context, context.CancelFunc) {
	waiting, cancel := context.WithCancel(ctx)
	s.mu.Lock()
	defer s.mu.Unlock()
	s.wake = cancel
	if len(s.orders) > 0 {
		cancel()
	}
	return waiting, cancel
}

// wait returns true once a scan is complete; false at the instant until, at an order, or when the context ends.
func (s *Source) wait(ctx context.Context, until time.Duration) bool {
	for ctx.Err() == nil {
		if s.scanning {
			return s.gather(ctx, until)
		}
		now, due := s.clock.Now(), s.due()
		switch {
		case now < min(due, until):
			// An error is the context's, and ends the loop.
			_ = s.clock.Sleep(ctx, min(due, until)-now)
		case until < due:
			return false
		default:
			s.start(now)
		}
	}
	return false
}

// due is when the next poll begins.
func (s *Source) due() time.Duration {
	next := agent.Never
	for _, i := range s.instruments {
		next = min(next, i.due)
	}
	return next
}

// start opens a scan and polls who is due. Who is still busy with an earlier poll is not asked again, but the scan
// waits for the answer as for any other.
func (s *Source) start(now time.Duration) {
	s.hear()
	s.scanning, s.awaited = true, 0
	window := longest
	var asking []*instrument
	for _, i := range s.instruments {
		i.asked, i.answered = i.due <= now, false
		if !i.asked {
			continue
		}
		// Missed polls are not made up, and the rhythm is kept.
		i.due += (now - i.due + i.Every) / i.Every * i.Every
		if i.phase > 0 {
			i.due, i.phase = i.due-i.Every+i.phase, 0
		}
		window = min(window, i.Every/2)
		s.awaited++
		if !i.busy {
			i.busy = true
			asking = append(asking, i)
		}
	}
	s.window = now + window
	s.ask(asking)
}

// ask polls all links at once, and the instruments behind one link in turn: those first that answered last time, so
// that one that hangs costs its neighbours as little as it can.
func (s *Source) ask(asking []*instrument) {
	queues := map[*modbus.Link][]*instrument{}
	for _, lost := range []bool{false, true} {
		for _, i := range asking {
			if i.isLost() == lost {
				queues[i.link] = append(queues[i.link], i)
			}
		}
	}
	for _, queue := range queues {
		s.group.Go(func() {
			for _, i := range queue {
				s.results <- i.poll(s.polling)
			}
			// After all readings; a look that is not answered costs the line one time-out in each of its rounds.
			for _, i := range queue {
				i.look(s.polling)
			}
		})
	}
}

// hear takes what came in since somebody last listened.
func (s *Source) hear() {
	for {
		select {
		case r := <-s.results:
			s.take(r)
		default:
			return
		}
	}
}

func (s *Source) take(r result) {
	i := s.instruments[r.index]
	i.busy, i.fresh, i.readings, i.at = false, true, r.readings, r.at
	if i.asked && !i.answered {
		i.answered = true
		s.awaited--
	}
}

// gather waits until all of the open scan have answered or its window is over (true); false as in wait. The scan
// stays open then, and the next call goes on waiting for the rest of the window.
func (s *Source) gather(ctx context.Context, until time.Duration) bool {
	now := s.clock.Now()
	window, stop := s.clock.Timer(s.window - now)
	defer stop()
	var limit <-chan time.Time
	if until != agent.Never {
		var stop func()
		limit, stop = s.clock.Timer(until - now)
		defer stop()
	}
	for s.awaited > 0 {
		select {
		case r := <-s.results:
			s.take(r)
		case <-window:
			return true
		case <-limit:
			return false
		case <-ctx.Done():
			return false
		}
	}
	return true
}

// assemble makes one set of the readings that there are.
func (s *Source) assemble(now time.Duration) signal.Set {
	s.hear()
	var set signal.Set
	for id := range set {
		set[id] = none(signal.NotPolled)
	}
	for _, i := range s.instruments {
		i.asScanned(now, &set)
		i.asked = false
	}
	return set
}

// facts tells what is newly known of the instruments' settings. What has been told before stands, and repeating it
// would only make steps that look like news.
func (s *Source) facts() rules.Facts {
	differs, known, any := false, true, false
	for _, i := range s.instruments {
		if i.watch == nil {
			continue
		}
		any = true
		d, k := i.watch.verdict()
		differs, known = differs || d, known && k
	}
	told := rules.Facts{Known: rules.SettingsChanged}
	if differs {
		told.Set = rules.SettingsChanged
	}
	if !any || !known && !differs || told == s.told {
		return rules.Facts{}
	}
	s.told = told
	return told
}
