package cli_test

import (
	"bytes"
	"context"
	"path/filepath"
	"strings"
	"testing"

	"evenstand/cli"
)

// run runs one command as main does and gives its exit code and what it wrote.
func run(ctx context.Context, args ...string) (code int, stdout, stderr string) {
	var out, err bytes.Buffer
	code = cli.Run(ctx, cli.Env{Args: args, Stdout: &out, Stderr: &err, Getenv: func(string) string { return "" }})
	return code, out.String(), err.String()
}

// must runs a command that must succeed and gives what it wrote as a result.
func must(t testing.TB, args ...string) string {
	t.Helper()
	code, out, err := run(context.Background(), args...)
	if code != 0 {
		t.Fatalf("evenstand %q: exit code %d\n%s%s", args, code, out, err)
	}
	return out
}

// simulated makes the day of testdata/tiny.toml and an empty logbook for it.
func simulated(t testing.TB) (day, book string) {
	t.Helper()
	dir := t.TempDir()
	day, book = filepath.Join(dir, "day"), filepath.Join(dir, "spring")
	must(t, "simulate", "testdata/tiny.toml", day)
	must(t, "new", book, "--planter", filepath.Join(day, "card.toml"), "--field", filepath.Join(day, "fields", "home-place.geojson"),
		"--zone", "America/Chicago", "--price", "4.50/bu", "--yield", "190bu/ac")
	return day, book
}

// Commands are written with the name by which the program was called, so that
// they can be copied.
func TestName(t *testing.T) {
	for _, args := range [][]string{{"worklist"}, {"plough"}, {"help"}, {"help", "read"}, {"read", "nowhere", "x"}, {"new", filepath.Join(t.TempDir(), "b"), "--zone", "UTC"}} {
		var out bytes.Buffer
		cli.Run(context.Background(), cli.Env{Args: args, Stdout: &out, Stderr: &out, Getenv: func(string) string { return "" }, Name: "./bin/es"})
		if text := out.String(); !strings.Contains(text, "./bin/es ") || strings.Contains(text, "Say evenstand") || strings.Contains(text, "  evenstand ") {
			t.Errorf("%q wrote\n%s", args, text)
		}
	}
}
