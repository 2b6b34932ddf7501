package main

import (
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"ionward/agent/trace"
	"ionward/agent/words"
	"ionward/cmd/line"
	"ionward/configs"
	"ionward/simulate/replay"
)

// replayOptions are the flags of replay.
type replayOptions struct {
	config   string
	format   string
	sets     []string
	ignore   bool
	keep     bool
	pace     float64
	journal  string
	screen   string
	plot     string
	progress bool
	explain  string
}

func replayCommand() *cobra.Command {
	var o replayOptions
	c := &cobra.Command{
		Use:   "replay TRACE",
		Short: "Run the shutdown rule over a recorded trace and print what would have happened",
		Long: `Run the shutdown rule over a recorded trace and print what would have happened: every change of state, every press
of the bypass button, every alarm, and the sums. TRACE is a CSV file, compressed if its name ends in .gz; - reads
standard input. Its first column is time (RFC 3339 or plain seconds), the others are signals.

A list of values for a setting of the rule, such as --set off_spec.delay=5m,10m,15m, asks what if: every combination of
the lists runs in one pass over the trace, and a comparison is printed. --explain prints instead what the rule saw,
decided and waited for at one instant.`,
		Example: `  ionward-sim replay night.csv
  ionward-sim replay night.csv --format jsonl --set off_spec.endpoint=0.5 --set off_spec.delay=5m
  ionward-sim replay year.csv.gz --set off_spec.delay=5m,10m,15m --set off_spec.endpoint=0.5,1 --plot what-if.svg
  ionward-sim replay night.csv --explain 02:31:07
  zcat night.csv.gz | ionward-sim replay -`,
		Args: line.Exactly(1, "one trace"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReplay(cmd, args[0], &o)
		},
	}
	f := c.Flags()
	f.StringVar(&o.config, "config", "", "unit file whose rule to use")
	f.StringVar(&o.format, "format", "text", "text, jsonl or csv")
	f.StringArrayVar(&o.sets, "set", nil, "change a setting for this run: PATH=VALUE, such as off_spec.delay=5m; a list of values compares")
	f.BoolVar(&o.ignore, "ignore-unknown", false, "skip columns that are not known")
	f.BoolVar(&o.keep, "keep-going", false, "take damaged cells as bad readings, list them, and go on")
	f.Float64Var(&o.pace, "pace", 0, "run at this many times real time, with the screen; 0 = as fast as possible")
	f.StringVar(&o.journal, "journal", "", "keep a journal of the replay in this folder")
	f.StringVar(&o.screen, "listen", "127.0.0.1:8480", "where the screen listens with --pace")
	f.StringVar(&o.plot, "plot", "", "draw a comparison into this SVG file: off-spec gallons against minutes without water")
	f.BoolVar(&o.progress, "progress", false, "show rows, percent and time left on standard error also where that is no terminal")
	f.StringVar(&o.explain, "explain", "", "what the rule saw, decided and waits for at this instant: 12:34:56, RFC 3339, or seconds since the first row")
	return c
}

func runReplay(cmd *cobra.Command, name string, o *replayOptions) error {
	format, err := replay.ParseFormat(o.format)
	if err != nil {
		return line.Usage{Err: err}
	}
	if o.pace < 0 {
		return line.Usagef("--pace %g: must not be negative", o.pace)
	}
	all, err := choices(o.sets)
	switch {
	case err != nil:
		return err
	case isList(all):
		return runWhatIf(cmd, name, o, format, all)
	case o.plot != "":
		return line.Usagef("--plot draws a comparison: give a list of values, such as --set off_spec.delay=5m,10m,15m")
	}
	file, err := ruleFile(o.config, o.sets)
	if err != nil {
		return err
	}
	if o.explain != "" {
		return runExplain(cmd, name, o, format, file)
	}
	return runOnce(cmd, name, o, format, file)
}

// runOnce replays the trace under one set of settings.
func runOnce(cmd *cobra.Command, name string, o *replayOptions, format replay.Format, file *configs.File) error {
	ctx, bar := cmd.Context(), newBar(cmd, o)
	reader, err := openTrace(name, cmd.InOrStdin(), o.traceSettings(bar))
	if err != nil {
		return err
	}
	defer reader.Close()
	bar.Watch(reader)
	phrases := words.English()
	set := replay.Settings{
		Rule: file.Rule, Format: format, Why: phrases.Why, State: phrases.State, Trailer: file.Trailer, Progress: bar.Rows,
	}
	w, err := openWatch(ctx, o, &set, phrases)
	if err != nil {
		return err
	}
	err = w.during(ctx, func(ctx context.Context) error { return replay.Run(ctx, reader, set, bar.Around(cmd.OutOrStdout())) })
	bar.Done()
	if o.pace > 0 {
		return ended(err) // who has seen enough presses Ctrl-C
	}
	return err
}

// newBar is the progress bar of a replay as fast as it can: on a terminal, or where asked for. A paced one is watched on
// the screen.
func newBar(cmd *cobra.Command, o *replayOptions) *replay.Bar {
	out := cmd.ErrOrStderr()
	lively := terminal(out)
	return replay.NewBar(out, (lively || o.progress) && o.pace == 0, lively)
}

// terminal reports whether a person may be looking.
func terminal(out io.Writer) bool {
	f, ok := out.(*os.File)
	if !ok {
		return false
	}
	info, err := f.Stat()
	return err == nil && info.Mode()&os.ModeCharDevice != 0
}

// traceSettings say how to read the trace; damage is listed beside the bar.
func (o *replayOptions) traceSettings(bar io.Writer) trace.Settings {
	return trace.Settings{
		IgnoreUnknown: o.ignore, KeepGoing: o.keep, NeedDates: o.journal != "",
		OnDamage: func(f *trace.Fault) { fmt.Fprintln(bar, f) },
	}
}

// openTrace opens a trace by name; - is standard input.
func openTrace(name string, in io.Reader, set trace.Settings) (*trace.Reader, error) {
	if name == "-" {
		return trace.Read("standard input", in, set)
	}
	return trace.Open(name, set)
}

// ruleFile is the unit file and its overrides, or the defaults and the overrides, wanted for the rule alone.
func ruleFile(name string, sets []string) (*configs.File, error) {
	if name == "" {
		return configs.Default(sets)
	}
	return configs.LoadFile(name, sets, configs.ForRule)
}
