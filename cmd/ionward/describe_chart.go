package main

import (
	"io"
	"strings"

	"github.com/spf13/cobra"

	"ionward/agent/describe"
	"ionward/cmd/line"
	"ionward/configs"
)

func describeChartCommand() *cobra.Command {
	var config, format, language string
	var sets []string
	c := &cobra.Command{
		Use:   "chart",
		Short: "Print the cause-and-effect chart",
		Long: `Print the cause-and-effect chart of a unit: one row for each cause, one column for each effect. What it says of valves,
timers and latch is found by stepping the rule through each cause with the unit's settings. Without --config it is
the chart of the settings as they come, every contact wired. Where the panel profile says that the wired panel does
another thing, the notes below the table say so.`,
		Example: `  ionward describe chart --config /etc/ionward/unit.yaml
  ionward describe chart --config unit.yaml --format html > chart.html
  ionward describe chart --set off_spec.keep_trip=true`,
		Args: line.Exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			write, ok := map[string]func(*describe.Chart, io.Writer) error{
				"text": (*describe.Chart).Text, "csv": (*describe.Chart).CSV, "html": (*describe.Chart).HTML,
			}[format]
			if !ok {
				return line.Usagef("%q is not a format of describe chart; want text, csv or html", format)
			}
			set, err := described(config, sets)
			if err != nil {
				return err
			}
			if language != "" {
				set.Language = language
			}
			chart, err := describe.New(set)
			if err != nil {
				return line.Usage{Err: err}
			}
			return write(chart, cmd.OutOrStdout())
		},
	}
	c.Flags().StringVar(&config, "config", "", "the unit file")
	c.Flags().StringVar(&format, "format", "text", "text, csv or html")
	c.Flags().StringVar(&language, "language", "", "of the chart: "+strings.Join(describe.Languages(), " or ")+" (default the unit's)")
	c.Flags().StringArrayVar(&sets, "set", nil, "change a setting: PATH=VALUE, such as off_spec.delay=5m")
	return c
}

// described reads what a chart is drawn from. Only the rule has to be there: a chart is wanted before the instruments are.
func described(config string, sets []string) (describe.Settings, error) {
	var f *configs.File
	var err error
	if config == "" {
		f, err = configs.Default(sets)
	} else {
		f, err = configs.LoadFile(config, sets, configs.ForRule)
	}
	if err != nil {
		return describe.Settings{}, err
	}
	set := describe.Settings{Trailer: f.Trailer, Rule: &f.Rule, Language: f.Language}
	for i := range f.Instruments {
		for _, s := range f.Instruments[i].Signals {
			set.Wired |= describe.Wired(s.ID)
		}
	}
	if len(f.Instruments) == 0 {
		set.Wired = describe.AllWired
	}
	return set, nil
}
