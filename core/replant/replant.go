package replant

import (
	"errors"
	"math"

	"evenstand"
	"evenstand/core/relation"
)

// Ask is what is known of a stand, and what starting over would be. Stands are
// plants per m2, money is per m2.
type Ask struct {
	Stand   evenstand.Range // that there is, with what the counts leave open
	Planted evenstand.Day
	Late    float64 // share of its plants that came up late; 0 none, NaN not looked at
	Days    float64 // by how many days they are late
	Gaps    Gaps

	Again    evenstand.Day // on which it would be planted again, or filled in
	NewStand float64       // that planting again would make
	Season   string        // of the new hybrid, full or short, where a table tells them apart

	Yield     float64 // kg per m2 of a full stand planted in time
	Price     float64 // per kg
	Costs     []Cost  // of starting over
	FillCosts []Cost  // of filling in
	Insurance float64 // paid if it is started over; 0 none
}

// Cost is one thing that has to be paid, per m2.
type Cost struct {
	What string
	Sum  float64
}

// Gaps says how long the gaps of a stand are (R2, on top of what fewer plants
// cost).
type Gaps string

// The gaps.
const (
	NoGaps    Gaps = ""      // only single places
	ShortGaps Gaps = "short" // several of 1.5 to 3 ft
	LongGaps  Gaps = "long"  // many of 4 to 6 ft
)

// points gives what the gaps take from a stand, in percent of yield.
func (g Gaps) points() (low, likely, high float64) {
	switch g {
	case ShortGaps:
		return relation.Must("R2-skip", "several gaps 1.5-3 ft").Range()
	case LongGaps:
		return relation.Must("R2-skip", "many gaps 4-6 ft").Range()
	}
	return 0, 0, 0
}

// Choice is what can be done.
type Choice string

// The choices.
const (
	Keep  Choice = "keep"
	Fill  Choice = "fill in"
	Over  Choice = "start over"
	Tells Choice = "cannot say" // the tables, or the counts, do not agree
)

// Reading is what one table says of one choice.
type Reading struct {
	Table   string
	Source  string
	Percent evenstand.Range // of the best yield, over the stand's range; what gaps and late plants take is off
	Gain    evenstand.Range // money per m2 over keeping; 0 for keeping
}

// Weighed is one choice by every table that has it.
type Weighed struct {
	Choice   Choice
	Cost     float64         // per m2, all of it
	Readings []Reading       // by table, the default first
	Gain     evenstand.Range // over keeping: the least and the most of the readings, Mid of the default table
}

// Answer is what was weighed, and which choice it is for.
type Answer struct {
	Best    Choice
	Weighed []Weighed // keep, fill in, start over
	Hurdle  float64   // yield in percent that starting over must win back to pay: its cost less the insurance
	Missing []string  // what a table has nothing of, whole sentences
}

// errors of an Ask.
var (
	ErrStand = errors.New("the stand is not known: count it first")
	ErrDates = errors.New("planting again must be after the planting")
	ErrMoney = errors.New("a yield goal and a price are wanted")
)

// Weigh weighs a stand. Starting over is R2 − R1 of R15: what the new stand makes
// on its date, less what the present one makes on its own with its gaps and late
// plants. Filling in keeps the plants that there are and adds late ones up to the
// new stand: the date of the first planting, all plants, and the loss of R6 for
// those that come behind. That last is derived from the two relations; there is no
// published table of it.
func Weigh(a Ask) (Answer, error) {
	switch {
	case !(a.Stand.Mid >= 0):
		return Answer{}, ErrStand
	case !(a.Yield > 0) || !(a.Price > 0):
		return Answer{}, ErrMoney
	}
	first, err := relation.AfterApril30(string(a.Planted))
	if err != nil {
		return Answer{}, err
	}
	again, err := relation.AfterApril30(string(a.Again))
	if err != nil {
		return Answer{}, err
	}
	if again <= first || a.Planted.Year() != a.Again.Year() {
		return Answer{}, ErrDates
	}
	keep, fill, over := Weighed{Choice: Keep}, Weighed{Choice: Fill, Cost: sum(a.FillCosts)}, Weighed{Choice: Over, Cost: sum(a.Costs)}
	ans := Answer{Hurdle: 100 * (over.Cost - a.Insurance) / (a.Yield * a.Price)}
	stand := whole(a.Stand)
	for _, table := range relation.Tables() {
		now, ok := a.present(table, stand, float64(first))
		if !ok {
			ans.Missing = append(ans.Missing, "Table "+table+" has nothing of so thin a stand on that date.")
			continue
		}
		source := relation.TableSource(table)
		keep.Readings = append(keep.Readings, Reading{Table: table, Source: source, Percent: now})
		if then, ok := relation.ByTable(table, relation.Thousand(a.NewStand), float64(again), a.Season); ok {
			over.Readings = append(over.Readings, Reading{table, source, point(then), gain(a, point(then), now, over.Cost-a.Insurance)})
		} else {
			ans.Missing = append(ans.Missing, "Table "+table+" has nothing of a new stand on that date.")
		}
		if filled, ok := a.filled(table, stand, float64(first), float64(again-first)); ok {
			fill.Readings = append(fill.Readings, Reading{table, source, filled, gain(a, filled, now, fill.Cost)})
		}
	}
	for _, w := range []*Weighed{&keep, &fill, &over} {
		w.Gain = span(w.Readings)
	}
	ans.Weighed = []Weighed{keep, fill, over}
	ans.Best = best(ans.Weighed)
	return ans, nil
}

// best is the choice that gains over the others in every reading; keeping needs no
// more than that none of the others gains in the middle and none surely.
func best(ws []Weighed) Choice {
	keep := true
	var sure []Weighed
	for _, w := range ws[1:] {
		if len(w.Readings) == 0 {
			continue
		}
		if w.Gain.Low > 0 {
			sure = append(sure, w)
		}
		if !(w.Gain.High <= 0) { // NaN tells nothing
			keep = false
		}
	}
	switch {
	case len(ws[0].Readings) == 0 || len(ws[1].Readings)+len(ws[2].Readings) == 0:
		return Tells
	case keep:
		return Keep
	case len(sure) == 1:
		return sure[0].Choice
	case len(sure) == 2 && sure[0].Gain.Low > sure[1].Gain.High:
		return sure[0].Choice
	case len(sure) == 2 && sure[1].Gain.Low > sure[0].Gain.High:
		return sure[1].Choice
	}
	return Tells
}

// present is what the stand that there is makes by a table.
func (a Ask) present(table string, stand evenstand.Range, day float64) (evenstand.Range, bool) {
	low, likely, high := a.Gaps.points()
	late := func(which int) float64 {
		if !(a.Late > 0) {
			return 0
		}
		return lateLoss(a.Late, a.Days, which)
	}
	at := func(p evenstand.Number, gaps, late float64) (evenstand.Number, bool) {
		x, ok := relation.ByTable(table, relation.Thousand(float64(p)), day, "full")
		return evenstand.Number(max(0, (x-gaps)*(1-late/100))), ok
	}
	l, ok1 := at(stand.Low, high, late(2))
	m, ok2 := at(stand.Mid, likely, late(1))
	h, ok3 := at(stand.High, low, late(0))
	if !ok1 { // thinner than the table has: anything down to nothing
		l = 0
	}
	if !ok3 { // thicker: no better than the best
		h = evenstand.Number(max(0, 100*(1-late(0)/100)))
	}
	return evenstand.Range{Low: min(l, m), Mid: m, High: max(h, m)}, ok2
}

// filled is what the stand makes when late plants are put between.
func (a Ask) filled(table string, stand evenstand.Range, day, behind float64) (evenstand.Range, bool) {
	at := func(p evenstand.Number, which int) (evenstand.Number, bool) {
		added := a.NewStand - float64(p)
		if added <= 0 {
			return 0, false
		}
		x, ok := relation.ByTable(table, relation.Thousand(a.NewStand), day, "full")
		return evenstand.Number(x * (1 - lateLoss(added/a.NewStand, behind, which)/100)), ok
	}
	l, ok1 := at(stand.Low, 2)
	m, ok2 := at(stand.Mid, 1)
	h, ok3 := at(stand.High, 0)
	if !ok1 {
		l = m
	}
	if !ok3 {
		h = m
	}
	return evenstand.Range{Low: min(l, m), Mid: m, High: max(h, m)}, ok2
}

// lateLoss is R6 at its low, likely or high share.
func lateLoss(share, days float64, which int) float64 {
	low, likely, high := relation.LateShare(days)
	loss := relation.LateLoss(share, days)
	if likely == 0 {
		return 100 * share * []float64{low, likely, high}[which]
	}
	return loss * []float64{low, likely, high}[which] / likely
}

// gain is the money that a choice makes over keeping: of a stand that is as thin
// as the counts allow, the likely one, and as thick as they allow.
func gain(a Ask, then, now evenstand.Range, cost float64) evenstand.Range {
	money := func(then, now evenstand.Number) evenstand.Number {
		return evenstand.Number(a.Yield*a.Price/100)*(then-now) - evenstand.Number(cost)
	}
	l, m, h := money(then.Low, now.Low), money(then.Mid, now.Mid), money(then.High, now.High)
	return evenstand.Range{Low: min(l, m, h), Mid: m, High: max(l, m, h)}
}

// span is the least and the most of readings, and the middle of the first.
func span(rs []Reading) evenstand.Range {
	if len(rs) == 0 {
		return evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}
	}
	out := rs[0].Gain
	for _, r := range rs[1:] {
		out.Low, out.High = min(out.Low, r.Gain.Low), max(out.High, r.Gain.High)
	}
	return out
}

func whole(r evenstand.Range) evenstand.Range {
	if math.IsNaN(float64(r.Low)) {
		r.Low = r.Mid
	}
	if math.IsNaN(float64(r.High)) {
		r.High = r.Mid
	}
	return r
}

func point(x float64) evenstand.Range {
	return evenstand.Range{Low: evenstand.Number(x), Mid: evenstand.Number(x), High: evenstand.Number(x)}
}

func sum(cs []Cost) (s float64) {
	for _, c := range cs {
		s += c.Sum
	}
	return s
}
