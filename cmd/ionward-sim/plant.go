package main

import (
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"ionward/cmd/line"
	"ionward/simulate/pace"
)

func plantCommand() *cobra.Command {
	var (
		listen, rate string
		span         time.Duration
		still        bool
	)
	c := &cobra.Command{
		Use:   "plant",
		Short: "Serve only the simulated unit, for an agent to be pointed at",
		Long: `Serve only the simulated unit on Modbus TCP, for an agent to be pointed at as at a real one: unit id 1 is the analyzer,
2 the flow meter, 3 the contacts; configs/bench-unit.yaml maps them. The same story happens as in the demo, unless
--still leaves it on good water. Prints where it listens.`,
		Example: `  ionward-sim plant
  ionward run --config configs/bench-unit.yaml    (in another terminal)`,
		Args: line.Exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			speed, err := pace.Parse(rate)
			if err != nil || speed == pace.Max {
				return line.Usagef("--pace %s: use a number above 0 (1 = real time)", rate)
			}
			if listen == "" {
				listen = usual(5020)
			}
			u, err := openUnit(listen, speed, !still)
			if err != nil {
				return err
			}
			defer u.face.Close()
			ctx, cancel := limited(cmd.Context(), span)
			defer cancel()
			if _, err := fmt.Fprintln(cmd.OutOrStdout(), "modbus", u.face.URL()); err != nil {
				return err
			}
			go u.tell(ctx, cmd.ErrOrStderr())
			return ended(u.clock.Run(ctx))
		},
	}
	f := c.Flags()
	f.StringVar(&listen, "listen", "", "host:port; 127.0.0.1:5020, or a free port where that is taken")
	f.StringVar(&rate, "pace", "1", "simulated seconds in one second")
	f.DurationVar(&span, "for", 0, "stop after this wall time; 0 = run until Ctrl-C")
	f.BoolVar(&still, "still", false, "no story: good water, nothing happens")
	return c
}
