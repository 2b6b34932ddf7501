// Ionward runs beside a mobile demineralizer: it polls the instruments, watches the shutdown rule, tells the operator
// what is happening and what to do, and delivers the record. It only watches: nothing in it writes to an instrument.
package main

import (
	"github.com/spf13/cobra"

	"ionward/cmd/line"
)

func main() { line.Main(root()) }

func root() *cobra.Command {
	c := &cobra.Command{
		Use:   "ionward",
		Short: "Watch a mobile demineralizer: poll, explain, record and deliver",
	}
	c.AddCommand(runCommand(), checkCommand(), probeCommand(), describeCommand())
	return c
}
