//go:build unix

package modbus

import (
	"syscall"
	"time"
)

// processor is the time that this process has had of a processor.
func processor() time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		return 0
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
