package book

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"evenstand"
	"evenstand/format/column"
	"evenstand/format/plain"
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
	lock *os.File
	db   *sql.DB
	disk disk

	lastOpen atomic.Pointer[column.File] // of a day's files; its footer is used again, itself it may be closed

	work        sync.Mutex  // held by Read and Rebuild
	effects     effectStand // what settings did, by day
	kept        kept        // answers that hold as long as nothing was read or written
	boxJournals journalStand

	hand  sync.Mutex      // held while a change by hand is made of what is there
	again map[string]bool // hashes of logs whose days are made again in any case; guarded by work

	mu       sync.Mutex // guards what follows
	settings evenstand.Settings
	zone     *time.Location
	cards    []cardVersion
	fields   []evenstand.Field
	fieldSum string // of all boundaries
	recipes  []File
	man      manifest
	state    state
	damaged  error // why the manifest or the state could not be read
	stamp    int   // counts what was taken in of all this; it never comes back

	checkMu   sync.Mutex
	checkTurn int                   // counts the askings
	checked   map[string]*keptCheck // by what is tested
}

// cardVersion is one version of a planter's card, in the ledger's order.
type cardVersion struct {
	file, planter string
	from          evenstand.Day // first day it holds for; empty: for all
	sum           string
	card          evenstand.Card
	gone          bool
}

// The parts of a book's folder.
const (
	settingsName = "book.toml"
	ledgerName   = "ledger.db"
	lockName     = "lock"
	plantersDir  = "planter"
	fieldsDir    = "fields"
	recipesDir   = "recipes"
	originalsDir = "originals"
	dataDir      = "data"
	tmpDir       = "tmp"
	manifestName = "manifest.json"
	unnamed      = "planter" // of sources that name none while there is no card
)

func (b *Book) path(parts ...string) string {
	return filepath.Join(append([]string{b.dir}, parts...)...)
}

func (b *Book) now() int64 {
	if b.opts.Now != nil {
		return b.opts.Now().UnixMicro()
	}
	return time.Now().UnixMicro()
}

// Create makes a new book in dir, which must not exist or be empty, and does
// not open it. Cards are TOML, fields are GeoJSON; both are read first and
// refused with a sentence when they cannot be understood.
func Create(dir string, s evenstand.Settings, cards, fields []File) error {
	if entries, err := os.ReadDir(dir); err == nil && len(entries) > 0 {
		if _, err := os.Stat(filepath.Join(dir, settingsName)); err == nil {
			return &Error{dir, fmt.Errorf("%w: a logbook", ErrExists), "Read into that one, or give the new one another name"}
		}
		return &Error{dir, fmt.Errorf("%w, and it is not a logbook", ErrExists), "Give the logbook a folder of its own"}
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return &Error{dir, err, "Give the logbook another folder"}
	}
	if s.Name == "" {
		s.Name = filepath.Base(dir)
	}
	text := formatSettings(s)
	if _, err := parseSettings(text); err != nil {
		return &Error{filepath.Join(dir, settingsName), err, "Correct the setting and give the command again"}
	}
	planters := map[string]string{}
	for _, f := range cards {
		c, err := readCard(f.Name, f.Data)
		if err != nil {
			return &Error{f.Name, err, "Correct the card and give the command again"}
		}
		if other, twice := planters[c.Name]; twice {
			return &Error{f.Name, fmt.Errorf("it has the same planter name %q as %s", c.Name, other), "Give each planter a name of its own"}
		}
		planters[c.Name] = f.Name
	}
	for _, f := range fields {
		if _, err := parseFields(f.Name, f.Data); err != nil {
			return &Error{f.Name, err, "Correct the boundary and give the command again"}
		}
	}
	// Made beside and renamed, so that half a book is never found.
	half := strings.TrimRight(dir, `/\`) + ".new"
	if err := os.RemoveAll(half); err != nil {
		return &Error{half, err, "Remove that folder"}
	}
	if err := fill(half, text, cards, fields); err != nil {
		os.RemoveAll(half)
		if errors.Is(err, fs.ErrPermission) || errors.Is(err, fs.ErrNotExist) {
			return &Error{dir, fmt.Errorf("the logbook cannot be made there: %w", err), "Give it a folder that can be written to"}
		}
		return writeError(dir, "making the logbook", err)
	}
	os.Remove(dir) // an empty folder, or nothing
	if err := os.Rename(half, dir); err != nil {
		os.RemoveAll(half)
		return &Error{dir, err, "Give the logbook another folder"}
	}
	return syncDir(filepath.Dir(dir))
}

func fill(dir string, settings []byte, cards, fields []File) error {
	for _, sub := range []string{plantersDir, fieldsDir, recipesDir, originalsDir, dataDir, tmpDir} {
		if err := os.MkdirAll(filepath.Join(dir, sub), 0o755); err != nil {
			return err
		}
	}
	var d disk
	tmp := filepath.Join(dir, tmpDir, "new")
	if err := d.replace(filepath.Join(dir, settingsName), tmp, settings); err != nil {
		return err
	}
	for sub, files := range map[string][]File{plantersDir: cards, fieldsDir: fields} {
		for _, f := range files {
			if err := d.replace(filepath.Join(dir, sub, filepath.Base(f.Name)), tmp, f.Data); err != nil {
				return err
			}
		}
	}
	ctx := context.Background()
	db, err := openLedger(ctx, filepath.Join(dir, ledgerName), true)
	if err != nil {
		return err
	}
	return db.Close()
}

// readCard reads a card and names it after its file when it has no name.
func readCard(name string, data []byte) (evenstand.Card, error) {
	c, err := plain.ReadCard(name, data)
	if err == nil && c.Name == "" {
		c.Name = strings.TrimSuffix(filepath.Base(name), filepath.Ext(name))
	}
	return c, err
}

// Open opens the book in dir and locks it. Files that a person changed since
// are taken into the ledger as a new version.
func Open(dir string, opts Options) (_ *Book, err error) {
	ctx := context.Background()
	if _, err := os.Stat(filepath.Join(dir, settingsName)); err != nil {
		if _, other := os.Stat(filepath.Join(dir, ledgerName)); other == nil {
			return nil, &Error{filepath.Join(dir, settingsName), fmt.Errorf("%w: the settings are missing", ErrCorrupt), "Take book.toml from a copy of the logbook, or write it anew; docs/book-format.md says how"}
		}
		return nil, &Error{dir, ErrNotBook, "Say evenstand new to make one, or give the folder that holds book.toml"}
	}
	b := &Book{dir: dir, opts: opts}
	b.lock, err = os.OpenFile(b.path(lockName), os.O_RDWR|os.O_CREATE, 0o644)
	if err != nil {
		return nil, &Error{dir, err, "The logbook's folder must be writable"}
	}
	defer func() {
		if err != nil {
			b.Close()
		}
	}()
	if err := lockFile(b.lock); err != nil {
		if errors.Is(err, ErrInUse) {
			return nil, &Error{dir, ErrInUse, "Close the other program that has it open, or wait until it has finished"}
		}
		return nil, &Error{dir, err, "The logbook must lie on a disk that can lock files; a network drive may not"}
	}
	for _, sub := range []string{plantersDir, fieldsDir, recipesDir, originalsDir, dataDir, tmpDir} {
		if err := os.MkdirAll(b.path(sub), 0o755); err != nil {
			return nil, &Error{dir, err, "The logbook's folder must be writable"}
		}
	}
	if b.db, err = openLedger(ctx, b.path(ledgerName), false); err != nil {
		return nil, err
	}
	if err := b.loadWritten(ctx); err != nil {
		return nil, err
	}
	if err := b.clearTmp(); err != nil {
		return nil, writeError(dir, "clearing what was left over", err)
	}
	if err := b.loadDerived(); err != nil {
		return nil, err
	}
	return b, nil
}

// Close lets others open the book.
func (b *Book) Close() error {
	var err error
	if b.db != nil {
		err = b.db.Close()
	}
	if b.lock != nil {
		err = errors.Join(err, b.lock.Close())
	}
	b.db, b.lock = nil, nil
	return err
}

// clearTmp removes what a stopped run left over.
func (b *Book) clearTmp() error {
	entries, err := os.ReadDir(b.path(tmpDir))
	if err != nil {
		return err
	}
	for _, e := range entries {
		if err := os.RemoveAll(b.path(tmpDir, e.Name())); err != nil {
			return err
		}
	}
	return nil
}

// loadWritten reads what people wrote, takes changes into the ledger, and
// loads the history.
func (b *Book) loadWritten(ctx context.Context) error {
	data, err := os.ReadFile(b.path(settingsName))
	if err != nil {
		return &Error{b.path(settingsName), err, "The file must be readable"}
	}
	s, err := parseSettings(data)
	if err != nil {
		hint := "Correct that line in book.toml; docs/book-format.md says what may stand there"
		if errors.Is(err, ErrNewer) {
			hint = "Open it with that version of the program or a later one"
		}
		return &Error{b.path(settingsName), err, hint}
	}
	zone, err := loadZone(s.Zone)
	if err != nil {
		return &Error{b.path(settingsName), err, "Correct the zone in book.toml"}
	}
	written := map[string]map[string][]byte{"settings": {settingsName: data}, "paper": {}}
	// What papers are to hold is read when one is made; a slip in it closes no logbook.
	if rules, err := os.ReadFile(b.path(paperName)); err == nil {
		written["paper"][paperName] = rules
	} else if !errors.Is(err, fs.ErrNotExist) {
		return &Error{b.path(paperName), err, "The file must be readable"}
	}
	for _, k := range []struct{ kind, dir, ext string }{{"card", plantersDir, ".toml"}, {"field", fieldsDir, ".geojson"}, {"recipe", recipesDir, ".toml"}} {
		written[k.kind] = map[string][]byte{}
		entries, err := os.ReadDir(b.path(k.dir))
		if err != nil {
			return &Error{b.path(k.dir), err, "The folder must be readable"}
		}
		for _, e := range entries {
			if e.IsDir() || !strings.EqualFold(filepath.Ext(e.Name()), k.ext) || strings.HasPrefix(e.Name(), ".") {
				continue
			}
			path := b.path(k.dir, e.Name())
			data, err := os.ReadFile(path)
			if err != nil {
				return &Error{path, err, "The file must be readable"}
			}
			switch k.kind {
			case "card":
				if _, err := readCard(e.Name(), data); err != nil {
					return &Error{path, err, "Correct the card; the version before it is kept in the ledger"}
				}
			case "field":
				if _, err := parseFields(e.Name(), data); err != nil {
					return &Error{path, err, "Correct the boundary; the version before it is kept in the ledger"}
				}
			}
			written[k.kind][e.Name()] = data
		}
	}
	if err := b.recordVersions(ctx, written); err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	cards, err := b.cardHistory(ctx)
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	var fields []evenstand.Field
	sums := make([]string, 0, len(written["field"]))
	for _, name := range sortedKeys(written["field"]) {
		fs, err := parseFields(name, written["field"][name])
		if err != nil {
			return &Error{b.path(fieldsDir, name), err, "Correct the boundary"}
		}
		fields = append(fields, fs...)
		sums = append(sums, name+" "+hashBytes(written["field"][name]))
	}
	slices.SortStableFunc(fields, func(a, c evenstand.Field) int { return cmp.Compare(a.Name, c.Name) })
	var recipes []File
	for _, name := range sortedKeys(written["recipe"]) {
		recipes = append(recipes, File{name, written["recipe"][name]})
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	b.settings, b.zone, b.cards, b.fields, b.recipes = s, zone, cards, fields, recipes
	b.stamp++
	b.fieldSum = hashBytes([]byte(strings.Join(sums, "\n")))
	return nil
}

// recordVersions appends to the ledger what differs from its last version.
func (b *Book) recordVersions(ctx context.Context, written map[string]map[string][]byte) error {
	return inTx(ctx, b.db, func(tx *sql.Tx) error {
		for _, kind := range sortedKeys(written) {
			last := map[string]string{} // name to hash, empty when removed
			rows, err := tx.QueryContext(ctx, "SELECT name, sha256 FROM versions WHERE kind = ? ORDER BY id", kind)
			if err != nil {
				return err
			}
			for rows.Next() {
				var name, sum string
				if err := rows.Scan(&name, &sum); err != nil {
					rows.Close()
					return err
				}
				last[name] = sum
			}
			if err := rows.Close(); err != nil {
				return err
			}
			for _, name := range sortedKeys(written[kind]) {
				data := written[kind][name]
				sum := hashBytes(data)
				if last[name] != sum {
					if err := addVersion(ctx, tx, b.now(), kind, name, "", sum, data); err != nil {
						return err
					}
				}
				delete(last, name)
			}
			for _, name := range sortedKeys(last) {
				if last[name] == "" {
					continue
				}
				if err := addVersion(ctx, tx, b.now(), kind, name, "", "", nil); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

func addVersion(ctx context.Context, tx *sql.Tx, at int64, kind, name string, from evenstand.Day, sum string, data []byte) error {
	var body any
	if data != nil {
		body = data
	}
	_, err := tx.ExecContext(ctx, "INSERT INTO versions (at, kind, name, valid_from, sha256, body) VALUES (?, ?, ?, ?, ?, ?)", at, kind, name, string(from), sum, body)
	return err
}

func (b *Book) cardHistory(ctx context.Context) ([]cardVersion, error) {
	rows, err := b.db.QueryContext(ctx, "SELECT name, valid_from, sha256, body FROM versions WHERE kind = 'card' ORDER BY id")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var cards []cardVersion
	for rows.Next() {
		var v cardVersion
		var from string
		var body []byte
		if err := rows.Scan(&v.file, &from, &v.sum, &body); err != nil {
			return nil, err
		}
		v.from = evenstand.Day(from)
		if body == nil {
			v.gone = true
		} else if v.card, err = readCard(v.file, body); err != nil {
			return nil, fmt.Errorf("%w: version %s of card %s cannot be read: %w", ErrCorrupt, v.sum, v.file, err)
		}
		v.planter = v.card.Name
		cards = append(cards, v)
	}
	return cards, rows.Err()
}

// Dir gives the book's folder.
func (b *Book) Dir() string { return b.dir }

// Settings gives the present settings.
func (b *Book) Settings() evenstand.Settings {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.settings
}

// Zone gives the logbook's time zone.
func (b *Book) Zone() *time.Location {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.zone
}

// SetSettings writes new settings to book.toml and the ledger.
func (b *Book) SetSettings(ctx context.Context, s evenstand.Settings) error {
	text := formatSettings(s)
	if _, err := parseSettings(text); err != nil {
		return &Error{b.path(settingsName), err, "Correct the setting and give the command again"}
	}
	return b.write(ctx, b.path(settingsName), text)
}

// ChangeSettings changes the settings as they are, one change after the other.
// What change refuses is left as it was.
func (b *Book) ChangeSettings(ctx context.Context, change func(*evenstand.Settings) error) error {
	b.hand.Lock()
	defer b.hand.Unlock()
	s := b.Settings()
	s.Limits, s.Clocks = slices.Clone(s.Limits), slices.Clone(s.Clocks)
	if err := change(&s); err != nil {
		return err
	}
	return b.SetSettings(ctx, s)
}

// SetCard writes a planter card and keeps the one before in the history. With
// a day it holds from that day on only, else for the whole season.
func (b *Book) SetCard(ctx context.Context, f File, from evenstand.Day) error {
	if _, err := readCard(f.Name, f.Data); err != nil {
		return &Error{f.Name, err, "Correct the card and give the command again"}
	}
	name := filepath.Base(f.Name)
	if from != "" {
		if _, err := from.Start(b.Zone()); err != nil {
			return &Error{f.Name, err, "Give the first day that the card holds for"}
		}
		err := inTx(ctx, b.db, func(tx *sql.Tx) error {
			return addVersion(ctx, tx, b.now(), "card", name, from, hashBytes(f.Data), f.Data)
		})
		if err != nil {
			return ledgerError(b.path(ledgerName), err)
		}
	}
	return b.write(ctx, b.path(plantersDir, name), f.Data)
}

// SetField writes a field boundary and keeps the one before in the history.
func (b *Book) SetField(ctx context.Context, f File) error {
	if _, err := parseFields(f.Name, f.Data); err != nil {
		return &Error{f.Name, err, "Correct the boundary and give the command again"}
	}
	return b.write(ctx, b.path(fieldsDir, filepath.Base(f.Name)), f.Data)
}

func (b *Book) write(ctx context.Context, path string, data []byte) error {
	b.work.Lock()
	defer b.work.Unlock()
	if err := b.disk.replace(path, b.path(tmpDir, "written"), data); err != nil {
		return writeError(path, "writing", err)
	}
	return b.loadWritten(ctx)
}

// Planters lists the planters that have a card or data, sorted.
func (b *Book) Planters(ctx context.Context) ([]string, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	names := b.cardNames()
	for _, d := range b.man.Days {
		names = append(names, d.Planter)
	}
	slices.Sort(names)
	return slices.Compact(names), nil
}

// cardNames gives the planters with a card in the planter folder now.
func (b *Book) cardNames() []string {
	last := map[string]cardVersion{}
	for _, v := range b.cards {
		last[v.file] = v
	}
	var names []string
	for _, file := range sortedKeys(last) {
		if v := last[file]; !v.gone {
			names = append(names, v.planter)
		}
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// Card gives the card that holds for a planter on a day: of the versions that
// are valid on that day the one written last. Without a card for that planter
// it gives what the logs say, and failing that a card on which nothing is
// known.
func (b *Book) Card(planter string, day evenstand.Day) (evenstand.Card, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	card, _ := b.cardOn(planter, day)
	return card, nil
}

// cardFile gives the name of the file of the card that holds for a planter on a
// day, empty when there is no card.
func (b *Book) cardFile(planter string, day evenstand.Day) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	removed := map[string]bool{}
	for _, v := range slices.Backward(b.cards) {
		if v.gone {
			removed[v.file] = true
		} else if !removed[v.file] && v.planter == planter && v.from <= day {
			return v.file
		}
	}
	return ""
}

func (b *Book) cardOn(planter string, day evenstand.Day) (evenstand.Card, string) {
	removed := map[string]bool{}
	for _, v := range slices.Backward(b.cards) {
		if v.gone {
			removed[v.file] = true
		} else if !removed[v.file] && v.planter == planter && v.from <= day {
			return v.card, v.sum
		}
	}
	card := evenstand.NewCard()
	card.Name = planter
	for _, s := range b.state.Sources {
		if c := s.Source.Card; c != nil && b.planterOf(s) == planter && c.Rows > card.Rows {
			card = *c.card()
			card.Name = planter
		}
	}
	return card, "logs"
}

// Fields gives the present field boundaries, sorted by name.
func (b *Book) Fields() []evenstand.Field {
	b.mu.Lock()
	defer b.mu.Unlock()
	return slices.Clone(b.fields)
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	slices.Sort(keys)
	return keys
}

// ID tells this logbook from others: it is made of the first line that was ever
// written into its ledger. A copy of it has the same.
func (b *Book) ID(ctx context.Context) (string, error) {
	var at int64
	var sum string
	if err := b.db.QueryRowContext(ctx, "SELECT at, sha256 FROM versions ORDER BY id LIMIT 1").Scan(&at, &sum); err != nil {
		return "", ledgerError(b.path(ledgerName), err)
	}
	return hashBytes(fmt.Appendf(nil, "%d %s", at, sum))[:16], nil
}
