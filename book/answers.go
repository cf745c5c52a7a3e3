package book

import (
	"context"

	"evenstand"
	"evenstand/pipeline"
)

// DaySummary is what is known of a machine-day as a whole.
type DaySummary struct {
	Planter string             `json:"planter"`
	Day     evenstand.Day      `json:"day"`
	AsOf    evenstand.Micros   `json:"as_of"`
	Until   evenstand.Micros   `json:"until"`
	Passes  int                `json:"passes"`
	Seeds   int64              `json:"seeds"`
	Planted []pipeline.Planted `json:"planted"`
	Notes   []string           `json:"notes"`
}

// Days lists the machine-days that the book holds, by day and planter.
func (b *Book) Days(ctx context.Context) ([]DaySummary, error) { panic("soon") }

// Findings gives the findings of all days with the decisions of people
// applied, in order of day, planter and alarm. They carry no money yet.
func (b *Book) Findings(ctx context.Context) ([]evenstand.Finding, error) { panic("soon") }

// Decision is what a person decided about a finding.
type Decision struct {
	Status evenstand.Status // Acted, SetAside, or Open to take it back
	Note   string
	Cause  string           // what it really was, if the person found out
	At     evenstand.Micros // NoTime: now
	Who    string
}

// Decide records a decision about a finding; the finding's id may be
// shortened to what is still unique. It gives the finding as it then stands.
func (b *Book) Decide(ctx context.Context, id string, d Decision) (evenstand.Finding, error) {
	panic("soon")
}

// Sources gives every source that the book holds, by name.
func (b *Book) Sources(ctx context.Context) ([]SourceReport, error) { panic("soon") }

// Check looks through the whole book and gives what is wrong, a plain
// sentence each; nothing when it is sound.
func (b *Book) Check(ctx context.Context) ([]string, error) { panic("soon") }

// Passes gives a machine-day's passes in order.
func (b *Book) Passes(ctx context.Context, planter string, day evenstand.Day) ([]evenstand.Pass, error) {
	panic("soon")
}

// Seeds gives a pass's seeds, sorted by row and time.
func (b *Book) Seeds(ctx context.Context, planter string, day evenstand.Day, pass int32) ([]evenstand.PlacedSeed, error) {
	panic("soon")
}

// Stretches gives a machine-day's stretches pass by pass; the slice is only
// lent.
func (b *Book) Stretches(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.Stretch) error) error {
	panic("soon")
}

// Track gives a machine-day's track in batches; the slice is only lent.
func (b *Book) Track(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.TrackPoint) error) error {
	panic("soon")
}

// Readings gives a machine-day's readings in batches; the slice is only lent.
func (b *Book) Readings(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.Reading) error) error {
	panic("soon")
}
