package book

import (
	"context"

	"evenstand"
)

// Progress says how far a long job is.
type Progress struct {
	Doing string // what goes on: "copying", "reading", "settling"
	Name  string // the file, source or day
	Done  int64  // bytes, or machine-days when settling
	Total int64  // 0 unknown
}

// ReadOptions are what a caller wants to hear while reading.
type ReadOptions struct {
	Progress func(Progress) // nil: nothing; called from one goroutine at a time
}

// Report says what became of an input.
type Report struct {
	Files   []FileReport       `json:"files"`
	Sources []SourceReport     `json:"sources"`
	Days    []DayRef           `json:"days"`   // the machine-days that were made again
	Unused  []evenstand.Unused `json:"unused"` // what was not used, and why
	Notes   []string           `json:"notes"`
}

// FileReport is what became of one file.
type FileReport struct {
	Path string `json:"path"`
	Size int64  `json:"size"`
	Hash string `json:"sha256"`
	// What became of it: "new", "known" (already in the book), "grown" (what
	// was added since the last time is new), "unused".
	State string `json:"state"`
	Why   string `json:"why,omitempty"`
}

// SourceReport is what is known of one source, in this read or over the book.
type SourceReport struct {
	Name        string             `json:"name"`
	Format      string             `json:"format"`
	Planter     string             `json:"planter"`
	Files       []string           `json:"files"`
	First       evenstand.Micros   `json:"first"`
	Last        evenstand.Micros   `json:"last"`
	Grade       evenstand.Grade    `json:"grade"`
	ClockOffset evenstand.Number   `json:"clock_offset_s"`
	ClockError  evenstand.Number   `json:"clock_error_s"`
	Gaps        []Gap              `json:"gaps"`
	Unused      []evenstand.Unused `json:"unused"`
	Counts      Counts             `json:"counts"`
	Notes       []string           `json:"notes"`
}

// Gap is a hole in a source's log while the others went on.
type Gap struct {
	From evenstand.Micros `json:"from"`
	To   evenstand.Micros `json:"to"`
}

// Counts are how much of each kind a source gave.
type Counts struct {
	Fixes    int64 `json:"fixes"`
	Seeds    int64 `json:"seeds"`
	Readings int64 `json:"readings"`
	Entries  int64 `json:"entries"`
}

// DayRef names a machine-day.
type DayRef struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
}

// Read takes folders, zip files and single files into the book and makes the
// machine-days that they touch again. With no paths it only finishes what an
// interrupted read or a changed card left to do.
func (b *Book) Read(ctx context.Context, paths []string, formats []evenstand.Format, opt ReadOptions) (Report, error) {
	panic("soon")
}

// Rebuild throws data/ away and makes it again from originals and ledger.
func (b *Book) Rebuild(ctx context.Context, formats []evenstand.Format, opt ReadOptions) (Report, error) {
	panic("soon")
}
