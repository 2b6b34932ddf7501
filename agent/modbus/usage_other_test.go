//go:build !unix

package modbus

import "time"

// processor is not known here.
func processor() time.Duration { return 0 }
