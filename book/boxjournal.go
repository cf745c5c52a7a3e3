package book

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/level"
	"evenstand/core/record"
	"evenstand/pipeline"
)

// BoxLine is what a box logged beside its measurements: a line of its journal,
// a target that was changed on it, or a level that it shows and that somebody
// changed by hand.
type BoxLine struct {
	Planter string           `json:"-"`
	Source  string           `json:"source"`
	T       evenstand.Micros `json:"t"`
	// What is the kind of a journal line (setting, refill, fix, remark, …), target,
	// or level.
	What  string           `json:"what"`
	Rows  string           `json:"rows"` // as evenstand.ParseRows reads them; empty: the whole planter
	Value evenstand.Number `json:"value"`
	Unit  string           `json:"unit,omitempty"`
	Note  string           `json:"note,omitempty"`

	// Of a target or level: what it is one of, and what it was before; in the
	// registry's unit, like Value. Times is how often it changed where that was too often to
	// be somebody's doing: it follows a map. 0: this is one change.
	Quantity string           `json:"quantity,omitempty"`
	Was      evenstand.Number `json:"was"`
	Times    int              `json:"times,omitempty"`
	// Early is when a level still was what it was, where that is long before T: it
	// was changed in between. Null: at T.
	Early evenstand.Micros `json:"early"`
}

// boxJournalJSON is journal.json of a day.
type boxJournalJSON struct {
	Schema int       `json:"schema"`
	Lines  []BoxLine `json:"lines"` // in time order
	More   int64     `json:"more"`  // lines beyond those
	// Targets is where the targets of boxes stood, what follows a map apart.
	Targets []BoxTarget `json:"targets,omitempty"`
}

// BoxTarget is where a target of a box stood when the day began and ended for it, in
// the registry's unit. Rows and Note are as those of BoxLine.
type BoxTarget struct {
	Source   string           `json:"source"`
	Quantity string           `json:"quantity"`
	Rows     string           `json:"rows"`
	Note     string           `json:"note,omitempty"`
	First    evenstand.Number `json:"first"`
	Last     evenstand.Number `json:"last"`
	From     evenstand.Micros `json:"from"`
	Until    evenstand.Micros `json:"until"`
}

const (
	// mostBoxLines is how many lines of a source's journal are kept of a day: a
	// box that logs each second logs no journal. Judgement, no source.
	mostBoxLines = 2000
	// targetHolds is how long a target must hold before and after a change:
	// shorter ones are the steps of somebody's finger, or of a map. Judgement.
	targetHolds = 60 * evenstand.Second
	// mostTargets is how often a day somebody changes one target. Judgement.
	mostTargets = 40
	// together is how far apart changes of several rows are one, levelsTogether of
	// levels, which are seen in means. Judgement.
	together       = 5 * evenstand.Second
	levelsTogether = 20 * evenstand.Second
	// alike is by what part of the change two levels of one change differ at most:
	// judgement.
	alike = 0.2
)

// targets finds the changes of one source's targets while its readings pass by.
type targets struct {
	now     map[targetKey]*target
	changes []targetChange
	levels  map[targetKey]*level.Log
}

type targetKey struct {
	q  evenstand.Quantity
	on evenstand.Element
}

type target struct {
	held, value float64 // the last that held long enough, NaN none yet; the present one
	since, seen evenstand.Micros
	stood       []stoodAt // what held, from when on
}

type targetChange struct {
	targetKey
	t       evenstand.Micros
	early   evenstand.Micros // of a level; NoTime: at t
	was, to float64
	level   bool
}

func isLevel(q evenstand.Quantity) bool {
	_, ok := level.RuleOf(q)
	return ok
}

func isTarget(q evenstand.Quantity) bool {
	switch q {
	case evenstand.SeedRateTarget, evenstand.LiquidRateTarget, evenstand.GranularRateTarget, evenstand.GaugeWheelLoadTarget:
		return true
	}
	return false
}

// take takes the next readings, in time order.
func (x *targets) take(rs []evenstand.Reading) {
	for i := range rs {
		r := &rs[i]
		if isLevel(r.Quantity) {
			k := targetKey{r.Quantity, r.Element}
			l := x.levels[k]
			if l == nil {
				l = &level.Log{}
				x.levels[k] = l
			}
			l.Add(r.T, r.Value)
			continue
		}
		if !isTarget(r.Quantity) || math.IsNaN(r.Value) {
			continue
		}
		k := targetKey{r.Quantity, r.Element}
		s := x.now[k]
		if s == nil {
			s = &target{held: math.NaN(), value: r.Value, since: r.T}
			x.now[k] = s
		}
		if !nearly(r.Value, s.value) {
			s.value, s.since = r.Value, r.T
		}
		s.seen = r.T
		if r.T-s.since < targetHolds || nearly(s.value, s.held) {
			continue
		}
		if !math.IsNaN(s.held) {
			x.changes = append(x.changes, targetChange{k, s.since, evenstand.NoTime, s.held, s.value, false})
		}
		s.held = s.value
		s.stood = append(s.stood, stoodAt{s.held, s.since})
	}
}

// standing gives where the targets of a source stood when a day began and ended for
// it, by the one clock. Nothing wanted is no setting.
func (x *targets) standing(source string, d workDay, clock func(evenstand.Micros) evenstand.Micros, from, to evenstand.Micros) (out []BoxTarget) {
	changes := map[evenstand.Quantity]int{}
	for _, s := range x.changes {
		if s.t >= from && s.t < to {
			changes[s.q]++
		}
	}
	keys := slices.SortedFunc(maps.Keys(x.now), func(a, b targetKey) int {
		return cmp.Or(cmp.Compare(a.q, b.q), cmp.Compare(a.on.Scope, b.on.Scope), cmp.Compare(a.on.N, b.on.N))
	})
	var rows []evenstand.Rows
	for _, k := range keys {
		s := x.now[k]
		t := BoxTarget{Source: source, Quantity: k.q.String(), First: evenstand.Unknown, Last: evenstand.Unknown, Until: min(clock(s.seen), to)}
		for i, at := range s.stood {
			begin, end := clock(at.t), t.Until
			if i+1 < len(s.stood) {
				end = clock(s.stood[i+1].t)
			}
			if !(at.value > 0) || end <= from || begin >= to {
				continue
			}
			if math.IsNaN(float64(t.First)) {
				t.First, t.From = evenstand.Number(at.value), max(begin, from)
				// Between the days: up to where the first stretch begins.
				if len(d.work) > 0 && t.From < d.work[0].From && end > d.work[0].From {
					t.From = d.work[0].From
				}
			}
			t.Last = evenstand.Number(at.value)
		}
		if math.IsNaN(float64(t.First)) || changes[k.q] > mostTargets {
			continue
		}
		if k.on.Scope != evenstand.ScopeRow {
			if k.on.Scope != evenstand.ScopeMachine {
				t.Note = k.on.String()
			}
			out, rows = append(out, t), append(rows, nil)
			continue
		}
		if n := slices.IndexFunc(out, func(o BoxTarget) bool {
			return o.Quantity == t.Quantity && o.Note == "" && nearly(float64(o.First), float64(t.First)) && nearly(float64(o.Last), float64(t.Last))
		}); n >= 0 && len(rows[n]) > 0 {
			rows[n] = append(rows[n], int(k.on.N))
			out[n].From, out[n].Until = max(out[n].From, t.From), min(out[n].Until, t.Until)
			continue
		}
		out, rows = append(out, t), append(rows, evenstand.Rows{int(k.on.N)})
	}
	for i := range out {
		if len(rows[i]) != d.rows {
			out[i].Rows = rows[i].String()
		}
	}
	return out
}

// earlier gives the earlier of two times, either of which may be unknown.
func earlier(a, b evenstand.Micros) evenstand.Micros {
	switch {
	case a == evenstand.NoTime:
		return b
	case b == evenstand.NoTime:
		return a
	}
	return min(a, b)
}

// nearly tells whether two targets are the same but for rounding.
func nearly(a, b float64) bool {
	return math.Abs(a-b) <= 1e-6*math.Max(math.Abs(a), math.Abs(b))
}

// watched lets the readings of a stream be watched as they are read, each time
// from the begin.
func watched(st *evenstand.Stream) *targets {
	x := &targets{}
	if all := st.Readings; all != nil {
		st.Readings = func(yield func([]evenstand.Reading) bool) error {
			x.now, x.changes, x.levels = map[targetKey]*target{}, nil, map[targetKey]*level.Log{}
			return all(func(rs []evenstand.Reading) bool {
				x.take(rs)
				return yield(rs)
			})
		}
	}
	return x
}

// day is what levels are looked for in: the passes of the day, and its rows.
type workDay struct {
	work []level.Span
	rows int
}

// set gives the steps of the levels of a source, on the one clock.
func (x *targets) set(d workDay, clock func(evenstand.Micros) evenstand.Micros) (out []targetChange) {
	for k, l := range x.levels {
		r, _ := level.RuleOf(k.q)
		find := l.Steps
		if k.q == evenstand.GroundSpeed {
			find = l.Passes
		}
		for _, s := range find(r, d.work, clock) {
			c := targetChange{k, s.T, s.Early, s.Was, s.To, true}
			out = append(out, c)
		}
	}
	return out
}

// same tells whether a change of another row is the same as that of a line.
func (c *targetChange) same(l *BoxLine) bool {
	within, by := together, 1e-6
	if c.level {
		within, by = levelsTogether, alike*math.Abs(c.to-c.was)
		near := func(a float64, b evenstand.Number) bool { return math.Abs(a-float64(b)) <= by }
		return c.t-l.T <= within && near(c.to, l.Value) && near(c.was, l.Was)
	}
	return c.t-l.T <= within && nearly(c.to, float64(l.Value)) && nearly(c.was, float64(l.Was))
}

// changeLines says what changed: rows that changed together in one line, and what
// follows a map in one.
func changeLines(source string, changes []targetChange, rowsOfDay int) []BoxLine {
	by := map[evenstand.Quantity][]targetChange{}
	for _, c := range changes {
		by[c.q] = append(by[c.q], c)
	}
	var out []BoxLine
	for q, cs := range by {
		slices.SortStableFunc(cs, func(a, b targetChange) int {
			return cmp.Or(cmp.Compare(a.t, b.t), cmp.Compare(a.on.Scope, b.on.Scope), cmp.Compare(a.on.N, b.on.N))
		})
		var lines []BoxLine
		var rows []evenstand.Rows
		var sum [][2]float64 // of levels: was and to of the rows
		for _, c := range cs {
			row := c.on.Scope == evenstand.ScopeRow
			if row { // of another row, and of none that is in the line
				n := len(lines) - 1
				for n >= 0 && c.t-lines[n].T <= levelsTogether && (len(rows[n]) == 0 || slices.Contains(rows[n], int(c.on.N)) || !c.same(&lines[n])) {
					n--
				}
				if n >= 0 && len(rows[n]) > 0 && c.same(&lines[n]) && !slices.Contains(rows[n], int(c.on.N)) {
					rows[n] = append(rows[n], int(c.on.N))
					sum[n][0], sum[n][1] = sum[n][0]+c.was, sum[n][1]+c.to
					if c.level { // the middle of its rows
						k := float64(len(rows[n]))
						lines[n].Was, lines[n].Value = evenstand.Number(sum[n][0]/k), evenstand.Number(sum[n][1]/k)
						lines[n].Early = earlier(lines[n].Early, c.early)
					}
					continue
				}
			}
			if n := len(lines) - 1; n >= 0 && c.level && lines[n].What == "level" && c.same(&lines[n]) &&
				(c.on.Scope == evenstand.ScopeLeft && lines[n].Note == "right" || c.on.Scope == evenstand.ScopeRight && lines[n].Note == "left") {
				lines[n].Note = "" // both sides are the whole planter
				lines[n].Early = earlier(lines[n].Early, c.early)
				lines[n].Was, lines[n].Value = (lines[n].Was+evenstand.Number(c.was))/2, (lines[n].Value+evenstand.Number(c.to))/2
				continue
			}
			l := BoxLine{Source: source, T: c.t, What: "target", Value: evenstand.Number(c.to), Quantity: q.String(), Was: evenstand.Number(c.was), Early: c.early}
			if c.level {
				l.What = "level"
			}
			var of evenstand.Rows
			switch {
			case row:
				of = evenstand.Rows{int(c.on.N)}
			case c.on.Scope != evenstand.ScopeMachine:
				l.Note = c.on.String()
			}
			lines, rows, sum = append(lines, l), append(rows, of), append(sum, [2]float64{c.was, c.to})
		}
		for i := range lines {
			slices.Sort(rows[i])
			rows[i] = slices.Compact(rows[i])
			if len(rows[i]) == rowsOfDay {
				rows[i] = nil
			}
			lines[i].Rows = rows[i].String()
		}
		if len(lines) > mostTargets {
			first := lines[0]
			lines = []BoxLine{{Source: source, T: first.T, What: first.What, Value: evenstand.Unknown, Quantity: q.String(), Was: evenstand.Unknown, Times: len(lines), Early: evenstand.NoTime}}
		}
		out = append(out, lines...)
	}
	return out
}

// boxJournal gathers what the boxes of a day logged beside their measurements, on
// the one clock.
func boxJournal(streams []evenstand.Stream, targets []*targets, clocks []pipeline.Clock, d workDay, from, to evenstand.Micros) (boxJournalJSON, error) {
	out := boxJournalJSON{Schema: 1, Lines: []BoxLine{}}
	for i := range streams {
		st := &streams[i]
		if st.Source.Name == handSource && st.Source.Format == "logbook" {
			continue
		}
		c := slices.IndexFunc(clocks, func(c pipeline.Clock) bool { return c.Source == st.Source.Name })
		clock := func(t evenstand.Micros) evenstand.Micros {
			if c >= 0 {
				return trueTime(&clocks[c], t)
			}
			return t
		}
		for k := range targets[i].changes {
			targets[i].changes[k].t = clock(targets[i].changes[k].t)
		}
		out.Targets = append(out.Targets, targets[i].standing(st.Source.Name, d, clock, from, to)...)
		lines := changeLines(st.Source.Name, append(targets[i].changes, targets[i].set(d, clock)...), d.rows)
		if st.Entries != nil {
			n := 0
			if err := st.Entries(func(es []evenstand.Entry) bool {
				for i := range es {
					e := &es[i]
					if n++; n > mostBoxLines {
						out.More++
						continue
					}
					lines = append(lines, BoxLine{Source: st.Source.Name, T: clock(e.T), What: e.What, Rows: e.Rows.String(), Value: evenstand.Number(e.Value), Unit: e.Unit, Note: e.Note, Was: evenstand.Unknown, Early: evenstand.NoTime})
				}
				return true
			}); err != nil {
				return out, err
			}
		}
		for i := range lines {
			if t := lines[i].T; t >= from && t < to {
				out.Lines = append(out.Lines, lines[i])
			}
		}
	}
	sortBoxLines(out.Lines)
	out.Lines = onceSeen(out.Lines)
	return out, nil
}

func sortBoxLines(lines []BoxLine) {
	slices.SortStableFunc(lines, func(a, b BoxLine) int {
		return cmp.Or(cmp.Compare(a.T, b.T), strings.Compare(a.Source, b.Source), strings.Compare(a.Quantity, b.Quantity), strings.Compare(a.Rows, b.Rows))
	})
}

// seenTwice is how far apart two boxes see one change of a level: judgement.
const seenTwice = 3 * 60 * evenstand.Second

// onceSeen leaves a level's change out that another box told before.
func onceSeen(lines []BoxLine) []BoxLine {
	var out []BoxLine
	for _, l := range lines {
		by := alike * math.Abs(float64(l.Value-l.Was))
		if l.What == "level" && slices.ContainsFunc(out, func(o BoxLine) bool {
			return o.What == "level" && o.Source != l.Source && o.Quantity == l.Quantity && o.Rows == l.Rows && o.Note == l.Note && l.T-o.T <= seenTwice && math.Abs(float64(o.Value-l.Value)) <= by
		}) {
			continue
		}
		out = append(out, l)
	}
	if out == nil {
		return []BoxLine{}
	}
	return out
}

// trueTime takes a clock's offset off, as far as it is known.
func trueTime(c *pipeline.Clock, t evenstand.Micros) evenstand.Micros {
	at, offset, drift := c.At, float64(c.Offset), float64(c.Drift)
	for _, p := range c.Set {
		if t >= p.From && t <= p.To {
			at, offset, drift = p.At, float64(p.Offset), float64(p.Drift)
		}
	}
	if math.IsNaN(offset) {
		return t
	}
	if at != evenstand.NoTime && !math.IsNaN(drift) {
		offset += drift * 1e-6 * float64(t-at) / 1e6
	}
	return t - evenstand.Micros(math.Round(offset*1e6))
}

// BoxJournal gives what the boxes logged on a day beside their measurements, in
// time order, and how many lines beyond those there are. Days that were settled
// by a program that did not keep it have none.
func (b *Book) BoxJournal(ctx context.Context, day evenstand.Day) (lines []BoxLine, more int64, err error) {
	err = b.steady(func(man manifest, _ state) error {
		lines, more = []BoxLine{}, 0
		for i := range man.Days {
			e := &man.Days[i]
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if e.Day != day {
				continue
			}
			j, err := b.boxJournalOf(e)
			if err != nil {
				return err
			}
			lines = append(lines, j.Lines...)
			more += j.More
		}
		return nil
	})
	slices.SortStableFunc(lines, func(a, b BoxLine) int { return cmp.Compare(a.T, b.T) })
	return lines, more, err
}

// boxJournalOf gives the box journal of a machine-day; it is kept, as a season is
// asked for often.
func (b *Book) boxJournalOf(e *dayEntry) (boxJournalJSON, error) {
	if e.file(boxJournalName) == nil {
		return boxJournalJSON{}, nil
	}
	ref := DayRef{e.Planter, e.Day}
	b.boxJournals.mu.Lock()
	have, ok := b.boxJournals.by[ref]
	b.boxJournals.mu.Unlock()
	if ok && have.folder == e.Folder {
		return have.journal, nil
	}
	var j boxJournalJSON
	if err := b.load(e, boxJournalName, &j); err != nil {
		return j, err
	}
	for i := range j.Lines {
		j.Lines[i].Planter = e.Planter
	}
	b.boxJournals.mu.Lock()
	defer b.boxJournals.mu.Unlock()
	if b.boxJournals.by == nil {
		b.boxJournals.by = map[DayRef]keptJournal{}
	}
	b.boxJournals.by[ref] = keptJournal{e.Folder, j}
	return j, nil
}

// journalStand keeps the box journals of days.
type journalStand struct {
	mu sync.Mutex
	by map[DayRef]keptJournal
}

type keptJournal struct {
	folder  string
	journal boxJournalJSON
}

// Say puts what a box logged into words.
func (l *BoxLine) Say(v advise.Voice) string {
	rows, err := evenstand.ParseRows(l.Rows)
	if err != nil {
		rows = nil // said of the whole planter; the book writes no others
	}
	if q, ok := evenstand.ParseQuantity(l.Quantity); ok && (l.What == "target" || l.What == "level") {
		say := record.SayTarget
		if l.What == "level" {
			say = record.SayLevel
		}
		says := say(q, float64(l.Was), float64(l.Value), rows, l.Times, v)
		if l.Note != "" { // a section or a tank
			says = strings.TrimSuffix(says, ", the whole planter") + ", " + l.Note
		}
		return says
	}
	return record.SayEntry(&evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note})
}
