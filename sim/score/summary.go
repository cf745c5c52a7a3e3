package score

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"evenstand"
)

// Summary is a report in figures. A figure that rests on nothing is null.
type Summary struct {
	Days        int              `json:"days"`
	Hours       float64          `json:"machine_hours"`
	Seeds       float64          `json:"seeds"`
	All         Kind             `json:"all"`
	Kinds       map[string]*Kind `json:"kinds"`
	FalsePer10h evenstand.Number `json:"false_per_10h"`
	Excused     int              `json:"excused"`
	Upsets      int              `json:"upsets"`
	Suspected   int              `json:"suspected"`
	CauseRight  Share            `json:"cause_right"`
	Brier       evenstand.Number `json:"brier"` // of the odds given to the right causes: mean of (1-p)²
	Money       MoneyScore       `json:"money"`
	Places      []Position       `json:"places,omitempty"`
}

// Kind is how one kind (a family, for cells) fared.
type Kind struct {
	Recall    Share            `json:"recall"`    // of the faults that tests demand
	Precision Share            `json:"precision"` // of the raised findings that were not excused
	Bonus     int              `json:"bonus"`     // found though weaker than demanded
	DelayS    Spread           `json:"delay_s"`
	Planting  Spread           `json:"delay_planting_s"`
	Turns     Spread           `json:"delay_turns"`
	StartS    Spread           `json:"start_error_s"` // absolute
	Rows      evenstand.Number `json:"rows_overlap"`  // mean
}

// Share is so many of so many, with the share itself.
type Share struct {
	N     int              `json:"n"`
	Of    int              `json:"of"`
	Share evenstand.Number `json:"share"`
}

func (s *Share) add(yes bool) {
	s.Of++
	if yes {
		s.N++
	}
	s.Share = evenstand.Number(float64(s.N) / float64(s.Of))
}

// Spread is the middle and the 90th percentile of a figure.
type Spread struct {
	N      int              `json:"n"`
	Median evenstand.Number `json:"median"`
	P90    evenstand.Number `json:"p90"`
}

// MoneyScore says how good the ranges of money were.
type MoneyScore struct {
	Inside Share            `json:"inside"`         // truth within low to high; nominal 0.8
	Off    evenstand.Number `json:"relative_error"` // median of |mid/true - 1|
	Width  evenstand.Number `json:"width"`          // median of (high - low)/mid
}

// Summary draws the figures from the lists.
func (r *Report) Summary() Summary {
	s := Summary{Days: len(r.Days), Kinds: map[string]*Kind{}, Excused: len(r.Excused), Upsets: r.Upsets, Suspected: r.Hinted, Places: r.Places, FalsePer10h: evenstand.Unknown, Brier: evenstand.Unknown}
	none := Share{Share: evenstand.Unknown}
	s.CauseRight, s.Money = none, MoneyScore{none, evenstand.Unknown, evenstand.Unknown}
	fresh := func() Kind { return Kind{Recall: none, Precision: none, Rows: evenstand.Unknown} }
	s.All = fresh()
	for _, d := range r.Days {
		s.Hours += d.Hours
		s.Seeds += d.Seeds
	}
	if s.Hours > 0 {
		s.FalsePer10h = evenstand.Number(float64(len(r.False)) / s.Hours * 10)
	}
	of := func(kind string) *Kind {
		f := evenstand.Family(kind)
		if s.Kinds[f] == nil {
			k := fresh()
			s.Kinds[f] = &k
		}
		return s.Kinds[f]
	}
	type raw struct{ delay, planting, turns, start, rows []float64 }
	raws := map[string]*raw{}
	rawOf := func(key string) *raw {
		if raws[key] == nil {
			raws[key] = &raw{}
		}
		return raws[key]
	}
	var brier, off, width []float64
	for _, m := range r.Matches {
		for _, k := range []*Kind{&s.All, of(m.Kind)} {
			k.Precision.add(true)
			if m.Detectable {
				k.Recall.add(true)
			} else {
				k.Bonus++
			}
		}
		for _, key := range []string{"", evenstand.Family(m.Kind)} {
			x := rawOf(key)
			x.delay, x.planting, x.turns = append(x.delay, m.DelayS), append(x.planting, m.PlantingS), append(x.turns, m.DelayTurns)
			x.start, x.rows = append(x.start, math.Abs(m.StartS)), append(x.rows, m.Jaccard)
		}
		s.CauseRight.add(m.CauseRight)
		brier = append(brier, (1-m.CauseOdds)*(1-m.CauseOdds))
		if m.Money != nil {
			s.Money.Inside.add(m.Money.Inside())
			if m.Money.True > 0 {
				off = append(off, math.Abs(m.Money.Mid/m.Money.True-1))
			}
			if m.Money.Mid > 0 {
				width = append(width, (m.Money.High-m.Money.Low)/m.Money.Mid)
			}
		}
	}
	for _, m := range r.Missed {
		s.All.Recall.add(false)
		of(m.Kind).Recall.add(false)
	}
	for _, f := range r.False {
		s.All.Precision.add(false)
		of(f.Kind).Precision.add(false)
	}
	fill := func(k *Kind, x *raw) {
		if x != nil {
			k.DelayS, k.Planting, k.Turns, k.StartS, k.Rows = spread(x.delay), spread(x.planting), spread(x.turns), spread(x.start), evenstand.Number(mean(x.rows))
		} else {
			k.DelayS, k.Planting, k.Turns, k.StartS = spread(nil), spread(nil), spread(nil), spread(nil)
		}
	}
	fill(&s.All, raws[""])
	for name, k := range s.Kinds {
		fill(k, raws[name])
	}
	s.Brier, s.Money.Off, s.Money.Width = evenstand.Number(mean(brier)), quantile(off, 0.5), quantile(width, 0.5)
	return s
}

func mean(xs []float64) float64 {
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	return sum / float64(len(xs)) // NaN when empty
}

func spread(xs []float64) Spread {
	return Spread{len(xs), quantile(xs, 0.5), quantile(xs, 0.9)}
}

// quantile interpolates between ranks; unknown when empty.
func quantile(xs []float64, p float64) evenstand.Number {
	if len(xs) == 0 {
		return evenstand.Unknown
	}
	s := slices.Sorted(slices.Values(xs))
	x := p * float64(len(s)-1)
	i := int(x)
	if i+1 >= len(s) {
		return evenstand.Number(s[len(s)-1])
	}
	return evenstand.Number(s[i] + (x-float64(i))*(s[i+1]-s[i]))
}

// WriteJSON writes summary and lists.
func (r *Report) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(struct {
		Schema  int     `json:"schema"`
		Summary Summary `json:"summary"`
		*Report
	}{1, r.Summary(), r})
}

// WriteText writes the report for people.
func (r *Report) WriteText(w io.Writer) error {
	s := r.Summary()
	var b strings.Builder
	fmt.Fprintf(&b, "%s, %.1f machine-hours, %.2f million seeds\n\n", count(s.Days, "day"), s.Hours, s.Seeds/1e6)
	fmt.Fprintf(&b, "%-14s %13s %13s %6s %16s %16s %16s %12s\n", "kind", "recall", "precision", "bonus", "delay s (90 %)", "planting s", "turns", "start off s")
	line := func(name string, k *Kind) {
		fmt.Fprintf(&b, "%-14s %13s %13s %6d %16s %16s %16s %12s\n", name, k.Recall, k.Precision, k.Bonus, k.DelayS, k.Planting, k.Turns, figure(k.StartS.Median, 0))
	}
	var names []string
	for name := range s.Kinds {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		line(name, s.Kinds[name])
	}
	line("all", &s.All)
	fmt.Fprintf(&b, "\nfalse findings  %d, %s in 10 hours\n", len(r.False), figure(s.FalsePer10h, 2))
	fmt.Fprintf(&b, "set apart       %s, %s only suspected, %s true beside a fault or distractor\n", count(s.Upsets, "upset"), count(s.Suspected, "finding"), count(s.Excused, "finding"))
	fmt.Fprintf(&b, "first cause     right in %s; Brier score of the odds %s\n", s.CauseRight, figure(s.Brier, 3))
	fmt.Fprintf(&b, "money           truth within low to high in %s; middle off by %s, range %s of the middle (medians)\n", s.Money.Inside, figure(s.Money.Off, 2), figure(s.Money.Width, 2))
	for _, p := range s.Places {
		fmt.Fprintf(&b, "places          %-9s rms %s m, 95 %% within %s m, %d seeds\n", p.Of, figure(p.RMS, 3), figure(p.P95, 3), p.N)
	}
	if len(r.Taken) > 0 {
		b.WriteString("\nwhat was there, and what it was taken for\n")
		for l := range strings.Lines(r.Mistaken().Text()) {
			b.WriteString("  " + l)
		}
	}
	if len(r.Missed) > 0 {
		b.WriteString("\nmissed\n")
		for _, m := range r.Missed {
			fmt.Fprintf(&b, "  %s: %s %s on rows %s (%s): %s\n", m.Day, m.Fault, m.Kind, m.Rows, m.Params, m.Why)
		}
	}
	if len(r.False) > 0 {
		b.WriteString("\nfalse\n")
		for _, f := range r.False {
			fmt.Fprintf(&b, "  %s: %s on rows %s since %s: %s\n", f.Day, f.Kind, f.Rows, f.Since, f.Why)
		}
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func figure(n evenstand.Number, decimals int) string {
	if math.IsNaN(float64(n)) {
		return "–"
	}
	return fmt.Sprintf("%.*f", decimals, float64(n))
}

// String writes "8/9 0.89".
func (s Share) String() string {
	if s.Of == 0 {
		return "–"
	}
	return fmt.Sprintf("%d/%d %.2f", s.N, s.Of, float64(s.Share))
}

// String writes "12 (40)".
func (s Spread) String() string {
	if s.N == 0 {
		return "–"
	}
	return fmt.Sprintf("%s (%s)", figure(s.Median, 1), figure(s.P90, 1))
}
