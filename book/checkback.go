package book

import (
	"cmp"
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/core/relation"
	"evenstand/core/try"
	"evenstand/core/try/effect"
	"evenstand/core/verify"
)

// An arm is something that people said was done, which is to be checked.
type arm struct {
	at    evenstand.Micros
	by    string // done, fix, setting
	cause string // what it was, where a person said so
	line  *entryOf
}

// check is one test with what it is of.
type check struct {
	arm
	finding int // index; -1: rows of which nothing was known
	planter string
	day     evenstand.Day // from which on stretches are handed to it
	spec    verify.Spec
	test    *verify.Test // nil: planting does not tell
	key     string
	end     evenstand.Micros // from then on something else was done; NoTime: not
	was     *check           // what was done before it, about the same finding
}

// checkDays is how many days of planting after the one on which something was
// done are looked at: what they do not tell, many more would not (judgement).
const checkDays = 5

const (
	byDone, byFix, bySetting = "done", "fix", "setting"
)

// checkBack arms a test for whatever was done about findings, hands it what the
// rows did since, and puts the answers on the findings: one that worked is over,
// one that did not stands open again, with the odds of its causes as they are
// then. With rows the tests of lines of the journal on rows of which nothing was
// known are given too. Nothing of it is stored: it is derived from what people
// said and from stretches.
func (b *Book) checkBack(ctx context.Context, fs []evenstand.Finding, days []DaySummary, v advise.Voice, rows bool) ([]record.Changed, error) {
	ds, err := b.Decisions(ctx)
	if err != nil {
		return nil, err
	}
	lines, err := b.entriesDone(ctx, days, v)
	if err != nil {
		return nil, err
	}
	if len(ds) == 0 && len(lines) == 0 {
		return nil, nil
	}
	checks, err := b.arms(fs, days, ds, lines, rows)
	if err != nil {
		return nil, err
	}
	if err := b.leaveOut(checks, fs, ds, lines); err != nil {
		return nil, err
	}
	feed := slices.Clone(checks)
	for _, c := range checks {
		if c.was != nil {
			feed = append(feed, c.was)
		}
	}
	if err := b.feedChecks(ctx, feed); err != nil {
		return nil, err
	}
	var out []record.Changed
	for _, c := range checks {
		before := ""
		if w := c.was; w != nil && w.test != nil {
			switch was := w.test.CheckBack(w.by, v); {
			case was.Verdict == evenstand.VerdictFailed:
				before = " What was done at " + v.Clock(w.at) + v.On(w.at) + " " + advise.Lower(was.Says)
			case c.by != byDone && !c.test.Counts(): // only the journal says more, and no planting yet
				c = w
			}
		}
		var cb evenstand.CheckBack
		if c.test == nil {
			cb = verify.Silent(c.spec.Plan, c.by, c.at)
		} else {
			cb = c.test.CheckBack(c.by, v)
		}
		kind := ""
		if c.finding >= 0 {
			kind = fs[c.finding].Kind
		}
		cb.Says += before + b.beside(c, kind, &cb, lines)
		if c.finding >= 0 && cb.Verdict != evenstand.VerdictWorked {
			if f := &fs[c.finding]; f.Until != nil && *f.Until > c.at-verify.WrittenLate && (cb.Decided == nil || *f.Until > *cb.Decided) {
				cb.Says += " By the logs it ended at " + v.Clock(*f.Until) + v.On(*f.Until) + "."
			}
		}
		if c.finding >= 0 {
			settle(&fs[c.finding], &cb, record.Standing(ds, fs[c.finding].ID), c.cause)
		}
		if rows {
			x := record.Changed{Planter: c.planter, T: c.at, By: c.by, Rows: c.spec.Rows, CheckBack: cb}
			if c.finding >= 0 {
				x.Finding = fs[c.finding].ID
			}
			if c.line != nil {
				x.Says = c.line.says
			}
			// Of the tests of one line the first that says something stands for all.
			if n := len(out); c.finding < 0 && n > 0 && out[n-1].Finding == "" && out[n-1].T == x.T && out[n-1].Says == x.Says && slices.Equal(out[n-1].Rows, x.Rows) {
				if out[n-1].CheckBack.Verdict == evenstand.VerdictOpen && cb.Verdict != evenstand.VerdictOpen {
					out[n-1] = x
				}
				continue
			}
			out = append(out, x)
		}
	}
	return out, nil
}

// Changed gives what was done about findings and to rows, the newest first, with
// what is known of it.
func (b *Book) Changed(ctx context.Context) ([]record.Changed, error) {
	fs, err := b.Findings(ctx)
	if err != nil {
		return nil, err
	}
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
	for _, d := range days {
		v.AsOf = max(v.AsOf, d.AsOf)
	}
	all, err := b.checkBack(ctx, fs, days, v, true)
	if err != nil {
		return nil, err
	}
	w, err := b.Worklist(ctx, true)
	if err != nil {
		return nil, err
	}
	out := []record.Changed{}
	for _, c := range all {
		for i := range w.Findings {
			if f := &w.Findings[i]; f.ID == c.Finding {
				if c.Says != "" {
					c.Says += ". "
				}
				c.Says += record.Plain(f)
			}
		}
		if c.Rows == nil {
			c.Rows = evenstand.Rows{}
		}
		out = append(out, c)
	}
	slices.SortStableFunc(out, func(x, y record.Changed) int { return cmp.Compare(y.T, x.T) })
	return out, nil
}

// settle puts an answer on its finding.
func settle(f *evenstand.Finding, cb *evenstand.CheckBack, stand []record.Decision, cause string) {
	f.CheckBack = cb
	var tried []string // what was done before without curing it
	for _, d := range stand {
		if d.Status == evenstand.Acted {
			tried = append(tried, d.Cause)
		}
	}
	if cb.By != byDone {
		tried = append(tried, cause)
	}
	if n := len(tried); n > 0 && cb.Verdict != evenstand.VerdictFailed {
		tried = tried[:n-1]
	}
	for _, c := range tried {
		untried(f, c)
	}
	switch cb.Verdict {
	case evenstand.VerdictWorked:
		f.Status = evenstand.Checked
		if f.Until == nil {
			until := cb.Since
			f.Until = &until
		}
	case evenstand.VerdictFailed:
		f.Status = evenstand.Checked
	}
}

// untried lowers the odds of a cause that was mended without a cure: what stays
// is the chance that mending it does not cure it. An empty one is the likeliest.
func untried(f *evenstand.Finding, cause string) {
	if len(f.Causes) == 0 {
		return
	}
	f.Causes = slices.Clone(f.Causes)
	at := 0
	if cause != "" {
		at = slices.IndexFunc(f.Causes, func(c evenstand.Cause) bool { return c.Cause == cause })
	}
	if at < 0 {
		return
	}
	works := 0.7 // where the catalogue says nothing (judged)
	if r, ok := relation.RemedyFor(f.Kind, f.Causes[at].Cause); ok {
		works = r.Works
	}
	rest, sum := 1.0, 0.0
	for i := range f.Causes {
		rest -= f.Causes[i].Probability // other
	}
	f.Causes[at].Probability *= 1 - works
	for i := range f.Causes {
		sum += f.Causes[i].Probability
	}
	if sum+math.Max(0, rest) <= 0 { // all that is known was mended: it is something else
		f.Causes = nil
		return
	}
	rest = math.Max(0, rest)
	for i := range f.Causes {
		f.Causes[i].Probability /= sum + rest
	}
	slices.SortStableFunc(f.Causes, func(x, y evenstand.Cause) int { return cmp.Compare(y.Probability, x.Probability) })
}

// entryOf is a line of a journal with its planter: a fix, or a setting that was
// changed, by people's word and by the boxes'.
type entryOf struct {
	planter string
	entry   evenstand.Entry
	set     *verify.Set // nil: a fix
	says    string
}

// entriesDone gives the fixes that people and boxes wrote down and the settings
// that were changed, in order of time.
func (b *Book) entriesDone(ctx context.Context, days []DaySummary, v advise.Voice) (out []entryOf, err error) {
	notes, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	b.NotePlanters(notes)
	planters, dates := map[string]bool{}, map[evenstand.Day]bool{}
	for i := range days {
		planters[days[i].Planter], dates[days[i].Day] = true, true
	}
	fix := func(planter string, e evenstand.Entry) {
		out = append(out, entryOf{planter: planter, entry: e, says: record.SayEntry(&e)})
	}
	said := map[int64][]*evenstand.Entry{}
	for i := range notes {
		l := &notes[i]
		switch {
		case l.TakenBack:
		case l.Entry.What == byFix:
			fix(l.Planter, l.Entry)
		case l.Entry.What == bySetting:
			planters[l.Planter] = true
			said[l.ID] = append(said[l.ID], &l.Entry)
		}
	}
	for day := range dates {
		boxes, _, err := b.BoxJournal(ctx, day)
		if err != nil {
			return nil, err
		}
		for i := range boxes {
			l := &boxes[i]
			if l.What != byFix {
				continue
			}
			if rows, err := evenstand.ParseRows(l.Rows); err == nil {
				fix(l.Planter, evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note})
			}
		}
	}
	for planter := range planters {
		all, err := b.seasonChanges(ctx, planter, "")
		if err != nil {
			return nil, err
		}
		for _, cs := range all {
			for i := range cs {
				c := &cs[i]
				out = append(out, entryOf{planter, evenstand.Entry{T: c.T, What: bySetting, Rows: c.Rows, Value: math.NaN()}, setOf(c), sayChange(c, said[c.Note], v)})
			}
		}
	}
	slices.SortFunc(out, func(x, y entryOf) int {
		return cmp.Or(cmp.Compare(x.entry.T, y.entry.T), cmp.Compare(x.planter, y.planter), cmp.Compare(x.entry.What, y.entry.What), cmp.Compare(x.says, y.says))
	})
	return out, nil
}

// setOf gives a change as check-backs take it.
func setOf(c *try.Change) *verify.Set {
	q, _ := evenstand.ParseQuantity(c.Lever)
	return &verify.Set{Lever: c.Lever, T: c.T, Rows: c.Rows, From: c.From, To: c.To, Level: c.Source != "" && c.Note == 0 && isLevel(q)}
}

// sayChange says what was set: as a person wrote it down, else by its amounts.
func sayChange(c *try.Change, notes []*evenstand.Entry, v advise.Voice) string {
	for _, e := range notes {
		if s, ok := record.SettingOf(e); ok && s.Lever == c.Lever {
			return record.SayEntry(e)
		}
	}
	says := advise.Capital(record.LeverSay(c.Lever))
	from, to := effect.SaySetting(c.Lever, c.From, c.FromState, v), effect.SaySetting(c.Lever, c.To, c.ToState, v)
	switch {
	case to == "":
		says += " changed"
	case from == "":
		says += " set to " + to
	case setOf(c).Level:
		says += " went from " + from + " to " + to
	default:
		says += " set from " + from + " to " + to
	}
	if len(c.Rows) == 0 {
		return says + ", the whole planter"
	}
	return says + ", " + advise.Lower(advise.Rows(c.Rows))
}

// beside says what else was changed on the rows of a test between what they were
// before and the verdict.
func (b *Book) beside(c *check, kind string, cb *evenstand.CheckBack, lines []entryOf) string {
	if cb.Decided == nil {
		return ""
	}
	var names []string
	for i := range lines {
		l := &lines[i]
		if l.set == nil || l.planter != c.planter || l.entry.T <= c.spec.Since || evenstand.DayOf(l.entry.T, b.Zone()) < c.day || l.entry.T >= *cb.Decided || l == c.line || kind != "" && (!l.set.ActsOn(kind) || l.set.Trouble(kind)) {
			continue
		}
		if len(l.entry.Rows) > 0 && len(c.spec.Rows) > 0 && !slices.ContainsFunc(c.spec.Rows, l.entry.Rows.Has) {
			continue
		}
		if n := record.LeverSay(l.set.Lever); !slices.Contains(names, n) {
			names = append(names, n)
		}
	}
	if len(names) == 0 {
		return ""
	}
	rows := "these rows"
	if len(c.spec.Rows) == 1 {
		rows = "this row"
	}
	return " Also changed on " + rows + " in that time, which may be the reason: " + strings.Join(names, ", ") + "."
}

// arms makes the tests: for findings that were acted on, for those that stood
// open when a line of the journal says that something was done to their rows,
// and with rows for such lines that no open finding explains.
func (b *Book) arms(fs []evenstand.Finding, days []DaySummary, ds []record.Decision, lines []entryOf, rows bool) (out []*check, err error) {
	last := map[string]evenstand.Micros{}
	for i := range days {
		last[days[i].Planter] = max(last[days[i].Planter], days[i].AsOf)
	}
	explained := make([]bool, len(lines))
	for i := range fs {
		f := &fs[i]
		if f.Status == evenstand.SetAside || f.Status == evenstand.Ended && f.Until == nil {
			continue
		}
		var arms []arm
		for _, d := range record.Standing(ds, f.ID) {
			if d.Status == evenstand.Acted {
				arms = append(arms, arm{at: d.T, by: byDone, cause: d.Cause})
			}
		}
		for j := range lines {
			l := &lines[j]
			e := &l.entry
			if l.planter == f.Planter && (l.set == nil && verify.StoodOpen(f, e) || l.set != nil && l.set.StoodOpen(f)) {
				explained[j] = true
				arms = append(arms, arm{at: e.T, by: e.What, line: l})
			}
		}
		if len(arms) == 0 {
			continue
		}
		slices.SortStableFunc(arms, func(x, y arm) int { return cmp.Compare(x.at, y.at) })
		a := arms[len(arms)-1]
		c := &check{arm: a, finding: i, planter: f.Planter, day: f.Day, end: evenstand.NoTime}
		if err := b.specOf(c, f, fs); err != nil {
			return nil, err
		}
		for _, x := range slices.Backward(arms[:len(arms)-1]) {
			if x.at >= a.at || x.at >= last[f.Planter] {
				continue // no log follows it
			}
			c.was = &check{arm: x, finding: i, planter: f.Planter, day: f.Day, end: a.at}
			if err := b.specOf(c.was, f, fs); err != nil {
				return nil, err
			}
			break
		}
		out = append(out, c)
	}
	if !rows {
		return out, nil
	}
	for j := range lines {
		e := &lines[j].entry
		if explained[j] || e.What != byFix || len(e.Rows) == 0 {
			continue
		}
		day := evenstand.DayOf(e.T, b.Zone())
		card, err := b.settledCard(lines[j].planter, day)
		if err != nil {
			return nil, err
		}
		plans := verify.ForRows()
		for _, p := range plans {
			c := &check{arm: arm{at: e.T, by: e.What, line: &lines[j]}, finding: -1, planter: lines[j].planter, day: day, end: evenstand.NoTime}
			rows := e.Rows
			if card.Rows > 0 && len(rows) >= card.Rows {
				rows = nil
			}
			c.spec = verify.Spec{Plan: p, Rows: rows, At: e.T, Change: true, Beside: float64(len(plans)), Since: evenstand.NoTime, Sure: evenstand.NoTime, Until: evenstand.NoTime, Start: evenstand.NoTime, Before: math.NaN(), Cells: card.Cells(e.Rows[0]), Spacing: spacingOf(&card)}
			out = append(out, c)
		}
	}
	return out, nil
}

// leaveOut takes rows out of a test's peers to which something was done as well: by
// the journal, or about a finding that was said to be done.
func (b *Book) leaveOut(checks []*check, fs []evenstand.Finding, ds []record.Decision, lines []entryOf) error {
	done := map[string][]verify.Touch{} // by planter
	for i := range fs {
		for _, d := range record.Standing(ds, fs[i].ID) {
			if d.Status == evenstand.Acted {
				done[fs[i].Planter] = append(done[fs[i].Planter], verify.Touch{T: d.T, Rows: fs[i].Rows})
			}
		}
	}
	for _, top := range checks {
		card, err := b.settledCard(top.planter, top.day)
		if err != nil {
			return err
		}
		touched := slices.Clone(done[top.planter])
		for i := range lines {
			l := &lines[i]
			if l.planter == top.planter && (l.entry.What == byFix || len(l.entry.Rows) < card.Rows) {
				touched = append(touched, verify.Touch{T: l.entry.T, Rows: l.entry.Rows})
			}
		}
		touched = slices.DeleteFunc(touched, func(x verify.Touch) bool { return evenstand.DayOf(x.T, b.Zone()) < top.day })
		for _, c := range []*check{top, top.was} {
			if c != nil {
				c.spec.LeaveOut(touched, card.Rows)
			}
		}
	}
	return nil
}

func spacingOf(c *evenstand.Card) float64 {
	if c.RowSpacing > 0 {
		return c.RowSpacing
	}
	return math.NaN()
}

// specOf says what is tested about a finding.
func (b *Book) specOf(c *check, f *evenstand.Finding, fs []evenstand.Finding) error {
	card, err := b.settledCard(f.Planter, f.Day)
	if err != nil {
		return err
	}
	plan := verify.For(f)
	for _, l := range furrowLimits(new(b.Settings())) {
		least, most := !math.IsNaN(l.Least), !math.IsNaN(l.Most)
		switch {
		case f.Kind == evenstand.KindDryFurrow && l.Of == evenstand.SeedZoneMoisture && least, f.Kind == evenstand.KindColdFurrow && l.Of == evenstand.SeedZoneTemperature && least:
			plan.Limit = l.Least
		case f.Kind == evenstand.KindDirtyFurrow && l.Of == evenstand.SlotTrash && most:
			plan.Limit = l.Most
		}
	}
	s := verify.Spec{Plan: plan, Rows: f.Rows, Since: f.Since, Sure: f.SinceHigh, Until: evenstand.NoTime, At: c.at, Start: evenstand.NoTime, Before: math.NaN(), Spacing: spacingOf(&card)}
	if card.Rows > 0 && len(f.Rows) >= card.Rows {
		s.Rows = nil
	}
	if f.Until != nil {
		s.Until = *f.Until
	}
	if x, ok := advise.Figure(f, plan.Measure); ok && plan.How == verify.ByShare {
		s.Before = x
	}
	if len(f.Rows) > 0 {
		s.Cells = card.Cells(f.Rows[0])
	} else {
		s.Cells = card.Cells(1)
	}
	for i := range fs {
		g := &fs[i]
		if g.Planter != f.Planter || g.Stage != evenstand.Raised || g.ID == f.ID || len(g.Rows) == 0 || card.Rows > 0 && 2*len(g.Rows) > card.Rows {
			continue
		}
		to := c.at + 24*3600*evenstand.Second
		if g.Until != nil {
			to = *g.Until
		}
		if g.Since < c.at+24*3600*evenstand.Second && to > f.Since && !f.Rows.Has(g.Rows[0]) {
			s.Sick = append(s.Sick, g.Rows...)
		}
		// What was wrong with the row before is not its healthy past.
		if g.Day == f.Day && lead(g) == lead(f) && verify.For(g).Measure == plan.Measure && g.Until != nil && *g.Until <= f.Since {
			s.Start = max(s.Start, *g.Until)
		}
	}
	if card.Rows > 0 && card.Rows-len(f.Rows)-len(s.Sick) < verify.PeersLeft {
		s.Sick = nil
	}
	c.spec = s
	return nil
}

// keptCheck is a test as it was after the days that were handed to it.
type keptCheck struct {
	test *verify.Test
	fed  []string // folders of the days
	over bool     // nothing that comes can change it
	used int      // by which asking it was used last
}

// keptAskings is for how many askings a test is kept that none of them uses.
const keptAskings = 20

// feedChecks hands each test the stretches from its day on, until nothing that
// comes can change it: all of one state of the book.
func (b *Book) feedChecks(ctx context.Context, checks []*check) error {
	return b.steady(func(man manifest, _ state) error { return b.feedOf(ctx, man, checks) })
}

func (b *Book) feedOf(ctx context.Context, man manifest, checks []*check) error {
	zone := b.Zone()
	type toFeed struct {
		*check
		days map[string]bool // by folder
		fed  []string
	}
	var todo []*toFeed
	b.checkMu.Lock()
	if b.checked == nil {
		b.checked = map[string]*keptCheck{}
	}
	b.checkTurn++
	for _, c := range checks {
		c.test = nil
		if c.spec.Plan.How == verify.None {
			continue
		}
		c.key = fmt.Sprint(c.planter, c.day, c.spec, c.end)
		x := &toFeed{check: c, days: map[string]bool{}}
		looked, armed := 0, evenstand.DayOf(c.at, zone)
		for i := range man.Days {
			e := &man.Days[i]
			if e.Planter != c.planter || e.Day < c.day || looked > checkDays || e.rows(passesName) == 0 {
				continue
			}
			if e.Day >= armed {
				looked++
			}
			x.fed = append(x.fed, e.Folder)
			x.days[e.Folder] = true
		}
		if k := b.checked[c.key]; k != nil && (slices.Equal(k.fed, x.fed) || k.over && len(k.fed) <= len(x.fed) && slices.Equal(k.fed, x.fed[:len(k.fed)])) {
			c.test, k.used = k.test, b.checkTurn
			continue
		}
		c.test = verify.New(c.spec)
		todo = append(todo, x)
	}
	b.checkMu.Unlock()
	for i := range man.Days {
		e := &man.Days[i]
		mine := slices.DeleteFunc(slices.Clone(todo), func(x *toFeed) bool { return !x.days[e.Folder] || x.test.Over() })
		if len(mine) == 0 {
			continue
		}
		if err := b.slices(ctx, e, func(s *verify.Slice) {
			for _, x := range mine {
				if x.end == evenstand.NoTime || s.Lowered < x.end {
					x.test.Add(s)
				}
			}
		}); err != nil {
			return err
		}
	}
	b.checkMu.Lock()
	defer b.checkMu.Unlock()
	for _, x := range todo {
		b.checked[x.key] = &keptCheck{x.test, x.fed, x.test.Over(), b.checkTurn}
	}
	maps.DeleteFunc(b.checked, func(_ string, k *keptCheck) bool { return k.used < b.checkTurn-keptAskings })
	return nil
}

// slices gives what all rows did stretch by stretch, in order of time.
func (b *Book) slices(ctx context.Context, e *dayEntry, yield func(*verify.Slice)) error {
	var passes []evenstand.Pass
	if err := rowsOf(ctx, b, e, passesName, passRow{}, (*passRow).pass, func(ps []evenstand.Pass) error {
		passes = append(passes, ps...)
		return nil
	}); err != nil {
		return err
	}
	var held, rows []evenstand.Stretch
	var at, of []int // of each row the next stretch, and its number
	give := func() {
		if len(held) == 0 || int(held[0].Pass) >= len(passes) {
			held = held[:0]
			return
		}
		lowered := passes[held[0].Pass].Start
		// They are sorted by row and place; one by one a stretch of each row is taken.
		next, last := at[:0], int32(0)
		of = of[:0]
		for i := range held {
			if i == 0 || held[i].Row != held[i-1].Row {
				next = append(next, i)
				of = append(of, int(held[i].Row))
			}
			last = max(last, held[i].K)
		}
		at = next
		for k := int32(0); k <= last; k++ {
			rows = rows[:0]
			for r, i := range at {
				if i < len(held) && held[i].K == k && int(held[i].Row) == of[r] {
					rows = append(rows, held[i])
					at[r]++
				}
			}
			if len(rows) > 0 {
				yield(&verify.Slice{Lowered: lowered, Rows: rows})
			}
		}
		held = held[:0]
	}
	err := rowsOf(ctx, b, e, stretchesName, noStretch, (*stretchRow).stretch, func(ss []evenstand.Stretch) error {
		for i := range ss {
			if len(held) > 0 && held[0].Pass != ss[i].Pass {
				give()
			}
			held = append(held, ss[i])
		}
		return nil
	})
	give()
	return err
}

// rowsOf reads a table of a machine-day of the manifest at hand.
func rowsOf[R, T any](ctx context.Context, b *Book, e *dayEntry, name string, none R, convert func(*R) T, yield func([]T) error) error {
	f, err := b.entryFile(e, name)
	if err != nil {
		return err
	}
	defer f.Close()
	return eachRow(ctx, b, f, none, convert, yield)
}
