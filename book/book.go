package book

import (
	"context"
	"time"

	"evenstand"
	"evenstand/pipeline"
)

// Deriver makes a machine-day's results from its streams: pipeline.Settle.
type Deriver func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error)

// Options are how a book is opened.
type Options struct {
	Derive Deriver          // makes the results of a machine-day; needed by Read and Rebuild
	Now    func() time.Time // for the ledger's entries; nil: time.Now
}

// File is a file that a person wrote: a planter card or a field boundary.
type File struct {
	Name string // without folders: "16-row.toml", "north place.geojson"
	Data []byte
}

// Book is an open book. Only one program has it open at a time. Its methods
// may be called from several goroutines; Read and Rebuild exclude each other.
type Book struct {
	dir  string
	opts Options
}

// Create makes a new book in dir, which must not exist or be empty, and does
// not open it. Cards are TOML, fields are GeoJSON; both are read first and
// refused with a sentence when they cannot be understood.
func Create(dir string, s evenstand.Settings, cards, fields []File) error { panic("soon") }

// Open opens the book in dir and locks it. Files that a person changed since
// are taken into the ledger as a new version.
func Open(dir string, opts Options) (*Book, error) { panic("soon") }

// Close lets others open the book.
func (b *Book) Close() error { panic("soon") }

// Dir gives the book's folder.
func (b *Book) Dir() string { return b.dir }

// Settings gives the present settings.
func (b *Book) Settings() evenstand.Settings { panic("soon") }

// Zone gives the logbook's time zone.
func (b *Book) Zone() *time.Location { panic("soon") }

// SetSettings writes new settings to book.toml and the ledger.
func (b *Book) SetSettings(ctx context.Context, s evenstand.Settings) error { panic("soon") }

// Planters lists the planters that have a card or data, sorted.
func (b *Book) Planters(ctx context.Context) ([]string, error) { panic("soon") }

// Card gives the card that holds for a planter on a day. Without one for that
// planter it gives what the logs say, and failing that a card on which nothing
// is known.
func (b *Book) Card(planter string, day evenstand.Day) (evenstand.Card, error) { panic("soon") }

// Fields gives the present field boundaries, sorted by name.
func (b *Book) Fields() []evenstand.Field { panic("soon") }

// PlantedArea gives the ground planted in a field so far, m2, over all days.
func (b *Book) PlantedArea(ctx context.Context, field string) (float64, error) { panic("soon") }
