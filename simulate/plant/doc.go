// Package plant is a physical model of a mobile demineralizer trailer: two banks of resin that break through, valves
// that take time to travel, water that stands and rinses up, control power, the bypass button, and the wired panel. The
// panel is the shutdown rule itself: its outputs move the simulated valves.
//
// It guarantees:
//   - the same settings, seed and controls at the same simulated instants give the same plant, bit for bit, however
//     Step is cut into pieces;
//   - ions and water are conserved: what is fed is retained or passed, what enters leaves;
//   - the panel's deadlines and the ends of valve travel are met at their exact instants.
//
// It never reads a clock, does I/O or starts a goroutine, and it is not safe for concurrent use.
//
// The numbers in Defaults are common practice of the trade or from memory, and all are settings. Conductivity is taken
// as additive over the banks: exact for neutral salts, a cautious upper bound for most other waters.
package plant
