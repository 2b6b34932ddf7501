package main

import (
	"github.com/spf13/cobra"

	"ionward/cmd/line"
)

func describeCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "describe",
		Short: "Draw up what this unit does, from its settings",
		Long: `Draw up what this unit does, from its settings alone. Nothing is started, opened or changed, and no instrument is
asked.`,
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return line.Usagef("%q is nothing that describe can draw up; want chart", args[0])
			}
			return line.Usagef("describe needs what to draw up: chart (see ionward describe --help)")
		},
	}
	c.AddCommand(describeChartCommand())
	return c
}
