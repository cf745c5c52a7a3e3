package trial

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// KindSays writes a kind of attachment as words: closing_wheel is closing wheel.
func KindSays(kind string) string { return strings.ReplaceAll(kind, "_", " ") }

// name is what the part is called within a sentence.
func (in *Input) name() string {
	if in.Label == "" {
		return KindSays(in.Kind)
	}
	return in.Label
}

func (in *Input) against() string {
	switch {
	case in.Setting != "":
		return in.level(in.Against)
	case in.Against == "" && in.ByPasses:
		return "passes without it"
	case in.Against == "":
		return "rows without it"
	}
	return in.Against
}

// level is where a setting stood, without its name.
func (in *Input) level(of string) string {
	return strings.TrimSpace(strings.TrimPrefix(of, in.Setting))
}

// diff gives the size of a difference and its unit: shares in points,
// temperatures as differences.
func diff(v advise.Voice, x float64, unit string) (number, name string) {
	x = math.Abs(x)
	switch unit {
	case "fraction":
		if n := coarse(100*x, 0.01); n == "1" {
			return n, "point"
		} else {
			return n, "points"
		}
	case "degC", "K":
		s := v.Scale("K")
		return coarse(x/s.Scale, 0.1), s.Unit
	case "N":
		s := v.Scale(unit)
		return coarse(x/s.Scale, 1), s.Unit
	}
	s := v.Scale(unit)
	step := 0.0
	if x/s.Scale < 100 && unit == "1/m2" && s.Scale < 0.1 { // seeds an acre or a hectare
		step = 10
	}
	return coarse(x/s.Scale, step), s.Unit
}

// coarse writes a number no finer than a step, which no sensor tells more closely
// than, and nobody would act on.
func coarse(x, step float64) string {
	if step > 0 && x < 10*step {
		x = math.Round(x/step) * step
	}
	return advise.Digits(x)
}

// Diff writes the size of a difference.
func Diff(v advise.Voice, x float64, unit string) string {
	n, name := diff(v, x, unit)
	if n == "0" && x != 0 {
		return "next to nothing"
	}
	return strings.TrimSpace(n + " " + name)
}

// span writes the interval of a difference in the direction of its value.
func span(v advise.Voice, f *Told) string {
	low, high, unit := float64(f.Low), float64(f.High), f.Unit
	if math.IsNaN(low) || math.IsNaN(high) {
		return "of unknown error"
	}
	if f.Diff < 0 {
		low, high = -high, -low
	}
	a, _ := diff(v, low, unit)
	b, name := diff(v, high, unit)
	if low < 0 {
		word, other := "more", "less"
		if f.Diff > 0 {
			word, other = other, word
		}
		return fmt.Sprintf("%s %s to %s %s", a, word, b, other)
	}
	if a == b {
		if a == "0" {
			return "next to nothing"
		}
		return "to within the digits shown"
	}
	return fmt.Sprintf("%s to %s", a, strings.TrimSpace(b+" "+name))
}

// plural measures are spoken of as many.
func many(f *Told) bool {
	return f.Measure == "skips" || f.Measure == "doubles" || f.Measure == "stand"
}

// direction is fewer or more of a measure.
func direction(f *Told) string {
	word := "more"
	if f.Diff < 0 {
		word = "less"
	}
	switch {
	case f.Measure == "wheel-off":
		return "gauge wheels " + word + " off the ground"
	case f.Measure == "population" && f.Diff < 0:
		return "fewer seeds planted"
	case many(f) && f.Diff < 0:
		return "fewer " + f.Label
	}
	return word + " " + f.Label
}

// says is a line of one measure.
func (in *Input) says(f *Told, v advise.Voice) string {
	value := func(n evenstand.Number) string { return v.Value(float64(n), f.Unit) }
	switch {
	case f.How == Nothing:
		return "not told: " + nothing(in)
	case len(f.result.Mixed) > 0:
		return fmt.Sprintf("%s with it, %s without: cannot tell, something else changed too", value(f.With), value(f.Without))
	case f.Verdict == Cannot:
		return fmt.Sprintf("%s with it, %s without: cannot tell", value(f.With), value(f.Without))
	}
	if Diff(v, float64(f.Diff), f.Unit) == "next to nothing" && !f.result.Called() {
		return "as good as the same"
	}
	return fmt.Sprintf("%s, %s: %s", direction(f), Diff(v, float64(f.Diff), f.Unit), span(v, f))
}

func nothing(in *Input) string {
	if in.ByPasses {
		return "two pairs of neighbouring passes and more are needed"
	}
	return "rows with it and rows without are needed on the same passes"
}

// sentence is the verdict in words.
func (in *Input) sentence(f *Told, v advise.Voice) string {
	part, other := advise.Capital(in.name()), in.against()
	d := Diff(v, float64(f.Diff), f.Unit)
	r := &f.result
	smallest := Diff(v, r.Smallest, f.Unit)
	switch f.Verdict {
	case Better, Worse:
		return fmt.Sprintf("%s is %s than %s: %s, %s (%s).", part, f.Verdict, other, direction(f), d, span(v, f))
	case More, Less:
		return fmt.Sprintf("%s gives %s than %s: %s (%s).", part, direction(f), other, d, span(v, f))
	case Equal:
		return fmt.Sprintf("No difference that this trial could see between %s and %s: %s or more of %s would have shown.", in.name(), other, smallest, f.Label)
	}
	switch {
	case len(r.Mixed) > 0:
		return fmt.Sprintf("Cannot tell %s from %s: %s.", in.name(), other, strings.Join(r.Mixed, "; "))
	case r.Lone && len(r.With) == 1:
		return fmt.Sprintf("Row %d with %s has %s, %s. One row cannot tell the part from the row: the smallest difference it could show is %s.", r.With[0], in.name(), direction(f), d, smallest)
	case r.Lone:
		return fmt.Sprintf("%s with %s have %s, %s, than row %d alone, which cannot tell the part from the row.", advise.Rows(r.With), in.name(), direction(f), d, first(r.Without))
	case f.How != Nothing && !r.Known():
		return fmt.Sprintf("Cannot tell %s from %s: too few rows count.", in.name(), other)
	}
	return fmt.Sprintf("Cannot tell %s from %s yet: %s.", in.name(), other, nothing(in))
}

// beside says what else differs where the sentence's own measure does not: for
// somebody who looks at all of them, and by as much as matters.
func (in *Input) beside(fs []Told, lead *Told, v advise.Voice) string {
	n := known(fs)
	var best *Told
	for i := range fs {
		if f := &fs[i]; f != lead && sure(f, n) && (best == nil || f.result.P < best.result.P) {
			best = f
		}
	}
	if best == nil {
		return ""
	}
	return fmt.Sprintf(" It gives %s: %s (%s).", direction(best), Diff(v, float64(best.Diff), best.Unit), span(v, best))
}

// unaimed says that what the part is for was not told.
func (in *Input) unaimed() string {
	what := "what it is mounted for was not measured by row"
	switch {
	case in.Part.Aim != "":
	case in.Kind == "closing_wheel":
		what = "count plants on both kinds of rows, since the stand is what it is for"
	case in.Kind == "row_cleaner":
		what = "nothing told the trash in the slot or the moisture by row, which it is for"
	}
	return fmt.Sprintf("Cannot tell %s from %s yet: %s.", in.name(), in.against(), what)
}

func first(rows []int) int {
	if len(rows) == 0 {
		return 0
	}
	return rows[0]
}

// howSays says how the part was told from the row.
func howSays(h How, r *Result) string {
	switch h {
	case Swap:
		return "Rows changed parts both ways, so that each row is held against itself."
	case Fitted:
		return "Each row that changed is held against itself before, beside what the other rows did in the same time."
	case Beside:
		if r.Lone {
			return "Rows are held against other rows, and there is one of a kind: what is the row's own cannot be told."
		}
		return "Rows with it are held against rows without; what rows differ by themselves is in the interval."
	case Passes:
		return "Neighbouring passes with and without are pairs."
	}
	return "The data do not tell."
}

// perArea writes money an acre or a hectare, that may be a loss.
func (in *Input) perArea(r evenstand.Range, unit string, v advise.Voice) string {
	size, name := evenstand.Acre, "ac"
	if v.Units == evenstand.Metric {
		size, name = evenstand.Hectare, "ha"
	}
	return Gain(r, size, unit) + " per " + name
}

// Gain writes a range of what is saved, of size times it: below nothing it is a
// loss.
func Gain(r evenstand.Range, size float64, unit string) string {
	low, high := float64(r.Low)*size, float64(r.High)*size
	if math.IsNaN(low) || math.IsNaN(high) {
		return advise.Unknown
	}
	one := func(x float64) string { return sum(math.Abs(x), unit) }
	a, b := one(low), one(high)
	zero := one(0)
	switch {
	case a == zero && b == zero:
		return "about nothing"
	case low < 0 && high <= 0:
		return "costs " + b + " to " + a
	case low < 0 && a != zero:
		return "from " + a + " lost to " + b + " saved"
	case a == zero:
		return "saves up to " + b
	}
	return "saves " + a + " to " + b
}

// sum writes an amount of money with cents below 20, bushels with two digits.
func sum(x float64, unit string) string {
	if unit == "bu" {
		return advise.Digits(x) + " bu"
	}
	if x < 20 {
		return advise.Price(x, unit)
	}
	whole := advise.Price(math.Round(x), unit)
	return strings.Replace(whole, fmt.Sprintf("%.2f", math.Round(x)), advise.Thousands(int64(math.Round(x))), 1)
}

// payBackSays says when a part is paid.
func (in *Input) payBackSays(p *PayBack, v advise.Voice, unit string) string {
	all := advise.Plural(int64(len(in.Arms)), "row", "rows")
	cost := sum(float64(p.Cost), unit)
	when := func(n evenstand.Number) string {
		if math.IsNaN(float64(n)) {
			return "never"
		}
		return v.Area(float64(n))
	}
	paid := fmt.Sprintf("For all %s it costs %s, paid after %s (from %s to %s).", all, cost, when(p.Area.Mid), when(p.Area.Low), when(p.Area.High))
	if math.IsNaN(float64(p.Area.Mid)) {
		paid = fmt.Sprintf("For all %s it costs %s, and more likely than not it is never paid.", all, cost)
	}
	if math.IsNaN(float64(p.Chance)) {
		return paid + " How sure that is cannot be said without the ground of a season: write left_to_plant in the settings."
	}
	lasts := "in the one season that it is taken to last"
	if !math.IsNaN(in.Part.Seasons) {
		lasts = "in the " + advise.Digits(in.Part.Seasons) + " seasons that it lasts"
		if in.Part.Seasons == 1 {
			lasts = "in the season that it lasts"
		}
	}
	word := "Do not buy for all rows yet"
	if p.Buy {
		word = "Buy for all rows"
	}
	sure := fmt.Sprintf("it is paid %s with a chance of %.0f%%; 80%% is asked for", lasts, 100*float64(p.Chance))
	switch {
	case float64(p.Chance) < 0.005:
		sure = "it is not paid " + lasts
	case float64(p.Chance) > 0.995:
		sure = "it is paid " + lasts
	}
	return fmt.Sprintf("%s %s: %s. %s a season, %s.", paid, word, sure, v.Area(in.Season), in.SeasonFrom)
}

// unpriced says what a difference would need to be priced.
func unpriced(f *Told) string {
	label := advise.Capital(f.Label)
	switch f.Measure {
	case "load", "force", "wheel-off":
		return label + ": not priced, needs stand counts or digs on both kinds of rows; no yield is published for a load."
	case "moisture", "temperature":
		return label + ": not priced, needs stand counts on both kinds of rows; no yield is published for it."
	case "trash":
		return label + ": not priced, needs stand counts on both kinds of rows; what is reckoned for trash wants the ground that it lies on."
	case "liquid", "granular":
		return label + ": not priced, needs the price of the product."
	case "stand":
		return label + ": not priced; talk to your agronomist about what a stand is worth here."
	}
	return label + ": not priced, needs a relation."
}

// notes says what else must be known.
func (in *Input) notes(fs []Told) []string {
	out := []string{}
	called := 0
	for i := range fs {
		if fs[i].result.Called() && fs[i].result.Known() && !fs[i].result.Lone && len(fs[i].result.Mixed) == 0 {
			called++
		}
	}
	if len(fs) > 1 && called > 0 {
		n := math.Max(1, math.Round(1/(1-math.Pow(1-2*Side, float64(len(fs))))))
		out = append(out, fmt.Sprintf("Of %d measures that do not differ at all one looks as if it did in about one trial of %s.", len(fs), advise.Digits(n)))
	}
	if !in.ByPasses && in.Setting == "" && len(in.Periods) > 1 {
		out = append(out, "A part counts from the first pass of the day that the planter card names.")
	}
	return out
}
