package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ionward/agent/trace"
	"ionward/agent/words"
	"ionward/cmd/line"
	"ionward/configs"
	"ionward/simulate/replay"
)

// replayOptions are the flags of replay.
type replayOptions struct {
	config  string
	format  string
	sets    []string
	ignore  bool
	keep    bool
	pace    float64
	journal string
	screen  string
}

func replayCommand() *cobra.Command {
	var o replayOptions
	c := &cobra.Command{
		Use:   "replay TRACE",
		Short: "Run the shutdown rule over a recorded trace and print what would have happened",
		Long: `Run the shutdown rule over a recorded trace and print what would have happened: every change of state, every press
of the bypass button, every alarm, and the sums. TRACE is a CSV file, compressed if its name ends in .gz; - reads
standard input. Its first column is time (RFC 3339 or plain seconds), the others are signals.`,
		Example: `  ionward-sim replay night.csv
  ionward-sim replay night.csv --format jsonl --set off_spec.endpoint=0.5 --set off_spec.delay=5m
  zcat night.csv.gz | ionward-sim replay -`,
		Args: line.Exactly(1, "one trace"),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runReplay(cmd.Context(), args[0], &o, cmd)
		},
	}
	f := c.Flags()
	f.StringVar(&o.config, "config", "", "unit file whose rule to use")
	f.StringVar(&o.format, "format", "text", "text, jsonl or csv")
	f.StringArrayVar(&o.sets, "set", nil, "change a setting for this run: PATH=VALUE, such as off_spec.delay=5m")
	f.BoolVar(&o.ignore, "ignore-unknown", false, "skip columns that are not known")
	f.BoolVar(&o.keep, "keep-going", false, "take damaged cells as bad readings, list them, and go on")
	f.Float64Var(&o.pace, "pace", 0, "run at this many times real time, with the screen; 0 = as fast as possible")
	f.StringVar(&o.journal, "journal", "", "keep a journal of the replay in this folder")
	f.StringVar(&o.screen, "listen", "127.0.0.1:8480", "where the screen listens with --pace")
	return c
}

func runReplay(ctx context.Context, name string, o *replayOptions, cmd *cobra.Command) error {
	format, err := replay.ParseFormat(o.format)
	if err != nil {
		return line.Usage{Err: err}
	}
	if o.pace < 0 {
		return line.Usagef("--pace %g: must not be negative", o.pace)
	}
	file, err := ruleFile(o.config, o.sets)
	if err != nil {
		return err
	}
	reader, err := openTrace(name, cmd.InOrStdin(), trace.Settings{
		IgnoreUnknown: o.ignore, KeepGoing: o.keep, NeedDates: o.journal != "",
		OnDamage: func(f *trace.Fault) { fmt.Fprintln(cmd.ErrOrStderr(), f) },
	})
	if err != nil {
		return err
	}
	defer reader.Close()
	phrases := words.English()
	set := replay.Settings{Rule: file.Rule, Format: format, Why: phrases.Why, State: phrases.State, Trailer: file.Trailer}
	w, err := openWatch(ctx, o, &set, phrases)
	if err != nil {
		return err
	}
	err = w.during(ctx, func(ctx context.Context) error { return replay.Run(ctx, reader, set, cmd.OutOrStdout()) })
	if o.pace > 0 {
		return ended(err) // who has seen enough presses Ctrl-C
	}
	return err
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
