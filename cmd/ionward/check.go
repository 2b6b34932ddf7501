package main

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"ionward/cmd/line"
	"ionward/configs"
)

func checkCommand() *cobra.Command {
	var sets []string
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "Read a unit file and report everything that is wrong with it",
		Long: `Read a unit file and report everything that is wrong with it, each fault as file:line:column: key: what is wrong and
what would be right. Nothing else is started, opened or changed.`,
		Example: `  ionward check /etc/ionward/unit.yaml
  ionward check unit.yaml --set off_spec.delay=5m`,
		Args: line.Exactly(1, "one unit file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := configs.LoadFile(args[0], sets, configs.ForRun)
			if err != nil {
				return err
			}
			return found(f, cmd.OutOrStdout())
		},
	}
	c.Flags().StringArrayVar(&sets, "set", nil, "change a setting: PATH=VALUE, such as off_spec.delay=5m")
	return c
}

// found says what was read, so that a slip that is no fault catches the eye.
func found(f *configs.File, out io.Writer) error {
	signals := 0
	for i := range f.Instruments {
		signals += len(f.Instruments[i].Signals)
	}
	for _, w := range f.Warnings {
		if _, err := fmt.Fprintln(out, w); err != nil {
			return err
		}
	}
	_, err := fmt.Fprintf(out, "%s: no fault. Trailer %s: endpoint %g uS/cm, delay %v, bypass %v; %d signals from %d instruments.\n",
		f.Name, f.Trailer, f.Rule.Endpoint, f.Rule.Delay, f.Rule.Bypass, signals, len(f.Instruments))
	return err
}
