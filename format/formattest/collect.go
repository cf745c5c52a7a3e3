package formattest

import (
	"context"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"evenstand"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

// Collect is a sink that keeps a copy of everything, in the order in which it
// came. It is the plainest sink there is, for tests only: it holds a whole
// source in memory.
type Collect struct {
	Fix     []evenstand.Fix
	Seed    []evenstand.Seed
	Reading []evenstand.Reading
	Entry   []evenstand.Entry
	Left    []evenstand.Unused // what was not used
	Bytes   int64              // sum of the progress reports

	// Scribble makes Collect spoil each lent slice after copying it, as a sink
	// may: a reader must not look at what it has handed over.
	Scribble bool
	// After, when not nil, is asked after each hand-over; its error is what
	// the reader gets.
	After func() error
}

func (c *Collect) after() error {
	if c.After == nil {
		return nil
	}
	return c.After()
}

// Fixes keeps a copy.
func (c *Collect) Fixes(x []evenstand.Fix) error {
	c.Fix = append(c.Fix, x...)
	if c.Scribble {
		for i := range x {
			x[i] = evenstand.NewFix(-1, 91, 181)
		}
	}
	return c.after()
}

// Seeds keeps a copy.
func (c *Collect) Seeds(x []evenstand.Seed) error {
	c.Seed = append(c.Seed, x...)
	if c.Scribble {
		for i := range x {
			x[i] = evenstand.Seed{T: -1, Row: -1}
		}
	}
	return c.after()
}

// Readings keeps a copy.
func (c *Collect) Readings(x []evenstand.Reading) error {
	c.Reading = append(c.Reading, x...)
	if c.Scribble {
		for i := range x {
			x[i] = evenstand.Reading{T: -1, Value: -1, Quantity: 9999}
		}
	}
	return c.after()
}

// Entries keeps a copy.
func (c *Collect) Entries(x []evenstand.Entry) error {
	for _, e := range x {
		e.Rows = slices.Clone(e.Rows)
		c.Entry = append(c.Entry, e)
	}
	if c.Scribble {
		for i := range x {
			clear(x[i].Rows)
			x[i] = evenstand.Entry{T: -1, What: "spoilt"}
		}
	}
	return c.after()
}

// Unused keeps what was not used.
func (c *Collect) Unused(u evenstand.Unused) { c.Left = append(c.Left, u) }

// Progress adds up.
func (c *Collect) Progress(n int64) { c.Bytes += n }

// Counts is how many values of each kind a source gives.
type Counts struct{ Fixes, Seeds, Readings, Entries int }

// Counts counts what was collected.
func (c *Collect) Counts() Counts {
	return Counts{len(c.Fix), len(c.Seed), len(c.Reading), len(c.Entry)}
}

// Total adds the four counts.
func (c Counts) Total() int { return c.Fixes + c.Seeds + c.Readings + c.Entries }

// Stream is one source with what it gave.
type Stream struct {
	Source evenstand.Source // as Read gave it back
	Data   Collect
	Err    error // of Read
}

// Input is everything that a reader found in an input, and what it made of it.
type Input struct {
	Streams []Stream
	Claimed []string
	Unused  []evenstand.Unused // of Find
}

// ReadAll finds and reads all sources of an input. The error is that of Find;
// errors of Read stand in the streams.
func ReadAll(ctx context.Context, f evenstand.Format, in fs.FS) (Input, error) {
	sources, claimed, unused, err := f.Find(ctx, in)
	out := Input{Claimed: claimed, Unused: unused}
	for _, src := range sources {
		s := Stream{}
		s.Source, s.Err = f.Read(ctx, in, src, &s.Data)
		out.Streams = append(out.Streams, s)
	}
	return out, err
}

// Total counts all values of an input.
func (in Input) Total() int {
	n := 0
	for i := range in.Streams {
		n += in.Streams[i].Data.Counts().Total()
	}
	return n
}

// Err gives the first error of reading.
func (in Input) Err() error {
	for _, s := range in.Streams {
		if s.Err != nil {
			return fmt.Errorf("%s: %w", s.Source.Name, s.Err)
		}
	}
	return nil
}

// Told tells whether anything was said of a file: an error, or something not
// used.
func (in Input) Told(file string) bool {
	if in.Err() != nil {
		return true
	}
	all := slices.Clone(in.Unused)
	for _, s := range in.Streams {
		all = append(all, s.Data.Left...)
	}
	return slices.ContainsFunc(all, func(u evenstand.Unused) bool { return u.File == file || strings.Contains(u.Why, file) })
}

var same = cmp.Options{
	cmpopts.EquateNaNs(), cmpopts.EquateEmpty(), cmpopts.EquateErrors(),
	cmpopts.IgnoreFields(Collect{}, "Scribble", "After", "Bytes"),
}

// Diff says where two inputs differ in sources, data or what was not used;
// nothing when they are the same. NaN equals NaN.
func Diff(a, b Input) string { return cmp.Diff(a, b, same) }

// DiffData is Diff over the data alone, for readings of the same source.
func DiffData(a, b *Collect) string {
	return cmp.Diff(*a, *b, same, cmpopts.IgnoreFields(Collect{}, "Left"))
}

// lines writes each value of an input as a text, so that sets of values can
// be compared whatever their order.
func (c *Collect) lines() map[string]int {
	m := map[string]int{}
	for _, x := range c.Fix {
		m[fmt.Sprintf("fix %v", x)]++
	}
	for _, x := range c.Seed {
		m[fmt.Sprintf("seed %v", x)]++
	}
	for _, x := range c.Reading {
		m[fmt.Sprintf("reading %v", x)]++
	}
	for _, x := range c.Entry {
		m[fmt.Sprintf("entry %v", x)]++
	}
	return m
}

// lines gives those of all sources.
func (in Input) lines() map[string]int {
	m := map[string]int{}
	for i := range in.Streams {
		for k, n := range in.Streams[i].Data.lines() {
			m[k] += n
		}
	}
	return m
}
