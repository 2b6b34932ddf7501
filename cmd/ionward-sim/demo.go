package main

import (
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"time"

	"github.com/spf13/cobra"

	"ionward/agent/station"
	"ionward/cmd/line"
	"ionward/configs"
	"ionward/simulate/broker"
	"ionward/simulate/pace"
)

// demoOptions are the flags of demo.
type demoOptions struct {
	pace  string
	span  time.Duration
	sets  []string
	quiet bool
}

func demoCommand() *cobra.Command {
	var o demoOptions
	c := &cobra.Command{
		Use:   "demo",
		Short: "Run a simulated trailer, its instruments, the agent, a broker and the screen, all in this process",
		Long: `Run a simulated trailer, its Modbus instruments, a broker and the real agent with its screen, all in this process and
on the loopback. A story of forty minutes runs, twenty times as fast as real: good water, a bed breaks through, the
delay, the stop, rinse and bypass, a loss of control power. Prints what to open; Ctrl-C stops it.`,
		Example: `  ionward-sim demo
  ionward-sim demo --pace 60 --for 30s`,
		Args: line.Exactly(0, "no arguments"),
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runDemo(cmd.Context(), &o, cmd.OutOrStdout(), cmd.ErrOrStderr())
		},
	}
	f := c.Flags()
	f.StringVar(&o.pace, "pace", "20", "simulated seconds in one second, or max")
	f.DurationVar(&o.span, "for", 0, "stop after this wall time; 0 = run until Ctrl-C")
	f.StringArrayVar(&o.sets, "set", nil, "change a setting of the agent: PATH=VALUE, such as off_spec.delay=5m")
	f.BoolVar(&o.quiet, "quiet", false, "do not tell the story on standard error")
	return c
}

func runDemo(ctx context.Context, o *demoOptions, out, errOut io.Writer) error {
	rate, err := pace.Parse(o.pace)
	if err != nil {
		return line.Usagef("--pace: %w", err)
	}
	u, err := openUnit(usual(5020), rate, true)
	if err != nil {
		return err
	}
	defer u.face.Close()
	b, err := broker.Listen(usual(1883))
	if err != nil {
		return err
	}
	defer b.Close()
	folder, err := os.MkdirTemp("", "ionward-demo-")
	if err != nil {
		return fmt.Errorf("cannot make a folder for the demo's journal: %w", err)
	}
	defer os.RemoveAll(folder)
	file, err := demoFile(u, b, folder, o.sets)
	if err != nil {
		return err
	}
	s, err := station.Open(station.Settings{
		File: file, Clock: u.clock, Simulation: true, Pace: rate, Version: "demo",
		Log: slog.New(slog.NewTextHandler(errOut, &slog.HandlerOptions{Level: slog.LevelError})),
	})
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(out, "screen %s\nmetrics %s\nmqtt %s\nmodbus %s\n", s.ScreenURL(), s.MetricsURL(), b.URL(), u.face.URL()); err != nil {
		return err
	}
	ctx, cancel := limited(ctx, o.span)
	defer cancel()
	if !o.quiet {
		go u.tell(ctx, errOut)
	}
	return ended(s.Run(ctx))
}

// demoFile is the unit file of the bench unit, pointed at this demo's ports.
func demoFile(u *unit, b *broker.Broker, folder string, sets []string) (*configs.File, error) {
	const name = "bench-unit.yaml"
	text, err := configs.Examples.ReadFile(name)
	if err != nil {
		return nil, err
	}
	ours := []string{
		"trailer=DEMO", "off_spec.agreed_by=the plant chemist", "phones.service=+1 555 0100", "phones.control_room=+1 555 0101", "phones.water_user=+1 555 0102",
		"journal.folder=" + folder, "mqtt.broker=" + b.URL(), "screen.listen=" + usual(8480),
	}
	for _, instrument := range []string{"analyzer", "flow-meter", "contacts"} {
		ours = append(ours, "instruments."+instrument+".address="+u.face.URL())
	}
	return configs.Load(name, text, append(ours, sets...), configs.ForRun)
}
