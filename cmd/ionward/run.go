package main

import (
	"fmt"
	"log/slog"

	"github.com/spf13/cobra"

	"ionward/agent/station"
	"ionward/cmd/line"
	"ionward/configs"
)

// version is set by the release build.
var version = "development"

func runCommand() *cobra.Command {
	var config string
	var sets []string
	c := &cobra.Command{
		Use:   "run --config FILE",
		Short: "Run the agent of one trailer",
		Long: `Run the agent of one trailer: poll its instruments, watch the rule, serve the operator screen, keep the journal and
deliver it. Instruments and broker need not be reachable at the start. Ctrl-C or SIGTERM stops it in order.`,
		Example: `  ionward run --config /etc/ionward/unit.yaml
  ionward run --config unit.yaml --set screen.listen=127.0.0.1:8481`,
		Args: line.Exactly(0, "no arguments, and --config FILE"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			if config == "" {
				return line.Usagef("run needs --config FILE (see ionward run --help)")
			}
			f, err := configs.LoadFile(config, sets, configs.ForRun)
			if err != nil {
				return err
			}
			log := slog.New(slog.NewTextHandler(cmd.ErrOrStderr(), nil))
			for _, w := range f.Warnings {
				log.Warn(w.String())
			}
			s, err := station.Open(station.Settings{File: f, Version: version, Log: log})
			if err != nil {
				return err
			}
			if url := s.ScreenURL(); url != "" {
				fmt.Fprintln(cmd.OutOrStdout(), "screen", url)
			}
			if url := s.MetricsURL(); url != "" {
				fmt.Fprintln(cmd.OutOrStdout(), "metrics", url)
			}
			return s.Run(cmd.Context())
		},
	}
	c.Flags().StringVar(&config, "config", "", "the unit file")
	c.Flags().StringArrayVar(&sets, "set", nil, "change a setting for this run: PATH=VALUE, such as off_spec.delay=5m")
	return c
}
