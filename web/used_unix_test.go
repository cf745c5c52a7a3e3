//go:build unix

package web_test

import (
	"syscall"
	"testing"
	"time"
)

// used is the time that the processors have spent on this program: what one of
// them would take with nothing else to do.
func used(tb testing.TB) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		tb.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}
