package book

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"

	"evenstand"
	"evenstand/format/column"
)

// Check looks through the whole book and gives what is wrong, a plain
// sentence each; nothing when it is sound. The error is of the check itself.
func (b *Book) Check(ctx context.Context) ([]string, error) {
	b.work.Lock()
	defer b.work.Unlock()
	faults := []string{}
	say := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	if err := b.checkLedger(ctx, say); err != nil {
		return faults, err
	}
	if err := b.checkOriginals(ctx, say); err != nil {
		return faults, err
	}
	b.mu.Lock()
	damaged := b.damaged
	b.mu.Unlock()
	if damaged != nil {
		say("The derived data cannot be used: %v. Say evenstand rebuild.", damaged)
		return faults, nil
	}
	if f := b.man.Sources; f != nil {
		b.checkFile(filepath.Join(dataDir, f.Name), f, say)
	}
	ids, err := b.idsGiven(ctx)
	if err != nil {
		return faults, ledgerError(b.path(ledgerName), err)
	}
	seen := map[string]string{}
	keys := map[string]bool{}
	for i := range b.man.Days {
		if ctx.Err() != nil {
			return faults, ctx.Err()
		}
		b.checkDay(&b.man.Days[i], ids, seen, keys, say)
	}
	for i := range b.man.Fields {
		b.checkField(&b.man.Fields[i], ids, seen, say)
	}
	if err := b.checkSeen(ctx, say); err != nil {
		return faults, err
	}
	for i := range b.man.Days {
		if len(faults) > 0 {
			break // what is missing may be just that
		}
		b.checkReferences(&b.man.Days[i], keys, say)
	}
	return faults, nil
}

func (b *Book) checkLedger(ctx context.Context, say func(string, ...any)) error {
	for _, pragma := range []string{"integrity_check", "foreign_key_check"} {
		rows, err := b.db.QueryContext(ctx, "PRAGMA "+pragma)
		if err != nil {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			say("ledger.db is damaged: %v. Take it from a copy of the logbook.", err)
			return nil
		}
		for rows.Next() {
			var line string
			if pragma == "integrity_check" {
				if err := rows.Scan(&line); err != nil || line == "ok" {
					continue
				}
			} else {
				line = "a line refers to one that is not there"
			}
			say("ledger.db is damaged: %s. Take it from a copy of the logbook.", line)
		}
		if err := rows.Close(); err != nil {
			return err
		}
	}
	return nil
}

func (b *Book) checkOriginals(ctx context.Context, say func(string, ...any)) error {
	rows, err := b.db.QueryContext(ctx, "SELECT sha256, size, min(path) FROM files GROUP BY sha256 ORDER BY sha256")
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	type want struct {
		sum, path string
		size      int64
	}
	var all []want
	for rows.Next() {
		var w want
		if err := rows.Scan(&w.sum, &w.size, &w.path); err != nil {
			rows.Close()
			return ledgerError(b.path(ledgerName), err)
		}
		all = append(all, w)
	}
	if err := rows.Close(); err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	for _, w := range all {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		name := filepath.ToSlash(filepath.Join(originalsDir, w.sum[:2], w.sum))
		sum, size, err := hashFile(b.originalPath(w.sum))
		switch {
		case errors.Is(err, os.ErrNotExist):
			say("The original of %s is missing (%s). Copy it there from the stick or a copy of the logbook.", w.path, name)
		case err != nil:
			say("The original of %s (%s) cannot be read: %v. Take it from a copy of the logbook.", w.path, name, err)
		case size != w.size:
			say("The original of %s (%s) has %d bytes and had %d. Take it from a copy of the logbook.", w.path, name, size, w.size)
		case sum != w.sum:
			say("The original of %s (%s) was changed: its hash is another. Take it from a copy of the logbook.", w.path, name)
		}
	}
	return nil
}

// checkFile compares a derived file with its entry; it tells whether the file
// is as it should be.
func (b *Book) checkFile(rel string, f *fileEntry, say func(string, ...any)) bool {
	shown := filepath.ToSlash(rel)
	sum, size, err := hashFile(b.path(rel))
	switch {
	case errors.Is(err, os.ErrNotExist):
		say("%s is missing. Say evenstand rebuild.", shown)
	case err != nil:
		say("%s cannot be read: %v. Say evenstand rebuild.", shown, err)
	case size != f.Size || sum != f.SHA256:
		say("%s is not what was written: its hash is another. Say evenstand rebuild.", shown)
	default:
		return true
	}
	return false
}

// idsGiven gives the ids that the ledger knows.
func (b *Book) idsGiven(ctx context.Context) (map[string]bool, error) {
	rows, err := b.db.QueryContext(ctx, "SELECT DISTINCT id FROM finding_ids")
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	ids := map[string]bool{}
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, err
		}
		ids[id] = true
	}
	return ids, rows.Err()
}

// checkDay checks a day's files, their rows against the manifest, the passes
// against the row groups, and the findings' ids against the ledger.
func (b *Book) checkDay(e *dayEntry, ids map[string]bool, seen map[string]string, keys map[string]bool, say func(string, ...any)) {
	sound := true
	for _, name := range []string{passesName, trackName, seedsName, readingsName, stretchesName, workedName, findingsName, clocksName, summaryName, boxJournalName} {
		f := e.file(name)
		if f == nil && (name == boxJournalName || name == workedName) {
			continue // the day was settled before it was kept, and is settled again
		}
		if f == nil {
			say("data/manifest.json does not name %s of %s on %s. Say evenstand rebuild.", name, e.Planter, e.Day)
			sound = false
			continue
		}
		if !b.checkFile(filepath.Join(dataDir, e.Folder, name), f, say) {
			sound = false
		}
	}
	if !sound {
		return
	}
	where := "data/" + e.Folder + "/"
	passes, err := b.Passes(context.Background(), e.Planter, e.Day)
	if err != nil {
		say("%s%s cannot be read: %v. Say evenstand rebuild.", where, passesName, err)
		return
	}
	for i, p := range passes {
		if int(p.Index) != i {
			say("%s%s: pass %d stands where pass %d should. Say evenstand rebuild.", where, passesName, p.Index, i)
		}
		keys[p.Key] = true
	}
	for _, name := range []string{passesName, trackName, seedsName, readingsName, stretchesName, workedName} {
		if e.file(name) == nil {
			continue
		}
		if err := b.checkTable(e, name, len(passes)); err != nil {
			say("%s%s: %v. Say evenstand rebuild.", where, name, err)
		}
	}
	var fs findingsJSON
	if err := b.load(e, findingsName, &fs); err != nil {
		say("%v", err)
		return
	}
	for _, f := range fs.Findings {
		if !ids[f.ID] {
			say("%s%s: the id %s is not in the ledger. Say evenstand rebuild.", where, findingsName, f.ID)
		}
		if other, twice := seen[f.ID]; twice {
			say("%s%s: the id %s stands in %s too. Say evenstand rebuild.", where, findingsName, f.ID, other)
		}
		seen[f.ID] = e.Folder
	}
}

// checkField checks a field's ground, and the ids of what was found about it.
func (b *Book) checkField(e *fieldEntry, ids map[string]bool, seen map[string]string, say func(string, ...any)) {
	if !b.checkFile(filepath.Join(dataDir, e.File.Name), &e.File, say) {
		return
	}
	f, err := b.loadField(e)
	if err != nil {
		say("%v", err)
		return
	}
	for _, x := range f.Findings {
		if !ids[x.ID] {
			say("data/%s: the id %s is not in the ledger. Say evenstand rebuild.", e.File.Name, x.ID)
		}
		if other, twice := seen[x.ID]; twice {
			say("data/%s: the id %s stands in %s too. Say evenstand rebuild.", e.File.Name, x.ID, other)
		}
		seen[x.ID] = e.File.Name
	}
}

// checkSeen compares what each day saw of its logs with what the sources hold
// for it. Days that the next Read makes again are left to that.
func (b *Book) checkSeen(ctx context.Context, say func(string, ...any)) error {
	planters, err := b.planters(ctx)
	if err != nil {
		return ledgerError(b.path(ledgerName), err)
	}
	due, _ := b.dueDays(planters, nil)
	for _, p := range planters {
		for _, day := range p.days {
			e := b.entry(p.planter, day)
			if e == nil || due[p.planter][day] {
				continue
			}
			var sum summaryJSON
			if f := e.file(summaryName); f == nil || b.load(e, summaryName, &sum) != nil {
				continue // said before
			}
			if sum.Seen == nil {
				say("data/%s/%s does not say what the day saw of its logs. Say evenstand rebuild.", e.Folder, summaryName)
				continue
			}
			least, most := p.counts(day)
			for k := range numKinds {
				seen := *sum.Seen.of(k)
				if seen < least[k] || seen > most[k] {
					say("data/%s saw %d %s of %s on %s, and its logs hold %d. Say evenstand rebuild.", e.Folder, seen, kindNames[k], p.planter, day, most[k])
				}
			}
		}
	}
	return nil
}

// counts gives what the sources hold for a day by kind. Logs of one box that
// lie in several inputs may say the same: at least the largest of them, at most
// their sum.
func (p *planterDays) counts(day evenstand.Day) (least, most [numKinds]int64) {
	var box [numKinds]int64 // the largest log of this box
	for i, s := range p.sources {
		if i > 0 && s.key() != p.sources[i-1].key() {
			box = [numKinds]int64{}
		}
		d := s.day(day)
		if d == nil {
			continue
		}
		for k, part := range d.Parts {
			if part == nil {
				continue
			}
			most[k] += part.N
			least[k] += max(0, part.N-box[k])
			box[k] = max(box[k], part.N)
		}
	}
	return least, most
}

// checkReferences looks whether the passes that findings name are there.
func (b *Book) checkReferences(e *dayEntry, keys map[string]bool, say func(string, ...any)) {
	var fs findingsJSON
	if err := b.load(e, findingsName, &fs); err != nil {
		return // said before
	}
	for _, f := range fs.Findings {
		for _, p := range f.Passes {
			if !keys[p.Key] {
				say("data/%s/%s: finding %s names the pass %q, which is not there. Say evenstand rebuild.", e.Folder, findingsName, f.ID, p.Key)
			}
		}
	}
}

// checkTable counts a Parquet file's rows and groups and looks whether its
// passes are those of the day, in order.
func (b *Book) checkTable(e *dayEntry, name string, passes int) error {
	want := e.file(name)
	f, err := column.Open(b.path(dataDir, e.Folder, name))
	if err != nil {
		return err
	}
	defer f.Close()
	if want.Rows == nil || want.Groups == nil || f.Rows() != *want.Rows || f.Groups() != *want.Groups {
		return fmt.Errorf("it has %d rows in %d groups, which is not what the manifest says", f.Rows(), f.Groups())
	}
	var rows int64
	for g := range f.Groups() {
		rows += f.GroupRows(g)
	}
	if rows != f.Rows() {
		return fmt.Errorf("its groups hold %d rows and its footer says %d", rows, f.Rows())
	}
	if name == readingsName || name == passesName {
		return nil
	}
	last := int32(-1)
	for g := range f.Groups() {
		lo, hi, err := passRange(f, g)
		if err != nil {
			return err
		}
		if hi >= int32(passes) {
			return fmt.Errorf("it names pass %d and the day has %d", hi, passes)
		}
		if name == trackName || name == workedName {
			continue
		}
		if lo != hi || lo <= last {
			return fmt.Errorf("row group %d holds passes %d to %d after pass %d", g, lo, hi, last)
		}
		last = hi
	}
	return nil
}

func passRange(f *column.File, g int) (lo, hi int32, err error) {
	p, err := column.Numbers[int32](f, g, "pass", -1)
	if err != nil {
		return 0, 0, err
	}
	defer p.Close()
	first := true
	for left := f.GroupRows(g); left > 0; {
		vs, err := p.Next()
		if err != nil {
			return 0, 0, err
		}
		for _, v := range vs {
			if first {
				lo, hi, first = v, v, false
			}
			lo, hi = min(lo, v), max(hi, v)
		}
		left -= int64(len(vs))
	}
	return lo, hi, nil
}
