package main

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"ionward/agent/modbus"
	"ionward/agent/probe"
	"ionward/cmd/line"
	"ionward/rules/signal"
)

// mostAddresses is how many registers one call reads: what takes a slow device some minutes at worst.
const mostAddresses = 2000

// probing is what a call of probe asks for.
type probing struct {
	address   modbus.Address
	set       probe.Settings
	registers string
	kind      string
	unit      uint8
	units     string
	signals   []string
	find      string
	tolerance string
	yaml      bool
	wide      bool
	timeout   time.Duration
	pause     time.Duration

	ids  []signal.ID
	want float64
	in   signal.Unit
	near float64
}

func probeCommand() *cobra.Command {
	p := &probing{}
	c := &cobra.Command{
		Use:   "probe ADDRESS",
		Short: "Read a device without changing it, to find which register is what",
		Long: `Read a device without changing it, to find which register is what.

Without more, its registers are shown under every type and word order. --for marks what could be a signal, --find looks
for a number that the device's own display shows, --units tells which unit ids answer. --yaml writes what was guessed as a
block of a unit file.

Only reads are sent (function codes 1 to 4). On a serial line, stop the agent first: two cannot ask at once.`,
		Example: `  ionward probe tcp://192.0.2.10 --units 1-10
  ionward probe tcp://192.0.2.10 --registers 0-40 --for product_conductivity
  ionward probe tcp://192.0.2.10 --registers 0-200 --find 300.0
  ionward probe tcp://192.0.2.10 --find "139 gpm" --for flow --yaml
  ionward probe "rtu:///dev/ttyS0?baud=9600" --unit 3 --kind discrete`,
		Args: line.Exactly(1, "one address, such as tcp://192.0.2.10:502"),
		RunE: func(cmd *cobra.Command, args []string) error { return p.run(cmd, args[0]) },
	}
	f := c.Flags()
	f.Uint8Var(&p.unit, "unit", 1, "unit id of the device")
	f.StringVar(&p.registers, "registers", "0-40", "addresses to read, as sent: the first is 0")
	f.StringVar(&p.kind, "kind", "holding", "table: holding, input, coil or discrete")
	f.StringVar(&p.units, "units", "", "only tell which of these unit ids answer, such as 1-10")
	f.StringSliceVar(&p.signals, "for", nil, "mark what could be this signal; may be repeated")
	f.StringVar(&p.find, "find", "", "look for a number that the device shows, such as 300.0 or \"139 gpm\"")
	f.StringVar(&p.tolerance, "tolerance", "1%", "how far off --find may be")
	f.BoolVar(&p.yaml, "yaml", false, "write what was guessed as a unit file, and nothing else")
	f.BoolVar(&p.wide, "wide", false, "show 64-bit types too")
	f.DurationVar(&p.timeout, "timeout", time.Second, "how long an answer may take")
	f.DurationVar(&p.pause, "pause", 20*time.Millisecond, "between two questions")
	return c
}

// check reads the words of the command line; whatever is wrong with them is wrong use.
func (p *probing) check(address string) (err error) {
	if p.address, err = modbus.ParseAddress(address); err != nil {
		return err
	}
	p.set = probe.Settings{UnitID: p.unit, Timeout: p.timeout, Pause: p.pause}
	if p.set.Kind, err = modbus.ParseKind(p.kind); err != nil {
		return fmt.Errorf("--kind: %w", err)
	}
	if p.set.Range, err = probe.ParseRange(p.registers, 0, 65535, mostAddresses); err != nil {
		return fmt.Errorf("--registers: %w", err)
	}
	for _, name := range p.signals {
		id, ok := signal.Parse(name)
		if !ok || id.Contact() {
			return fmt.Errorf("--for %s: want a signal that is a number: %s", name, strings.Join(analogs(), ", "))
		}
		p.ids = append(p.ids, id)
	}
	if err := p.checkFind(); err != nil {
		return err
	}
	switch {
	case p.timeout < 10*time.Millisecond || p.timeout > time.Minute || p.pause < 0 || p.pause > time.Minute:
		return errors.New("--timeout, --pause: want 10ms to 1m, and at most 1m")
	case p.yaml && (len(p.ids) == 0 || p.units != ""):
		return errors.New("--yaml: say with --for which signals to write")
	case p.set.Kind.Bits() && (len(p.ids) > 0 || p.find != ""):
		return fmt.Errorf("--kind %s: bits are no numbers; leave --for and --find out, and see which bit changes", p.kind)
	}
	return nil
}

func analogs() []string {
	var list []string
	for _, name := range signal.Names() {
		if id, _ := signal.Parse(name); !id.Contact() {
			list = append(list, name)
		}
	}
	return list
}

// checkFind reads the number looked for, its unit if one was given, and the tolerance.
func (p *probing) checkFind() error {
	if p.find == "" {
		return nil
	}
	number, symbol, _ := strings.Cut(strings.TrimSpace(p.find), " ")
	var err error
	if p.want, err = strconv.ParseFloat(number, 64); err != nil || !(p.want > -1e18 && p.want < 1e18) {
		return fmt.Errorf("--find %q: want a number, or a number and its unit in quotes", p.find)
	}
	if symbol != "" {
		var ok bool
		if p.in, ok = signal.ParseUnit(symbol); !ok {
			return fmt.Errorf("--find %q: %q is not a unit", p.find, symbol)
		}
	}
	part, percent := strings.CutSuffix(strings.TrimSpace(p.tolerance), "%")
	if p.near, err = strconv.ParseFloat(part, 64); err != nil || !(p.near >= 0) {
		return fmt.Errorf("--tolerance %q: want a part of the number, such as 1%%", p.tolerance)
	}
	if percent {
		p.near /= 100
	}
	if p.near > 0.5 {
		return fmt.Errorf("--tolerance %s: want at most 50%%", p.tolerance)
	}
	switch {
	case len(p.ids) > 1:
		return errors.New("--find: one number is one signal; give --for once")
	case len(p.ids) == 1 && p.in.Symbol == "":
		return fmt.Errorf("--find %q: say its unit, as it is shown: one of %s", p.find, strings.Join(signal.Units(p.ids[0].Info().Unit.Quantity), ", "))
	case len(p.ids) == 1 && p.in.Quantity != p.ids[0].Info().Unit.Quantity:
		return fmt.Errorf("--find %q: %s is no unit of %s", p.find, p.in.Symbol, p.ids[0])
	}
	return nil
}

func (p *probing) run(cmd *cobra.Command, address string) error {
	if err := p.check(address); err != nil {
		return line.Usage{Err: err}
	}
	link := modbus.Open(modbus.Settings{Address: p.address.String(), Timeout: p.timeout})
	defer link.Close()
	out, aside := cmd.OutOrStdout(), cmd.ErrOrStderr()
	if p.units != "" {
		return p.scan(cmd.Context(), link, out)
	}
	fmt.Fprintf(aside, "%s, unit %d, %s %d to %d\n", p.address, p.unit, p.set.Kind, p.set.Range.First, p.set.Range.Last)
	p.set.Progress = func(done, of int) {
		if done < of {
			fmt.Fprintf(aside, "read %d of %d\n", done, of)
		}
	}
	table, err := probe.Read(cmd.Context(), link, p.set)
	if err != nil {
		return fmt.Errorf("%w%s", err, p.advice(err))
	}
	if len(table.Words) == 0 {
		return fmt.Errorf("nothing to read: %s %d to %d: %w; try another --kind, or other --registers",
			p.set.Kind, p.set.Range.First, p.set.Range.Last, table.Refused[0].Why)
	}
	return p.show(table, out)
}

// advice is what to try next.
func (p *probing) advice(err error) string {
	switch {
	case errors.Is(err, modbus.ErrTimeout) && p.address.RTU:
		return "\ntry --units 1-10, another baud or parity, a longer --timeout"
	case errors.Is(err, modbus.ErrTimeout):
		return "\ntry --units 1-10, or a longer --timeout"
	case errors.Is(err, modbus.ErrDown) && !p.address.RTU:
		return "\nis the address right, and does another program hold the only connection?"
	}
	return ""
}
