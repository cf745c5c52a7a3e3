package book

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"sync"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/contact"
	measure "evenstand/core/measure/group"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/try"
	"evenstand/core/try/effect"
	"evenstand/core/try/trial"
)

// trialMeasures are what trials are judged by, in the order in which they are
// told.
var trialMeasures = []string{"skips", "doubles", "spacing", "population", "wheel-off", "load", "moisture", "temperature", "trash", "force", "liquid", "granular"}

// Trials gives every row trial that the planter cards and the journal make: a
// kind of attachment of which rows carry different ones, or some none, and
// settings that stood apart between rows for days or went back and forth by
// pass. Nobody has to declare one.
func (b *Book) Trials(ctx context.Context) ([]trial.Report, error) {
	out := []trial.Report{}
	seasons, err := b.seasons(ctx)
	if err != nil {
		return nil, err
	}
	v := b.voice(seasons)
	fs, err := b.Findings(ctx)
	if err != nil {
		return nil, err
	}
	given := map[string]int{}
	for _, s := range seasons {
		for _, in := range s.trials(b) {
			if given[in.ID]++; given[in.ID] > 1 { // of another planter, or a label that differs by its signs
				in.ID += fmt.Sprintf("-%d", given[in.ID])
			}
			in.Notes = append(in.Notes, troubled(&in, fs, v)...)
			out = append(out, in.Judge(v))
		}
	}
	return out, nil
}

// troubled says which rows with the part had trouble of their own while they
// carried it: what that did is not the part's.
func troubled(in *trial.Input, fs []evenstand.Finding, v advise.Voice) []string {
	var out []string
	part := in.Label
	if part == "" {
		part = "the part"
	}
	for i := range fs {
		f := &fs[i]
		if f.Planter != in.Planter || f.Stage != evenstand.Raised || len(f.Rows) == 0 || len(f.Rows) > 2 {
			continue
		}
		for _, row := range f.Rows {
			if row < 1 || row > len(in.Arms) {
				continue
			}
			for k, p := range in.Periods {
				if in.Arms[row-1][k] == 1 && f.Day >= p.From && f.Day <= p.To && len(out) < 4 {
					advise.Fill(f, v)
					out = append(out, fmt.Sprintf("While row %d carried %s: %s", row, part, f.Sentence))
					break
				}
			}
		}
	}
	return out
}

// Trial gives one trial by its id.
func (b *Book) Trial(ctx context.Context, id string) (trial.Report, error) {
	all, err := b.Trials(ctx)
	if err != nil {
		return trial.Report{}, err
	}
	return PickTrial(all, id)
}

// PickTrial finds a trial by its id, a part's label or a kind, if that is of one
// trial alone.
func PickTrial(all []trial.Report, id string) (trial.Report, error) {
	var hit []trial.Report
	for _, t := range all {
		if t.ID == id {
			return t, nil
		}
		if id != "" && (strings.EqualFold(t.Label, id) || strings.EqualFold(t.Kind, id)) {
			hit = append(hit, t)
		}
	}
	switch len(hit) {
	case 1:
		return hit[0], nil
	case 0:
		return trial.Report{}, &Error{"trial " + id, ErrUnknown, "evenstand trial BOOK lists them"}
	}
	return trial.Report{}, &Error{"trial " + id, fmt.Errorf("%w: %d trials are of that name", ErrUnknown, len(hit)), "Give its id, as evenstand trial BOOK lists it"}
}

// voice is how the trials of a book are written.
func (b *Book) voice(seasons []*season) advise.Voice {
	v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units, AsOf: evenstand.NoTime}
	for _, s := range seasons {
		v.AsOf = max(v.AsOf, s.asOf)
	}
	return v
}

// season is what the rows of a planter did over all of its days, pass by pass.
type season struct {
	planter  string
	rows     int
	measures []measure.Measure
	days     []evenstand.Day
	cards    map[evenstand.Day]*evenstand.Card
	passes   []seasonPass
	changes  []try.Change // of settings, in order of time
	counts   []standCount
	unread   string          // a journal of days without planting
	noted    []evenstand.Day // on which a setting was written down
	asOf     evenstand.Micros
	spacing  float64
	planted  float64   // m2, all rows
	due      float64   // places due on it
	dueOn    float64   // m2 of the ground that they were due on
	limits   []float64 // of the need of force, that part the ground
}

// seasonPass is one pass.
type seasonPass struct {
	evenstand.Pass
	day   evenstand.Day
	area  float64
	cells []seasonCell
}

// seasonCell is what the rows did on the ground of a pass that needs about the
// same force: measure*rows + row−1.
type seasonCell struct {
	need  int // in steps of needStep of contact.Bin
	parts []measure.Part
}

// needStep is how many steps of contact.Bin are told apart before the ground is
// parted: 200 N.
const needStep = 4

// seasons reads the stretches of all days, two at a time.
func (b *Book) seasons(ctx context.Context) ([]*season, error) {
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	told, err := b.toldShares(ctx)
	if err != nil {
		return nil, err
	}
	lines, err := b.Journal(ctx)
	if err != nil {
		return nil, err
	}
	by := map[string]*season{}
	for i := range days {
		d := &days[i]
		card, err := b.settledCard(d.Planter, d.Day)
		if err != nil {
			return nil, err
		}
		written, err := b.Card(d.Planter, d.Day)
		if err != nil {
			return nil, err
		}
		card.Attachments = written.Attachments // the card of the day was settled with what it said then
		s := by[d.Planter]
		if s == nil {
			s = &season{planter: d.Planter, spacing: card.RowSpacing, cards: map[evenstand.Day]*evenstand.Card{}, asOf: evenstand.NoTime}
			for _, id := range trialMeasures {
				m, _ := measure.ByID(id)
				s.measures = append(s.measures, m)
			}
			by[d.Planter] = s
		}
		s.days = append(s.days, d.Day)
		s.cards[d.Day] = &card
		s.rows = max(s.rows, card.Rows)
		s.asOf = max(s.asOf, d.AsOf)
	}
	for i := range lines {
		l := &lines[i]
		if l.TakenBack {
			continue
		}
		for planter, s := range by {
			if l.Planter != planter && (l.Planter != "" || len(by) != 1) {
				continue
			}
			if _, ok := record.SettingOf(&l.Entry); ok { // of a day without planting too
				s.noted = append(s.noted, evenstand.DayOf(l.Entry.T, b.Zone()))
			}
			if c, ok := b.countOf(&l.Entry, s.spacing); ok {
				s.counts = append(s.counts, c)
			}
		}
	}
	if err := b.boxCounts(ctx, by); err != nil {
		return nil, err
	}
	type job struct {
		s   *season
		day evenstand.Day
		out *dayOf
	}
	var jobs []job
	var out []*season
	for _, planter := range slices.Sorted(maps.Keys(by)) {
		s := by[planter]
		out = append(out, s)
		on := slices.Concat(s.days, s.noted)
		slices.Sort(on)
		for _, d := range slices.Compact(on) {
			cs, err := b.Changes(ctx, planter, d)
			if err != nil {
				return nil, err
			}
			s.changes = append(s.changes, cs...)
		}
		if !s.tries() {
			continue
		}
		for _, d := range s.days {
			jobs = append(jobs, job{s, d, new(dayOf)})
		}
	}
	var wg sync.WaitGroup
	next := make(chan job)
	errs := make(chan error, 2)
	for range 2 {
		wg.Go(func() {
			var fault error
			for j := range next {
				if fault == nil {
					fault = b.readDay(ctx, j.s, j.day, told(j.s.planter, j.day), j.out)
				}
			}
			errs <- fault
		})
	}
	for _, j := range jobs {
		next <- j
	}
	close(next)
	wg.Wait()
	if err := errors.Join(<-errs, <-errs); err != nil {
		return nil, err
	}
	for _, j := range jobs {
		s := j.s
		s.passes = append(s.passes, j.out.passes...)
		s.planted += j.out.planted
		s.due += j.out.due
		s.dueOn += j.out.dueOn
	}
	for _, s := range out {
		s.part()
	}
	return out, nil
}

// tries tells whether anything of a planter can be a trial, so that its days are
// worth reading.
func (s *season) tries() bool {
	for _, c := range s.cards {
		if len(c.Attachments) > 0 {
			return true
		}
	}
	by := map[string]int{}
	for i := range s.changes {
		if by[s.changes[i].Lever]++; len(s.changes[i].Rows) > 0 || by[s.changes[i].Lever] >= backAndForth {
			return true
		}
	}
	return false
}

// backAndForth is how often a setting of all rows must have been changed between
// two ways to be a trial: once there and back tells nothing of ground that changes
// (judgement).
const backAndForth = 4

// dayOf is one day read.
type dayOf struct {
	passes              []seasonPass
	planted, due, dueOn float64
}

// shares are the shares that boxes tell of a machine-day beside single seeds.
type shares struct{ skips, doubles bool }

// toldShares gives them; where none is told a stretch has 0 all the same.
func (b *Book) toldShares(ctx context.Context) (func(planter string, day evenstand.Day) shares, error) {
	all, err := b.Sources(ctx)
	if err != nil {
		return nil, err
	}
	zone := b.Zone()
	return func(planter string, day evenstand.Day) shares {
		var t shares
		for i := range all {
			src := &all[i]
			if src.Planter != "" && src.Planter != planter || src.First == evenstand.NoTime || evenstand.DayOf(src.First, zone) > day || evenstand.DayOf(src.Last, zone) < day {
				continue
			}
			for _, h := range src.Holds {
				switch q, _ := evenstand.ParseQuantity(h.Quantity); q {
				case evenstand.SkipFraction:
					t.skips = true
				case evenstand.DoubleFraction:
					t.doubles = true
				}
			}
		}
		return t
	}, nil
}

// readDay sums a day's stretches up to passes.
func (b *Book) readDay(ctx context.Context, s *season, day evenstand.Day, told shares, out *dayOf) error {
	passes, err := b.Passes(ctx, s.planter, day)
	if err != nil {
		return err
	}
	load, _ := measure.ByID("load")
	force, _ := measure.ByID("force")
	all := append(slices.Clone(s.measures), load, force)
	n := len(s.measures)
	var parts []evenstand.Stretch
	err = b.StretchSums(ctx, s.planter, day, func(ss []evenstand.Stretch) error {
		i := int(ss[0].Pass)
		if i >= len(passes) {
			return nil
		}
		p := seasonPass{Pass: passes[i], day: day}
		parts = parts[:0]
		for k := range ss {
			st := ss[k]
			if !(st.Way > 0) || int(st.Row) > s.rows {
				continue
			}
			if st.Grade != evenstand.GradeA {
				if !told.skips {
					st.Skips = -1
				}
				if !told.doubles {
					st.Doubles = -1
				}
			}
			on := float64(st.Way-st.Off) * s.spacing
			p.area += on
			if on > 0 && st.Due > 0 {
				out.due += float64(st.Due)
				out.dueOn += on
			}
			parts = append(parts, st)
		}
		out.planted += p.area
		if p.Headland { // turns, and ground that is planted twice: rows are not alike there
			return nil
		}
		panel := try.NewPanel(s.planter, day, s.rows, s.spacing, all)
		first := p.Pass
		first.Index = 0
		panel.Add(&first, parts)
		p.sum(panel, n, s.rows)
		out.passes = append(out.passes, p)
		return nil
	})
	return err
}

// sum sums a pass up by the force that its ground needs: applied force less the
// load, mean over the rows.
func (p *seasonPass) sum(panel *try.Panel, measures, rows int) {
	at := map[int]int{}
	for step := range panel.Steps {
		need := 0
		f, l, both := 0.0, 0.0, 0.0
		for row := 1; row <= rows; row++ {
			lv, lw := panel.Value(measures, step, row)
			fv, fw := panel.Value(measures+1, step, row)
			if lw > 0 && fw > 0 {
				f, l, both = f+fv, l+lv, both+1
			}
		}
		if both > 0 {
			need = 1 + contact.Bin((f-l)/both)/needStep
		}
		i, ok := at[need]
		if !ok {
			i = len(p.cells)
			at[need] = i
			p.cells = append(p.cells, seasonCell{need: need, parts: make([]measure.Part, measures*rows)})
		}
		c := &p.cells[i]
		for m := range measures {
			for row := 1; row <= rows; row++ {
				if part := panel.Part(m, step, row); part.N > 0 {
					c.parts[m*rows+row-1].Add(part)
				}
			}
		}
	}
}

// part parts the ground by the force that it needs.
func (s *season) part() {
	var needs contact.Needs
	told := false
	for i := range s.passes {
		for k := range s.passes[i].cells {
			c := &s.passes[i].cells[k]
			if c.need == 0 {
				continue
			}
			way := 0.0
			for m := range s.measures {
				if s.measures[m].ID != "load" {
					continue
				}
				for r := range s.rows {
					way += c.parts[m*s.rows+r].N
				}
			}
			needs.Add(contact.Need((c.need-1)*needStep+needStep/2), way)
			told = told || way > 0
		}
	}
	if told {
		s.limits = needs.Zones(3)
	}
}

// zone gives the zone of a cell, from 0.
func (s *season) zone(c *seasonCell) int {
	if len(s.limits) < 2 || c.need == 0 {
		return 0
	}
	return contact.Zone(s.limits, contact.Need((c.need-1)*needStep+needStep/2))
}

// zoneNames names the zones in rising order of the force that they need.
func (s *season) zoneNames() []string {
	switch len(s.limits) {
	case 2:
		return []string{"softer ground", "harder ground"}
	case 3:
		return []string{"soft ground", "ground between", "hard ground"}
	}
	return nil
}

// unsure stands for a label that nobody knows: in the midst of a pass a setting
// was changed.
const unsure = "\x00"

// lever is one thing that rows can have differently: what each row had on each
// pass.
type lever struct {
	kind    string
	setting bool
	of      [][]string // pass, row
}

// levers gives what could be on trial.
func (s *season) levers(v advise.Voice) []lever {
	kinds := map[string]bool{}
	for _, c := range s.cards {
		for _, a := range c.Attachments {
			kinds[a.Kind] = true
		}
	}
	var out []lever
	for _, kind := range slices.Sorted(maps.Keys(kinds)) {
		l := lever{kind: kind, of: make([][]string, len(s.passes))}
		days := map[evenstand.Day][]string{}
		for _, d := range s.days {
			rows := make([]string, s.rows)
			since := make([]string, s.rows)
			for _, a := range s.cards[d].Attachments {
				if a.Kind != kind || a.Since > string(d) {
					continue
				}
				for _, r := range a.Rows {
					if r >= 1 && r <= s.rows && a.Since >= since[r-1] {
						rows[r-1], since[r-1] = a.Label, a.Since
					}
				}
			}
			days[d] = rows
		}
		for i := range s.passes {
			l.of[i] = days[s.passes[i].day]
		}
		out = append(out, l)
	}
	names := map[string]bool{}
	for i := range s.changes {
		names[s.changes[i].Lever] = true
	}
	for _, name := range slices.Sorted(maps.Keys(names)) {
		out = append(out, s.setting(name, v))
	}
	return out
}

// setting gives how a lever stood by the changes of it.
func (s *season) setting(name string, v advise.Voice) lever {
	l := lever{kind: name, setting: true, of: make([][]string, len(s.passes))}
	now := make([]string, s.rows)
	for i := range now {
		now[i] = unsure
	}
	var mine []try.Change
	for i := range s.changes {
		if s.changes[i].Lever == name {
			mine = append(mine, s.changes[i])
		}
	}
	named := standings(mine)
	was := func(c *try.Change) string {
		return cmp.Or(effect.SaySetting(name, named(c.From), c.FromState, v), unsure)
	}
	for row := range now { // before the first change: what that says it was
		first := slices.IndexFunc(mine, func(c try.Change) bool { return c.On(row + 1) })
		now[row] = was(&mine[max(0, first)]) // never changed: as it was on the others
	}
	next := 0
	for i := range s.passes {
		p := &s.passes[i]
		for ; next < len(mine) && mine[next].T <= p.Start; next++ {
			for row := range now {
				if c := &mine[next]; c.On(row + 1) {
					now[row] = cmp.Or(effect.SaySetting(name, named(c.To), c.ToState, v), unsure)
				}
			}
		}
		rows := slices.Clone(now)
		for k := range mine {
			c := &mine[k]
			// A note by hand is a minute and more off: the rest of a pass tells all the
			// same. Where more than half of it lies in doubt it does not.
			if doubt := min(c.Late, p.End) - max(c.Early, p.Start); c.T > p.Start && c.T < p.End || 2*doubt > p.End-p.Start {
				for row := range rows {
					if c.On(row + 1) {
						rows[row] = unsure
					}
				}
			}
		}
		l.of[i] = rows
	}
	return l
}

// standings gives for a number of a lever the one that it goes by: boxes that log
// a level log it a little otherwise each time, and numbers that differ by a small
// part of the smallest change are one.
func standings(cs []try.Change) func(float64) float64 {
	var all []float64
	small := math.Inf(1)
	for i := range cs {
		c := &cs[i]
		for _, x := range []float64{c.From, c.To} {
			if !math.IsNaN(x) {
				all = append(all, x)
			}
		}
		if d := math.Abs(c.To - c.From); d > 0 {
			small = math.Min(small, d)
		}
	}
	slices.Sort(all)
	by := map[float64]float64{}
	for len(all) > 0 {
		n := 1
		for n < len(all) && all[n]-all[0] <= alike*small && !math.IsInf(small, 1) {
			n++
		}
		for _, x := range all[:n] {
			by[x] = all[n/2]
		}
		all = all[n:]
	}
	return func(x float64) float64 {
		if to, ok := by[x]; ok {
			return to
		}
		return x
	}
}

// trials gives the trials of a planter.
func (s *season) trials(b *Book) []trial.Input {
	var out []trial.Input
	if s.rows == 0 || len(s.passes) == 0 {
		return nil
	}
	all := s.levers(advise.Voice{Zone: b.Zone(), Units: b.Settings().Units})
	for i := range all {
		ins := s.of(b, &all[i])
		for k := range ins {
			if ins[k].ByPasses {
				s.besides(all, i, &ins[k])
			} else {
				s.others(all, i, &ins[k])
			}
		}
		out = append(out, ins...)
	}
	return out
}

// others says what else of the rows differs while they are on trial by one lever:
// what changed in the time otherwise than on most rows, and what they carry all
// the time that most do not.
func (s *season) others(all []lever, own int, in *trial.Input) {
	in.Also, in.Has = make([]string, s.rows), make([]string, s.rows)
	for k := range all {
		if k == own {
			continue
		}
		l := &all[k]
		ways := make([]string, s.rows) // labels in the order in which the row had them
		changed := make([]bool, s.rows)
		was := make([]string, s.rows)
		for i, rows := range l.of {
			for r := range rows {
				if rows[r] == unsure || i > 0 && rows[r] == was[r] && ways[r] != "" {
					continue
				}
				changed[r] = changed[r] || ways[r] != ""
				ways[r] += rows[r] + "\x01"
				was[r] = rows[r]
			}
		}
		count := map[string]int{}
		most := ""
		for _, w := range ways {
			if count[w]++; count[w] > count[most] {
				most = w
			}
		}
		name := trial.KindSays(l.kind)
		if l.setting {
			name = record.LeverSay(l.kind)
		}
		for r, w := range ways {
			switch {
			case w == most:
			case changed[r] && in.Also[r] == "":
				in.Also[r] = "the " + name + " changed on them in this time too"
			case !changed[r] && in.Has[r] == "":
				in.Has[r] = "they carry another " + name + " than most"
			}
		}
	}
}

// besides keeps pairs of passes apart between which another lever changed too, and
// says so where that is half and more of them.
func (s *season) besides(all []lever, own int, in *trial.Input) {
	mine := all[own].of
	for k := range all {
		if k == own {
			continue
		}
		l := &all[k]
		turns, cut := 0, 0
		moved := make([]bool, len(l.of))
		for i := 1; i < len(l.of); i++ {
			moved[i] = !slices.Equal(l.of[i], l.of[i-1])
			if len(mine[i]) > 0 && len(mine[i-1]) > 0 && mine[i][0] != mine[i-1][0] {
				if turns++; moved[i] {
					cut++
				}
			}
		}
		for d := range in.Data {
			for p := range in.Data[d].Passes {
				if x := &in.Data[d].Passes[p]; moved[x.Pass] {
					x.Next = false
				}
			}
		}
		if cut > 0 && 2*cut >= turns {
			name := trial.KindSays(l.kind)
			if l.setting {
				name = record.LeverSay(l.kind)
			}
			in.Mixed = append(in.Mixed, "the "+name+" changed with it")
		}
	}
}

// of gives the trials of one lever: each label against the one that is most on
// the ground.
func (s *season) of(b *Book, l *lever) []trial.Input {
	var out []trial.Input
	labels, base, byPasses := s.against(l)
	for _, label := range labels {
		in := s.input(b, l, label, base, byPasses)
		if in.Label == "" { // the part is the one that has a name
			in = s.input(b, l, base, label, byPasses)
		}
		out = append(out, in)
	}
	return out
}

// against gives which labels of a lever can be held against which: rows against
// rows, or neighbouring passes where the rows never stood apart.
func (s *season) against(l *lever) (labels []string, base string, byPasses bool) {
	ground := map[string]float64{}
	var order []string
	type pair struct{ a, b string } // the smaller first
	of := func(a, b string) pair { return pair{min(a, b), max(a, b)} }
	apart, forth := map[pair]int{}, map[pair]int{} // passes; changes from one to the other
	byPasses = true
	was := ""
	for i, rows := range l.of {
		var here []string
		for _, label := range rows {
			if label == unsure {
				byPasses = byPasses && label == rows[0]
				continue
			}
			if _, ok := ground[label]; !ok {
				order = append(order, label)
			}
			ground[label] += s.passes[i].area / float64(s.rows)
			if byPasses = byPasses && label == rows[0]; !slices.Contains(here, label) {
				here = append(here, label)
			}
		}
		for k, a := range here {
			for _, b := range here[:k] {
				apart[of(a, b)]++
			}
		}
		if len(here) == 1 && rows[0] != unsure {
			if was != "" && rows[0] != was {
				forth[of(was, rows[0])]++
			}
			was = rows[0]
		}
	}
	if len(order) < 2 || byPasses && !l.setting {
		return nil, "", false
	}
	base = order[0]
	for _, label := range order {
		if ground[label] > ground[base] {
			base = label
		}
	}
	for _, label := range order {
		switch {
		case label == base:
		case byPasses && forth[of(label, base)] < backAndForth:
		case l.setting && !byPasses && apart[of(label, base)] < leftOn:
		default:
			labels = append(labels, label)
		}
	}
	return labels, base, byPasses
}

// leftOn is on how many passes rows must have stood apart for a setting to be a
// trial: about a morning's (judgement).
const leftOn = 20

// input makes one trial of what the rows did.
func (s *season) input(b *Book, l *lever, label, against string, byPasses bool) trial.Input {
	set := b.Settings()
	last := s.days[len(s.days)-1]
	card := s.cards[last]
	in := trial.Input{
		Planter: s.planter, Kind: l.kind, Label: label, Against: against, ByPasses: byPasses, Right: firstRight(card),
		Class: make([]trial.Class, s.rows), Spacing: s.spacing, Target: s.due / s.dueOn, Crop: card.Crop(1),
		Season: s.planted, SeasonFrom: "as much as is planted so far",
	}
	in.ID = trialID(l.kind, label)
	if l.setting {
		name := record.LeverSay(l.kind)
		in.Setting, in.Label, in.Against = name, name+" "+label, name+" "+against
	}
	if !math.IsNaN(set.Season) && set.Season > 0 {
		in.Season += set.Season
		in.SeasonFrom = "what is planted and what the settings say is left"
	}
	part, _ := set.Part(label)
	in.Part = trial.Part{Price: part.Price, Seasons: part.Seasons, Aim: part.Aim}
	in.Price = price.Context{Settings: set, Rows: s.rows, Card: b.cardFile(s.planter, last), FieldLeft: math.NaN(), AsOf: s.asOf, Seed: priceSeed}
	for r := range in.Class {
		switch {
		case track(card, r+1):
			in.Class[r] = trial.Track
		case r == 0 || r == s.rows-1:
			in.Class[r] = trial.Wing
		}
	}
	s.arms(b, l, label, against, &in)
	zones := s.zoneNames()
	for m := range s.measures {
		d := s.data(m, l, label, against, &in, byPasses, len(zones))
		if d != nil {
			in.Data = append(in.Data, *d)
		}
	}
	if d := s.standData(&in); d != nil {
		in.Data = append(in.Data, *d)
	} else if len(s.counts) > 0 && len(in.Periods) > 1 && !in.ByPasses {
		in.Notes = append(in.Notes, "Stand counts are not used: rows changed parts, and the counts do not say on which day their ground was planted. Write it into the note of a count: planted "+string(in.Periods[0].From)+".")
	}
	if s.unread != "" && !l.setting && !byPasses {
		in.Notes = append(in.Notes, "What \""+s.unread+"\" tells of days without planting is not read into trials, counts of plants neither. Note the counts by hand with their rows, and planted "+string(last)+", the day of their ground, beside each.")
	}
	if !byPasses {
		in.Zones = zones
	}
	return in
}

// trialID names a trial for links and commands.
func trialID(kind, label string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(kind + " " + label) {
		switch {
		case r >= 'a' && r <= 'z' || r >= '0' && r <= '9' || r > 0x7f:
			b.WriteRune(r)
		case b.Len() > 0 && !strings.HasSuffix(b.String(), "-"):
			b.WriteByte('-')
		}
	}
	return strings.TrimSuffix(b.String(), "-")
}

func track(c *evenstand.Card, row int) bool {
	for _, g := range c.Groups {
		if g.Kind == "wheel_track" && g.Rows.Has(row) {
			return true
		}
	}
	return false
}

// firstRight tells whether row 1 runs at the right.
func firstRight(c *evenstand.Card) bool {
	return len(c.Geometry.RowY) > 1 && c.Geometry.RowY[0] > c.Geometry.RowY[len(c.Geometry.RowY)-1]
}

// arms parts the passes into periods in which no row changed, and says which
// rows carried what; periods of the same arms are one.
func (s *season) arms(b *Book, l *lever, label, against string, in *trial.Input) {
	in.Arms = make(trial.Arms, s.rows)
	byPattern := map[string]int{}
	v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
	for i, rows := range l.of {
		if in.ByPasses || len(rows) == 0 || slices.Contains(rows, unsure) {
			continue
		}
		pattern := make([]byte, s.rows)
		for r := range rows {
			pattern[r] = armOf(rows[r], label, against)
		}
		if !strings.ContainsAny(string(pattern), "01") {
			continue
		}
		k, ok := byPattern[string(pattern)]
		if !ok {
			k = len(in.Periods)
			byPattern[string(pattern)] = k
			p := trial.Period{From: s.passes[i].day, With: evenstand.Rows{}, Without: evenstand.Rows{}}
			for r, c := range pattern {
				x := math.NaN()
				switch c {
				case '1':
					x = 1
					p.With = append(p.With, r+1)
				case '0':
					x = 0
					p.Without = append(p.Without, r+1)
				}
				in.Arms[r] = append(in.Arms[r], x)
			}
			in.Periods = append(in.Periods, p)
		}
		p := &in.Periods[k]
		p.To = s.passes[i].day
		p.Passes++
		p.Area += evenstand.Number(s.passes[i].area)
	}
	for k := range in.Periods {
		p := &in.Periods[k]
		when := v.Day(p.From)
		if p.To != p.From {
			when += " to " + v.Day(p.To)
		}
		rows := "no row with it"
		if len(p.With) > 0 {
			rows = advise.Lower(advise.Rows(p.With)) + " with it"
		}
		p.Says = fmt.Sprintf("%s: %s, %s, %s", when, rows, advise.Plural(int64(p.Passes), "pass", "passes"), v.Area(float64(p.Area)))
	}
}

func armOf(has, label, against string) byte {
	switch has {
	case label:
		return '1'
	case against:
		return '0'
	}
	return '-'
}

// data gives what the rows did by one measure, nil where it is not told of rows.
func (s *season) data(m int, l *lever, label, against string, in *trial.Input, byPasses bool, zones int) *trial.Data {
	me := s.measures[m]
	d := &trial.Data{Measure: me}
	byPattern := map[string]int{}
	for k := range in.Periods {
		pattern := make([]byte, s.rows)
		for r := range pattern {
			switch x := in.Arms[r][k]; {
			case math.IsNaN(x):
				pattern[r] = '-'
			case x > 0:
				pattern[r] = '1'
			default:
				pattern[r] = '0'
			}
		}
		byPattern[string(pattern)] = k
	}
	told := false
	var last *seasonPass
	for i := range s.passes {
		p := &s.passes[i]
		if len(l.of[i]) == 0 {
			continue
		}
		if byPasses {
			x := trial.PassMean{Pass: i, With: math.NaN(), Value: math.NaN(), Next: last != nil && last.day == p.day && last.Field == p.Field && p.Index-last.Index <= 2}
			switch armOf(l.of[i][0], label, against) {
			case '1':
				x.With = 1
			case '0':
				x.With = 0
			}
			var sum measure.Part
			for k := range p.cells {
				for r := range s.rows {
					sum.Add(p.cells[k].parts[m*s.rows+r])
				}
			}
			if v, ok := me.Value(sum); ok {
				x.Value, told = v, true
			}
			d.Passes = append(d.Passes, x)
			last = p
			continue
		}
		pattern := make([]byte, s.rows)
		for r := range pattern {
			pattern[r] = armOf(l.of[i][r], label, against)
		}
		k, ok := byPattern[string(pattern)]
		if !ok || slices.Contains(l.of[i], unsure) {
			continue
		}
		blocks := map[int][]measure.Part{}
		for c := range p.cells {
			z := 0
			if zones > 1 {
				z = s.zone(&p.cells[c])
			}
			if blocks[z] == nil {
				blocks[z] = make([]measure.Part, s.rows)
			}
			for r := range s.rows {
				blocks[z][r].Add(p.cells[c].parts[m*s.rows+r])
			}
		}
		for _, z := range slices.Sorted(maps.Keys(blocks)) {
			bl := trial.Block{Period: k, Zone: z, Y: make([]float64, s.rows), W: make([]float64, s.rows)}
			n := 0
			for r, part := range blocks[z] {
				if v, ok := me.Value(part); ok {
					bl.Y[r], bl.W[r] = v, part.N
					n++
				} else {
					bl.Y[r] = math.NaN()
				}
			}
			if n > 1 && !ofAll(bl.Y) {
				told = true
				d.Blocks = append(d.Blocks, bl)
			}
		}
	}
	if !told {
		return nil
	}
	return d
}

// ofAll tells whether one value was said of all rows: a box that measures the
// whole planter tells nothing of its rows.
func ofAll(y []float64) bool {
	first, n := math.NaN(), 0
	for _, x := range y {
		switch {
		case math.IsNaN(x):
		case n == 0:
			first = x
			n++
		case x != first:
			return false
		default:
			n++
		}
	}
	return n > 2 && first != 0
}
