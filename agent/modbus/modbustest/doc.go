// Package modbustest is the far end of a Modbus link for tests: a proxy in front of a
// well-behaved instrument that can be told to misbehave, over memory (so that a test
// may run in a synctest bubble), sockets or a serial line, as Modbus TCP or RTU.
//
// It guarantees that an answer is wrong only where a fault makes it so, that requests
// on one connection are answered in order, and that Close waits for all it started. It
// knows nothing of the link under test, and no program that reads instruments uses it.
package modbustest
