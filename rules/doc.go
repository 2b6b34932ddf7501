// Package rules is the shutdown rule of a mobile demineralizer and what hangs on it: delay, bypass, power loss, alarms,
// the health of signals, advice on set-up and the custody of the water, as one pure step from a state and an input to a
// new state and its effects.
//
// It guarantees:
//   - the same state, settings and input give the same result, bit for bit; a gap cut into pieces changes nothing;
//   - no deadline is jumped: an event carries its exact instant, whatever the scan rate;
//   - State is plain values (no pointer, map or slice), so that a copy is a checkpoint;
//   - bad input never counts as good water;
//   - alarms and orders only tell: nothing of them is an argument of the shutdown rule.
//
// It never reads a clock, starts a goroutine, does I/O, logs, or makes a sentence: a reason is a code and numbers.
package rules
