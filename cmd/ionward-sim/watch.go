package main

import (
	"context"
	"fmt"
	"net"

	"ionward/agent"
	"ionward/agent/journal"
	"ionward/agent/screen"
	"ionward/agent/words"
	"ionward/simulate/replay"
)

// watch is what may look on while a trace is replayed: the screen with --pace, a journal with --journal.
type watch struct {
	latest  agent.Latest
	screen  *screen.Screen
	at      net.Listener
	journal *journal.Journal
}

// openWatch opens what the options ask for and tells the replay of it.
func openWatch(ctx context.Context, o *replayOptions, set *replay.Settings, phrases *words.Phrases) (*watch, error) {
	w := &watch{}
	if o.pace > 0 {
		set.Pace, set.Clock, set.Latest = o.pace, agent.NewRealClock(), &w.latest
		if set.Trailer == "" {
			set.Trailer = "RECORDED"
		}
		var err error
		if w.at, err = net.Listen("tcp", o.screen); err != nil {
			return nil, fmt.Errorf("cannot serve the screen: %w; choose another address with --listen", err)
		}
		// What is shown is a recording, not the present: the page says so as for everything simulated.
		w.screen = screen.New(screen.Settings{Latest: &w.latest, Phrases: phrases, Trailer: set.Trailer, Simulation: true, Pace: o.pace})
	}
	if o.journal == "" {
		return w, nil
	}
	trailer := set.Trailer
	if trailer == "" {
		trailer = "RECORDED"
	}
	j, err := journal.Open(journal.Settings{Folder: o.journal, Trailer: trailer})
	if err != nil {
		return nil, err
	}
	last, _ := j.Last()
	w.journal, set.Journal, set.Epoch, set.Seq = j, &patient{ctx: ctx, journal: j}, last.Epoch, last.Seq
	return w, nil
}

// ahead is how many entries a replay may be ahead of the disk.
const ahead = 1000

// patient waits for the disk: beside a unit the loop must never wait and a stalled journal drops calm scans, but a
// replay has all the time that the disk needs.
type patient struct {
	ctx     context.Context
	journal *journal.Journal
}

// Record takes an entry once the disk has come near.
func (p *patient) Record(e *agent.Entry) {
	for {
		changed := p.journal.Changed()
		if e.Seq <= p.journal.Committed()+ahead {
			break
		}
		select {
		case <-changed:
		case <-p.ctx.Done():
			return
		}
	}
	p.journal.Record(e)
}

// during runs the replay while the others look on, and closes them.
func (w *watch) during(ctx context.Context, run func(context.Context) error) (err error) {
	if w.screen == nil {
		err = run(ctx)
	} else {
		ctx, stop := context.WithCancel(ctx)
		served := make(chan error, 1)
		go func() { served <- w.screen.Serve(ctx, w.at) }()
		err = run(ctx)
		stop()
		if cause := <-served; cause != nil && err == nil {
			err = cause
		}
	}
	if w.journal != nil {
		if cause := w.journal.Close(); cause != nil && err == nil {
			err = cause
		}
	}
	return err
}
