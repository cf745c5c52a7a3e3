package book

import (
	"cmp"
	"context"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// SettingsChanged gives all settings that were noted or logged as changed, the newest
// first, each with what followed in one line: also those on days without planting.
func (b *Book) SettingsChanged(ctx context.Context, v advise.Voice) ([]ChangeLine, error) {
	return b.settingsChanged(ctx, "", v)
}

// SettingsChangedOn is SettingsChanged of one day.
func (b *Book) SettingsChangedOn(ctx context.Context, day evenstand.Day, v advise.Voice) ([]ChangeLine, error) {
	return b.settingsChanged(ctx, day, v)
}

func (b *Book) settingsChanged(ctx context.Context, day evenstand.Day, v advise.Voice) ([]ChangeLine, error) {
	days, err := b.EffectsOn(ctx, day)
	if err != nil {
		return nil, err
	}
	told := map[DayRef][]ChangeLine{}
	for i := range days {
		d := &days[i]
		for _, fs := range d.Changes {
			if len(fs) > 0 {
				ref := DayRef{d.Planter, d.Day}
				told[ref] = append(told[ref], changeLine(d, fs, v))
			}
		}
	}
	planted, planters, err := b.plantersSeen(ctx)
	if err != nil {
		return nil, err
	}
	out := []ChangeLine{}
	for _, planter := range planters {
		season, err := b.seasonChanges(ctx, planter, day)
		if err != nil {
			return nil, err
		}
		for on, cs := range season {
			if day != "" && on != day {
				continue
			}
			have := told[DayRef{planter, on}]
			out = append(out, have...)
			for i := range cs {
				if c := &cs[i]; !slices.ContainsFunc(have, func(l ChangeLine) bool { return l.Lever == c.Lever && l.T == c.T && l.Note == c.Note }) {
					out = append(out, untoldLine(planter, on, c, planted[planter], v))
				}
			}
		}
	}
	slices.SortStableFunc(out, func(x, y ChangeLine) int {
		return cmp.Or(cmp.Compare(y.T, x.T), cmp.Compare(x.Planter, y.Planter), cmp.Compare(x.Lever, y.Lever), slices.Compare(x.Rows, y.Rows))
	})
	return out, nil
}

// plantersSeen gives all planters of days and notes, and the days on which each
// planted.
func (b *Book) plantersSeen(ctx context.Context) (planted map[string][]DaySummary, names []string, err error) {
	days, err := b.Days(ctx)
	if err != nil {
		return nil, nil, err
	}
	planted = map[string][]DaySummary{}
	for i := range days {
		names = append(names, days[i].Planter)
		if days[i].Passes > 0 {
			planted[days[i].Planter] = append(planted[days[i].Planter], days[i])
		}
	}
	notes, err := b.Journal(ctx)
	if err != nil {
		return nil, nil, err
	}
	b.NotePlanters(notes)
	for i := range notes {
		names = append(names, notes[i].Planter)
	}
	slices.Sort(names)
	return planted, slices.Compact(names), nil
}

// untoldLine is a change that no planting of its day lies on both sides of.
func untoldLine(planter string, day evenstand.Day, c *try.Change, planted []DaySummary, v advise.Voice) ChangeLine {
	l := changeLine(&DayEffects{Planter: planter, Day: day}, []effect.Found{{Effect: try.Effect{Change: *c}}}, v)
	l.Effects, l.Aside = []EffectLine{}, ""
	since := func(d DaySummary) bool { return d.Day > day || d.Day == day && d.AsOf > c.T }
	switch {
	case !slices.ContainsFunc(planted, since):
		l.Short = "Nothing is planted since, as far as the logs go."
	case !slices.ContainsFunc(planted, func(d DaySummary) bool { return d.Day == day }):
		l.Short = "Cannot be told: nothing was planted on that day to hold it against."
	default:
		l.Short = "Cannot be told: it was made before planting began or after it ended that day."
	}
	l.Says = l.Head + ": " + advise.Lower(l.Short)
	return l
}

// OnlySet leaves those settings that are not among what was done about findings.
func OnlySet(lines []ChangeLine, done []record.Changed) []ChangeLine {
	return slices.DeleteFunc(slices.Clone(lines), func(l ChangeLine) bool {
		return slices.ContainsFunc(done, func(c record.Changed) bool {
			return c.By == bySetting && c.Planter == l.Planter && c.T >= l.Early-noteError && c.T <= l.Late+noteError && (len(c.Rows) == 0 || len(l.Rows) == 0 || slices.ContainsFunc(l.Rows, c.Rows.Has)) &&
				strings.Contains(strings.ToLower(c.Says), strings.ToLower(record.LeverSay(l.Lever)))
		})
	})
}

// OfLine tells whether a change is that of a line of a box.
func OfLine(c *ChangeLine, l *BoxLine) bool {
	lever := l.Quantity
	if l.What == "setting" {
		s, ok := record.SettingOf(&evenstand.Entry{T: l.T, What: l.What, Value: float64(l.Value), Unit: l.Unit, Note: l.Note})
		if !ok {
			return false
		}
		lever = s.Lever
	}
	return c.Source == l.Source && c.Planter == l.Planter && c.Lever == lever && c.T <= l.T+oneHand && c.Late >= l.T-oneHand
}

// FromSay says which box told of something, in words: planter controller.
func FromSay(source string) string {
	if source == "" {
		return "by hand"
	}
	box, part, ok := strings.Cut(source, "/")
	switch {
	case strings.EqualFold(box, "journal") && (!ok || strings.EqualFold(part, "journal")):
		return "from a journal that came with the logs"
	case ok && strings.EqualFold(part, "journal"):
		return "from the journal of " + box
	case ok && slices.Contains(streamNames, strings.ToLower(part)):
		return "logged: " + box
	}
	return "logged: " + source
}

// streamNames are names of files that say nothing beside that of their box.
var streamNames = []string{"readings", "seeds", "track", "counts"}

// FromSays is FromSay of several, each once.
func FromSays(sources []string) string {
	var out []string
	for _, s := range sources {
		if say := FromSay(s); !slices.Contains(out, say) {
			out = append(out, say)
		}
	}
	for i := range out {
		if i > 0 {
			out[i] = strings.TrimPrefix(out[i], "logged: ")
		}
	}
	return strings.Join(out, ", ")
}
