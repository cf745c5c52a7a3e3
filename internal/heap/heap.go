// Package heap says how much memory the programs let stand before they collect
// garbage: a season's work holds little and makes a good deal, and memory that
// was given back to the system is dear to get again.
package heap

import (
	"os"
	"runtime/debug"
)

// What is let stand is three times what is held, and 480 MiB in all at most
// before the collector works harder. A season of 64 million seeds, two days at
// a time, must stay under 600 MiB.
const (
	percent = 300
	limit   = 480 << 20 // bytes
)

// Set sets both, but for what the environment says itself by GOGC or
// GOMEMLIMIT.
func Set() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(percent)
	}
	if os.Getenv("GOMEMLIMIT") == "" {
		debug.SetMemoryLimit(limit)
	}
}
