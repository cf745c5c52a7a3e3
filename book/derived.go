package book

import (
	"bytes"
	"cmp"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"evenstand"
	"evenstand/pipeline"
)

// manifest names every derived file with its hash. It is renamed into its
// place last: what it does not name does not count.
type manifest struct {
	Schema  int          `json:"schema"`
	Sources *fileEntry   `json:"sources,omitempty"`
	Days    []dayEntry   `json:"days"`
	Fields  []fieldEntry `json:"fields,omitempty"`

	turn int // counts commits of this program
}

// dayEntry is a machine-day in the manifest.
type dayEntry struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
	Folder  string        `json:"folder"`
	// Made from: a hash over everything that went into the derivation. A day
	// whose hash is the same need not be made again.
	From  string           `json:"made_from"`
	Until evenstand.Micros `json:"until"`
	Files []fileEntry      `json:"files"`
}

// fileEntry is a derived file in the manifest.
type fileEntry struct {
	Name   string `json:"name"`
	SHA256 string `json:"sha256"`
	Size   int64  `json:"size"`
	Rows   *int64 `json:"rows,omitempty"` // of a Parquet file
	Groups *int   `json:"row_groups,omitempty"`
}

func (d *dayEntry) file(name string) *fileEntry {
	for i := range d.Files {
		if d.Files[i].Name == name {
			return &d.Files[i]
		}
	}
	return nil
}

// rows is how many rows a Parquet file has.
func (d *dayEntry) rows(name string) int64 {
	if f := d.file(name); f != nil && f.Rows != nil {
		return *f.Rows
	}
	return 0
}

// state is what reading the originals gave, apart from the data: sources.json.
type state struct {
	Schema  int            `json:"schema"`
	Zone    string         `json:"zone"`
	Inputs  []int64        `json:"inputs"` // inputs of the ledger that were read
	Sources []*sourceState `json:"sources"`
}

type sourceState struct {
	Input   int64              `json:"input"`
	Source  sourceJSON         `json:"source"`
	MaxRows int                `json:"max_rows"` // rows of the card when it was read; 0 no card
	First   evenstand.Micros   `json:"first"`
	Last    evenstand.Micros   `json:"last"`
	Counts  Counts             `json:"counts"`
	Holds   []Holding          `json:"holds,omitempty"`
	FixStep evenstand.Number   `json:"fix_step_s"` // s between places, null unknown
	Unused  []evenstand.Unused `json:"unused"`
	Days    []sourceDay        `json:"days"`
}

// sourceDay is what a source logged on one local day, by hash.
type sourceDay struct {
	Day   evenstand.Day   `json:"day"`
	Parts [numKinds]*part `json:"parts"` // fixes, seeds, readings, entries
}

// part is one kind of data of a source on a day.
type part struct {
	N     int64  `json:"n"`
	Sum   string `json:"sha256"` // of the spooled records
	HeadN int64  `json:"head_n,omitempty"`
	Head  string `json:"head_sha256,omitempty"` // of those of the first hours, which the day before sees too
}

func (s *sourceState) day(d evenstand.Day) *sourceDay {
	i, ok := slices.BinarySearchFunc(s.Days, d, func(a sourceDay, d evenstand.Day) int { return cmp.Compare(a.Day, d) })
	if !ok {
		return nil
	}
	return &s.Days[i]
}

// touches tells whether a source has data of a day or of the first hours of
// the day after.
func (s *sourceState) touches(day evenstand.Day) bool {
	if s.day(day) != nil {
		return true
	}
	if n := s.day(nextDay(day)); n != nil {
		for _, p := range n.Parts {
			if p != nil && p.HeadN > 0 {
				return true
			}
		}
	}
	return false
}

// key tells which logs are the same box's.
func (s *sourceState) key() string {
	return s.Source.Format + "\x00" + s.Source.Planter + "\x00" + s.Source.Name
}

// planterOf gives the planter that a source belongs to: the one it names when
// that has a card, else the only card's, else the one it names.
func (b *Book) planterOf(s *sourceState) string { return b.planterNamed(s.Source.Planter) }

// planterNamed gives the planter that a log or a line written by hand means by
// a name, which may be empty.
func (b *Book) planterNamed(said string) string {
	names := b.cardNames()
	for _, n := range names {
		if strings.EqualFold(n, said) {
			return n
		}
	}
	switch {
	case len(names) == 1:
		return names[0]
	case said != "":
		return said
	}
	return unnamed
}

// noteOf gives the planter that a line written by hand is of, by the names of those
// that worked. What names none is of the only one; of none, where there are several.
func (b *Book) noteOf(said string, worked []string) string {
	name := b.planterNamed(said)
	if said == "" && len(worked) == 1 && !slices.Contains(worked, name) { // written before any was known
		return worked[0]
	}
	return name
}

// sourceJSON is evenstand.Source with unknown numbers as null.
type sourceJSON struct {
	Name        string            `json:"name"`
	Format      string            `json:"format"`
	Files       []string          `json:"files"`
	Planter     string            `json:"planter"`
	Zone        string            `json:"zone"`
	Grade       evenstand.Grade   `json:"grade"`
	ClockOffset evenstand.Number  `json:"clock_offset_s"`
	ClockError  evenstand.Number  `json:"clock_error_s"`
	Clock       string            `json:"clock"`
	Recipe      string            `json:"recipe,omitempty"`
	Average     float64           `json:"average_s,omitempty"`
	Latency     evenstand.Number  `json:"latency_s"`
	Card        *cardJSON         `json:"card"`
	Products    map[string]string `json:"products"`
	Notes       []string          `json:"notes"`
}

func toSourceJSON(s *evenstand.Source) sourceJSON {
	return sourceJSON{
		Name: s.Name, Format: s.Format, Files: s.Files, Planter: s.Planter, Zone: s.Zone, Grade: s.Grade,
		ClockOffset: evenstand.Number(s.ClockOffset), ClockError: evenstand.Number(s.ClockError), Clock: s.Clock, Recipe: s.Recipe, Average: s.Average,
		Latency: evenstand.Number(s.Latency), Card: toCardJSON(s.Card), Products: s.Products, Notes: s.Notes,
	}
}

func (s *sourceJSON) source() evenstand.Source {
	src := evenstand.Source{
		Name: s.Name, Format: s.Format, Files: s.Files, Planter: s.Planter, Zone: s.Zone, Grade: s.Grade,
		ClockOffset: float64(s.ClockOffset), ClockError: float64(s.ClockError), Clock: s.Clock, Recipe: s.Recipe, Average: s.Average,
		Latency: float64(s.Latency), Products: s.Products, Notes: s.Notes,
	}
	if s.Card != nil {
		src.Card = s.Card.card()
	}
	return src
}

// cardJSON is evenstand.Card, as a log tells it, with unknown numbers as null.
type cardJSON struct {
	Name           string                 `json:"name"`
	Rows           int                    `json:"rows"`
	RowSpacing     evenstand.Number       `json:"row_spacing_m"`
	Hitch          evenstand.Hitch        `json:"hitch"`
	AntennaToHitch evenstand.Number       `json:"antenna_to_hitch_m"`
	HitchToRowLine evenstand.Number       `json:"hitch_to_row_line_m"`
	AntennaRight   evenstand.Number       `json:"antenna_right_m"`
	SeedFall       evenstand.Number       `json:"seed_fall_s"`
	RowY           []evenstand.Number     `json:"row_y_m"`
	Meters         []evenstand.Meter      `json:"meters"`
	Groups         []evenstand.Group      `json:"groups"`
	Attachments    []evenstand.Attachment `json:"attachments"`
	Sections       []evenstand.Section    `json:"sections"`
	Tanks          []tankJSON             `json:"tanks"`
}

type tankJSON struct {
	Number   int              `json:"number"`
	Name     string           `json:"name"`
	Product  string           `json:"product"`
	Capacity evenstand.Number `json:"capacity_m3"`
	Feeds    evenstand.Rows   `json:"feeds"`
}

func toCardJSON(c *evenstand.Card) *cardJSON {
	if c == nil {
		return nil
	}
	g := &c.Geometry
	j := &cardJSON{
		Name: c.Name, Rows: c.Rows, RowSpacing: evenstand.Number(c.RowSpacing), Hitch: g.Hitch,
		AntennaToHitch: evenstand.Number(g.AntennaToHitch), HitchToRowLine: evenstand.Number(g.HitchToRowLine),
		AntennaRight: evenstand.Number(g.AntennaRight), SeedFall: evenstand.Number(g.SeedFall),
		Meters: c.Meters, Groups: c.Groups, Attachments: c.Attachments, Sections: c.Sections,
	}
	for _, y := range g.RowY {
		j.RowY = append(j.RowY, evenstand.Number(y))
	}
	for _, t := range c.Tanks {
		j.Tanks = append(j.Tanks, tankJSON{t.Number, t.Name, t.Product, evenstand.Number(t.Capacity), t.Feeds})
	}
	return j
}

func (j *cardJSON) card() *evenstand.Card {
	c := &evenstand.Card{
		Name: j.Name, Rows: j.Rows, RowSpacing: float64(j.RowSpacing),
		Geometry: evenstand.Geometry{
			Hitch: j.Hitch, AntennaToHitch: float64(j.AntennaToHitch), HitchToRowLine: float64(j.HitchToRowLine),
			AntennaRight: float64(j.AntennaRight), SeedFall: float64(j.SeedFall),
		},
		Meters: j.Meters, Groups: j.Groups, Attachments: j.Attachments, Sections: j.Sections,
	}
	for _, y := range j.RowY {
		c.Geometry.RowY = append(c.Geometry.RowY, float64(y))
	}
	for _, t := range j.Tanks {
		c.Tanks = append(c.Tanks, evenstand.Tank{Number: t.Number, Name: t.Name, Product: t.Product, Capacity: float64(t.Capacity), Feeds: t.Feeds})
	}
	return c
}

// clocksJSON and summaryJSON are the small files of a machine-day.
type clocksJSON struct {
	Schema int         `json:"schema"`
	Clocks []clockJSON `json:"clocks"`
	Behind *Behind     `json:"behind"` // null: no places
}

type clockJSON struct {
	Source     string             `json:"source"`
	Offset     evenstand.Number   `json:"offset_s"`
	Error      evenstand.Number   `json:"error_s"`
	From       pipeline.ClockFrom `json:"from"`
	At         evenstand.Micros   `json:"at"`
	Drift      evenstand.Number   `json:"drift_ppm"`
	DriftError evenstand.Number   `json:"drift_error_ppm"`
	Set        []ClockSet         `json:"set"`
	Against    float64            `json:"against_s,omitempty"`
	Gaps       []Gap              `json:"gaps"`
}

type summaryJSON struct {
	Schema int `json:"schema"`
	DaySummary
	Left []sourceSaid `json:"left_out"`
	Seen *Counts      `json:"seen"`           // what the day's logs hold, as it was handed to the derivation
	Card *cardJSON    `json:"card,omitempty"` // that the day was settled with: the planter's, completed by the logs
}

// sourceSaid is what was left out where several logs of one box met.
type sourceSaid struct {
	Source string             `json:"source"`
	Unused []evenstand.Unused `json:"unused"`
	Notes  []string           `json:"notes"`
	Again  Counts             `json:"again"` // of what stood in several of its logs, and is stored once
}

type findingsJSON struct {
	Schema   int                 `json:"schema"`
	Findings []evenstand.Finding `json:"findings"`
}

// DaySummary is what is known of a machine-day as a whole.
type DaySummary struct {
	Planter string           `json:"planter"`
	Day     evenstand.Day    `json:"day"`
	AsOf    evenstand.Micros `json:"as_of"` // last log time
	Until   evenstand.Micros `json:"until"` // end of a pass over midnight; unknown when none ran
	Passes  int              `json:"passes"`
	Seeds   int64            `json:"seeds"`
	Planted []Planted        `json:"planted"`
	Notes   []string         `json:"notes"`
	// OnBoard is what tanks and seed boxes hold at the day's end, where it is known.
	OnBoard []evenstand.OnBoard `json:"on_board"`
}

// Planted is the ground planted in one field on one day.
type Planted struct {
	Field string           `json:"field"`
	Area  evenstand.Number `json:"area_m2"`
	Seeds evenstand.Number `json:"seeds"`
}

func toPlanted(ps []pipeline.Planted) []Planted {
	out := []Planted{}
	for _, p := range ps {
		out = append(out, Planted{p.Field, evenstand.Number(p.Area), evenstand.Number(p.Seeds)})
	}
	return out
}

func toJSON(v any) ([]byte, error) {
	var b bytes.Buffer
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	enc.SetIndent("", " ")
	err := enc.Encode(v)
	return b.Bytes(), err
}

// loadDerived reads manifest and state and removes from data/ what the
// manifest does not name. A damaged manifest is remembered, and nothing is
// removed: Rebuild makes everything again.
func (b *Book) loadDerived() error {
	man, st, err := readDerived(b.dir)
	if errors.Is(err, ErrNewer) {
		return &Error{b.path(dataDir, manifestName), err, "Open it with that version of the program or a later one"}
	}
	b.mu.Lock()
	b.man, b.state, b.damaged = man, st, err
	b.mu.Unlock()
	if err != nil {
		return nil
	}
	return writeError(b.dir, "clearing what was left over", b.sweep())
}

func readDerived(dir string) (manifest, state, error) {
	var man manifest
	var st state
	data, err := os.ReadFile(filepath.Join(dir, dataDir, manifestName))
	if errors.Is(err, fs.ErrNotExist) {
		// Without a manifest there must be no derived data either, or someone
		// took it away.
		return manifest{Schema: 1}, state{Schema: 1}, nil
	}
	if err != nil {
		return man, st, err
	}
	if err := json.Unmarshal(data, &man); err != nil {
		return manifest{Schema: 1}, state{Schema: 1}, fmt.Errorf("%w: data/manifest.json cannot be read: %w", ErrCorrupt, err)
	}
	if man.Schema > 1 {
		return man, st, fmt.Errorf("%w (data of layout %d, this program knows 1)", ErrNewer, man.Schema)
	}
	for _, d := range man.Days {
		if d.Folder != filepath.Base(d.Folder) || d.Folder == "." || d.Folder == ".." {
			return manifest{Schema: 1}, state{Schema: 1}, fmt.Errorf("%w: data/manifest.json names the folder %q", ErrCorrupt, d.Folder)
		}
	}
	for _, f := range man.Fields {
		if f.File.Name != filepath.Base(f.File.Name) {
			return manifest{Schema: 1}, state{Schema: 1}, fmt.Errorf("%w: data/manifest.json names the file %q", ErrCorrupt, f.File.Name)
		}
	}
	st.Schema = 1
	if man.Sources != nil {
		data, err := os.ReadFile(filepath.Join(dir, dataDir, filepath.Base(man.Sources.Name)))
		if err == nil && hashBytes(data) != man.Sources.SHA256 {
			err = fmt.Errorf("its hash is not the manifest's")
		}
		if err == nil {
			err = json.Unmarshal(data, &st)
		}
		if err != nil {
			return manifest{Schema: 1}, state{Schema: 1}, fmt.Errorf("%w: data/%s cannot be read: %w", ErrCorrupt, man.Sources.Name, err)
		}
	}
	return man, st, nil
}

// sweep removes from data/ what the manifest does not name.
func (b *Book) sweep() error {
	named := map[string]*dayEntry{}
	for i := range b.man.Days {
		named[b.man.Days[i].Folder] = &b.man.Days[i]
	}
	entries, err := os.ReadDir(b.path(dataDir))
	if err != nil {
		return err
	}
	for _, e := range entries {
		day := named[e.Name()]
		switch {
		case e.Name() == manifestName, b.man.Sources != nil && e.Name() == b.man.Sources.Name,
			slices.ContainsFunc(b.man.Fields, func(f fieldEntry) bool { return f.File.Name == e.Name() }):
			continue
		case day == nil:
			if err := os.RemoveAll(b.path(dataDir, e.Name())); err != nil {
				return err
			}
			continue
		}
		files, err := os.ReadDir(b.path(dataDir, e.Name()))
		if err != nil {
			return err
		}
		for _, f := range files {
			if day.file(f.Name()) == nil {
				if err := os.RemoveAll(b.path(dataDir, e.Name(), f.Name())); err != nil {
					return err
				}
			}
		}
	}
	return nil
}

// commit makes a manifest the one that counts and sweeps what it no longer
// names.
func (b *Book) commit(man manifest) error {
	man.Days = slices.Clone(man.Days) // others may be reading the one before
	slices.SortFunc(man.Days, func(a, c dayEntry) int {
		return cmp.Or(cmp.Compare(a.Day, c.Day), cmp.Compare(a.Planter, c.Planter))
	})
	text, err := toJSON(man)
	if err != nil {
		return err
	}
	if err := syncDir(b.path(dataDir)); err != nil {
		return err
	}
	if err := b.disk.replace(b.path(dataDir, manifestName), b.path(tmpDir, manifestName), text); err != nil {
		return err
	}
	b.mu.Lock()
	man.turn = b.man.turn + 1
	b.man, b.damaged = man, nil
	b.stamp++
	b.mu.Unlock()
	// What cannot be removed now, because someone reads it, is on opening.
	_ = b.sweep()
	return nil
}

// commitState writes sources.json and names it in the manifest.
func (b *Book) commitState(st state) error {
	slices.SortStableFunc(st.Sources, func(a, c *sourceState) int { return cmp.Compare(a.Input, c.Input) })
	slices.Sort(st.Inputs)
	text, err := toJSON(st)
	if err != nil {
		return err
	}
	sum := hashBytes(text)
	name := "sources-" + sum[:8] + ".json"
	if b.man.Sources != nil && b.man.Sources.Name == name && b.damaged == nil {
		b.mu.Lock()
		b.state = st
		b.stamp++
		b.mu.Unlock()
		return nil
	}
	if err := b.disk.replace(b.path(dataDir, name), b.path(tmpDir, name), text); err != nil {
		return err
	}
	man := b.man
	man.Schema = 1
	man.Sources = &fileEntry{Name: name, SHA256: sum, Size: int64(len(text))}
	if err := b.commit(man); err != nil {
		return err
	}
	b.mu.Lock()
	b.state = st
	b.stamp++
	b.mu.Unlock()
	return nil
}
