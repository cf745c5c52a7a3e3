package book

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"sort"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/pipeline"
)

// handSource is the name of the source that people's own journal is.
const handSource = "written by hand"

// planterDays is a planter's sources and the days for which they hold data.
type planterDays struct {
	planter string
	sources []*sourceState // by key, then input
	days    []evenstand.Day
	hand    []evenstand.Entry // from the ledger, in time order
}

// deriveDays makes the machine-days again whose makings are not those that the
// manifest notes, and drops those of which nothing is left.
func (b *Book) deriveDays(ctx context.Context, live []*input, formats []evenstand.Format, spools *spoolSet, rep *Report, tell func(Progress)) error {
	var notes dayNotes
	var planters []*planterDays
	failed := map[DayRef]error{}
	defer func() {
		for _, p := range planters {
			for _, day := range p.days {
				if err := failed[DayRef{p.planter, day}]; err != nil {
					rep.Unused = append(rep.Unused, b.unsettled(p.planter, day, err))
				}
			}
		}
	}()
	stray := 0
	defer func() {
		if stray > 0 {
			rep.Notes = append(rep.Notes, fmt.Sprintf("Lines by hand that are of none of the planters: %d. They name none, and there are several: write them again with the planter.", stray))
		}
		rep.Notes = append(rep.Notes, notes.sentences(len(planters) > 1)...)
	}()
	anew := b.anew(live, rep)
again:
	for s := range spools.gone { // of which days were given back
		delete(spools.dirs, s)
		delete(spools.gone, s)
	}
	var err error
	if planters, err = b.planters(ctx); err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	if stray, err = b.strayNotes(ctx, planters); err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	if err := b.dropDays(planters); err != nil {
		return writeError(b.dir, "dropping days of which nothing is left", err)
	}
	due, total := b.dueDays(planters, anew)
	changed, err := b.respool(ctx, due, live, formats, spools, rep, tell)
	if err != nil {
		return err
	}
	if changed { // this version reads the originals otherwise than the one before
		goto again
	}
	done := 0
	for _, p := range planters {
		from := evenstand.NoTime
		var before evenstand.Day
		m := &merger{b: b, spools: spools, files: map[string]*merged{}}
		for _, day := range p.days {
			if before == "" || nextDay(before) != day {
				from = evenstand.NoTime
			}
			before = day
			sig := b.madeFrom(p, day, from)
			if e := b.entry(p.planter, day); e != nil && e.From == sig && !anew(p, day) {
				from = e.Until
				continue
			}
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if !due[p.planter][day] { // the day before now ends otherwise
				one := map[string]map[evenstand.Day]bool{p.planter: {day: true}}
				if changed, err := b.respool(ctx, one, live, formats, spools, rep, tell); err != nil {
					return err
				} else if changed {
					goto again
				}
				total++
			}
			tell(Progress{Doing: "settling", Name: string(day) + " " + p.planter, Done: int64(done), Total: int64(total)})
			e, said, err := b.deriveDay(ctx, p, day, from, sig, m)
			done++
			if bad := (*dayError)(nil); errors.As(err, &bad) && ctx.Err() == nil {
				// One bad day does not keep the others back; what was there of
				// it stays, and the next Read tries again.
				failed[DayRef{p.planter, day}] = bad.err
				from = evenstand.NoTime
				if e := b.entry(p.planter, day); e != nil {
					from = e.Until
				}
				m.forget(p, day)
				continue
			}
			if err != nil {
				return writeError(b.dir, "settling "+string(day), explain(err, p.planter, day))
			}
			delete(failed, DayRef{p.planter, day})
			rep.Days = append(rep.Days, DayRef{p.planter, day})
			notes.set(DayRef{p.planter, day}, said)
			from = e.Until
			m.forget(p, day)
		}
	}
	if total > 0 {
		tell(Progress{Doing: "settling", Done: int64(done), Total: int64(total)})
	}
	return nil
}

func (b *Book) entry(planter string, day evenstand.Day) *dayEntry {
	for i := range b.man.Days {
		if e := &b.man.Days[i]; e.Planter == planter && e.Day == day {
			return e
		}
	}
	return nil
}

// planters sorts the sources by planter.
func (b *Book) planters(ctx context.Context) ([]*planterDays, error) {
	hand, err := b.handEntries(ctx)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	by := map[string]*planterDays{}
	for _, s := range b.state.Sources {
		name := b.planterOf(s)
		p := by[name]
		if p == nil {
			p = &planterDays{planter: name}
			by[name] = p
		}
		p.sources = append(p.sources, s)
		for _, d := range s.Days {
			if d.Parts[fixes] != nil || d.Parts[seeds] != nil || d.Parts[readings] != nil {
				p.days = append(p.days, d.Day)
			}
		}
	}
	// A card that came later, or under another name, takes the lines written by
	// hand with it as it takes the logs.
	worked := slices.DeleteFunc(sortedKeys(by), func(n string) bool { return len(by[n].days) == 0 })
	for _, said := range sortedKeys(hand) {
		name := b.noteOf(said, worked)
		if p := by[name]; p != nil {
			p.hand = append(p.hand, hand[said]...)
			slices.SortStableFunc(p.hand, func(x, y evenstand.Entry) int { return cmp.Compare(x.T, y.T) })
		}
	}
	var ps []*planterDays
	for _, name := range sortedKeys(by) {
		p := by[name]
		slices.SortStableFunc(p.sources, compareSources)
		slices.Sort(p.days)
		p.days = slices.Compact(p.days)
		ps = append(ps, p)
	}
	return ps, nil
}

// strayNotes counts the lines by hand that name no planter where there are
// several: they are of none of them.
func (b *Book) strayNotes(ctx context.Context, planters []*planterDays) (n int, err error) {
	hand, err := b.handEntries(ctx)
	if err != nil || len(hand[""]) == 0 {
		return 0, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	var worked []string
	for _, p := range planters {
		if len(p.days) > 0 {
			worked = append(worked, p.planter)
		}
	}
	if len(worked) < 2 || slices.Contains(worked, b.noteOf("", worked)) {
		return 0, nil
	}
	return len(hand[""]), nil
}

// dropDays takes days out of the manifest that have no data any more.
func (b *Book) dropDays(planters []*planterDays) error {
	man := b.man
	man.Days = nil
	for _, e := range b.man.Days {
		i := slices.IndexFunc(planters, func(p *planterDays) bool { return p.planter == e.Planter })
		if i >= 0 && slices.Contains(planters[i].days, e.Day) {
			man.Days = append(man.Days, e)
		}
	}
	if len(man.Days) == len(b.man.Days) {
		return nil
	}
	return b.commit(man)
}

// dueDays tells which days must be made again, as far as can be told before
// the days before them are made.
func (b *Book) dueDays(planters []*planterDays, anew func(p *planterDays, day evenstand.Day) bool) (due map[string]map[evenstand.Day]bool, total int) {
	due = map[string]map[evenstand.Day]bool{}
	for _, p := range planters {
		due[p.planter] = map[evenstand.Day]bool{}
		from := evenstand.NoTime
		var before evenstand.Day
		for _, day := range p.days {
			if before == "" || nextDay(before) != day {
				from = evenstand.NoTime
			}
			before = day
			e := b.entry(p.planter, day)
			if e == nil || e.From != b.madeFrom(p, day, from) || anew != nil && anew(p, day) {
				due[p.planter][day] = true
				total++
			}
			from = evenstand.NoTime
			if e != nil {
				from = e.Until
			}
		}
	}
	return due, total
}

// madeFrom gives a hash over everything that a day's derivation depends on.
func (b *Book) madeFrom(p *planterDays, day evenstand.Day, from evenstand.Micros) string {
	b.mu.Lock()
	defer b.mu.Unlock()
	h := sha256.New()
	_, card := b.cardOn(p.planter, day)
	fmt.Fprintf(h, "tables %s\nsettling 7\nplanter %q\nday %s\nzone %s\nfrom %d\ncard %s\nfields %s\n", tablesVersion, p.planter, day, b.zone, from, card, b.fieldSum)
	for _, l := range furrowLimits(&b.settings) {
		fmt.Fprintf(h, "limit %s %g %g\n", l.Of, l.Least, l.Most)
	}
	next := nextDay(day)
	for _, s := range p.sources {
		d, n := s.day(day), s.day(next)
		if !s.touches(day) {
			continue
		}
		src := s.Source
		if c, ok := b.settings.Clock(p.planter, src.Name); ok {
			src.ClockOffset, src.ClockError = evenstand.Number(c.Offset), evenstand.Number(c.Error)
		}
		meta, err := json.Marshal(src)
		if err != nil {
			panic(err) // unknown numbers are null, the rest is plain
		}
		fmt.Fprintf(h, "source %s\n", meta)
		for k := range numKinds {
			if d != nil && d.Parts[k] != nil {
				fmt.Fprintf(h, "%d %s\n", k, d.Parts[k].Sum)
			}
			if n != nil && n.Parts[k] != nil && n.Parts[k].HeadN > 0 {
				fmt.Fprintf(h, "%d next %s\n", k, n.Parts[k].Head)
			}
		}
	}
	begin, _, _ := dayBounds(day, b.zone)
	_, _, end := dayBounds(next, b.zone)
	var line []byte
	for _, l := range b.settings.Plans {
		fmt.Fprintf(h, "plan %q %s %q\n", l.Field, l.Rows, l.Lot)
	}
	for _, e := range p.lotsBefore(begin) {
		line = entryCodec.put(line[:0], &e)
		h.Write(line)
	}
	for i := range p.hand {
		if e := &p.hand[i]; e.T >= begin && e.T < end {
			line = entryCodec.put(line[:0], e)
			h.Write(line)
		}
	}
	return hex.EncodeToString(h.Sum(nil))
}

// furrowLimits are the limits that findings about the furrow are held against:
// where one changes, days are settled anew.
func furrowLimits(s *evenstand.Settings) (out []evenstand.Limit) {
	for _, l := range s.Limits {
		switch l.Of {
		case evenstand.SeedZoneMoisture, evenstand.SeedZoneTemperature, evenstand.SlotTrash:
			out = append(out, l)
		}
	}
	return out
}

// respool reads originals again whose sources cover a due day or the day after
// and that were not read in this run. It tells whether one of them gave other
// data than the state notes; the state is then brought up to date.
func (b *Book) respool(ctx context.Context, due map[string]map[evenstand.Day]bool, live []*input, formats []evenstand.Format, spools *spoolSet, rep *Report, tell func(Progress)) (changed bool, err error) {
	want := map[int64]bool{}
	b.mu.Lock()
	st := b.state
	for _, s := range st.Sources {
		if _, there := spools.dirs[s]; there {
			continue
		}
		for day := range due[b.planterOf(s)] {
			if s.touches(day) {
				want[s.Input] = true
			}
		}
	}
	b.mu.Unlock()
	if len(want) == 0 {
		return false, nil
	}
	fresh := state{Schema: 1, Zone: st.Zone, Inputs: slices.Clone(st.Inputs)}
	before := map[int64][]*sourceState{}
	for _, s := range st.Sources {
		if want[s.Input] {
			before[s.Input] = append(before[s.Input], s)
		} else {
			fresh.Sources = append(fresh.Sources, s)
		}
	}
	for _, in := range live {
		if !want[in.id] {
			continue
		}
		was := before[in.id]
		now, unused, err := b.readInput(ctx, in, remember(formats, was), spools, &Report{}, tell)
		if err != nil {
			return false, err
		}
		rep.Unused = append(rep.Unused, lost(in, was, now, unused)...)
		same, err := sameJSON(was, now)
		if err != nil {
			return false, err
		}
		if !same {
			changed = true
			fresh.Sources = append(fresh.Sources, now...)
			continue
		}
		for i, s := range was {
			spools.dirs[s] = spools.dirs[now[i]]
		}
		fresh.Sources = append(fresh.Sources, was...)
	}
	if !changed {
		return false, nil
	}
	return true, writeError(b.dir, "noting what was read", b.commitState(fresh))
}

func sameJSON(a, b any) (bool, error) {
	x, err := json.Marshal(a)
	if err != nil {
		return false, err
	}
	y, err := json.Marshal(b)
	return string(x) == string(y), err
}

// merged is one kind of one day of a source whose logs lie in several inputs.
type merged struct {
	path string
	n    int64
	said said
}

// said is what was left out where several logs of one box met.
type said struct {
	unused []evenstand.Unused
	notes  []string
	again  Counts // of what stood in several of them
}

// merger gives each (source, day, kind) as one file in time order.
type merger struct {
	b      *Book
	spools *spoolSet
	files  map[string]*merged // by day and by the spools that went into it
	n      int
}

// merge gives the file of one kind of one day of the sources of one key; nil
// when there is none. With head only those sources count that have some of it
// in the first hours, and only those hours of the file are whole.
func merge[T any](m *merger, c *codec[T], sources []*sourceState, day evenstand.Day, head bool) (*merged, error) {
	var paths []string
	var n int64
	var file string
	for _, s := range sources {
		d := s.day(day)
		if d == nil || d.Parts[c.kind] == nil || head && d.Parts[c.kind].HeadN == 0 {
			continue
		}
		dir, ok := m.spools.dirs[s]
		if !ok {
			return nil, fmt.Errorf("%s was not read before %s is settled", s.Source.Name, day) // respool reads it
		}
		paths = append(paths, spoolPath(dir, day, c.kind))
		n = d.Parts[c.kind].N
		if len(s.Source.Files) > 0 {
			file = s.Source.Files[0]
		}
	}
	if len(paths) == 0 {
		return nil, nil
	}
	// What was merged names the file: the day before sees fewer sources.
	id := string(day) + "\x00" + strings.Join(paths, "\x00")
	if f, ok := m.files[id]; ok {
		return f, nil
	}
	f := &merged{path: paths[0], n: n}
	if len(paths) > 1 {
		m.n++
		f = &merged{path: m.b.path(tmpDir, "merged-"+strconv.Itoa(m.n))}
		t, err := mergeFiles(c, &m.b.disk, paths, f)
		if err != nil {
			return nil, err
		}
		f.said = said{t.unused(file, c.kind), t.notes(c.kind), Counts{}}
		*f.said.again.of(c.kind) = t.twice + t.conflict
	}
	m.files[id] = f
	return f, nil
}

// mergeFiles merges sorted spool files; what was said twice is kept as the
// first of them says it.
func mergeFiles[T any](c *codec[T], d *disk, paths []string, f *merged) (tally, error) {
	type cursor struct {
		batch []T
		next  func() ([]T, bool)
	}
	errs := make([]error, len(paths))
	cursors := make([]*cursor, len(paths))
	for i, p := range paths {
		next, stop := iter.Pull(func(yield func([]T) bool) { errs[i] = readSpool(c, p, yield) })
		defer stop()
		cursors[i] = &cursor{next: next}
		cursors[i].batch, _ = next()
	}
	out := newSpoolFile(c, d, f.path, evenstand.NoTime)
	for {
		var least *cursor
		run := int32(0)
		for i, k := range cursors {
			if len(k.batch) > 0 && (least == nil || c.time(&k.batch[0]) < c.time(&least.batch[0])) {
				least, run = k, int32(i)
			}
		}
		if least == nil {
			break
		}
		if err := out.add(&least.batch[0], run); err != nil {
			return tally{}, err
		}
		if least.batch = least.batch[1:]; len(least.batch) == 0 {
			least.batch, _ = least.next()
		}
	}
	for _, err := range errs {
		if err != nil {
			return tally{}, err
		}
	}
	f.n = out.n
	return out.tally, out.leave()
}

// forget removes the spools of a day that nothing needs any more.
func (m *merger) forget(p *planterDays, day evenstand.Day) {
	for _, s := range p.sources {
		if dir, ok := m.spools.dirs[s]; ok {
			m.spools.gone[s] = true
			for k := range numKinds {
				os.Remove(spoolPath(dir, day, k))
			}
		}
	}
	for id, f := range m.files {
		if strings.HasPrefix(id, string(day)+"\x00") {
			os.Remove(f.path)
			delete(m.files, id)
		}
	}
}

// stream makes the function that a Stream wants of one kind of data: the
// day's, then the first hours of the next. nil when there is nothing. What the
// day holds is added to seen.
func stream[T any](m *merger, c *codec[T], sources []*sourceState, day evenstand.Day, head evenstand.Micros, all *said, seen *int64) (func(yield func([]T) bool) error, error) {
	today, err := merge(m, c, sources, day, false)
	if err != nil {
		return nil, err
	}
	next, err := merge(m, c, sources, nextDay(day), true)
	if err != nil {
		return nil, err
	}
	if today == nil && next == nil {
		return nil, nil
	}
	if today != nil {
		*seen += today.n
		all.unused = append(all.unused, today.said.unused...)
		all.notes = append(all.notes, today.said.notes...)
		*all.again.of(c.kind) += *today.said.again.of(c.kind)
	}
	return func(yield func([]T) bool) error {
		on := true
		if today != nil {
			if err := readSpool(c, today.path, func(vs []T) bool { on = yield(vs); return on }); err != nil {
				return err
			}
		}
		if next == nil || !on {
			return nil
		}
		return readSpool(c, next.path, func(vs []T) bool {
			n := sort.Search(len(vs), func(i int) bool { return c.time(&vs[i]) >= head })
			if n == 0 {
				return false
			}
			return yield(vs[:n]) && n == len(vs)
		})
	}, nil
}

// streams gives a day's streams in order of their sources' keys, and what was
// left out where several logs of one box met, and how much the day holds.
func (b *Book) streams(p *planterDays, day evenstand.Day, m *merger) ([]evenstand.Stream, []sourceSaid, Counts, error) {
	zone, set := b.Zone(), b.Settings()
	_, _, head := dayBounds(nextDay(day), zone)
	var out []evenstand.Stream
	left := []sourceSaid{}
	var seen Counts
	for i := 0; i < len(p.sources); {
		j := i
		var mine []*sourceState // of this key, with data on the day
		for ; j < len(p.sources) && p.sources[j].key() == p.sources[i].key(); j++ {
			if s := p.sources[j]; s.touches(day) {
				mine = append(mine, s)
			}
		}
		i = j
		if len(mine) == 0 {
			continue
		}
		st := evenstand.Stream{Source: mine[len(mine)-1].Source.source()}
		if c, ok := set.Clock(p.planter, st.Source.Name); ok {
			st.Source.ClockOffset, st.Source.ClockError = c.Offset, c.Error
		}
		for _, s := range mine[:len(mine)-1] {
			for _, f := range s.Source.Files {
				if !slices.Contains(st.Source.Files, f) {
					st.Source.Files = append(st.Source.Files, f)
				}
			}
		}
		all := said{unused: []evenstand.Unused{}, notes: []string{}}
		var errs [numKinds]error
		st.Fixes, errs[fixes] = stream(m, fixCodec, mine, day, head, &all, &seen.Fixes)
		st.Seeds, errs[seeds] = stream(m, seedCodec, mine, day, head, &all, &seen.Seeds)
		st.Readings, errs[readings] = stream(m, readingCodec, mine, day, head, &all, &seen.Readings)
		st.Entries, errs[entries] = stream(m, entryCodec, mine, day, head, &all, &seen.Entries)
		for _, err := range errs {
			if err != nil {
				return nil, nil, seen, err
			}
		}
		if len(all.unused)+len(all.notes) > 0 {
			left = append(left, sourceSaid{st.Source.Name, all.unused, all.notes, all.again})
		}
		out = append(out, st)
	}
	begin, _, _ := dayBounds(day, zone)
	var hand []evenstand.Entry
	for _, e := range p.hand {
		if e.T >= begin && e.T < head {
			hand = append(hand, e)
		}
	}
	if len(hand) > 0 {
		src := evenstand.Source{Name: handSource, Format: "logbook", Planter: p.planter, Grade: evenstand.GradeD, ClockOffset: 0, ClockError: float64(evenstand.Unknown), Latency: float64(evenstand.Unknown)}
		out = append(out, evenstand.Stream{Source: src, Entries: func(yield func([]evenstand.Entry) bool) error {
			yield(hand)
			return nil
		}})
	}
	return out, left, seen, nil
}

// lotsBefore gives what was written down by hand of the seed in the boxes before
// a time.
func (p *planterDays) lotsBefore(t evenstand.Micros) (out []evenstand.Entry) {
	for _, e := range p.hand {
		if e.What == "lot" && e.T < t {
			out = append(out, e)
		}
	}
	return out
}

// deriveDay makes one machine-day and commits it. It gives the day's notes too.
func (b *Book) deriveDay(ctx context.Context, p *planterDays, day evenstand.Day, from evenstand.Micros, sig string, m *merger) (*dayEntry, []string, error) {
	streams, left, seen, err := b.streams(p, day, m)
	if err != nil {
		return nil, nil, err
	}
	card, err := b.Card(p.planter, day)
	if err != nil {
		return nil, nil, err
	}
	dir := b.path(tmpDir, "day")
	if err := os.RemoveAll(dir); err != nil {
		return nil, nil, err
	}
	if err := os.Mkdir(dir, 0o755); err != nil {
		return nil, nil, err
	}
	w, err := newDayWriter(&b.disk, dir)
	if err != nil {
		return nil, nil, err
	}
	watching := make([]*targets, len(streams))
	for i := range streams {
		watching[i] = watched(&streams[i])
	}
	begin, _, _ := dayBounds(day, b.Zone())
	set := b.Settings()
	res, err := b.derive(ctx, pipeline.Day{Date: day, Zone: b.Zone(), Planter: p.planter, Card: card, Fields: b.Fields(), Streams: streams, From: from, Limits: furrowLimits(&set), Plans: set.Plans, Lots: p.lotsBefore(begin), Settings: settingsOf(p.planter, &card, streams)}, w)
	if err != nil {
		w.abort()
		return nil, nil, err
	}
	if err := b.assignIDs(ctx, p.planter, day, res.Findings); err != nil {
		w.abort()
		return nil, nil, ledgerError(b.path(ledgerName), err)
	}
	files, err := w.keep()
	if err != nil {
		w.abort()
		return nil, nil, err
	}
	// An end before midnight is none of the next day's business.
	if _, end, _ := dayBounds(day, b.Zone()); res.Until <= end {
		res.Until = evenstand.NoTime
	}
	begin, end, _ := dayBounds(day, b.Zone())
	boxes, err := boxJournal(streams, watching, res.Clocks, workDay{w.work, res.Card.Rows}, begin, end)
	if err != nil {
		return nil, nil, err
	}
	small, err := b.smallFiles(p, day, res, left, seen, boxes, w)
	if err != nil {
		return nil, nil, &dayError{err}
	}
	for _, f := range small {
		e, err := b.writeSmall(filepath.Join(dir, f.Name), f.Data)
		if err != nil {
			return nil, nil, err
		}
		e.Name = f.Name
		files = append(files, e)
	}
	slices.SortFunc(files, func(a, c fileEntry) int { return cmp.Compare(a.Name, c.Name) })
	all := sha256.New()
	for _, f := range files {
		io.WriteString(all, f.Name+" "+f.SHA256+"\n")
	}
	e := dayEntry{
		Planter: p.planter, Day: day, From: sig, Until: res.Until, Files: files,
		Folder: string(day) + "-" + slug(p.planter) + "-" + hex.EncodeToString(all.Sum(nil))[:8],
	}
	return &e, res.Notes, b.commitDay(e, dir)
}

// dayError is what went wrong with one day's derivation and says nothing of
// the other days.
type dayError struct{ err error }

// Error says what went wrong.
func (e *dayError) Error() string { return e.err.Error() }

// Unwrap gives what went wrong.
func (e *dayError) Unwrap() error { return e.err }

// derive calls the deriver. What it gives up on, and a fault in it, is a
// dayError; an end of the context and a disk that takes nothing more are not.
func (b *Book) derive(ctx context.Context, day pipeline.Day, w *dayWriter) (res pipeline.Result, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("a fault in the program%s: %v", faultPlace(), r)
		}
		switch {
		case err == nil:
		case ctx.Err() != nil:
			err = ctx.Err()
		case !onDisk(err):
			err = &dayError{err}
		}
	}()
	return b.opts.Derive(ctx, day, w)
}

// faultPlace says where in the program a panic that is being recovered began.
func faultPlace() string {
	pcs := make([]uintptr, 64)
	frames := runtime.CallersFrames(pcs[:runtime.Callers(1, pcs)])
	begun := false
	for {
		f, more := frames.Next()
		switch inside := strings.HasPrefix(f.Function, "runtime."); {
		case inside && strings.Contains(f.Function, "panic"):
			begun = true
		case begun && !inside:
			return fmt.Sprintf(" at %s:%d", filepath.Base(f.File), f.Line)
		}
		if !more {
			return ""
		}
	}
}

// unsettled says that a day could not be settled and what can be done.
func (b *Book) unsettled(planter string, day evenstand.Day, err error) evenstand.Unused {
	do := "The other days are settled and its logs are kept."
	if b.entry(planter, day) != nil {
		do = "The other days are settled, and what the book held of this day before stays."
	}
	return evenstand.Unused{
		File: planter + ", " + string(day), Offset: -1, Count: 1, Of: "days", Why: "it could not be settled: " + err.Error(),
		Do: do + " Look at the planter card, copy that day's logs from the box again, and say evenstand read; it is tried again each time.",
	}
}

// commitDay moves a finished day's folder into its place and names it in the
// manifest.
func (b *Book) commitDay(e dayEntry, dir string) error {
	to := b.path(dataDir, e.Folder)
	old := b.entry(e.Planter, e.Day)
	if old != nil && old.Folder == e.Folder {
		// Made from other things, and come out the same.
		if err := os.RemoveAll(dir); err != nil {
			return err
		}
	} else {
		if err := os.RemoveAll(to); err != nil { // left by a run that was stopped
			return err
		}
		if err := syncDir(dir); err != nil {
			return err
		}
		if err := os.Rename(dir, to); err != nil {
			return err
		}
	}
	man := b.man
	man.Days = slices.DeleteFunc(slices.Clone(b.man.Days), func(d dayEntry) bool { return d.Planter == e.Planter && d.Day == e.Day })
	man.Days = append(man.Days, e)
	return b.commit(man)
}

// smallFiles makes the JSON files of a day.
func (b *Book) smallFiles(p *planterDays, day evenstand.Day, res pipeline.Result, left []sourceSaid, seen Counts, boxes boxJournalJSON, w *dayWriter) ([]File, error) {
	clocks := clocksJSON{Schema: 1, Clocks: []clockJSON{}}
	for _, c := range res.Clocks {
		j := clockJSON{c.Source, c.Offset, c.Error, c.From, c.At, c.Drift, c.DriftError, []ClockSet{}, c.Against, []Gap{}}
		for _, p := range c.Set {
			j.Set = append(j.Set, ClockSet(p))
		}
		for _, g := range c.Gaps {
			j.Gaps = append(j.Gaps, Gap(g))
		}
		clocks.Clocks = append(clocks.Clocks, j)
	}
	if x := res.Behind; x.Source != "" {
		clocks.Behind = &x
	}
	findings := findingsJSON{Schema: 1, Findings: res.Findings}
	if findings.Findings == nil {
		findings.Findings = []evenstand.Finding{}
	}
	sum := summaryJSON{Schema: 1, Left: left, Seen: &seen, Card: toCardJSON(&res.Card), DaySummary: DaySummary{
		Planter: p.planter, Day: day, AsOf: res.AsOf, Until: res.Until, Passes: int(w.n), Seeds: w.seeds.w.Rows(), Planted: toPlanted(res.Planted), Notes: res.Notes, OnBoard: res.OnBoard,
	}}
	if sum.Notes == nil {
		sum.Notes = []string{}
	}
	var files []File
	for _, f := range []struct {
		name string
		v    any
	}{{clocksName, clocks}, {findingsName, findings}, {summaryName, sum}, {boxJournalName, boxes}} {
		text, err := toJSON(f.v)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.name, err)
		}
		files = append(files, File{f.name, text})
	}
	return files, nil
}

func (b *Book) writeSmall(path string, data []byte) (fileEntry, error) {
	o, err := b.disk.create(path, true)
	if err != nil {
		return fileEntry{}, err
	}
	if _, err := o.Write(data); err != nil {
		o.drop()
		return fileEntry{}, err
	}
	e := fileEntry{SHA256: o.hex(), Size: o.size}
	return e, o.keep()
}

// slug makes a planter's name fit for a folder.
func slug(name string) string {
	var s strings.Builder
	for _, r := range strings.ToLower(name) {
		switch {
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			s.WriteRune(r)
		case s.Len() > 0 && !strings.HasSuffix(s.String(), "-"):
			s.WriteByte('-')
		}
		if s.Len() >= 40 {
			break
		}
	}
	if t := strings.Trim(s.String(), "-"); t != "" {
		return t
	}
	return "planter"
}
