package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
)

// program drives the built evenstand.
type program struct {
	bin  string // absolute
	hash string // of its bytes
	root string // of the source tree
	work string // scratch folder, removed at the end
	keep string // folder of scored days

	mistaken string // table of what was taken for what, of the days scored
}

func newProgram(root, bin, keep string) (*program, error) {
	abs, err := filepath.Abs(bin)
	if err != nil {
		return nil, err
	}
	data, err := os.ReadFile(abs)
	if err != nil {
		return nil, fmt.Errorf("%w. Build it first: make build", err)
	}
	work, err := os.MkdirTemp("", "evenstand-measure-")
	if err != nil {
		return nil, err
	}
	return &program{bin: abs, hash: fmt.Sprintf("%x", sha256.Sum256(data))[:16], root: root, work: work, keep: keep}, nil
}

func (p *program) close() { os.RemoveAll(p.work) }

// run runs a command of evenstand and gives its standard output. Exit code 3,
// done with some input unused, is no error here.
func (p *program) run(ctx context.Context, args ...string) ([]byte, error) {
	cmd := exec.CommandContext(ctx, p.bin, args...)
	cmd.Dir = p.work
	var out, bad bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &bad
	err := cmd.Run()
	var exit *exec.ExitError
	if errors.As(err, &exit) && exit.ExitCode() == 3 {
		err = nil
	}
	if err != nil {
		return nil, fmt.Errorf("evenstand %s: %w: %s", strings.Join(args, " "), err, strings.TrimSpace(bad.String()))
	}
	return out.Bytes(), nil
}

// into runs a command and decodes its JSON.
func (p *program) into(ctx context.Context, v any, args ...string) error {
	out, err := p.run(ctx, append(args, "--json")...)
	if err != nil {
		return err
	}
	if err := json.Unmarshal(out, v); err != nil {
		return fmt.Errorf("evenstand %s --json: %w", strings.Join(args, " "), err)
	}
	return nil
}

// simulate makes a day.
func (p *program) simulate(ctx context.Context, scenario string, seed uint64, out string) error {
	_, err := p.run(ctx, "simulate", scenario, out, "--seed", fmt.Sprint(seed))
	return err
}

// newBook makes a book for a simulated day.
func (p *program) newBook(ctx context.Context, book, day string) error {
	args := []string{
		"new", book, "--planter", filepath.Join(day, "card.toml"), "--zone", "America/Chicago", "--units", "us",
		"--price", "4.50/bu", "--yield", "190bu/ac", "--seed-price", "300/80000",
	}
	fields, err := filepath.Glob(filepath.Join(day, "fields", "*.geojson"))
	if err != nil {
		return err
	}
	for _, f := range fields {
		args = append(args, "--field", f)
	}
	if _, err = p.run(ctx, args...); err != nil {
		return err
	}
	said, err := os.ReadFile(filepath.Join(day, "settings.toml")) // what the people of the day enter
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	name := filepath.Join(book, "book.toml")
	text, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	return os.WriteFile(name, append(text, said...), 0o666)
}

// hashes gives the SHA-256 of every file below a folder.
func hashes(dir string) (map[string]string, error) {
	got := map[string]string{}
	err := filepath.WalkDir(dir, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		f, err := os.Open(name)
		if err != nil {
			return err
		}
		defer f.Close()
		h := sha256.New()
		if _, err := io.Copy(h, f); err != nil {
			return err
		}
		rel, err := filepath.Rel(dir, name)
		got[rel] = fmt.Sprintf("%x", h.Sum(nil))
		return err
	})
	return got, err
}
