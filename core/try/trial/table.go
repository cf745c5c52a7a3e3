package trial

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// Empty says what makes a trial where there is none.
const Empty = "No row trial yet. Write on the planter card what is mounted on which rows and since which day; rows that carry another part than the rest, or none, are a trial. Or note a setting for some rows only, or back and forth by pass."

// Heading names a trial for people: Row cleaner: floating, rows 5 and 6.
func Heading(t *Report) string {
	s := advise.Capital(t.KindSays)
	if t.Setting != "" {
		return advise.Capital(t.Label) + " against " + strings.TrimSpace(strings.TrimPrefix(t.Against, t.Setting))
	}
	if t.Label != "" {
		s += ": " + t.Label
	}
	var rows []int
	for _, r := range t.Rows {
		for _, p := range r.Parts {
			if p == "with" {
				rows = append(rows, r.Row)
				break
			}
		}
	}
	if len(rows) > 0 {
		s += ", " + advise.Lower(advise.Rows(rows))
	}
	return s
}

// Signed writes a difference with its sign and interval.
func Signed(v advise.Voice, x, low, high evenstand.Number, unit string) string {
	one := func(n evenstand.Number) string {
		if math.IsNaN(float64(n)) {
			return advise.Unknown
		}
		d, _ := diff(v, float64(n), unit)
		switch {
		case d == "0":
			return d
		case n < 0:
			return "−" + d
		}
		return "+" + d
	}
	_, name := diff(v, float64(x), unit)
	return strings.TrimSpace(fmt.Sprintf("%s (%s to %s) %s", one(x), one(low), one(high), name))
}

// Table gives what each row did, period by period, in SI: a header and a line for
// each row, period and measure.
func (t *Report) Table() [][]string {
	out := [][]string{{"row", "class", "period", "from", "to", "part", "counts", "measure", "unit", "value", "low", "high", "passes"}}
	cell := func(n evenstand.Number) string {
		if math.IsNaN(float64(n)) {
			return ""
		}
		return strconv.FormatFloat(float64(n), 'g', 6, 64)
	}
	for i := range t.Figures {
		f := &t.Figures[i]
		for _, r := range f.Rows {
			p := t.Periods[r.Period]
			out = append(out, []string{strconv.Itoa(r.Row), t.Rows[r.Row-1].Class, strconv.Itoa(r.Period + 1), string(p.From), string(p.To), r.Part, strconv.FormatBool(r.Counts), f.Measure, f.Unit, cell(r.Value), cell(r.Low), cell(r.High), cell(r.Passes)})
		}
	}
	return out
}
