package book

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

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
	since       evenstand.Micros
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
			s = &target{math.NaN(), r.Value, r.T}
			x.now[k] = s
		}
		if !nearly(r.Value, s.value) {
			s.value, s.since = r.Value, r.T
		}
		if r.T-s.since < targetHolds || nearly(s.value, s.held) {
			continue
		}
		if !math.IsNaN(s.held) {
			x.changes = append(x.changes, targetChange{k, s.since, evenstand.NoTime, s.held, s.value, false})
		}
		s.held = s.value
	}
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
						lines[n].Early = min(lines[n].Early, c.early)
					}
					continue
				}
			}
			if n := len(lines) - 1; n >= 0 && c.level && lines[n].What == "level" && c.same(&lines[n]) &&
				(c.on.Scope == evenstand.ScopeLeft && lines[n].Note == "right" || c.on.Scope == evenstand.ScopeRight && lines[n].Note == "left") {
				lines[n].Note = "" // both sides are the whole planter
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
	slices.SortStableFunc(out.Lines, func(a, b BoxLine) int {
		return cmp.Or(cmp.Compare(a.T, b.T), strings.Compare(a.Source, b.Source), strings.Compare(a.Quantity, b.Quantity), strings.Compare(a.Rows, b.Rows))
	})
	out.Lines = onceSeen(out.Lines)
	return out, nil
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
			if e.Day != day || e.file(boxJournalName) == nil {
				continue
			}
			var j boxJournalJSON
			if err := b.load(e, boxJournalName, &j); err != nil {
				return err
			}
			for _, l := range j.Lines {
				l.Planter = e.Planter
				lines = append(lines, l)
			}
			more += j.More
		}
		return nil
	})
	slices.SortStableFunc(lines, func(a, b BoxLine) int { return cmp.Compare(a.T, b.T) })
	return lines, more, err
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
