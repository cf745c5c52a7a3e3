//go:build unix

package book

import (
	"errors"
	"os"
	"syscall"
)

// lockFile takes the lock of an open file; the system gives it back when the
// program ends, however it ends.
func lockFile(f *os.File) error {
	err := syscall.Flock(int(f.Fd()), syscall.LOCK_EX|syscall.LOCK_NB)
	if errors.Is(err, syscall.EWOULDBLOCK) {
		return ErrInUse
	}
	return err
}

// isFull tells whether the disk or the quota was full.
func isFull(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, syscall.EDQUOT)
}
