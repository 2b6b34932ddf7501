package station

import (
	"context"
	"time"

	"ionward/agent"
	"ionward/rules"
)

// witness adds what the station itself knows to the inputs of its source: whether the record is being kept.
type witness struct {
	agent.Source
	failing func() bool // the record is full or cannot be written
	was     bool
	told    bool
}

// Next is the source's, and tells of the record when that has changed.
func (w *witness) Next(ctx context.Context, within time.Duration, in *rules.Input) error {
	if err := w.Source.Next(ctx, within, in); err != nil {
		return err
	}
	if now := w.failing(); now != w.was || !w.told {
		w.was, w.told = now, true
		in.Facts.Known |= rules.StoreFailing
		if now {
			in.Facts.Set |= rules.StoreFailing
		}
	}
	return nil
}

// storeFailing is what the alarm store-full stands for.
func (s *Station) storeFailing() bool {
	h := s.journal.Health()
	return h.Failing || h.Full
}
