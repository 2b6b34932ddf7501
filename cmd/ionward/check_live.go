package main

import (
	"context"
	"fmt"
	"io"
	"strings"
	"time"

	"ionward/agent"
	"ionward/agent/modbus"
	"ionward/agent/poll"
	"ionward/agent/probe"
	"ionward/agent/station"
	"ionward/configs"
	"ionward/rules/signal"
)

// busyLine is the part of a serial line's time above which polling has no room for a late answer or a repeated question
// (common practice).
const busyLine = 0.7

// checkLive asks every instrument once and tells what it said. Lines are at most 60 characters wide, for a phone.
func checkLive(ctx context.Context, f *configs.File, out io.Writer) error {
	instruments, err := station.Instruments(f.Instruments)
	if err != nil {
		return err
	}
	source, err := poll.New(poll.Settings{Instruments: instruments, Clock: agent.NewRealClock()})
	if err != nil {
		return err
	}
	defer source.Close()
	l := &liveReport{out: out, endpoint: f.Rule.Endpoint}
	looks := source.Look(ctx)
	if err := ctx.Err(); err != nil {
		return err
	}
	for k := range looks {
		l.instrument(&looks[k])
	}
	l.lines(looks)
	if l.wrong > 0 {
		return fmt.Errorf("%d not good of %d looked at", l.wrong, l.all)
	}
	_, err = fmt.Fprintf(out, "\nall %d good\n", l.all)
	return err
}

// liveReport prints, and counts what is not as it should be.
type liveReport struct {
	out        io.Writer
	endpoint   float64 // uS/cm
	wrong, all int
}

func (l *liveReport) printf(format string, args ...any) { fmt.Fprintf(l.out, format, args...) }

// instrument tells about one instrument.
func (l *liveReport) instrument(k *poll.Look) {
	in := &k.Instrument
	bytes := 0
	at, _ := modbus.ParseAddress(in.Address) // checked by poll.New
	for _, r := range k.Requests {
		bytes += at.Size(r)
	}
	l.printf("\n%s  %s, unit %d\n", in.Name, at, in.UnitID)
	l.printf("  %.1f ms, %s, %d bytes, every %v\n", float64(k.Took)/float64(time.Millisecond), plural(len(k.Requests), "request"), bytes, in.Every)
	if k.Fault != nil {
		l.wrap(k.Fault.Error())
	}
	for s := range in.Signals {
		l.signal(k, &in.Signals[s], k.Readings[s])
	}
	for _, s := range k.Settings {
		l.setting(&s)
	}
}

func (l *liveReport) signal(k *poll.Look, s *poll.Signal, r signal.Reading) {
	l.all++
	value := "-"
	if r.Usable() {
		value = strings.TrimSpace(probe.Digits(s.Unit.From(r.Value)) + " " + unitOf(s).Symbol)
	}
	l.printf("  %-21s %-17s %s\n", s.ID, value, r.Quality)
	if r.Quality != signal.Good {
		l.wrong++
		l.printf("    because: %s\n", strings.ReplaceAll(r.Cause.String(), "_", " "))
	}
	switch {
	case r.Usable() && !s.ID.Contact():
		l.count(s, r.Value)
	case r.Quality == signal.Bad && k.Fault == nil && !s.Kind.Bits():
		// The usual cause is the mapping: show the way to the right one.
		l.printf("    see: ionward probe %s\n", k.Instrument.Address)
		l.printf("      --unit %d --kind %s --registers %d-%d\n", k.Instrument.UnitID, s.Kind, max(0, int(s.Register)-2), min(65535, int(s.Register)+5))
	}
}

// count tells what one count of the raw number means: a coarse one cannot tell on spec from off.
func (l *liveReport) count(s *poll.Signal, value float64) {
	unit, step := unitOf(s), s.Step(value)
	at := s.Unit.From(value)
	inUnit := unit.From(unit.Inside(at)+step) - at
	l.printf("    one count is %.3g %s", max(inUnit, -inUnit), unit.Symbol)
	if s.ID == signal.ProductConductivity {
		l.printf(", %.3g %% of the endpoint", 100*s.Step(l.endpoint)/l.endpoint)
	}
	l.printf("\n")
}

// unitOf is the unit in which a signal's instrument shows it.
func unitOf(s *poll.Signal) signal.Unit {
	if s.Unit == (signal.Unit{}) {
		return s.ID.Info().Unit
	}
	return s.Unit
}

func (l *liveReport) setting(s *agent.Setting) {
	l.all++
	switch {
	case s.Trouble != "" || s.Read.IsZero():
		l.wrong++
		l.printf("  setting %s: cannot be read\n", s.Name)
		l.wrap(s.Trouble)
	case s.Differs:
		l.wrong++
		l.printf("  setting %s: %.7g\n    commissioned with %.7g\n", s.Name, s.Have, s.Want)
	default:
		l.printf("  setting %s: %.7g as commissioned\n", s.Name, s.Have)
	}
}

// lines tells how busy each serial line is: at best, from the number of characters and silences alone, and as measured
// now.
func (l *liveReport) lines(looks []poll.Look) {
	done := map[string]bool{}
	for k := range looks {
		at, _ := modbus.ParseAddress(looks[k].Instrument.Address)
		if !at.RTU || done[at.Line()] {
			continue
		}
		done[at.Line()] = true
		floor, taken := load(looks[k:], at)
		l.all++
		l.printf("\nline %s\n", at.Line())
		if at.Device == "" {
			l.printf("  speed not known, taken for 19200 bit/s\n")
		}
		l.printf("  at best %.0f %% of its time, now %.0f %%\n", 100*floor, 100*taken)
		busy := max(floor, taken)
		if busy > busyLine {
			l.printf("  over %.0f %%: no room for late answers. Poll less\n", 100*busyLine)
			l.printf("  often (every), raise the baud rate, put registers\n  together, or split the line\n")
		}
		if busy > 1 {
			l.wrong++
		}
	}
}

// load is the part of a line's time that its instruments' polls take.
func load(looks []poll.Look, line modbus.Address) (floor, taken float64) {
	for k := range looks {
		at, _ := modbus.ParseAddress(looks[k].Instrument.Address)
		if at.Line() != line.Line() {
			continue
		}
		var least time.Duration
		for _, r := range looks[k].Requests {
			least += at.Floor(r)
		}
		floor += float64(least) / float64(looks[k].Instrument.Every)
		// A poll that failed took its time-outs, which says nothing about a line that works.
		if looks[k].Fault == nil {
			taken += float64(looks[k].Took) / float64(looks[k].Instrument.Every)
		}
	}
	return floor, taken
}

// wrap prints a long text in lines of at most 60 characters.
func (l *liveReport) wrap(text string) {
	row := "   "
	for _, word := range strings.Fields(text) {
		if len(row)+1+len(word) > 60 && strings.TrimSpace(row) != "" {
			l.printf("%s\n", row)
			row = "   "
		}
		row += " " + word
	}
	if strings.TrimSpace(row) != "" {
		l.printf("%s\n", row)
	}
}

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
