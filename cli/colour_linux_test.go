package cli_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"unsafe"

	"evenstand/cli"
)

// terminal opens a made-up terminal: what is written to the second file comes
// out of the first.
func terminal(t *testing.T) (master, slave *os.File) {
	t.Helper()
	master, err := os.OpenFile("/dev/ptmx", os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skip("this computer gives no terminal to try it on: ", err)
	}
	t.Cleanup(func() { master.Close() })
	var locked, n int32
	for req, arg := range map[uintptr]*int32{syscall.TIOCSPTLCK: &locked, syscall.TIOCGPTN: &n} {
		if _, _, errno := syscall.Syscall(syscall.SYS_IOCTL, master.Fd(), req, uintptr(unsafe.Pointer(arg))); errno != 0 {
			t.Skip("this computer gives no terminal to try it on: ", errno)
		}
	}
	slave, err = os.OpenFile(fmt.Sprintf("/dev/pts/%d", n), os.O_RDWR|syscall.O_NOCTTY, 0)
	if err != nil {
		t.Skip("this computer gives no terminal to try it on: ", err)
	}
	t.Cleanup(func() { slave.Close() })
	return master, slave
}

// Emphasis is for terminals only; NO_COLOR and simple terminals go without.
func TestColour(t *testing.T) {
	day, dir := simulated(t)
	must(t, "read", dir, filepath.Join(day, "boxes"))
	for _, tt := range []struct {
		name   string
		env    map[string]string
		tty    bool
		colour bool
	}{
		{"a terminal", map[string]string{"TERM": "xterm"}, true, true},
		{"NO_COLOR", map[string]string{"TERM": "xterm", "NO_COLOR": "1"}, true, false},
		{"NO_COLOR that is empty", map[string]string{"TERM": "xterm", "NO_COLOR": ""}, true, true},
		{"a terminal without codes", map[string]string{"TERM": "dumb"}, true, false},
		{"a pipe", map[string]string{"TERM": "xterm"}, false, false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			read, write := terminal(t)
			if !tt.tty {
				var err error
				if read, write, err = os.Pipe(); err != nil {
					t.Fatal(err)
				}
			}
			env := cli.Env{Args: []string{"worklist", dir}, Stdout: write, Stderr: io.Discard, Getenv: func(k string) string { return tt.env[k] }}
			if code := cli.Run(context.Background(), env); code != 0 {
				t.Fatalf("exit code %d", code)
			}
			fmt.Fprint(write, "\nthe end\n")
			var got bytes.Buffer
			buf := make([]byte, 4096)
			for !strings.Contains(got.String(), "the end") {
				n, err := read.Read(buf)
				got.Write(buf[:n])
				if err != nil {
					t.Fatal(err)
				}
			}
			if !strings.Contains(got.String(), "Next stop") {
				t.Errorf("no worklist: %s", got.String())
			}
			if colour := strings.Contains(got.String(), "\x1b["); colour != tt.colour {
				t.Errorf("emphasis = %v, want %v: %q", colour, tt.colour, got.String())
			}
		})
	}
}
