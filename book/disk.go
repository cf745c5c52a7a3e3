package book

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync/atomic"
)

// disk is the door through which the book writes files, so that tests can
// make it full at any byte.
type disk struct {
	limited atomic.Bool
	left    atomic.Int64 // bytes until the disk is full, when limited
}

// errFull is what a limited disk answers.
var errFull = errors.New("no space left on device")

func (d *disk) take(n int) error {
	if d.limited.Load() && d.left.Add(-int64(n)) < 0 {
		return errFull
	}
	return nil
}

// out is a file being written; it counts and hashes what goes through it.
type out struct {
	f    *os.File
	d    *disk
	sum  hash.Hash // nil: not wanted
	size int64
}

// create makes a new file. hashed asks for its SHA-256.
func (d *disk) create(path string, hashed bool) (*out, error) {
	if err := d.take(0); err != nil {
		return nil, &fs.PathError{Op: "create", Path: path, Err: err}
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_TRUNC, 0o644)
	if err != nil {
		return nil, err
	}
	o := &out{f: f, d: d}
	if hashed {
		o.sum = sha256.New()
	}
	return o, nil
}

// append adds to a file.
func (d *disk) append(path string, p []byte) error {
	if err := d.take(len(p)); err != nil {
		return &fs.PathError{Op: "write", Path: path, Err: err}
	}
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_APPEND, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(p)
	return errors.Join(err, f.Close())
}

// Write writes and hashes.
func (o *out) Write(p []byte) (int, error) {
	if err := o.d.take(len(p)); err != nil {
		return 0, &fs.PathError{Op: "write", Path: o.f.Name(), Err: err}
	}
	n, err := o.f.Write(p)
	o.size += int64(n)
	if o.sum != nil {
		o.sum.Write(p[:n])
	}
	return n, err
}

// hex gives the SHA-256 of what was written.
func (o *out) hex() string { return hex.EncodeToString(o.sum.Sum(nil)) }

// keep makes the file durable and closes it.
func (o *out) keep() error {
	err := o.f.Sync()
	return errors.Join(err, o.f.Close())
}

// drop closes and removes the file.
func (o *out) drop() {
	o.f.Close()
	os.Remove(o.f.Name())
}

// syncDir makes renames in a folder durable. Windows has no such call.
func syncDir(dir string) error {
	if runtime.GOOS == "windows" {
		return nil
	}
	f, err := os.Open(dir)
	if err != nil {
		return err
	}
	err = f.Sync()
	return errors.Join(err, f.Close())
}

// replace writes a small file so that at every moment the old or the new one
// stands there whole.
func (d *disk) replace(path, tmp string, data []byte) error {
	o, err := d.create(tmp, false)
	if err != nil {
		return err
	}
	if _, err := o.Write(data); err != nil {
		o.drop()
		return err
	}
	if err := o.keep(); err != nil {
		os.Remove(tmp)
		return err
	}
	if err := os.Rename(tmp, path); err != nil {
		os.Remove(tmp)
		return err
	}
	return syncDir(filepath.Dir(path))
}

// hashFile gives a file's SHA-256 and size.
func hashFile(path string) (string, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	if err != nil {
		return "", n, err
	}
	return hex.EncodeToString(h.Sum(nil)), n, nil
}

// hashBytes gives the SHA-256 of a text in hex.
func hashBytes(b []byte) string {
	h := sha256.Sum256(b)
	return hex.EncodeToString(h[:])
}

// writeError says of an error while writing what the person can do.
func writeError(dir, doing string, err error) error {
	if err == nil {
		return nil
	}
	var known *Error
	if errors.As(err, &known) {
		return err
	}
	hint := "What was stored before is unharmed; put the cause right and read again"
	if errors.Is(err, errFull) || isFull(err) {
		hint = "The disk is full. What was stored before is unharmed; make room and read again"
	}
	return &Error{Path: dir, Err: fmt.Errorf("%s: %w", doing, err), Hint: hint}
}
