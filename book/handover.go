package book

import (
	"cmp"
	"context"
	"slices"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

// HandOver gives what the next one at the wheel of the planter that logged last
// is told: of its last day, with the whole worklist. False when no day was read
// yet.
func (b *Book) HandOver(ctx context.Context, w evenstand.Worklist, days []DaySummary, where string, o record.Options) (h record.HandOver, ok bool, err error) {
	last := newest(days)
	if last == nil {
		return h, false, nil
	}
	told, err := b.told(ctx, last.Planter, last.Day, o)
	if err != nil {
		return h, false, err
	}
	o.Voice.AsOf = w.AsOf
	aboard, err := b.Aboard(days, o.Voice)
	if err != nil {
		return h, false, err
	}
	return record.MakeHandOver(last.Planter, last.Day, where, w, told, aboard, o), true, nil
}

// newest is the day with a pass that was logged last; nil: none.
func newest(days []DaySummary) (last *DaySummary) {
	for i := range days {
		if d := &days[i]; d.Passes > 0 && (last == nil || d.AsOf >= last.AsOf) {
			last = d
		}
	}
	return last
}

// Aboard says what tanks and seed boxes of the planter that logged last hold, the
// first to run out first, in words.
func (b *Book) Aboard(days []DaySummary, v advise.Voice) (says []string, err error) {
	last := newest(days)
	if last == nil || len(last.OnBoard) == 0 {
		return nil, nil
	}
	card, err := b.settledCard(last.Planter, last.Day)
	if err != nil {
		return nil, err
	}
	tanks := 0
	for i := range last.OnBoard {
		if last.OnBoard[i].Tank > 0 {
			tanks++
		}
	}
	for i := range last.OnBoard {
		says = append(says, v.Aboard(&last.OnBoard[i], card.Crop(1), tanks > 1))
	}
	return says, nil
}

// told gives what people and boxes said of a planter's day, in order of time.
func (b *Book) told(ctx context.Context, planter string, day evenstand.Day, o record.Options) (out []record.Told, err error) {
	lines, boxes, _, err := b.DayJournal(ctx, day)
	if err != nil {
		return nil, err
	}
	j := Join(lines, boxes)
	part := 0
	for i := range lines {
		l := &lines[i]
		if part++; i == 0 || lines[i-1].ID != l.ID {
			part = 0
		}
		if l.TakenBack || l.Planter != planter || j.Told(l.ID, part) {
			continue
		}
		out = append(out, record.Told{T: l.Entry.T, What: l.Entry.What, Says: record.SayEntry(&l.Entry)})
	}
	for i := range boxes {
		if l := &boxes[i]; l.Planter == planter && !j.Told(0, i) {
			out = append(out, record.Told{T: j.When(i), What: l.What, Says: j.Say(i, o.Voice)})
		}
	}
	slices.SortStableFunc(out, func(x, y record.Told) int { return cmp.Compare(x.T, y.T) })
	return out, nil
}

// Place says where the planter that logged last is and what is left of the field
// there, empty where nobody knows.
func (b *Book) Place(ctx context.Context, days []DaySummary, left map[string]float64, v advise.Voice) (string, error) {
	last := newest(days)
	if last == nil {
		return "", nil
	}
	passes, err := b.Passes(ctx, last.Planter, last.Day)
	if err != nil || len(passes) == 0 {
		return "", err
	}
	name := passes[len(passes)-1].Field
	if m2, ok := left[name]; ok {
		return name + " · " + v.Area(m2) + " left", nil
	}
	if name == evenstand.Unassigned {
		return "field not named", nil
	}
	return name, nil
}
