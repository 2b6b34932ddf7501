// Package configs reads the unit file: the one YAML file that tells an agent its trailer, the agreed rule, the
// instruments and where readings go.
//
// It guarantees:
//   - every fault of a file is reported in one run, in file order, each as file:line:col: path: what is wrong and what
//     would be right; a fault of an override as --set PATH=VALUE: ...;
//   - nothing is taken silently: an unknown, repeated, empty or mistyped key is a fault;
//   - a File without faults is complete: every default is filled in, every quantity is in the inside unit;
//   - one set of tables makes the reader and the list of Keys, so that neither knows a key that the other does not.
//
// It never opens a link, a port or any file but the one it is told to read, never changes a file, and never repeats a
// password in a message.
package configs
