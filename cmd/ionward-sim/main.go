// Ionward-sim is ionward for desks and classrooms: it replays recorded traces and runs a simulated trailer, through the
// same rule and the same loop as beside a real unit.
package main

import (
	"github.com/spf13/cobra"

	"ionward/cmd/line"
)

func main() { line.Main(root()) }

func root() *cobra.Command {
	c := &cobra.Command{
		Use:   "ionward-sim",
		Short: "Replay recorded traces and run a simulated trailer, through the same rule as beside a real unit",
	}
	c.AddCommand(replayCommand(), demoCommand(), plantCommand())
	return c
}
