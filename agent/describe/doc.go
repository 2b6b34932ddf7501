// Package describe draws up what a unit does from its settings: the cause-and-effect chart, one row a cause, one column
// an effect (the idea of IEC 62881).
//
// It guarantees that the effects on valves, timers and latch are what the rule itself does when it is stepped through
// the cause, so that the chart cannot say another thing than the agent expects.
//
// It never reads a clock or an instrument, and the words come from its phrase files.
package describe
