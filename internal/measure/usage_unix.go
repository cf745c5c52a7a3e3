//go:build unix

package main

import (
	"syscall"
	"time"
)

// usage gives the processor time of this process so far, and the most memory
// that it ever held in KiB.
func usage() (cpu time.Duration, peak int64) {
	var r syscall.Rusage
	if syscall.Getrusage(syscall.RUSAGE_SELF, &r) != nil {
		return 0, 0
	}
	return time.Duration(r.Utime.Nano() + r.Stime.Nano()), int64(r.Maxrss)
}
