package book

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/record"
)

// priceSeed is the seed of the draws that money is made from; it is one for
// every report, so that the same book always says the same.
const priceSeed = 20260401

// reckoned are the findings of all days as they stand, with what prices them.
type reckoned struct {
	fs      []evenstand.Finding
	days    []DaySummary
	asOf    evenstand.Micros
	decided []int // of fs: given an end for the price only, see goOn
	of      func(*evenstand.Finding) price.Context
}

// reckon gives them, with decisions and check-backs.
func (b *Book) reckon(ctx context.Context) (r reckoned, err error) {
	if r.fs, err = b.Findings(ctx); err != nil {
		return r, err
	}
	if r.days, err = b.Days(ctx); err != nil {
		return r, err
	}
	set := b.Settings()
	r.asOf = evenstand.NoTime
	for _, d := range r.days {
		r.asOf = max(r.asOf, d.AsOf)
	}
	if _, err := b.checkBack(ctx, r.fs, r.days, advise.Voice{Zone: b.Zone(), Units: set.Units, AsOf: r.asOf}, false); err != nil {
		return r, err
	}
	if r.decided, err = b.goOn(ctx, r.fs, r.days); err != nil {
		return r, err
	}
	rows, files := map[DayRef]int{}, map[DayRef]string{}
	for _, d := range r.days {
		card, err := b.Card(d.Planter, d.Day)
		if err != nil {
			return r, err
		}
		rows[DayRef{d.Planter, d.Day}] = card.Rows
		files[DayRef{d.Planter, d.Day}] = b.cardFile(d.Planter, d.Day)
	}
	left, err := b.LeftToPlant(ctx, r.days)
	if err != nil {
		return r, err
	}
	r.of = func(f *evenstand.Finding) price.Context {
		c := price.Context{Settings: set, Rows: rows[DayRef{f.Planter, f.Day}], Card: files[DayRef{f.Planter, f.Day}], FieldLeft: math.NaN(), AsOf: r.asOf, Seed: priceSeed}
		if a, ok := left[f.Field]; ok {
			c.FieldLeft = a
		}
		return c
	}
	return r, nil
}

// Worklist gives the findings with money, words and advice, ordered by what
// can still be saved: what is raised and has not ended, or with all everything.
func (b *Book) Worklist(ctx context.Context, all bool) (evenstand.Worklist, error) {
	r, err := b.reckon(ctx)
	if err != nil {
		return evenstand.Worklist{}, err
	}
	fs, days, set := r.fs, r.days, b.Settings()
	ptrs := make([]*evenstand.Finding, len(fs))
	for i := range fs {
		ptrs[i] = &fs[i]
	}
	price.PriceAll(ptrs, r.of)
	for _, i := range r.decided { // over for the price only
		fs[i].Until = nil
	}
	voice := advise.Voice{Zone: b.Zone(), Units: set.Units, AsOf: r.asOf}
	made := halts(fs, days, r.of)
	better, tried, err := b.better(ctx, append(slices.Clone(fs), made...), days, voice)
	if err != nil {
		return evenstand.Worklist{}, err
	}
	if made, err = b.decidedMade(ctx, append(made, better...), tried); err != nil {
		return evenstand.Worklist{}, err
	}
	fs = append(fs, made...)
	for i := range fs {
		advise.Fill(&fs[i], voice)
		gone, err := b.gone(ctx, &fs[i], days)
		if err != nil {
			return evenstand.Worklist{}, err
		}
		if gone {
			advise.Left(&fs[i])
		}
	}
	return record.Assemble(set.Name, r.asOf, set.Currency, fs, all), nil
}

// gone tells whether a finding was to be acted on before leaving its field and the
// planter has planted another since.
func (b *Book) gone(ctx context.Context, f *evenstand.Finding, days []DaySummary) (bool, error) {
	if f.When != evenstand.BeforeLeaving || f.Field == "" {
		return false, nil
	}
	last := f.Day
	for _, d := range days {
		if d.Planter == f.Planter && d.Passes > 0 {
			last = max(last, d.Day)
		}
	}
	passes, err := b.Passes(ctx, f.Planter, last)
	if err != nil || len(passes) == 0 {
		return false, err
	}
	return passes[len(passes)-1].Field != f.Field, nil
}

// madeWith tells whether findings of a kind are made with the worklist, from what
// else is known then.
func madeWith(kind string) bool {
	return kind == evenstand.KindSettingBetter || kind == evenstand.KindStopPays || kind == evenstand.KindGoOnPays
}

// decidedMade puts the decisions of people on findings that are made with the
// worklist. What was decided about one that is no longer made comes back as it
// stood: done as long as it is being tried, else ended.
func (b *Book) decidedMade(ctx context.Context, made []evenstand.Finding, tried map[string]bool) ([]evenstand.Finding, error) {
	ds, shown, err := b.decisions(ctx)
	if err != nil || len(ds) == 0 {
		return made, err
	}
	have := map[string]bool{}
	for i := range made {
		have[made[i].ID] = true
	}
	made = record.Apply(made, ds)
	for _, d := range ds {
		if have[d.Finding] {
			continue
		}
		have[d.Finding] = true
		var f evenstand.Finding
		if err := json.Unmarshal([]byte(shown[d.Finding]), &f); err != nil {
			return nil, &Error{b.path(ledgerName), fmt.Errorf("%w: the decision about %s: %w", ErrCorrupt, d.Finding, err), "Take ledger.db from a copy of the logbook"}
		}
		if !madeWith(f.Kind) {
			continue
		}
		f.Status = evenstand.Ended
		if st := record.Standing(ds, f.ID); tried[f.ID] && len(st) > 0 && st[len(st)-1].Status == evenstand.Acted {
			f.Status = evenstand.Acted
		} else {
			f.Say = append(f.Say, "It is not advised any more.")
		}
		made = append(made, f)
	}
	return made, nil
}

// halts weighs, for each planter's last day, a stop now against going on to the
// next fill, where it is known how far that is.
func halts(fs []evenstand.Finding, days []DaySummary, of func(*evenstand.Finding) price.Context) (out []evenstand.Finding) {
	last := map[string]*DaySummary{}
	for i := range days {
		if d := &days[i]; d.Passes > 0 && (last[d.Planter] == nil || d.Day > last[d.Planter].Day) {
			last[d.Planter] = d
		}
	}
	for _, planter := range sortedKeys(last) {
		d := last[planter]
		if len(d.OnBoard) == 0 || math.IsNaN(float64(d.OnBoard[0].Area)) {
			continue
		}
		var open []*evenstand.Finding
		for i := range fs {
			if fs[i].Planter == planter && fs[i].Day == d.Day {
				open = append(open, &fs[i])
			}
		}
		if f, ok := price.Halt(open, of, float64(d.OnBoard[0].Area)); ok {
			f.ID = record.ID(planter, d.Day, f.Kind, 0, 0)
			f.Since, f.SinceLow, f.SinceHigh, f.Alarm = d.AsOf, d.AsOf, d.AsOf, d.AsOf
			out = append(out, f)
		}
	}
	return out
}

// cleared is how long a row must have planted on a later day, as well watched
// as when the trouble was found, for the trouble to be over when it is not
// found there: judgement, no source.
const cleared = 3600 * evenstand.Second

// toldElsewhere are the kinds of which an hour of planting says nothing: only a
// dig, a note or a gauge does.
var toldElsewhere = map[string]bool{
	evenstand.KindSlotOpen: true, evenstand.KindLotMismatch: true, evenstand.KindTankDisagrees: true, evenstand.KindFillImbalance: true,
}

// goOn settles what became of findings that stood open at the end of their
// day. One that was found again on a later day goes on in the newest of its
// kind, and one that was not although the row planted for an hour is over:
// both end with their day, so that nothing is counted twice. What a person
// decided about stays as it is; where it goes on in a newer finding it is given
// an end all the same, and its index is returned, for it must not claim what
// the newer one counts.
func (b *Book) goOn(ctx context.Context, fs []evenstand.Finding, days []DaySummary) (decided []int, err error) {
	zone := b.Zone()
	clean := map[DayRef]rowTimes{}
	var ended []int
	for i := range fs {
		f := &fs[i]
		open := f.Waits()
		if evenstand.OfField(f.Kind) { // all days of the field are in it
			continue
		}
		if f.Until != nil || !open && f.Status != evenstand.Acted && f.Status != evenstand.SetAside && f.Status != evenstand.Checked {
			continue
		}
	later:
		for _, d := range days { // in order of the days
			if d.Planter != f.Planter || d.Day <= f.Day || d.Passes == 0 {
				continue
			}
			if f.Kind == evenstand.KindRefillSoon { // it is of its day
				if open {
					ended = append(ended, i)
				}
				break later
			}
			again, next := foundAgain(f, fs, d.Day)
			switch {
			case next != nil:
				carryCheck(f, next)
				if open {
					f.Say = append(slices.Clone(f.Say), "It was there again on "+string(d.Day)+"; what is still to save is counted in that finding.")
					ended = append(ended, i)
				} else {
					decided = append(decided, i)
				}
				break later
			case again || !open || toldElsewhere[f.Kind] || f.Failed():
				continue // only suspected there, not to be seen by planting, or checked back and still there: that ends nothing
			}
			ref := DayRef{d.Planter, d.Day}
			if clean[ref] == nil {
				if clean[ref], err = b.rowTimes(ctx, ref); err != nil {
					return nil, err
				}
			}
			if clean[ref].planted(lead(f), f.Grade) >= cleared {
				f.Say = append(slices.Clone(f.Say), "It was not there any more on "+string(d.Day)+".")
				ended = append(ended, i)
				break later
			}
		}
	}
	// Only now, for each was to be compared with the others as they stood.
	for _, i := range ended {
		fs[i].Status = evenstand.Ended
	}
	for _, i := range append(slices.Clone(ended), decided...) {
		_, end, _ := dayBounds(fs[i].Day, zone)
		fs[i].Until = &end
	}
	return decided, nil
}

// carryCheck lets the finding in which another goes on know what was done about
// it, with the odds of its causes since.
func carryCheck(f, next *evenstand.Finding) {
	if next.CheckBack != nil || f.CheckBack == nil {
		return
	}
	next.CheckBack = f.CheckBack
	if f.Failed() && next.Status == evenstand.Open {
		next.Status = evenstand.Checked
		if f.Kind == next.Kind {
			next.Causes = f.Causes
		}
	}
}

// foundAgain tells whether the same trouble was found on a day, and gives the
// finding when it is as sure as the one before.
func foundAgain(f *evenstand.Finding, fs []evenstand.Finding, day evenstand.Day) (again bool, next *evenstand.Finding) {
	for i := range fs {
		g := &fs[i]
		if g.Planter != f.Planter || g.Day != day || lead(g) != lead(f) || family(g) != family(f) ||
			g.Status == evenstand.Ended && g.Until == nil { // the logs no longer show it
			continue
		}
		again = true
		if g.Stage == evenstand.Raised || f.Stage != evenstand.Raised {
			return true, g
		}
	}
	return again, nil
}

// lead is a finding's first row, 0 for the whole machine.
func lead(f *evenstand.Finding) int {
	if len(f.Rows) == 0 {
		return 0
	}
	return f.Rows[0]
}

func family(f *evenstand.Finding) string {
	if f.Family != "" {
		return f.Family
	}
	return evenstand.Family(f.Kind)
}

// rowTimes is how long each row planted on a machine-day, by grade.
type rowTimes map[int]map[evenstand.Grade]evenstand.Micros

// planted gives how long a row planted at a grade or a better one; row 0 is
// the row that planted longest.
func (r rowTimes) planted(row int, grade evenstand.Grade) evenstand.Micros {
	var most evenstand.Micros
	for n, by := range r {
		if row != 0 && n != row {
			continue
		}
		var t evenstand.Micros
		for g, x := range by {
			if grade == evenstand.NoGrade || g != evenstand.NoGrade && g <= grade {
				t += x
			}
		}
		most = max(most, t)
	}
	return most
}

// rowTimes adds up, pass by pass, the part of the pass's way on which a row
// was switched on and gave seed, times the pass's time.
func (b *Book) rowTimes(ctx context.Context, d DayRef) (rowTimes, error) {
	passes, err := b.Passes(ctx, d.Planter, d.Day)
	if err != nil {
		return nil, err
	}
	r := rowTimes{}
	err = b.Stretches(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
		for i := range ss {
			s := &ss[i]
			if int(s.Pass) >= len(passes) || !(s.Seeds > 0) || !(s.Length > 0) {
				continue
			}
			p := &passes[s.Pass]
			long := p.S1 - p.S0
			if !(long > 0) {
				continue
			}
			part := math.Min(1, float64(s.Length)/long)
			if off := float64(s.Off) / float64(s.Way); off > 0 {
				part *= math.Max(0, 1-off)
			}
			if r[int(s.Row)] == nil {
				r[int(s.Row)] = map[evenstand.Grade]evenstand.Micros{}
			}
			r[int(s.Row)][s.Grade] += evenstand.Micros(part * float64(p.End-p.Start))
		}
		return nil
	})
	return r, err
}
