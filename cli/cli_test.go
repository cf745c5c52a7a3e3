package cli_test

import (
	"bytes"
	"context"
	"path/filepath"
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
