//go:build !unix

package main

import "time"

// usage is not told on this system.
func usage() (cpu time.Duration, peak int64) { return 0, 0 }
