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
	var live bool
	c := &cobra.Command{
		Use:   "check FILE",
		Short: "Read a unit file and report everything that is wrong with it",
		Long: `Read a unit file and report everything that is wrong with it, each fault as file:line:column: key: what is wrong and
what would be right. Nothing else is started, opened or changed.

With --live every instrument is asked once, and each signal shown with its value, quality and cause, and with what one
count of its raw number means; of each serial line it is told how much of its time the polling takes. Only reads are
sent. Stop the agent first where a line or a gateway takes one client only. The exit status is 1 if a signal is not good,
a setting not as commissioned, or a line too slow.`,
		Example: `  ionward check /etc/ionward/unit.yaml
  ionward check unit.yaml --set off_spec.delay=5m
  ionward check --live unit.yaml`,
		Args: line.Exactly(1, "one unit file"),
		RunE: func(cmd *cobra.Command, args []string) error {
			f, err := configs.LoadFile(args[0], sets, configs.ForRun)
			if err != nil {
				return err
			}
			if err := found(f, cmd.OutOrStdout()); err != nil || !live {
				return err
			}
			return checkLive(cmd.Context(), f, cmd.OutOrStdout())
		},
	}
	c.Flags().StringArrayVar(&sets, "set", nil, "change a setting: PATH=VALUE, such as off_spec.delay=5m")
	c.Flags().BoolVar(&live, "live", false, "ask every instrument once")
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
