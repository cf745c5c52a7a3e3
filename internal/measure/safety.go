package main

import (
	"context"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"time"
)

// smallDay simulates the shortest day and gives its folder.
func (p *program) smallDay(ctx context.Context) (string, error) {
	day := filepath.Join(p.work, "small-day")
	if _, err := os.Stat(day); err == nil {
		return day, nil
	}
	return day, p.simulate(ctx, filepath.Join(p.root, "scenarios", "calm-short.toml"), 7001, day)
}

// kills kills evenstand read at random moments. Each time evenstand check must
// pass, reading again must complete, and the data must then be the bytes of a
// read that nobody disturbed.
func (p *program) kills(ctx context.Context, n int) (Figure, error) {
	f := Figure{What: fmt.Sprintf("%d kills during read: check passes, a repeated read completes with the same bytes under data", n), Target: "all", Command: fmt.Sprintf("go run ./internal/measure -kills %d kills", n)}
	day, err := p.smallDay(ctx)
	if err != nil {
		return f, err
	}
	fresh, calm := filepath.Join(p.work, "fresh"), filepath.Join(p.work, "undisturbed")
	if err := p.newBook(ctx, fresh, day); err != nil {
		return f, err
	}
	if err := os.CopyFS(calm, os.DirFS(fresh)); err != nil {
		return f, err
	}
	boxes := filepath.Join(day, "boxes")
	start := time.Now()
	if _, err := p.run(ctx, "read", calm, boxes); err != nil {
		return f, err
	}
	took := time.Since(start)
	want, err := hashes(filepath.Join(calm, "data"))
	if err != nil {
		return f, err
	}
	if len(want) == 0 {
		return f, fmt.Errorf("a read leaves nothing under data, so there is nothing to compare")
	}
	good, hit := 0, 0
	var first error
	r := rand.New(rand.NewPCG(20, 26))
	for i := range n {
		ran, err := p.kill(ctx, fresh, boxes, time.Duration(r.Float64()*1.05*float64(took)), want)
		if ran {
			hit++
		}
		if err == nil {
			good++
		} else if first == nil {
			first = fmt.Errorf("kill %d of %d: %w", i+1, n, err)
			fmt.Fprintln(os.Stderr, first)
		}
		if err := ctx.Err(); err != nil {
			return f, err
		}
	}
	f.Value = fmt.Sprintf("%d of %d; %d hit a running read of about %.1f s", good, n, hit, took.Seconds())
	f.Verdict = judge(good == n && hit >= n/2)
	return f, nil
}

// kill runs one read, kills it after a while, and looks at what is left. It
// tells whether the read was still running.
func (p *program) kill(ctx context.Context, fresh, boxes string, after time.Duration, want map[string]string) (running bool, err error) {
	book := filepath.Join(p.work, "killed")
	defer os.RemoveAll(book)
	if err := os.CopyFS(book, os.DirFS(fresh)); err != nil {
		return false, err
	}
	cmd := exec.CommandContext(ctx, p.bin, "read", book, boxes)
	if err := cmd.Start(); err != nil {
		return false, err
	}
	time.Sleep(after)
	if err := cmd.Process.Kill(); err != nil {
		fmt.Fprintln(os.Stderr, "it had ended:", err)
	}
	running = cmd.Wait() != nil
	if _, err := p.run(ctx, "check", book); err != nil {
		return running, err
	}
	if _, err := p.run(ctx, "read", book, boxes); err != nil {
		return running, err
	}
	if _, err := p.run(ctx, "check", book); err != nil {
		return running, err
	}
	got, err := hashes(filepath.Join(book, "data"))
	if err == nil && !maps.Equal(got, want) {
		err = fmt.Errorf("the bytes under data differ from those of an undisturbed read")
	}
	return running, err
}

// rebuild rebuilds a book twice and compares the bytes.
func (p *program) rebuild(ctx context.Context) (Figure, error) {
	f := Figure{What: "rebuild twice: equal bytes under data", Target: "equal", Command: "go run ./internal/measure rebuild"}
	day := filepath.Join(p.work, "demo-day")
	if err := p.simulate(ctx, filepath.Join(p.root, "scenarios", "demo.toml"), 7001, day); err != nil {
		return f, err
	}
	book := filepath.Join(p.work, "rebuilt")
	if err := p.newBook(ctx, book, day); err != nil {
		return f, err
	}
	if _, err := p.run(ctx, "read", book, filepath.Join(day, "boxes")); err != nil {
		return f, err
	}
	var before map[string]string
	for i := range 3 {
		if i > 0 {
			if _, err := p.run(ctx, "rebuild", book); err != nil {
				return f, err
			}
		}
		got, err := hashes(filepath.Join(book, "data"))
		if err != nil {
			return f, err
		}
		if i > 0 && !maps.Equal(got, before) {
			f.Value, f.Verdict = fmt.Sprintf("rebuild %d differs", i), Missed
			return f, nil
		}
		before = got
	}
	f.Value, f.Verdict = fmt.Sprintf("equal, %d files, the read before them too", len(before)), judge(len(before) > 3)
	return f, nil
}
