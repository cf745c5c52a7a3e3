package book

import (
	"cmp"
	"context"
	"maps"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/core/try"
)

const (
	// noteWithin is how far the time of a note and that of a box may lie apart and
	// both be of one change: people round to the minute and write it down a little
	// later. Judgement.
	noteWithin = 5 * 60 * evenstand.Second
	// noteError is by how much a time by hand may be off: half a minute of rounding
	// and a minute (simulator.md, section 7).
	noteError = 90 * evenstand.Second
	// asSaid is by what part a person's amount and a box's may differ. Judgement.
	asSaid = 0.1
	// oneHand is how far lines of boxes may lie apart that one note is of, such as
	// those of two sides.
	oneHand = 60 * evenstand.Second
)

// SettingLine is a setting that a person wrote down: in the logbook (Note), or in
// a box's journal (Box).
type SettingLine struct {
	record.Setting
	Planter string // empty: of none
	Note    int64  // 0: in a box's journal
	Line    int    // of the note's lines, from 0
	Box     int    // index of the box's line; -1: none
}

// Joined is what people and boxes told of a day's settings.
type Joined struct {
	Said  []SettingLine
	Boxes []BoxLine
	// Of gives for each line of the boxes the index in Said of the line that is of
	// the same change; -1: none.
	Of []int
}

// Join brings together what people wrote of a day and what its boxes logged.
func Join(notes []JournalLine, boxes []BoxLine) Joined {
	j := Joined{Boxes: boxes, Of: make([]int, len(boxes))}
	line := 0
	for i := range notes {
		l := &notes[i]
		if i > 0 && notes[i-1].ID == l.ID {
			line++
		} else {
			line = 0
		}
		if l.TakenBack {
			continue
		}
		if s, ok := record.SettingOf(&l.Entry); ok {
			j.Said = append(j.Said, SettingLine{s, l.Planter, l.ID, line, -1})
		}
	}
	for i := range boxes {
		l := &boxes[i]
		rows, err := evenstand.ParseRows(l.Rows)
		if l.What != "setting" || err != nil {
			continue
		}
		if s, ok := record.SettingOf(&evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note}); ok {
			j.Said = append(j.Said, SettingLine{s, l.Planter, 0, 0, i})
		}
	}
	first := make([]int, len(j.Said)) // line of a box that it is of; -1 none yet
	for i := range first {
		first[i] = -1
	}
	// The nearest in time first.
	type pair struct {
		box, said int
		apart     evenstand.Micros
	}
	var pairs []pair
	for b := range boxes {
		j.Of[b] = -1
		for s := range j.Said {
			if j.Said[s].Planter != boxes[b].Planter {
				continue
			}
			if apart, ok := ofOne(&j.Said[s].Setting, &boxes[b]); ok {
				pairs = append(pairs, pair{b, s, apart})
			}
		}
	}
	slices.SortStableFunc(pairs, func(a, b pair) int { return cmp.Compare(a.apart, b.apart) })
	for _, p := range pairs {
		switch f := first[p.said]; {
		case j.Of[p.box] >= 0:
			continue
		case f < 0:
			first[p.said] = p.box
		case boxes[f].Quantity != boxes[p.box].Quantity || max(boxes[f].T-boxes[p.box].T, boxes[p.box].T-boxes[f].T) > oneHand:
			continue
		}
		j.Of[p.box] = p.said
	}
	return j
}

// Say puts a line of a box into words, with what else a person said of the same
// change.
func (j *Joined) Say(i int, v advise.Voice) string {
	s := j.Boxes[i].Say(v)
	if k := j.Of[i]; k >= 0 && j.Said[k].Words != "" {
		s += ": " + j.Said[k].Words
	}
	return s
}

// When gives when the change of a box's line was made: where the box only knows a
// longer time, a person's word for when within it.
func (j *Joined) When(i int) evenstand.Micros {
	l := &j.Boxes[i]
	if k := j.Of[i]; k >= 0 && l.Early != evenstand.NoTime && l.T-l.Early > noteError && j.Said[k].T > l.Early && j.Said[k].T < l.T {
		return j.Said[k].T
	}
	return l.T
}

// Told tells whether a box's line says the same change as a line of a note, or as
// a line of a box's journal (note 0, line its index).
func (j *Joined) Told(note int64, line int) bool {
	for _, k := range j.Of {
		if k < 0 {
			continue
		}
		if s := &j.Said[k]; s.Note == note && (note > 0 && s.Line == line || note == 0 && s.Box == line) {
			return true
		}
	}
	return false
}

// ofOne tells whether a setting that was written down and a line of a box are of
// one change, and how far apart they lie in time.
func ofOne(s *record.Setting, l *BoxLine) (evenstand.Micros, bool) {
	if l.What != "target" && l.What != "level" || l.Times > 0 {
		return 0, false
	}
	apart := max(s.T-l.T, l.T-s.T)
	// A level that was changed between Early and T.
	if l.Early != evenstand.NoTime && s.T >= l.Early && s.T <= l.T {
		apart = 0
	}
	lever := s.Lever
	// People speak of down force where the box holds a load.
	if lever == evenstand.AppliedForce.String() && l.Quantity == evenstand.GaugeWheelLoadTarget.String() {
		lever = l.Quantity
	}
	if lever != l.Quantity || apart > noteWithin || math.IsNaN(s.To) {
		return 0, false
	}
	to, was := float64(l.Value), float64(l.Was)
	if math.Abs(s.To-to) > math.Max(asSaid*math.Abs(to), math.Abs(to-was)/2) {
		return 0, false
	}
	return apart, true
}

// DayJournal gives what people wrote of a day, by number of the note, and what the
// boxes logged, in order of time, with how many lines of boxes there are beyond
// those. Planters go by their present names; a note of none has none.
func (b *Book) DayJournal(ctx context.Context, day evenstand.Day) (notes []JournalLine, boxes []BoxLine, more int64, err error) {
	if notes, err = b.Journal(ctx); err != nil {
		return nil, nil, 0, err
	}
	notes = slices.DeleteFunc(notes, func(l JournalLine) bool { return evenstand.DayOf(l.Entry.T, b.Zone()) != day })
	b.NotePlanters(notes)
	boxes, more, err = b.BoxJournal(ctx, day)
	return notes, boxes, more, err
}

// NotePlanters gives notes the present names of their planters, none where they
// name none and there are several.
func (b *Book) NotePlanters(notes []JournalLine) {
	b.mu.Lock()
	defer b.mu.Unlock()
	var worked []string
	for i := range b.man.Days {
		worked = append(worked, b.man.Days[i].Planter)
	}
	slices.Sort(worked)
	worked = slices.Compact(worked)
	for i := range notes {
		l := &notes[i]
		if name := b.noteOf(l.Planter, worked); l.Planter != "" || slices.Contains(worked, name) {
			l.Planter = name
		}
	}
}

// Changes gives what was changed on a planter's day, by people's word and by the
// boxes', in order of time: of one change the box's time, rows and amounts.
func (b *Book) Changes(ctx context.Context, planter string, day evenstand.Day) ([]try.Change, error) {
	all, err := b.seasonChanges(ctx, planter, day)
	return all[day], err
}

// seasonChanges gives the changes of a planter by day, up to a day where one is
// named: what was set anew between two days shows on the later one.
func (b *Book) seasonChanges(ctx context.Context, planter string, last evenstand.Day) (map[evenstand.Day][]try.Change, error) {
	notes, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	b.NotePlanters(notes)
	written := map[evenstand.Day][]JournalLine{}
	for i := range notes {
		if l := &notes[i]; l.Planter == planter {
			d := evenstand.DayOf(l.Entry.T, b.Zone())
			written[d] = append(written[d], *l)
		}
	}
	var out map[evenstand.Day][]try.Change
	err = b.steady(func(man manifest, _ state) error {
		out = map[evenstand.Day][]try.Change{}
		planted := map[evenstand.Day]*dayEntry{}
		for i := range man.Days {
			if e := &man.Days[i]; e.Planter == planter {
				planted[e.Day] = e
			}
		}
		// A day of notes alone counts too: what was set on the evening before.
		days := slices.Concat(slices.Collect(maps.Keys(planted)), slices.Collect(maps.Keys(written)))
		slices.Sort(days)
		stood := targetsStood{}
		var before []try.Change
		for _, day := range slices.Compact(days) {
			if last != "" && day > last {
				break
			}
			if err := ctx.Err(); err != nil {
				return err
			}
			var j boxJournalJSON
			if e := planted[day]; e != nil {
				var err error
				if j, err = b.boxJournalOf(e); err != nil {
					return err
				}
			}
			card, err := b.Card(planter, day)
			if err != nil {
				return err
			}
			cs := try.Once(append(Join(written[day], j.Lines).Changes(&card), stood.overnight(j.Targets, &card)...))
			saidBefore(before, cs)
			for i := range cs {
				cs[i].Side = sideOf(&card, cs[i].Rows)
			}
			out[day] = cs
			before = append(before, cs...)
		}
		return nil
	})
	return out, err
}

// sideOf names the side that rows are; empty: none.
func sideOf(card *evenstand.Card, rows evenstand.Rows) string {
	for _, side := range [2]string{"left", "right"} {
		e := evenstand.Element{Scope: evenstand.ScopeLeft}
		if side == "right" {
			e.Scope = evenstand.ScopeRight
		}
		if of := card.RowsOf(e); len(of) > 0 && len(of) < card.Rows && slices.Equal(of, rows) {
			return side
		}
	}
	return ""
}

// targetsStood is where the targets of boxes stood when they were last seen.
type targetsStood map[stoodOn]stoodAt

type stoodOn struct {
	source, lever string
	row           int
}

type stoodAt struct {
	value float64
	t     evenstand.Micros
}

// overnight gives what was set anew since targets were seen last, and keeps where
// they stand now. When it was done nobody saw.
func (s targetsStood) overnight(ts []BoxTarget, card *evenstand.Card) (out []try.Change) {
	for i := range ts {
		t := &ts[i]
		rows, err := evenstand.ParseRows(t.Rows)
		if err != nil {
			continue
		}
		if e, err := evenstand.ParseElement(t.Note); err == nil && t.Note != "" {
			rows = card.RowsOf(e)
		} else if len(rows) == 0 {
			for r := range card.Rows {
				rows = append(rows, r+1)
			}
		}
		if len(rows) == 0 { // nobody said how many there are
			rows = evenstand.Rows{0}
		}
		first := len(out)
		for _, r := range rows {
			k := stoodOn{t.Source, t.Quantity, r}
			was, ok := s[k]
			s[k] = stoodAt{float64(t.Last), t.Until}
			if !ok || nearly(was.value, float64(t.First)) || was.t >= t.From {
				continue
			}
			if n := slices.IndexFunc(out[first:], func(c try.Change) bool { return nearly(c.From, was.value) }); n >= 0 {
				c := &out[first+n]
				c.Rows, c.Early = append(c.Rows, r), min(c.Early, was.t)
				continue
			}
			out = append(out, try.Change{Lever: t.Quantity, T: t.From, Early: was.t, Late: t.From, Rows: evenstand.Rows{r}, From: was.value, To: float64(t.First), Source: t.Source})
		}
		for k := range out[first:] {
			if c := &out[first+k]; len(c.Rows) == card.Rows || c.Rows[0] == 0 {
				c.Rows = nil
			}
		}
	}
	return out
}

// saidBefore fills in what changes of a day were from, as far as those before tell.
func saidBefore(before, cs []try.Change) {
	for i := range cs {
		c := &cs[i]
		for _, of := range [][]try.Change{cs[:i], before} {
			for k := len(of) - 1; k >= 0 && math.IsNaN(c.From) && c.FromState == ""; k-- {
				if o := &of[k]; o.Lever == c.Lever && slices.Equal(o.Rows, c.Rows) {
					c.From, c.FromState = o.To, o.ToState
					break
				}
			}
		}
	}
}

// Changes gives the changes of settings that are told of.
func (j Joined) Changes(card *evenstand.Card) []try.Change {
	var out []try.Change
	told := make([]bool, len(j.Said))
	for i := range j.Boxes {
		l := &j.Boxes[i]
		if l.What != "target" && l.What != "level" || l.Times > 0 {
			continue
		}
		rows, err := evenstand.ParseRows(l.Rows)
		if err != nil {
			continue
		}
		if e, err := evenstand.ParseElement(l.Note); err == nil && l.Note != "" {
			rows = card.RowsOf(e)
		}
		if len(rows) == card.Rows {
			rows = nil
		}
		c := try.Change{Lever: l.Quantity, T: j.When(i), Early: l.T, Late: l.T, Rows: rows, From: float64(l.Was), To: float64(l.Value), Source: l.Source}
		if l.What == "level" {
			c.Unsaid = j.Of[i] < 0
			c.Late = l.T + 5*evenstand.Second
			if l.Early != evenstand.NoTime {
				c.Early = min(l.Early, c.T)
			}
		}
		if s := j.Of[i]; s >= 0 {
			told[s] = true
			c.Note = j.Said[s].Note
		}
		// The two sides of one change.
		if n := slices.IndexFunc(out, func(o try.Change) bool {
			return o.Lever == c.Lever && o.Source == c.Source && len(o.Rows) > 0 && len(c.Rows) > 0 && max(o.T-c.T, c.T-o.T) <= levelsTogether &&
				math.Abs(o.To-c.To) <= alike*math.Abs(c.To-c.From) && !slices.ContainsFunc(c.Rows, o.On)
		}); n >= 0 {
			o := &out[n]
			o.From, o.To = (o.From+c.From)/2, (o.To+c.To)/2
			o.Early, o.Late, o.T, o.Note, o.Unsaid = min(o.Early, c.Early), max(o.Late, c.Late), min(o.T, c.T), max(o.Note, c.Note), o.Unsaid && c.Unsaid
			if o.Rows = slices.Sorted(slices.Values(append(slices.Clone(o.Rows), c.Rows...))); len(o.Rows) == card.Rows {
				o.Rows = nil
			}
			continue
		}
		out = append(out, c)
	}
	for i := range j.Said {
		s := &j.Said[i]
		if told[i] {
			continue
		}
		c := try.Change{Lever: s.Lever, T: s.T, Early: s.T - noteError, Late: s.T + noteError, Rows: s.Rows, From: s.Was, To: s.To, FromState: s.StateWas, ToState: s.State, Note: s.Note}
		if s.Box >= 0 {
			c.Source = j.Boxes[s.Box].Source
		}
		if len(c.Rows) == card.Rows {
			c.Rows = nil
		}
		out = append(out, c)
	}
	out = try.Once(out)
	saidBefore(nil, out)
	return out
}
