package lines

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"strings"
	"testing"
	"testing/iotest"

	"github.com/google/go-cmp/cmp"
)

// some reads a few bytes at a time, any number.
type some struct {
	r   io.Reader
	rng *rand.Rand
}

func (s some) Read(p []byte) (int, error) { return s.r.Read(p[:min(len(p), 1+s.rng.IntN(7))]) }

var names = [...]string{None: "none", Whole: "whole", Cut: "cut", Long: "long", Open: "open"}

// all takes a text apart and writes down what came: line, first byte, what it
// is, text.
func all(l *Cutter, next func() ([]byte, Found)) (out []string) {
	for {
		b, got := next()
		if got == None {
			return out
		}
		if len(b) > 80 {
			b = fmt.Appendf(nil, "%s...%d", b[:4], len(b))
		}
		out = append(out, fmt.Sprintf("%d %d %s %q", l.Line(), l.Start(), names[got], b))
	}
}

func TestNext(t *testing.T) {
	x := func(n int) string { return strings.Repeat("x", n) }
	for _, tt := range []struct {
		name, text string
		end        byte
		want       []string
	}{
		{"nothing", "", '\n', nil},
		{"two lines", "a\nbc\n", '\n', []string{`1 0 whole "a"`, `2 2 whole "bc"`}},
		{"no end", "a\nbc", '\n', []string{`1 0 whole "a"`, `2 2 cut "bc"`}},
		{"returns", "a\r\n\r\nb\r\r\n\r", '\n', []string{`1 0 whole "a"`, `2 3 whole ""`, `3 5 whole "b\r"`, `4 9 cut ""`}},
		{"returns alone", "a\rb\n\rc", '\r', []string{`1 0 whole "a"`, `2 2 whole "b\n"`, `3 5 cut "c"`}},
		{"as long as can be", x(bufferSize-1) + "\nb\n", '\n', []string{`1 0 whole "xxxx...262143"`, `2 262144 whole "b"`}},
		{"as long as can be, without end", x(bufferSize - 1), '\n', []string{`1 0 cut "xxxx...262143"`}},
		{"longer", "a\n" + x(bufferSize) + "\nb\n", '\n', []string{`1 0 whole "a"`, `2 2 long "` + x(64) + `"`, `3 262147 whole "b"`}},
		{"much longer, without end", x(3*bufferSize + 5), '\n', []string{`1 0 long "` + x(64) + `"`}},
		{"two long ones", x(3*bufferSize) + "\n" + x(2*bufferSize) + "\nb", '\n', []string{`1 0 long "` + x(64) + `"`, `2 786433 long "` + x(64) + `"`, `3 1310722 cut "b"`}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			for how, r := range map[string]func() io.Reader{
				"whole":       func() io.Reader { return strings.NewReader(tt.text) },
				"half":        func() io.Reader { return iotest.HalfReader(strings.NewReader(tt.text)) },
				"end at once": func() io.Reader { return iotest.DataErrReader(strings.NewReader(tt.text)) },
			} {
				told := int64(0)
				l := New(context.Background(), r(), func(n int64) { told += n })
				l.EndWith(tt.end)
				if d := cmp.Diff(tt.want, all(l, l.Next)); d != "" || l.Err() != nil {
					t.Errorf("%s: %v (-want +got):\n%s", how, l.Err(), d)
				}
				if n := int64(len(tt.text)); told != n || l.Bytes() != n {
					t.Errorf("%s: %d bytes told, %d counted, of %d", how, told, l.Bytes(), n)
				}
				l.Close()
				l.Close()
				if _, got := l.Next(); got != None {
					t.Errorf("%s: a closed cutter gives %s", how, names[got])
				}
			}
		})
	}
}

func TestRecord(t *testing.T) {
	long := strings.Repeat("y", maxRecord)
	for _, tt := range []struct {
		name, text string
		want       []string
	}{
		{"plain", "a\nb\r\nc", []string{`1 0 whole "a"`, `2 2 whole "b"`, `3 5 cut "c"`}},
		{"a line end in quotes", "a,\"b\r\nc\",d\ne\n", []string{`1 0 whole "a,\"b\r\nc\",d"`, `3 11 whole "e"`}},
		{"quotes in quotes", "\"a\"\"\n\"\"b\"\nc\n", []string{`1 0 whole "\"a\"\"\n\"\"b\""`, `3 10 whole "c"`}},
		{"nothing closes it", "\"a\nb\nc\n", []string{`1 0 open "\"a"`, `2 3 whole "b"`, `3 5 whole "c"`}},
		{"nothing closes it soon", "\"a\n" + long + "\n\"\nb\n", []string{`1 0 open "\"a"`, `2 3 whole "yyyy...65536"`, `3 65540 open "\""`, `4 65542 whole "b"`}},
		{"open at the end", "\"a", []string{`1 0 cut "\"a"`}},
	} {
		l := New(context.Background(), iotest.HalfReader(strings.NewReader(tt.text)), nil)
		if d := cmp.Diff(tt.want, all(l, l.Record)); d != "" || l.Err() != nil {
			t.Errorf("%s: %v (-want +got):\n%s", tt.name, l.Err(), d)
		}
		l.Close()
	}
}

// More is asked for where a line ends within quotes.
func TestMore(t *testing.T) {
	span := func(n int) string { return "\"a" + strings.Repeat("\n", n) + "\",1\nb\n" }
	for _, tt := range []struct {
		name, text string
		sep        byte
		want       []string
	}{
		{"over two lines", "1,\"a\nb\",2\nc\n", ',', []string{`1 0 whole "1,\"a\nb\",2"`, `3 10 whole "c"`}},
		{"with returns", "1,\"a\r\nb\"\r\nc\r\n", ',', []string{`1 0 whole "1,\"a\r\nb\""`, `3 10 whole "c"`}},
		{"blanks around", "1, \"a\nb\" ,2\nc\n", ',', []string{`1 0 whole "1, \"a\nb\" ,2"`, `3 12 whole "c"`}},
		{"blanks part", "1 \"a\nb\" 2\nc\n", ' ', []string{`1 0 whole "1 \"a\nb\" 2"`, `3 10 whole "c"`}},
		{"text behind the quote", "1,\"a\nb\"x,2\nc\n", ',', []string{`1 0 open "1,\"a"`, `2 5 whole "b\"x,2"`, `3 11 whole "c"`}},
		{"a quote within a field", "1,in \"\nb\n", ',', []string{`1 0 whole "1,in \""`, `2 7 whole "b"`}},
		{"nothing closes it", "1,\"a\nb\nc\n", ',', []string{`1 0 open "1,\"a"`, `2 5 whole "b"`, `3 7 whole "c"`}},
		{"nothing closes it, returns", "1,\"a\r\nb\r\n", ',', []string{`1 0 open "1,\"a"`, `2 6 whole "b"`}},
		{"as many lines as may be", span(maxSpan - 1), ',', []string{`1 0 whole "\"a\n\n...104"`, fmt.Sprintf("%d %d whole \"b\"", maxSpan+1, maxSpan+5)}},
	} {
		for how, r := range map[string]io.Reader{"whole": strings.NewReader(tt.text), "one by one": iotest.OneByteReader(strings.NewReader(tt.text))} {
			l := New(context.Background(), r, nil)
			got := all(l, func() ([]byte, Found) {
				b, got := l.Next()
				if inside, bad := follow(b, tt.sep, false); got == Whole && inside && !bad {
					return l.More(b, tt.sep)
				}
				return b, got
			})
			if d := cmp.Diff(tt.want, got); d != "" || l.Err() != nil {
				t.Errorf("%s, %s: %v (-want +got):\n%s", tt.name, how, l.Err(), d)
			}
			l.Close()
		}
	}
	l := New(context.Background(), strings.NewReader(span(maxSpan)), nil)
	defer l.Close()
	b, _ := l.Next()
	if b, got := l.More(b, ','); got != Open || string(b) != "\"a" || l.Line() != 1 {
		t.Errorf("over more lines than may be: %s %q", names[got], b)
	}
}

// However a text arrives, lines and records are those of the text as a whole.
func TestAnyReads(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 3000 {
		text := make([]byte, rng.IntN(60))
		for i := range text {
			text[i] = "a,\"\n\r \t;"[rng.IntN(8)]
		}
		for _, sep := range []byte{',', ' ', '\t'} {
			var want []string
			for i, r := range []io.Reader{bytes.NewReader(text), some{bytes.NewReader(text), rng}} {
				l := New(context.Background(), r, nil)
				got := all(l, l.Next)
				l.Close()
				l = New(context.Background(), bytes.NewReader(text), nil)
				if i > 0 {
					l = New(context.Background(), some{bytes.NewReader(text), rng}, nil)
				}
				got = append(got, all(l, l.Record)...)
				l.Close()
				l = New(context.Background(), some{bytes.NewReader(text), rng}, nil)
				got = append(got, all(l, func() ([]byte, Found) {
					b, got := l.Next()
					if got == Whole && bytes.IndexByte(b, '"') >= 0 {
						return l.More(b, sep)
					}
					return b, got
				})...)
				if n := bytes.Count(text, []byte("\n")); l.After() != n {
					t.Fatalf("%q: %d line ends, want %d", text, l.After(), n)
				}
				l.Close()
				if i == 0 {
					want = got
				} else if d := cmp.Diff(want, got); d != "" {
					t.Fatalf("%q: %s", text, d)
				}
			}
			// Lines by the standard library.
			var lines []string
			for i, s := range strings.SplitAfter(string(text), "\n") {
				if s == "" {
					continue
				}
				kind := "cut"
				if strings.HasSuffix(s, "\n") {
					kind = "whole"
				}
				lines = append(lines, fmt.Sprintf("%d %d %s %q", i+1, at(text, i), kind, strings.TrimSuffix(strings.TrimSuffix(s, "\n"), "\r")))
			}
			if d := cmp.Diff(lines, want[:min(len(lines), len(want))]); d != "" {
				t.Fatalf("%q: %s", text, d)
			}
		}
	}
}

// at gives where line i of a text begins.
func at(text []byte, i int) (n int) {
	for range i {
		n += bytes.IndexByte(text[n:], '\n') + 1
	}
	return n
}

func TestHeadAndRest(t *testing.T) {
	l := New(context.Background(), iotest.OneByteReader(strings.NewReader("ab\ncd\nef")), nil)
	defer l.Close()
	if got := string(l.Head(4)); got != "ab\nc" {
		t.Errorf("head %q", got)
	}
	l.Next()
	if got := string(l.Head(100)); got != "cd\nef" {
		t.Errorf("head %q behind the first line", got)
	}
	if rest, all := l.Rest(); string(rest) != "cd\nef" || !all {
		t.Errorf("rest %q, %v", rest, all)
	}
}

var errDisk = errors.New("the disk fails")

func TestErrors(t *testing.T) {
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	for _, tt := range []struct {
		name string
		ctx  context.Context
		r    io.Reader
		want error
		n    int
	}{
		{"called off", ctx, strings.NewReader("a\nb\n"), context.Canceled, 0},
		{"the disk fails", context.Background(), io.MultiReader(strings.NewReader("a\nb"), iotest.ErrReader(errDisk)), errDisk, 1},
		{"the disk fails in a long line", context.Background(), io.MultiReader(strings.NewReader("a\n"+strings.Repeat("b", 2*bufferSize)), iotest.ErrReader(errDisk)), errDisk, 2},
		{"nothing comes", context.Background(), idle{}, io.ErrNoProgress, 0},
	} {
		l := New(tt.ctx, tt.r, nil)
		if got := all(l, l.Next); len(got) != tt.n || !errors.Is(l.Err(), tt.want) {
			t.Errorf("%s: %q, %v", tt.name, got, l.Err())
		}
		l.Close()
	}
}

// idle reads nothing and says nothing.
type idle struct{}

func (idle) Read([]byte) (int, error) { return 0, nil }

func FuzzCutter(f *testing.F) {
	f.Add([]byte("a,\"b\nc\",d\ne"), byte(','))
	f.Fuzz(func(t *testing.T, text []byte, sep byte) {
		l := New(context.Background(), iotest.HalfReader(bytes.NewReader(text)), nil)
		defer l.Close()
		for n := 0; ; n++ {
			b, got := l.Next()
			if got == Whole && bytes.IndexByte(b, '"') >= 0 {
				b, _ = l.More(b, sep)
			}
			if got == None {
				break
			}
			if n > len(text) || l.Start() > int64(len(text)) || got != Long && !bytes.HasPrefix(text[l.Start():], b) {
				t.Fatalf("line %d at %d: %q", l.Line(), l.Start(), b)
			}
		}
		if l.After() != bytes.Count(text, []byte("\n")) {
			t.Fatalf("%d line ends", l.After())
		}
	})
}
