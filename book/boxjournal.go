package book

import (
	"cmp"
	"context"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/pipeline"
)

// BoxLine is what a box logged beside its measurements: a line of its journal,
// or a target that was changed on it.
type BoxLine struct {
	Planter string           `json:"-"`
	Source  string           `json:"source"`
	T       evenstand.Micros `json:"t"`
	// What is the kind of a journal line (setting, refill, fix, remark, …), or
	// target.
	What  string           `json:"what"`
	Rows  string           `json:"rows"` // as evenstand.ParseRows reads them; empty: the whole planter
	Value evenstand.Number `json:"value"`
	Unit  string           `json:"unit,omitempty"`
	Note  string           `json:"note,omitempty"`

	// Of a target: what it is one of, and what it was before; in the registry's
	// unit, like Value. Times is how often it changed where that was too often to
	// be somebody's doing: it follows a map. 0: this is one change.
	Quantity string           `json:"quantity,omitempty"`
	Was      evenstand.Number `json:"was"`
	Times    int              `json:"times,omitempty"`
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
	// together is how far apart changes of several rows are one. Judgement.
	together = 5 * evenstand.Second
)

// targets finds the changes of one source's targets while its readings pass by.
type targets struct {
	now     map[targetKey]*target
	changes []targetChange
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
	was, to float64
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
			x.changes = append(x.changes, targetChange{k, s.since, s.held, s.value})
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
	x := &targets{now: map[targetKey]*target{}}
	if all := st.Readings; all != nil {
		st.Readings = func(yield func([]evenstand.Reading) bool) error {
			x.now, x.changes = map[targetKey]*target{}, nil
			return all(func(rs []evenstand.Reading) bool {
				x.take(rs)
				return yield(rs)
			})
		}
	}
	return x
}

// lines says what changed: rows that changed together in one line, and a target
// that follows a map in one.
func (x *targets) lines(source string) []BoxLine {
	by := map[evenstand.Quantity][]targetChange{}
	for _, c := range x.changes {
		by[c.q] = append(by[c.q], c)
	}
	var out []BoxLine
	for q, cs := range by {
		slices.SortStableFunc(cs, func(a, b targetChange) int {
			return cmp.Or(cmp.Compare(a.t, b.t), cmp.Compare(a.on.Scope, b.on.Scope), cmp.Compare(a.on.N, b.on.N))
		})
		var lines []BoxLine
		var rows []evenstand.Rows
		for _, c := range cs {
			row := c.on.Scope == evenstand.ScopeRow
			if n := len(lines) - 1; n >= 0 && row && len(rows[n]) > 0 && c.t-lines[n].T <= together && nearly(c.to, float64(lines[n].Value)) && nearly(c.was, float64(lines[n].Was)) {
				rows[n] = append(rows[n], int(c.on.N))
				continue
			}
			l := BoxLine{Source: source, T: c.t, What: "target", Value: evenstand.Number(c.to), Quantity: q.String(), Was: evenstand.Number(c.was)}
			var of evenstand.Rows
			switch {
			case row:
				of = evenstand.Rows{int(c.on.N)}
			case c.on.Scope != evenstand.ScopeMachine:
				l.Note = c.on.String()
			}
			lines, rows = append(lines, l), append(rows, of)
		}
		for i := range lines {
			slices.Sort(rows[i])
			lines[i].Rows = slices.Compact(rows[i]).String()
		}
		if len(lines) > mostTargets {
			first := lines[0]
			lines = []BoxLine{{Source: source, T: first.T, What: "target", Value: evenstand.Unknown, Quantity: q.String(), Was: evenstand.Unknown, Times: len(lines)}}
		}
		out = append(out, lines...)
	}
	return out
}

// boxJournal gathers what the boxes of a day logged beside their measurements, on
// the one clock.
func boxJournal(streams []evenstand.Stream, targets []*targets, clocks []pipeline.Clock, from, to evenstand.Micros) (boxJournalJSON, error) {
	out := boxJournalJSON{Schema: 1, Lines: []BoxLine{}}
	for i := range streams {
		st := &streams[i]
		if st.Source.Name == handSource && st.Source.Format == "logbook" {
			continue
		}
		lines := targets[i].lines(st.Source.Name)
		if st.Entries != nil {
			n := 0
			if err := st.Entries(func(es []evenstand.Entry) bool {
				for i := range es {
					e := &es[i]
					if n++; n > mostBoxLines {
						out.More++
						continue
					}
					lines = append(lines, BoxLine{Source: st.Source.Name, T: e.T, What: e.What, Rows: e.Rows.String(), Value: evenstand.Number(e.Value), Unit: e.Unit, Note: e.Note, Was: evenstand.Unknown})
				}
				return true
			}); err != nil {
				return out, err
			}
		}
		c := slices.IndexFunc(clocks, func(c pipeline.Clock) bool { return c.Source == st.Source.Name })
		for i := range lines {
			if c >= 0 {
				lines[i].T = trueTime(&clocks[c], lines[i].T)
			}
			if t := lines[i].T; t >= from && t < to {
				out.Lines = append(out.Lines, lines[i])
			}
		}
	}
	slices.SortStableFunc(out.Lines, func(a, b BoxLine) int {
		return cmp.Or(cmp.Compare(a.T, b.T), strings.Compare(a.Source, b.Source), strings.Compare(a.Quantity, b.Quantity))
	})
	return out, nil
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
	if q, ok := evenstand.ParseQuantity(l.Quantity); ok && l.What == "target" {
		says := record.SayTarget(q, float64(l.Was), float64(l.Value), rows, l.Times, v)
		if l.Note != "" { // a section or a tank
			says = strings.TrimSuffix(says, ", the whole planter") + ", " + l.Note
		}
		return says
	}
	return record.SayEntry(&evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note})
}
