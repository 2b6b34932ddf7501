// Package screen is the operator's screen: one page that says whether good water flows, how long it will, why it stopped
// and what to do now, served over HTTP with the present values already in it and kept fresh by a stream of events.
//
// It guarantees that a reader never makes the loop wait, that a stopped stream or loop shows as NO DATA with the numbers
// struck through and aged, that SIMULATION is in every page while the water is simulated, and that no page carries
// inline script or style or asks another host for anything.
//
// It has no control for a valve or for the bypass: the only thing it sends on is a person's acknowledgement or reset of
// an alarm.
package screen
