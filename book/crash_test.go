package book_test

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"

	"evenstand/book"
)

// killer is the environment variable that turns the test binary into a
// program that reads into a book: book folder, then paths, separated by the
// list separator.
const killer = "EVENSTAND_TEST_READ"

func TestMain(m *testing.M) {
	if job := os.Getenv(killer); job != "" {
		parts := filepath.SplitList(job)
		b, err := book.Open(parts[0], options())
		if err == nil {
			_, err = b.Read(context.Background(), parts[1:], formats, book.ReadOptions{})
			err = errors.Join(err, b.Close())
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// reader gives the command of a program that reads into a book.
func reader(t *testing.T, dir string, paths ...string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Skipf("this test runs itself as another program, and cannot find itself: %v", err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), killer+"="+strings.Join(append([]string{dir}, paths...), string(filepath.ListSeparator)))
	return cmd
}

// TestKilledAtAnyMoment kills a read 20 times (200 with EVENSTAND_LONG=1) at
// random moments. Each time the book opens, Check finds nothing, and reading
// again gives the bytes of a read that nobody disturbed.
func TestKilledAtAnyMoment(t *testing.T) {
	kills := 20
	if os.Getenv("EVENSTAND_LONG") != "" {
		kills = 200
	}
	if testing.Short() || raceOn { // make proof kills the built program 20 times
		kills = 3
	}
	all := seasonLog(1, 6)
	early := bytes.Index(all, fmt.Appendf(nil, "f %d ", at(4, 9, 0)))
	before := folder(t, map[string][]byte{"box.log": all[:early], "notes.txt": []byte("a box")})
	after := folder(t, map[string][]byte{"box.log": all, "notes.txt": []byte("a box")})
	late := folder(t, map[string][]byte{"late.log": fmt.Appendf(nil, "r %d ground_speed machine 2\n", at(2, 9, 0))})

	// What it comes to when nobody disturbs, and how long a read takes.
	calm := newBook(t)
	read(t, calm, before)
	read(t, calm, after, late)
	want := dataOf(t, calm.Dir())
	took := 0 * time.Second
	r := rand.New(rand.NewPCG(11, 4))
	hit := 0
	for n := range kills {
		b := newBook(t)
		read(t, b, before)
		dir := b.Dir()
		b.Close()
		if took == 0 {
			copyDir := filepath.Join(t.TempDir(), "timed")
			if err := os.CopyFS(copyDir, os.DirFS(dir)); err != nil {
				t.Fatal(err)
			}
			start := time.Now()
			if out, err := reader(t, copyDir, after, late).CombinedOutput(); err != nil {
				t.Fatalf("%v: %s", err, out)
			}
			took = time.Since(start)
		}
		for range 1 + r.IntN(2) { // also twice in a row
			cmd := reader(t, dir, after, late)
			var out bytes.Buffer
			cmd.Stderr = &out
			if err := cmd.Start(); err != nil {
				t.Fatal(err)
			}
			time.Sleep(time.Duration(r.Float64() * 1.1 * float64(took)))
			cmd.Process.Kill()
			if err := cmd.Wait(); err != nil {
				if out.Len() > 0 {
					t.Fatalf("kill %d: %s", n, out.String())
				}
				hit++
			}
		}
		b = open(t, dir)
		sound(t, b)
		read(t, b, after, late)
		sameData(t, want, dataOf(t, dir))
		sound(t, b)
		b.Close()
		if t.Failed() {
			t.Fatalf("kill %d of %d", n+1, kills)
		}
	}
	if hit < kills/2 {
		t.Errorf("only %d of %d kills hit a running read; they prove little", hit, kills)
	}
	t.Logf("%d kills hit a running read of about %v", hit, took)
}

// TestFullDisk makes the disk full after more and more bytes, until a read
// goes through. Each time the error says so, the book is sound, and nothing of
// what was stored is lost.
func TestFullDisk(t *testing.T) {
	all := seasonLog(1, 2)
	before := folder(t, map[string][]byte{"box.log": seasonLog(1, 1)})
	after := folder(t, map[string][]byte{"other.log": all})
	calm := newBook(t)
	read(t, calm, before)
	read(t, calm, after)
	want := dataOf(t, calm.Dir())
	b := newBook(t)
	read(t, b, before)
	r := rand.New(rand.NewPCG(2, 9))
	fails := 0
	for n := int64(0); ; n += 1 + r.Int64N(40_000) {
		b.LimitDisk(n)
		_, err := b.Read(context.Background(), []string{after}, formats, book.ReadOptions{})
		b.LimitDisk(-1)
		dir := b.Dir()
		b.Close()
		b = open(t, dir)
		sound(t, b)
		if t.Failed() {
			t.Fatalf("after %d bytes", n)
		}
		if err == nil {
			break
		}
		fails++
		var e *book.Error
		if !errors.As(err, &e) || !strings.Contains(e.Hint, "disk is full") {
			t.Fatalf("after %d bytes: %v", n, err)
		}
	}
	if fails < 5 {
		t.Errorf("the disk was full only %d times", fails)
	}
	sameData(t, want, dataOf(t, b.Dir()))
}

// TestFullTmpfs does the same with a real small disk, for root on Linux.
func TestFullTmpfs(t *testing.T) {
	if runtime.GOOS != "linux" || os.Getuid() != 0 {
		t.Skip("a small disk can only be made by root on Linux")
	}
	small := t.TempDir()
	const size = 1600 << 10
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", fmt.Sprintf("size=%d", size), "none", small).CombinedOutput(); err != nil {
		t.Skipf("no small disk can be made here: %v: %s", err, out)
	}
	defer exec.Command("umount", "-l", small).Run()
	dir := filepath.Join(small, "season")
	if err := book.Create(dir, settings(), []book.File{{Name: "four.toml", Data: []byte(card)}}, nil); err != nil {
		t.Fatal(err)
	}
	b := open(t, dir)
	read(t, b, folder(t, map[string][]byte{"box.log": seasonLog(1, 1)}))
	big := folder(t, map[string][]byte{"other.log": seasonLog(2, 40)})
	_, err := b.Read(context.Background(), []string{big}, formats, book.ReadOptions{})
	var e *book.Error
	if !errors.As(err, &e) || !strings.Contains(e.Hint, "disk is full") {
		t.Fatalf("%v", err)
	}
	b.Close()
	b = open(t, dir)
	sound(t, b)
	if fs, err := b.Findings(context.Background()); err != nil || len(fs) != 1 {
		t.Errorf("%d findings, %v", len(fs), err)
	}
	b.Close()
}
