package book

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// LimitText is a limit as people write it: the ends as numbers in the unit, an
// end without a limit empty.
type LimitText struct {
	Of    string `json:"of" doc:"The quantity's name in plain files"`
	Label string `json:"label"`
	Least string `json:"least" maxLength:"40" doc:"Empty: none"`
	Most  string `json:"most" maxLength:"40" doc:"Empty: none"`
	Unit  string `json:"unit" doc:"What the numbers are in"`
}

// limitUnit is what a book's people read a quantity in.
func limitUnit(q evenstand.Quantity, units evenstand.Units) evenstand.Unit {
	name := q.Info().US
	if units == evenstand.Metric {
		name = q.Info().Metric
	}
	u, err := evenstand.ParseUnit(name)
	if err != nil {
		panic(err) // the registry's units are of the list
	}
	return u
}

// limitTexts gives one line for every quantity that limits can be given for.
func limitTexts(s *evenstand.Settings) []LimitText {
	out := make([]LimitText, 0, len(evenstand.Limited))
	for _, q := range evenstand.Limited {
		l, u := s.Limit(q), limitUnit(q, s.Units)
		out = append(out, LimitText{q.String(), q.Info().Label, inUnit(l.Least, u), inUnit(l.Most, u), u.Name})
	}
	return out
}

// inUnit writes a value in SI as a number in the unit, to six digits.
func inUnit(x float64, u evenstand.Unit) string {
	if math.IsNaN(x) {
		return ""
	}
	return six(u.FromSI(x), 0)
}

// readLimits reads the lines that limitTexts wrote or a person changed.
func readLimits(lines []LimitText, units evenstand.Units) ([]evenstand.Limit, error) {
	var out []evenstand.Limit
	for _, t := range lines {
		q, err := limited(t.Of)
		if err != nil {
			return nil, err
		}
		unit := limitUnit(q, units).Name
		if t.Unit != "" {
			unit = t.Unit
		}
		l := evenstand.Limit{Of: q}
		for _, end := range []struct {
			text string
			to   *float64
		}{{t.Least, &l.Least}, {t.Most, &l.Most}} {
			if *end.to, err = limitValue(q, strings.TrimSpace(end.text), unit); err != nil {
				return nil, err
			}
		}
		if err := checkLimit(l, units); err != nil {
			return nil, err
		}
		if l.Set() {
			out = append(out, l)
		}
	}
	return inOrder(out)
}

func limited(name string) (evenstand.Quantity, error) {
	q, ok := evenstand.ParseQuantity(name)
	if ok && slices.Contains(evenstand.Limited, q) {
		return q, nil
	}
	names := make([]string, 0, len(evenstand.Limited))
	for _, q := range evenstand.Limited {
		names = append(names, q.String())
	}
	return q, fmt.Errorf("limits: there is none for %q; there are %s", name, strings.Join(names, ", "))
}

// weight is how people write forces, by the unit that is meant.
var weight = map[string]string{"lb": "lbf", "kg": "kgf"}

// limitValue reads one end, a number with a unit of its own or without one.
func limitValue(q evenstand.Quantity, text, unit string) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	of := q.Info()
	minus := 1.0
	if rest, ok := strings.CutPrefix(text, "-"); ok && of.Min < 0 {
		text, minus = strings.TrimSpace(rest), -1
	}
	v, rest, err := amount(text)
	v *= minus
	if err != nil {
		return v, fmt.Errorf("the limit for %s, %q: %w", of.Label, text, err)
	}
	if rest != "" {
		unit = rest
	}
	si, _ := evenstand.ParseUnit(of.SI)
	if f, ok := weight[unit]; ok && si.Dim == evenstand.Force { // as it stands on the screens
		unit = f
	}
	u, err := evenstand.ParseUnit(unit)
	if err != nil || u.Dim != si.Dim {
		return v, fmt.Errorf("the limit for %s, %q: the unit does not fit; write it in %s or %s", of.Label, text, of.US, of.Metric)
	}
	x := u.ToSI(v)
	if !q.Plausible(x) {
		return x, fmt.Errorf("the limit for %s, %q: no box would log so much; %s to %s %s can be",
			of.Label, text, advise.Digits(u.FromSI(of.Min)), advise.Digits(u.FromSI(of.Max)), u.Name)
	}
	return x, nil
}

func checkLimit(l evenstand.Limit, units evenstand.Units) error {
	if l.Least > l.Most {
		u := limitUnit(l.Of, units)
		return fmt.Errorf("the limits for %s: at least %s and at most %s %s leaves nothing; change one of them", l.Of.Info().Label, inUnit(l.Least, u), inUnit(l.Most, u), u.Name)
	}
	return nil
}

// inOrder puts limits into the order of evenstand.Limited; each may be given
// once.
func inOrder(ls []evenstand.Limit) ([]evenstand.Limit, error) {
	slices.SortStableFunc(ls, func(a, b evenstand.Limit) int {
		return slices.Index(evenstand.Limited, a.Of) - slices.Index(evenstand.Limited, b.Of)
	})
	for i := 1; i < len(ls); i++ {
		if ls[i].Of == ls[i-1].Of {
			return nil, fmt.Errorf("limits: %s is given twice; keep one of them", ls[i].Of)
		}
	}
	return ls, nil
}

// parseLimits reads the table [limits] of book.toml: "at least 18%",
// "at most 6.5mph" or "30lbf to 250lbf".
func parseLimits(table map[string]string, units evenstand.Units) ([]evenstand.Limit, error) {
	var out []evenstand.Limit
	for _, name := range slices.Sorted(maps.Keys(table)) {
		text := table[name]
		q, err := limited(name)
		if err != nil {
			return nil, err
		}
		l := evenstand.Limit{Of: q, Least: math.NaN(), Most: math.NaN()}
		unit := limitUnit(q, units).Name
		text = strings.TrimSpace(text)
		if from, ok := strings.CutPrefix(text, "at least "); ok {
			l.Least, err = limitValue(q, from, unit)
		} else if to, ok := strings.CutPrefix(text, "at most "); ok {
			l.Most, err = limitValue(q, to, unit)
		} else if from, to, ok := strings.Cut(text, " to "); ok {
			if l.Least, err = limitValue(q, from, unit); err == nil {
				l.Most, err = limitValue(q, to, unit)
			}
		} else {
			err = fmt.Errorf(`limits: %s = %q: write "at least 5%s", "at most 5%[3]s" or "5%[3]s to 10%[3]s"`, name, text, unit)
		}
		if err == nil && !l.Set() {
			err = fmt.Errorf("limits: %s = %q: the number is missing", name, text)
		}
		if err == nil {
			err = checkLimit(l, units)
		}
		if err != nil {
			return nil, err
		}
		out = append(out, l)
	}
	return inOrder(out)
}

// SayLimits sets limits as book.toml writes them, each as one line:
// cleaner_pressure = 15psi to 40psi; none takes one off.
func (b *Book) SayLimits(ctx context.Context, lines []string) error {
	if len(lines) == 0 {
		return nil
	}
	return b.ChangeSettings(ctx, func(s *evenstand.Settings) error {
		table := map[string]string{}
		for _, line := range lines {
			name, text, ok := strings.Cut(line, "=")
			name, text = strings.TrimSpace(name), strings.Trim(strings.TrimSpace(text), `"`)
			if !ok {
				return fmt.Errorf(`limits: %q: write "cleaner_pressure = 15psi to 40psi", or none after the sign`, line)
			}
			if _, err := limited(name); err != nil {
				return err
			}
			table[name] = text
		}
		kept := slices.DeleteFunc(slices.Clone(s.Limits), func(l evenstand.Limit) bool { _, ok := table[l.Of.String()]; return ok })
		maps.DeleteFunc(table, func(_, text string) bool { return text == "none" })
		more, err := parseLimits(table, s.Units)
		if err != nil {
			return err
		}
		s.Limits, err = inOrder(append(kept, more...))
		return err
	})
}

// limitText writes a limit as parseLimits reads it.
func limitText(l evenstand.Limit, units evenstand.Units) string {
	u := limitUnit(l.Of, units)
	write := func(x float64) string { return inUnit(x, u) + u.Name }
	switch {
	case math.IsNaN(l.Least):
		return "at most " + write(l.Most)
	case math.IsNaN(l.Most):
		return "at least " + write(l.Least)
	}
	return write(l.Least) + " to " + write(l.Most)
}
