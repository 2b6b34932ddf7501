//go:build !linux

package modbus

// openPort opens a serial line with the library that knows this system's.
func openPort(a Address) (duplex, error) { return openStepped(a) }
