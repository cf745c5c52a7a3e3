package book

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"slices"
	"strings"
	"sync"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/format/column"
)

// snapshot gives the manifest and state as they are now.
func (b *Book) snapshot() (manifest, state, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.damaged != nil {
		return b.man, b.state, &Error{b.path(dataDir), b.damaged, "Say evenstand rebuild: everything there can be made again"}
	}
	return b.man, b.state, nil
}

// steady runs a question over the derived data again when a Read or Rebuild
// took files away under it.
func (b *Book) steady(ask func(manifest, state) error) error {
	for tries := 0; ; tries++ {
		man, st, err := b.snapshot()
		if err != nil {
			return err
		}
		if err = ask(man, st); err == nil || tries == 4 {
			return err
		}
		b.mu.Lock()
		moved := b.man.turn != man.turn
		b.mu.Unlock()
		if !moved {
			return err
		}
	}
}

// load reads a small JSON file of a day.
func (b *Book) load(e *dayEntry, name string, v any) error {
	path := b.path(dataDir, e.Folder, name)
	data, err := os.ReadFile(path)
	if err == nil {
		err = json.Unmarshal(data, v)
	}
	if err != nil {
		return &Error{path, fmt.Errorf("%w: %w", ErrCorrupt, err), "Say evenstand rebuild: everything under data can be made again"}
	}
	return nil
}

// Stale tells whether Read with these readers has something left to do: after an
// interrupted read, or when a card, a field or what a reader reads by (a recipe)
// was changed since.
func (b *Book) Stale(ctx context.Context, formats []evenstand.Format) (bool, error) {
	man, st, err := b.snapshot()
	if err != nil {
		return false, err
	}
	live, err := b.liveInputs(ctx)
	if err != nil {
		return false, ledgerError(b.path(ledgerName), err)
	}
	for _, in := range live {
		if !slices.Contains(st.Inputs, in.id) || b.rowsChanged(st, in.id) || relearnt(st, in.id, formats) {
			return true, nil
		}
	}
	if len(st.Inputs) > 0 && st.Zone != b.Zone().String() {
		return true, nil
	}
	planters, err := b.planters(ctx)
	if err != nil {
		return false, ledgerError(b.path(ledgerName), err)
	}
	_, due := b.dueDays(planters, nil)
	days := 0
	for _, p := range planters {
		days += len(p.days)
	}
	return due > 0 || days != len(man.Days), nil
}

// Days lists the machine-days that the book holds, by day and planter.
func (b *Book) Days(ctx context.Context) (days []DaySummary, err error) {
	err = b.steady(func(man manifest, _ state) error {
		days = []DaySummary{}
		for i := range man.Days {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			var s summaryJSON
			if err := b.load(&man.Days[i], summaryName, &s); err != nil {
				return err
			}
			days = append(days, s.DaySummary)
		}
		return nil
	})
	return days, err
}

// PlantedArea gives the ground planted in a field so far, m2, over all days
// whose area is known.
func (b *Book) PlantedArea(ctx context.Context, field string) (float64, error) {
	days, err := b.Days(ctx)
	if err != nil {
		return math.NaN(), err
	}
	area := 0.0
	for _, d := range days {
		for _, p := range d.Planted {
			if a := float64(p.Area); p.Field == field && !math.IsNaN(a) {
				area += a
			}
		}
	}
	return area, nil
}

// Findings gives the findings of all days with the decisions of people
// applied, in order of day, planter and alarm. They carry no money yet. One
// that was acted on or set aside and that the data no longer support comes
// back as it stood, ended, with the reason.
func (b *Book) Findings(ctx context.Context) ([]evenstand.Finding, error) {
	var all []evenstand.Finding
	err := b.steady(func(man manifest, _ state) error {
		all = []evenstand.Finding{}
		for i := range man.Days {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			var f findingsJSON
			if err := b.load(&man.Days[i], findingsName, &f); err != nil {
				return err
			}
			all = append(all, f.Findings...)
		}
		for i := range man.Fields {
			f, err := b.loadField(&man.Fields[i])
			if err != nil {
				return err
			}
			all = append(all, f.Findings...)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	ds, shown, err := b.decisions(ctx)
	if err != nil {
		return nil, err
	}
	have := map[string]bool{}
	for _, f := range all {
		have[f.ID] = true
	}
	all = record.Apply(all, ds)
	for _, d := range ds {
		if have[d.Finding] {
			continue
		}
		have[d.Finding] = true
		var f evenstand.Finding
		if err := json.Unmarshal([]byte(shown[d.Finding]), &f); err != nil {
			return nil, &Error{b.path(ledgerName), fmt.Errorf("%w: the decision about %s: %w", ErrCorrupt, d.Finding, err), "Take ledger.db from a copy of the logbook"}
		}
		if madeWith(f.Kind) { // the worklist tells what became of it
			continue
		}
		f.Status = evenstand.Ended
		f.Say = append(f.Say, "The logs that are in the book now no longer show it; it was decided about when they did.")
		all = append(all, f)
	}
	return all, nil
}

// Decisions gives the decisions of people in the order they were made.
func (b *Book) Decisions(ctx context.Context) ([]record.Decision, error) {
	ds, _, err := b.decisions(ctx)
	return ds, err
}

func (b *Book) decisions(ctx context.Context) ([]record.Decision, map[string]string, error) {
	rows, err := b.db.QueryContext(ctx, "SELECT finding, status, cause, note, t_us, shown FROM decisions ORDER BY id")
	if err != nil {
		return nil, nil, ledgerError(b.path(ledgerName), err)
	}
	defer rows.Close()
	ds := []record.Decision{}
	shown := map[string]string{}
	for rows.Next() {
		var d record.Decision
		var text string
		if err := rows.Scan(&d.Finding, &d.Status, &d.Cause, &d.Note, &d.T, &text); err != nil {
			return nil, nil, ledgerError(b.path(ledgerName), err)
		}
		ds = append(ds, d)
		shown[d.Finding] = text
	}
	return ds, shown, ledgerError(b.path(ledgerName), rows.Err())
}

// Decision is what a person decided about a finding.
type Decision struct {
	Status evenstand.Status // Acted, SetAside, or Open to take it back
	Note   string
	Cause  string           // what it really was, if the person found out
	At     evenstand.Micros // 0 or NoTime: now
	Who    string
}

// Decide records a decision about a finding; the finding's id may be
// shortened to what is still unique. It gives the finding as it then stands. Of a
// setting that can be set for the better done means that it was set: its line is
// written into the journal, and taken out again when the decision is taken back.
func (b *Book) Decide(ctx context.Context, id string, d Decision) (evenstand.Finding, error) {
	none := evenstand.Finding{}
	switch d.Status {
	case evenstand.Acted, evenstand.SetAside, evenstand.Open:
	default:
		return none, fmt.Errorf("status %q: want %s, %s or %s", d.Status, evenstand.Acted, evenstand.SetAside, evenstand.Open)
	}
	f, err := b.decidable(ctx, id)
	if err != nil {
		return none, err
	}
	text, err := json.Marshal(f)
	if err != nil {
		return none, err
	}
	now := b.now()
	if d.At == 0 || d.At == evenstand.NoTime {
		d.At = evenstand.Micros(now)
	}
	if f.Kind == evenstand.KindSettingBetter {
		if err := b.followAdvice(ctx, &f, &d); err != nil {
			return none, err
		}
	}
	err = inTx(ctx, b.db, func(tx *sql.Tx) error {
		_, err := tx.ExecContext(ctx, "INSERT INTO decisions (at, t_us, finding, status, cause, note, who, shown) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
			now, int64(d.At), f.ID, string(d.Status), d.Cause, d.Note, d.Who, string(text))
		return err
	})
	if err != nil {
		return none, ledgerError(b.path(ledgerName), err)
	}
	return b.decidable(ctx, f.ID)
}

// decidable finds what can be decided about: what the days found, and what is
// made with the worklist.
func (b *Book) decidable(ctx context.Context, id string) (evenstand.Finding, error) {
	all, err := b.Findings(ctx)
	if err != nil {
		return evenstand.Finding{}, err
	}
	if i := slices.IndexFunc(all, func(f evenstand.Finding) bool { return f.ID == id }); i >= 0 {
		return all[i], nil
	}
	w, err := b.Worklist(ctx, true)
	if err != nil {
		return evenstand.Finding{}, err
	}
	for i := range w.Findings {
		if madeWith(w.Findings[i].Kind) {
			all = append(all, w.Findings[i])
		}
	}
	return pick(all, id)
}

// followAdvice writes down that a setting was set as was advised, or takes that
// line back.
func (b *Book) followAdvice(ctx context.Context, f *evenstand.Finding, d *Decision) error {
	switch d.Status {
	case evenstand.Acted:
		if f.Status == evenstand.Acted { // it is written down
			return nil
		}
		days, err := b.Days(ctx)
		if err != nil {
			return err
		}
		v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
		for i := range days {
			v.AsOf = max(v.AsOf, days[i].AsOf)
		}
		ls, err := b.Balance(ctx, days, v)
		if err != nil {
			return err
		}
		for i := range ls {
			l := &ls[i]
			words := l.note()
			if words == "" || l.adviceID(l.Advice.Verdict, l.Advice.Next) != f.ID {
				continue
			}
			n, err := b.ReadNote(l.Planter, words, "", "", "setting", d.At)
			if err != nil {
				return err
			}
			_, err = b.AddNote(ctx, l.Planter, n.Entries, words)
			return err
		}
	case evenstand.Open:
		ds, err := b.Decisions(ctx)
		if err != nil {
			return err
		}
		st := record.Standing(ds, f.ID)
		if len(st) == 0 || st[len(st)-1].Status != evenstand.Acted {
			return nil
		}
		lines, err := b.Journal(ctx)
		if err != nil {
			return err
		}
		for i := range lines {
			l := &lines[i]
			if !l.TakenBack && l.Entry.T == st[len(st)-1].T && slices.ContainsFunc(f.Say, func(s string) bool { return strings.HasSuffix(s, ": "+l.Words+".") }) {
				_, err = b.TakeBack(ctx, l.ID)
				return err
			}
		}
	}
	return nil
}

// pick finds a finding by its id or the begin of it.
func pick(all []evenstand.Finding, id string) (evenstand.Finding, error) {
	var hit []evenstand.Finding
	for _, f := range all {
		if f.ID == id {
			return f, nil
		}
		if id != "" && strings.HasPrefix(f.ID, strings.ToLower(id)) {
			hit = append(hit, f)
		}
	}
	switch len(hit) {
	case 1:
		return hit[0], nil
	case 0:
		return evenstand.Finding{}, &Error{"finding " + id, ErrUnknown, "The worklist names the ids; worklist --all shows those that are over"}
	}
	return evenstand.Finding{}, &Error{"finding " + id, fmt.Errorf("%w: %d findings begin so", ErrUnknown, len(hit)), "Give more of its id"}
}

// Sources gives every source that the book holds, by planter, format and name.
// Logs of one box that came in several inputs are one source.
func (b *Book) Sources(ctx context.Context) (all []SourceReport, err error) {
	err = b.steady(func(man manifest, st state) error {
		all, err = b.sources(man, st)
		return err
	})
	return all, err
}

func (b *Book) sources(man manifest, st state) ([]SourceReport, error) {
	sources := slices.Clone(st.Sources)
	slices.SortStableFunc(sources, compareSources)
	all := []SourceReport{}
	lastKey := ""
	for _, s := range sources {
		r := b.sourceReport(s)
		if len(all) == 0 || s.key() != lastKey {
			all = append(all, r)
			lastKey = s.key()
			continue
		}
		a := &all[len(all)-1]
		for _, f := range r.Files {
			if !slices.Contains(a.Files, f) {
				a.Files = append(a.Files, f)
			}
		}
		if r.First != evenstand.NoTime && (a.First == evenstand.NoTime || r.First < a.First) {
			a.First = r.First
		}
		a.Last = max(a.Last, r.Last)
		if a.Grade == evenstand.NoGrade || r.Grade != evenstand.NoGrade && r.Grade < a.Grade {
			a.Grade = r.Grade
		}
		a.ClockOffset, a.ClockError = r.ClockOffset, r.ClockError
		a.Unused = append(a.Unused, r.Unused...)
		for _, n := range r.Notes {
			if !slices.Contains(a.Notes, n) {
				a.Notes = append(a.Notes, n)
			}
		}
		for k := range numKinds {
			*a.Counts.of(k) += *r.Counts.of(k)
		}
		a.Holds = mergeHolds(a.Holds, r.Holds)
		if math.IsNaN(float64(a.FixStep)) {
			a.FixStep = r.FixStep
		}
		a.tell()
	}
	noteEpochs(all)
	// What the days found out about their clocks; the last day counts.
	for i := range man.Days {
		e := &man.Days[i]
		var c clocksJSON
		if err := b.load(e, clocksName, &c); err != nil {
			return nil, err
		}
		var sum summaryJSON
		if err := b.load(e, summaryName, &sum); err != nil {
			return nil, err
		}
		for k := range all {
			r := &all[k]
			if r.Planter != e.Planter {
				continue
			}
			for _, clock := range c.Clocks {
				if clock.Source == r.Name {
					r.ClockOffset, r.ClockError = clock.Offset, clock.Error
					r.ClockFrom, r.ClockAt, r.Drift, r.DriftError, r.ClockSet = clock.From, clock.At, clock.Drift, clock.DriftError, clock.Set
					r.ClockAgainst = clock.Against
					r.Gaps = append(r.Gaps, clock.Gaps...)
				}
			}
			if c.Behind != nil && c.Behind.Source == r.Name {
				r.Behind = c.Behind
			}
			for _, s := range sum.Left {
				if s.Source == r.Name {
					r.Unused = append(r.Unused, s.Unused...)
					r.Notes = append(r.Notes, s.Notes...)
					for k := range numKinds {
						*r.Counts.of(k) -= *s.Again.of(k)
					}
				}
			}
		}
	}
	return all, nil
}

// dayFile opens a Parquet file of a machine-day.
func (b *Book) dayFile(planter string, day evenstand.Day, name string) (f *column.File, err error) {
	err = b.steady(func(man manifest, _ state) error {
		for _, e := range man.Days {
			if e.Planter != planter || e.Day != day {
				continue
			}
			f, err = b.entryFile(&e, name)
			return err
		}
		return &Error{fmt.Sprintf("%s on %s", planter, day), ErrUnknown, "The book holds no such machine-day"}
	})
	return f, err
}

func (b *Book) entryFile(e *dayEntry, name string) (*column.File, error) {
	path := b.path(dataDir, e.Folder, name)
	f, err := b.open(path)
	if err != nil && !errors.Is(err, fs.ErrPermission) {
		err = &Error{path, fmt.Errorf("%w: %w", ErrCorrupt, err), "Say evenstand rebuild: everything under data can be made again"}
	}
	return f, err
}

// open opens a file of a day. Whoever looks at the ground asks for one pass of
// the same file after another, so the footer of the last one is kept; the name
// of a day's folder comes from what is in it, so a path holds one thing only.
func (b *Book) open(path string) (*column.File, error) {
	last := b.lastOpen.Load()
	if last != nil && last.Path() == path {
		if f, err := last.Again(); err == nil {
			return f, nil
		}
		b.lastOpen.Store(nil)
	}
	f, err := column.Open(path)
	if err == nil {
		b.lastOpen.Store(f)
	}
	return f, err
}

// spoilt says of a page of a day's file that cannot be read what to do. The
// footer that is kept may be what is wrong, or no longer the file's: the next
// who asks reads it anew.
func (b *Book) spoilt(err error) error {
	if err != nil {
		b.lastOpen.Store(nil)
	}
	var page *column.PageError
	if !errors.As(err, &page) {
		return err
	}
	return &Error{page.File, fmt.Errorf("%w: %s: %w", ErrCorrupt, page.Place(), page.Err), "Say evenstand rebuild: everything under data can be made again"}
}

// eachRow reads a table group by group and hands over the converted rows.
func eachRow[R, T any](ctx context.Context, b *Book, f *column.File, none R, convert func(*R) T, yield func([]T) error) error {
	var rows []R
	var out []T
	for g := range f.Groups() {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		var err error
		if rows, err = column.Rows(f, g, rows[:0], none); err != nil {
			return b.spoilt(err)
		}
		out = slices.Grow(out[:0], len(rows))
		for i := range rows {
			out = append(out, convert(&rows[i]))
		}
		if err := yield(out); err != nil {
			return err
		}
	}
	return nil
}

// Passes gives a machine-day's passes in order.
func (b *Book) Passes(ctx context.Context, planter string, day evenstand.Day) ([]evenstand.Pass, error) {
	f, err := b.dayFile(planter, day, passesName)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var all []evenstand.Pass
	err = eachRow(ctx, b, f, passRow{}, (*passRow).pass, func(ps []evenstand.Pass) error {
		all = append(all, ps...)
		return nil
	})
	return all, err
}

// Seeds appends a pass's seeds to dst, sorted by row and time.
func (b *Book) Seeds(ctx context.Context, dst []evenstand.PlacedSeed, planter string, day evenstand.Day, pass int32) ([]evenstand.PlacedSeed, error) {
	f, err := b.dayFile(planter, day, seedsName)
	if err != nil {
		return dst, err
	}
	defer f.Close()
	g, err := groupOf(f, pass)
	if err != nil || g < 0 {
		return dst, b.spoilt(err)
	}
	buf, _ := seedRows.Get().(*[]seedRow)
	if buf == nil {
		buf = new([]seedRow)
	}
	defer seedRows.Put(buf)
	rows, err := column.Rows(f, g, (*buf)[:0], noSeed)
	if err != nil {
		return dst, b.spoilt(err)
	}
	*buf = rows
	dst = slices.Grow(dst, len(rows))
	for i := range rows {
		dst = append(dst, rows[i].seed())
	}
	return dst, nil
}

// seedRows holds the rows of the last passes read: megabytes each, asked for
// many times a second by whoever looks at the ground.
var seedRows sync.Pool

// groupOf finds the row group of a pass, -1 when the pass has no rows. A pass
// without rows has no group, so the group is at or before the pass's index.
func groupOf(f *column.File, pass int32) (int, error) {
	lo, hi := 0, f.Groups()
	for lo < hi {
		mid := (lo + hi) / 2
		p, err := passOf(f, mid)
		if err != nil {
			return -1, err
		}
		switch {
		case p == pass:
			return mid, nil
		case p < pass:
			lo = mid + 1
		default:
			hi = mid
		}
	}
	return -1, nil
}

// passOf gives the pass of a row group.
func passOf(f *column.File, g int) (int32, error) {
	p, err := column.Numbers[int32](f, g, "pass", -1)
	if err != nil {
		return -1, err
	}
	defer p.Close()
	vs, err := p.Next()
	if err != nil {
		return -1, err
	}
	return vs[0], nil
}

// Stretches gives a machine-day's stretches pass by pass; the slice is only
// lent.
func (b *Book) Stretches(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.Stretch) error) error {
	f, err := b.dayFile(planter, day, stretchesName)
	if err != nil {
		return err
	}
	defer f.Close()
	return eachRow(ctx, b, f, noStretch, (*stretchRow).stretch, yield)
}

// StretchSums is Stretches without what no measure needs, in half the time: of
// the moments but those of the spacings there is no M2, and there is no Length,
// Classes, Target, Metered, LoadP5 or PosError. It gives a pass at a time.
func (b *Book) StretchSums(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.Stretch) error) error {
	f, err := b.dayFile(planter, day, stretchesName)
	if err != nil {
		return err
	}
	defer f.Close()
	var rows []sumRow
	var out []evenstand.Stretch
	for g := range f.Groups() {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if rows, err = column.Rows(f, g, rows[:0], sumRow{Liquid: nan32, Granular: nan32}); err != nil {
			return b.spoilt(err)
		}
		for from := 0; from < len(rows); { // a pass at a time, which stays near the processor
			out = out[:0]
			to := from
			for ; to < len(rows) && rows[to].Pass == rows[from].Pass; to++ {
				out = append(out, rows[to].stretch())
			}
			if err := yield(out); err != nil {
				return err
			}
			from = to
		}
	}
	return ctx.Err()
}

// Worked gives the ground that a machine-day's passes worked, in the order of
// passes; none for a day that was settled before it was kept.
func (b *Book) Worked(ctx context.Context, planter string, day evenstand.Day) ([]evenstand.Worked, error) {
	b.mu.Lock()
	e := b.entry(planter, day)
	b.mu.Unlock()
	if e != nil && e.file(workedName) == nil {
		return nil, nil
	}
	f, err := b.dayFile(planter, day, workedName)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []evenstand.Worked
	err = eachRow(ctx, b, f, workedRow{}, (*workedRow).worked, func(ws []evenstand.Worked) error {
		out = append(out, ws...)
		return nil
	})
	return out, err
}

// PassStretches gives the stretches of one pass, sorted by row and place.
func (b *Book) PassStretches(ctx context.Context, planter string, day evenstand.Day, pass int32) ([]evenstand.Stretch, error) {
	f, err := b.dayFile(planter, day, stretchesName)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	g, err := groupOf(f, pass)
	if err != nil || g < 0 {
		return nil, b.spoilt(err)
	}
	rows, err := column.Rows(f, g, nil, noStretch)
	if err != nil {
		return nil, b.spoilt(err)
	}
	out := make([]evenstand.Stretch, len(rows))
	for i := range rows {
		out[i] = rows[i].stretch()
	}
	return out, ctx.Err()
}

// PassTrack gives the track of one pass; S counts from the day's first fix.
func (b *Book) PassTrack(ctx context.Context, planter string, day evenstand.Day, p *evenstand.Pass) ([]evenstand.TrackPoint, error) {
	f, err := b.dayFile(planter, day, trackName)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	var out []evenstand.TrackPoint
	var times []int64
	var rows []trackRow
	for g := range f.Groups() {
		if times, err = column.Values(f, g, "t_us", times[:0], 0); err != nil {
			return nil, b.spoilt(err)
		}
		if len(times) == 0 || times[len(times)-1] < int64(p.Start) || times[0] > int64(p.End) {
			continue
		}
		if rows, err = column.Rows(f, g, rows[:0], noTrack); err != nil {
			return nil, b.spoilt(err)
		}
		for i := range rows {
			if rows[i].Pass == p.Index {
				out = append(out, rows[i].point())
			}
		}
	}
	return out, ctx.Err()
}

// Track gives a machine-day's track in batches; the slice is only lent.
func (b *Book) Track(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.TrackPoint) error) error {
	f, err := b.dayFile(planter, day, trackName)
	if err != nil {
		return err
	}
	defer f.Close()
	return eachRow(ctx, b, f, noTrack, (*trackRow).point, yield)
}

// Places is Track without what a map needs not, in half the time: Pass is -1,
// and speed and error are not known.
func (b *Book) Places(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.TrackPoint) error) error {
	f, err := b.dayFile(planter, day, trackName)
	if err != nil {
		return err
	}
	defer f.Close()
	return eachRow(ctx, b, f, placeRow{Lat: math.NaN(), Lon: math.NaN(), Heading: nan32}, (*placeRow).point, yield)
}

// Readings gives a machine-day's readings in batches; the slice is only lent.
func (b *Book) Readings(ctx context.Context, planter string, day evenstand.Day, yield func([]evenstand.Reading) error) error {
	f, err := b.dayFile(planter, day, readingsName)
	if err != nil {
		return err
	}
	defer f.Close()
	elements := map[string]evenstand.Element{}
	var bad error
	err = eachRow(ctx, b, f, readingRow{Value: math.NaN()}, func(r *readingRow) evenstand.Reading {
		q, _ := evenstand.ParseQuantity(r.Quantity)
		e, ok := elements[r.Element]
		if !ok {
			var err error
			if e, err = evenstand.ParseElement(r.Element); err != nil {
				bad = err
			}
			elements[r.Element] = e
		}
		return evenstand.Reading{T: evenstand.Micros(r.T), Quantity: q, Element: e, Value: r.Value, Code: uint16(r.Code)}
	}, yield)
	return errors.Join(err, bad)
}
