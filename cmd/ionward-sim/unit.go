package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"time"

	"ionward/simulate/instruments"
	"ionward/simulate/pace"
	"ionward/simulate/plant"
	"ionward/simulate/story"
)

// unit is the simulated trailer with its instruments, on a clock of its own.
type unit struct {
	stage *story.Stage
	clock *pace.Clock
	face  *instruments.Server
}

// openUnit puts a trailer on the stage; told=false leaves it alone on good water.
func openUnit(listen string, rate float64, told bool) (*unit, error) {
	set, steps := plant.Defaults(), []story.Step(nil)
	if told {
		set, steps = story.Settings(), story.Steps()
	}
	p, err := plant.New(set)
	if err != nil {
		return nil, err
	}
	u := &unit{stage: story.NewStage(p, steps)}
	if u.clock, err = pace.New(time.Now(), rate, u.stage.Advance); err != nil {
		return nil, err
	}
	if u.face, err = instruments.Listen(instruments.Settings{Listen: listen}, u.stage.Truth); err != nil {
		return nil, err
	}
	return u, nil
}

// tell writes the story's captions for who watches, as they come, until the context ends.
func (u *unit) tell(ctx context.Context, out io.Writer) {
	captions, err := story.Captions("en")
	if err != nil {
		return // they are part of the program, and a test reads them
	}
	tick := time.NewTicker(200 * time.Millisecond)
	defer tick.Stop()
	for last := (story.Scene{}); ; {
		scene, err := u.stage.Scene()
		if err != nil {
			fmt.Fprintf(out, "the story stands still: %v\n", err)
			return
		}
		if scene != last {
			last = scene
			fmt.Fprintf(out, "%s  %s\n", u.clock.UTC().Local().Format("15:04:05"), captions[scene.Name])
		}
		select {
		case <-tick.C:
		case <-ctx.Done():
			return
		}
	}
}

// usual gives the usual address of the loopback, or a free port where another program has it.
func usual(port int) string {
	address := fmt.Sprintf("127.0.0.1:%d", port)
	l, err := net.Listen("tcp", address)
	if err != nil {
		return "127.0.0.1:0"
	}
	_ = l.Close() // it was opened only to see whether it is free
	return address
}

// limited ends the context after a wall time; 0 = never.
func limited(ctx context.Context, d time.Duration) (context.Context, context.CancelFunc) {
	if d <= 0 {
		return context.WithCancel(ctx)
	}
	return context.WithTimeout(ctx, d)
}

// ended makes an orderly end out of a cancelled context.
func ended(err error) error {
	if errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return nil
	}
	return err
}
