package book

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"os"
	"path"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/pipeline"
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
	// Again makes the machine-days of the logs again also when nothing about
	// them is new: the deriver wants to see them.
	Again bool
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
	// was added since the last time is new), "unused", "ignored" (left there by
	// an operating system).
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
	ClockFrom   pipeline.ClockFrom `json:"clock_from"`
	ClockAt     evenstand.Micros   `json:"clock_at"` // when the offset held, by the box's clock; null all day
	Drift       evenstand.Number   `json:"drift_ppm"`
	DriftError  evenstand.Number   `json:"drift_error_ppm"`
	ClockSet    []ClockSet         `json:"clock_set,omitempty"` // of the last day, when the clock was set on it
	// ClockAgainst is how far in s the logs show the clock to be from what was
	// said of it, 0 when they do not.
	ClockAgainst float64            `json:"clock_against_s,omitempty"`
	Behind       *Behind            `json:"behind,omitempty"` // of a receiver, by the last day
	Gaps         []Gap              `json:"gaps"`
	Unused       []evenstand.Unused `json:"unused"`
	Counts       Counts             `json:"counts"`
	Holds        []Holding          `json:"holds"`
	FixStep      evenstand.Number   `json:"fix_step_s"`
	Tells        advise.Tells       `json:"tells"` // what its log can and cannot tell
	Notes        []string           `json:"notes"`
}

// ClockSet is a part of a day, by the box's clock, with one offset.
type ClockSet struct {
	From   evenstand.Micros `json:"from"`
	To     evenstand.Micros `json:"to"`
	At     evenstand.Micros `json:"at"`
	Offset evenstand.Number `json:"offset_s"` // at At
	Error  evenstand.Number `json:"error_s"`
	Drift  evenstand.Number `json:"drift_ppm"`
}

// Behind is how far the seed line lies behind the receiver's antenna.
type Behind = pipeline.Behind

// Gap is a hole in a source's log while the others went on.
type Gap struct {
	From    evenstand.Micros `json:"from"`
	To      evenstand.Micros `json:"to"`
	Planted evenstand.Number `json:"planted_s"` // of that time the planter planted
}

// Counts are how much of each kind a source gave.
type Counts struct {
	Fixes    int64 `json:"fixes"`
	Seeds    int64 `json:"seeds"`
	Readings int64 `json:"readings"`
	Entries  int64 `json:"entries"`
}

// of gives the count of one kind of data.
func (c *Counts) of(k kind) *int64 {
	return [...]*int64{fixes: &c.Fixes, seeds: &c.Seeds, readings: &c.Readings, entries: &c.Entries}[k]
}

// DayRef names a machine-day.
type DayRef struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
}

// Read takes folders, zip files and single files into the book and makes the
// machine-days that they touch again. With no paths it only finishes what an
// interrupted read or a changed card left to do. What was read before an
// error is kept, and the book is sound after any of them.
func (b *Book) Read(ctx context.Context, paths []string, formats []evenstand.Format, opt ReadOptions) (Report, error) {
	b.work.Lock()
	defer b.work.Unlock()
	rep := Report{Files: []FileReport{}, Sources: []SourceReport{}, Days: []DayRef{}, Unused: []evenstand.Unused{}, Notes: []string{}}
	if b.opts.Derive == nil {
		panic("book: opened without Options.Derive, which Read needs")
	}
	if b.damaged != nil {
		return rep, &Error{b.path(dataDir), b.damaged, "Say evenstand rebuild: everything there can be made again"}
	}
	defer b.clearTmp()
	var ins []*opened
	defer func() {
		for _, o := range ins {
			o.close()
		}
	}()
	for _, p := range paths { // a wrong name is said before anything is done
		o, err := openInput(p)
		if err != nil {
			return rep, err
		}
		ins = append(ins, o)
	}
	for _, o := range ins {
		if _, err := b.take(ctx, o, formats, &rep, tell(opt)); err != nil {
			return rep, err
		}
	}
	if opt.Again {
		b.again = map[string]bool{}
		for _, f := range rep.Files {
			b.again[f.Hash] = f.Hash != ""
		}
		defer func() { b.again = nil }()
	}
	err := b.settle(ctx, formats, b.state, &rep, tell(opt))
	return rep, err
}

// Rebuild throws data/ away and makes it again from originals and ledger. When
// an original that it needs is missing or cut short, it touches nothing.
func (b *Book) Rebuild(ctx context.Context, formats []evenstand.Format, opt ReadOptions) (Report, error) {
	b.work.Lock()
	defer b.work.Unlock()
	rep := Report{Files: []FileReport{}, Sources: []SourceReport{}, Days: []DayRef{}, Unused: []evenstand.Unused{}, Notes: []string{}}
	if b.opts.Derive == nil {
		panic("book: opened without Options.Derive, which Rebuild needs")
	}
	if err := b.originalsThere(ctx); err != nil { // before anything is thrown away
		return rep, err
	}
	defer b.clearTmp()
	b.mu.Lock()
	was := b.state
	b.man, b.state, b.damaged = manifest{Schema: 1, turn: b.man.turn}, state{Schema: 1}, nil
	b.mu.Unlock()
	if err := b.commit(b.man); err != nil { // and sweep everything else
		return rep, writeError(b.dir, "throwing the derived data away", err)
	}
	err := b.settle(ctx, formats, was, &rep, tell(opt))
	return rep, err
}

// originalsThere looks whether every original that a rebuild needs lies there
// in its full size, and else names all that do not.
func (b *Book) originalsThere(ctx context.Context) error {
	live, err := b.liveInputs(ctx)
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	var bad []string
	said := map[string]bool{}
	for _, in := range live {
		for _, p := range sortedKeys(in.files) {
			o := in.files[p]
			if said[o.sum] {
				continue
			}
			said[o.sum] = true
			switch st, err := os.Stat(b.originalPath(o.sum)); {
			case errors.Is(err, os.ErrNotExist):
				bad = append(bad, "the original of "+p+" is missing, hash "+o.sum)
			case err != nil:
				bad = append(bad, fmt.Sprintf("the original of %s, hash %s, cannot be read: %v", p, o.sum, err))
			case st.Size() != o.size:
				bad = append(bad, fmt.Sprintf("the original of %s, hash %s, has %d bytes and had %d", p, o.sum, st.Size(), o.size))
			}
		}
	}
	if len(bad) == 0 {
		return nil
	}
	return &Error{
		b.path(originalsDir), errors.New(strings.Join(bad, "; ")),
		"Nothing was rebuilt or changed, since what stands in those files would be lost. Read them again from the stick (evenstand read) or copy them from a copy of the logbook, look with evenstand check, then say evenstand rebuild",
	}
}

func tell(opt ReadOptions) func(Progress) {
	if opt.Progress == nil {
		return func(Progress) {}
	}
	return opt.Progress
}

// settle brings data/ up to the ledger: reads inputs that were not read yet,
// and makes the machine-days again whose makings changed. was is what inputs
// gave before.
func (b *Book) settle(ctx context.Context, formats []evenstand.Format, was state, rep *Report, tell func(Progress)) error {
	live, err := b.liveInputs(ctx)
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	b.mu.Lock()
	zone, old := b.zone, b.state
	b.mu.Unlock()
	st := state{Schema: 1, Zone: zone.String()}
	spools := &spoolSet{dirs: map[*sourceState]string{}, gone: map[*sourceState]bool{}}
	var todo []*input
	for _, in := range live {
		if old.Zone != st.Zone || !slices.Contains(old.Inputs, in.id) || b.rowsChanged(old, in.id) || relearnt(old, in.id, formats) || b.unlost(ctx, old, in, formats) {
			todo = append(todo, in)
			continue
		}
		st.Inputs = append(st.Inputs, in.id)
		for _, s := range old.Sources {
			if s.Input == in.id {
				st.Sources = append(st.Sources, s)
			}
		}
	}
	for _, in := range todo {
		before := was.of(in.id)
		sources, unused, err := b.readInput(ctx, in, remember(formats, before), spools, rep, tell)
		if err != nil {
			return err
		}
		st.Inputs = append(st.Inputs, in.id)
		st.Sources = append(st.Sources, sources...)
		for _, s := range sources {
			rep.Sources = append(rep.Sources, b.sourceReport(s))
			rep.Unused = append(rep.Unused, s.Unused...)
		}
		rep.Unused = append(rep.Unused, lost(in, before, sources, unused)...)
	}
	if err := b.commitState(st); err != nil {
		return writeError(b.dir, "noting what was read", err)
	}
	if err := b.deriveDays(ctx, live, formats, spools, rep, tell); err != nil {
		return err
	}
	return b.deriveFields(ctx, rep, tell)
}

// of gives the sources of an input.
func (st *state) of(input int64) (out []*sourceState) {
	for _, s := range st.Sources {
		if s.Input == input {
			out = append(out, s)
		}
	}
	return out
}

// remember tells formats what an input gave before.
func remember(formats []evenstand.Format, was []*sourceState) []evenstand.Format {
	if len(was) == 0 {
		return formats
	}
	var srcs []evenstand.Source
	for _, s := range was {
		srcs = append(srcs, s.Source.source())
	}
	out := slices.Clone(formats)
	for i, f := range out {
		if r, ok := f.(evenstand.Remembering); ok {
			out[i] = r.Remember(srcs)
		}
	}
	return out
}

// lost says of which sources that an input gave before no file is read any
// more, and which of its logs are not; unused is what was said of its files.
func lost(in *input, was, is []*sourceState, unused []evenstand.Unused) (out []evenstand.Unused) {
	read := map[string]bool{}
	for _, s := range is {
		for _, p := range s.Source.Files {
			read[p] = true
		}
	}
	for _, s := range was {
		n := s.Counts
		if n.Fixes+n.Seeds+n.Readings+n.Entries == 0 || slices.ContainsFunc(s.Source.Files, func(p string) bool { return read[p] }) {
			continue
		}
		u := evenstand.Unused{File: path.Join(s.Source.Files[:1]...), Offset: -1, Why: "nothing reads it any more"}
		for _, v := range unused {
			if slices.Contains(s.Source.Files, v.File) {
				u = v
				break
			}
		}
		u.Why = fmt.Sprintf("what %s gave of it is out of the logbook's days: %s", s.Source.Name, u.Why)
		u.Count, u.Of = 1, "files"
		out = append(out, u)
		for _, p := range s.Source.Files {
			read[p] = true // said
		}
	}
	// A log of which it is not known what it gave, as after a rebuild that was
	// stopped.
	for _, u := range unused {
		if in.files[u.File].data && !read[u.File] {
			out = append(out, u)
		}
	}
	return out
}

// unlost tells whether a log of an input that gave nothing can be read by what
// the formats know today.
func (b *Book) unlost(ctx context.Context, st state, in *input, formats []evenstand.Format) bool {
	read := map[string]bool{}
	for _, s := range st.of(in.id) {
		for _, p := range s.Source.Files {
			read[p] = true
		}
	}
	out := func(p string) bool { return in.files[p].data && !read[p] }
	if !slices.ContainsFunc(sortedKeys(in.files), out) {
		return false
	}
	sources, _, _, err := find(ctx, &inputFS{b, in.files}, remember(formats, st.of(in.id)))
	if err != nil {
		return false
	}
	for _, f := range sources {
		if slices.ContainsFunc(f.source.Files, out) {
			key, _ := in.key(&f.source)
			if !slices.ContainsFunc(st.of(in.id), func(s *sourceState) bool {
				src := s.Source.source()
				k, _ := in.key(&src)
				return k == key // read under another name
			}) {
				return true
			}
		}
	}
	return false
}

// rowsChanged tells whether the card's number of rows is another than when an
// input was read: it decides which row numbers are believed.
func (b *Book) rowsChanged(st state, input int64) bool {
	for _, s := range st.Sources {
		if s.Input == input && s.MaxRows != b.maxRows(s) {
			return true
		}
	}
	return false
}

// relearnt tells whether a source of an input would be read otherwise today,
// since people changed what it is read by.
func relearnt(st state, input int64, formats []evenstand.Format) bool {
	for _, s := range st.Sources {
		if s.Input != input {
			continue
		}
		for _, f := range formats {
			if c, ok := f.(evenstand.Current); ok && f.Name() == s.Source.Format && !c.Current(s.Source.source()) {
				return true
			}
		}
	}
	return false
}

// maxRows gives the rows of the planter's present card, 0 without one.
func (b *Book) maxRows(s *sourceState) int {
	b.mu.Lock()
	defer b.mu.Unlock()
	planter := b.planterOf(s)
	if !slices.Contains(b.cardNames(), planter) {
		return 0
	}
	card, _ := b.cardOn(planter, "9999-12-31")
	return card.Rows
}

// spoolSet knows where the spools of sources lie that were read in this run.
type spoolSet struct {
	dirs map[*sourceState]string
	gone map[*sourceState]bool // of which days were given back already
	n    int
}

// readInput reads all sources of an input into the spool and notes them in
// the ledger. A format's error ends that source; what it gave before counts.
func (b *Book) readInput(ctx context.Context, in *input, formats []evenstand.Format, spools *spoolSet, rep *Report, tell func(Progress)) ([]*sourceState, []evenstand.Unused, error) {
	fsys := &inputFS{b, in.files}
	sources, _, unused, err := find(ctx, fsys, formats) // what is not used was said when the input came in
	if err != nil {
		return nil, nil, err
	}
	var total, done int64
	for _, o := range in.files {
		total += o.size
	}
	var states []*sourceState
	same := map[string]string{} // the files of a source by their hashes
	for _, f := range sources {
		key, bytes := in.key(&f.source)
		if first, twice := same[key]; twice && bytes >= growthFloor {
			rep.Unused = append(rep.Unused, evenstand.Unused{File: path.Join(f.source.Files...), Offset: -1, Count: int64(len(f.source.Files)), Of: "files", Why: "it is the same as " + first})
			continue
		}
		same[key] = f.source.Name
		s := &sourceState{Input: in.id, Source: toSourceJSON(&f.source)}
		s.MaxRows = b.maxRows(s)
		spools.n++
		dir := b.path(tmpDir, "spool-"+strconv.Itoa(spools.n))
		if err := os.Mkdir(dir, 0o755); err != nil {
			return nil, nil, writeError(b.dir, "making room to read", err)
		}
		file := "" // the longest is the log, the others explain it
		for _, p := range f.source.Files {
			if file == "" || in.files[p].size > in.files[file].size {
				file = p
			}
		}
		name := f.source.Name
		snk := newSink(&b.disk, dir, b.Zone(), s.MaxRows, file, func(n int64) {
			done += n
			tell(Progress{Doing: "reading", Name: name, Done: min(done, total), Total: total})
		})
		src, err := f.format.Read(ctx, fsys, f.source, snk)
		if ctx.Err() != nil {
			return nil, nil, ctx.Err()
		}
		if err != nil {
			if onDisk(err) {
				return nil, nil, writeError(b.dir, "reading "+f.source.Name, err)
			}
			snk.Unused(evenstand.Unused{File: file, Offset: -1, Count: 1, Of: "files", Why: err.Error(), Do: "What stood before it was used; copy the log from the box again if more is wanted."})
			if src.Name == "" {
				src = f.source
			}
		}
		src.Format = f.format.Name()
		days, err := snk.close()
		if err != nil {
			return nil, nil, writeError(b.dir, "reading "+f.source.Name, err)
		}
		src.Notes = append(slices.Clone(src.Notes), snk.notes...)
		s.Source = toSourceJSON(&src)
		s.First, s.Last, s.Counts, s.Days = snk.first, snk.last, snk.counts, days
		s.Holds, s.FixStep = snk.holds.list(), evenstand.Number(snk.fixPace.Step())
		for _, h := range s.Holds { // what the values show goes before what was said
			if a := float64(h.Average); h.Of == "row" && a > s.Source.Average {
				s.Source.Average = a
			}
		}
		s.Unused = snk.unused
		if s.Unused == nil {
			s.Unused = []evenstand.Unused{}
		}
		spools.dirs[s] = dir
		states = append(states, s)
	}
	err = b.noteImports(ctx, in, states)
	return states, unused, ledgerError(b.path(ledgerName), err)
}

// key tells the files of a source by their hashes, and how long they are.
func (in *input) key(s *evenstand.Source) (key string, bytes int64) {
	key = s.Format
	for _, p := range s.Files {
		key += " " + in.files[p].sum
		bytes += in.files[p].size
	}
	return key, bytes
}

// onDisk tells errors of our own writing from errors of a format.
func onDisk(err error) bool {
	var pe *os.PathError
	return errors.Is(err, errFull) || isFull(err) || errors.As(err, &pe) && pe.Op == "write"
}

// noteImports notes in the ledger, once for each input, which files gave which
// source and what time it covers.
func (b *Book) noteImports(ctx context.Context, in *input, states []*sourceState) error {
	return inTx(ctx, b.db, func(tx *sql.Tx) error {
		var n int
		if err := tx.QueryRowContext(ctx, "SELECT count(*) FROM imports WHERE input = ?", in.id).Scan(&n); err != nil || n > 0 {
			return err
		}
		at := b.now()
		for _, s := range states {
			var first, last any
			if s.First != evenstand.NoTime {
				first, last = int64(s.First), int64(s.Last)
			}
			for _, p := range s.Source.Files {
				o, ok := in.files[p]
				if !ok {
					continue
				}
				// The same file of the same source in an input that this one
				// retired, shorter or as long.
				var before any
				var id int64
				err := tx.QueryRowContext(ctx, `SELECT id FROM imports WHERE source = ? AND format = ? AND size <= ? AND lower(file) LIKE '%' || lower(?)
					AND input IN (SELECT input FROM retired WHERE by = ?) ORDER BY id DESC LIMIT 1`,
					s.Source.Name, s.Source.Format, o.size, path.Base(p), in.id).Scan(&id)
				if err == nil {
					before = id
				} else if !errors.Is(err, sql.ErrNoRows) {
					return err
				}
				if _, err := tx.ExecContext(ctx, `INSERT INTO imports (at, input, source, format, file, sha256, size, first_us, last_us, supersedes)
					VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)`, at, in.id, s.Source.Name, s.Source.Format, p, o.sum, o.size, first, last, before); err != nil {
					return err
				}
			}
		}
		return nil
	})
}

func (b *Book) sourceReport(s *sourceState) SourceReport {
	b.mu.Lock()
	planter := b.planterOf(s)
	said, some := b.settings.Clock(planter, s.Source.Name)
	b.mu.Unlock()
	r := SourceReport{
		Name: s.Source.Name, Format: s.Source.Format, Planter: planter, Files: s.Source.Files, First: s.First, Last: s.Last,
		Grade: s.Source.Grade, ClockOffset: s.Source.ClockOffset, ClockError: s.Source.ClockError,
		ClockFrom: pipeline.ClockUnknown, ClockAt: evenstand.NoTime, Drift: evenstand.Unknown, DriftError: evenstand.Unknown,
		Gaps: []Gap{}, Unused: slices.Clone(s.Unused), Counts: s.Counts, Notes: slices.Clone(s.Source.Notes),
		Holds: slices.Clone(s.Holds), FixStep: s.FixStep,
	}
	if some {
		r.ClockOffset, r.ClockError = evenstand.Number(said.Offset), evenstand.Number(said.Error)
	}
	r.tell()
	if !math.IsNaN(float64(r.ClockOffset)) {
		r.ClockFrom = pipeline.ClockDeclared
	}
	if r.Files == nil {
		r.Files = []string{}
	}
	if r.Notes == nil {
		r.Notes = []string{}
	}
	return r
}

// tell says what the log can and cannot tell.
func (r *SourceReport) tell() {
	if r.Holds == nil {
		r.Holds = []Holding{}
	}
	l := advise.Log{Grade: r.Grade, Seeds: r.Counts.Seeds, Fixes: r.Counts.Fixes, FixStep: float64(r.FixStep), Entries: r.Counts.Entries}
	for i := range r.Holds {
		l.Holds = append(l.Holds, r.Holds[i].value())
	}
	r.Tells = advise.Tell(l)
}

// compareSources orders sources as their streams are merged: what was read
// first comes first.
func compareSources(a, c *sourceState) int {
	return cmp.Or(cmp.Compare(a.key(), c.key()), cmp.Compare(a.Input, c.Input))
}

// explain makes an error of a day's derivation name the day.
func explain(err error, planter string, day evenstand.Day) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	return fmt.Errorf("%s on %s: %w", planter, day, err)
}
