package advise

import (
	"math"

	"evenstand"
)

// field says what a finding about the ground says.
func (v Voice) field(f *evenstand.Finding) string {
	at := ""
	if f.Field != "" && f.Field != evenstand.Unassigned {
		at = " in " + f.Field
	}
	figure := func(name string) float64 {
		x, ok := Figure(f, name)
		if !ok {
			return math.NaN()
		}
		return x
	}
	switch f.Kind {
	case evenstand.KindUnplantedLeft:
		s := v.Area(figure("ground not planted")) + at + verb(f, " is not planted", " is not planted", " was not planted")
		n := 0.0
		for _, e := range f.Evidence {
			if e.Name == "ground not planted" {
				n = float64(e.N)
			}
		}
		long := v.Length(figure("longest strip")) + " long and " + v.Length(figure("its width")) + " wide"
		switch {
		case n > 1:
			s += ", in " + Digits(n) + " pieces, the largest " + long
		default:
			s += ", one piece " + long
		}
		if len(f.Rows) > 0 {
			s += ", under " + lower(Rows(f.Rows))
		}
		return s
	case evenstand.KindLateSection:
		x, in := Figure(f, "rows go in late by")
		what := "Rows go in "
		if !in {
			x = figure("rows come out late by")
			what = "Rows come out "
		}
		when := " late"
		if x < 0 {
			when = " early"
		}
		s := what + v.Length(math.Abs(x)) + when + at
		if t, ok := Figure(f, "which took the bar"); ok {
			s += " (" + Digits(math.Abs(t)) + " s)"
		}
		if (x > 0) == in {
			return s + ", which leaves ground at the ends of passes"
		}
		return s + ", which plants ground at the ends of passes twice"
	case evenstand.KindGuessRow:
		x, scatter := figure("guess rows too wide by"), figure("from pass to pass they scatter by")
		if math.Abs(x) >= scatter {
			how := "far apart"
			if x < 0 {
				how = "close"
			}
			return "Passes lie " + v.Length(math.Abs(x)) + " too " + how + at
		}
		return "The distance from pass to pass scatters by " + v.Length(scatter) + at
	case evenstand.KindOffsetDoubt:
		return "Passes lie " + v.Length(figure("passes too far apart and too close by turns")) + " too far apart and too close by turns" + at + ": the rows are off to one side"
	case evenstand.KindOverlap:
		return v.Area(figure("ground planted twice")) + at + ", " + v.Percent(figure("of what was planted")) + " of what was planted, is planted twice"
	case evenstand.KindCoverGap:
		return v.Area(figure("ground missed in small pieces")) + at + ", " + v.Percent(figure("of what was planted")) + " of what was planted, was missed in small pieces"
	}
	return f.Kind
}
