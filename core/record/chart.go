package record

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"unicode/utf8"

	"evenstand"
)

// mostLines is how many lines a chart has at most; of more values those that
// the finding is about and the largest others are drawn.
const mostLines = 36

// chart draws values as dots with their intervals, one a line, over the peers'
// band:
//
//	row 6   ░░○░
//	row 7   ░░░░     ├──●──┤   2.4%
//
// A full dot is what the finding is about; shade is the peers' band.
func (p *page) chart(c *evenstand.Chart) {
	show, left := chosen(c)
	if len(show) == 0 {
		return
	}
	p.text("  ", c.Title)
	lo, hi := extent(c)
	labels := make([]string, len(show))
	values := make([]string, len(show))
	wide, tail := 0, 0
	for k, i := range show {
		labels[k] = p.label(c, i)
		values[k] = p.o.Voice.Value(float64(c.Value[i]), c.Unit)
		wide = max(wide, utf8.RuneCountInString(labels[k]))
		tail = max(tail, utf8.RuneCountInString(values[k]))
	}
	columns := min(48, p.o.width()-2-wide-2-2-tail)
	if columns < 8 {
		columns = 8
	}
	for k, i := range show {
		marked := slices.Contains(c.Mark, i)
		line := "  " + pad(labels[k], wide) + "  " + draw(c, i, lo, hi, columns, marked) + "  " + values[k]
		if marked {
			line = p.o.strong(line)
		}
		p.line(line)
	}
	axis := p.o.Voice.Value(lo, c.Unit)
	end := p.o.Voice.Value(hi, c.Unit)
	gap := max(1, columns-utf8.RuneCountInString(axis)-utf8.RuneCountInString(end))
	p.line("  " + pad("", wide) + "  " + axis + strings.Repeat(" ", gap) + end)
	if left > 0 {
		p.text("  ", fmt.Sprintf("%d more, all lower than these, are not drawn.", left))
	}
	if c.Band != nil && !math.IsNaN(float64(c.Band.Low)) && !math.IsNaN(float64(c.Band.High)) {
		p.text("  ", "░ peers: "+p.o.Voice.Value(float64(c.Band.Low), c.Unit)+" to "+p.o.Voice.Value(float64(c.Band.High), c.Unit))
	}
}

// chosen gives the indexes to draw in the order of the chart, and how many are
// left out.
func chosen(c *evenstand.Chart) ([]int, int) {
	n := min(len(c.At), len(c.Value))
	var all []int
	for i := range n {
		if !math.IsNaN(float64(c.Value[i])) {
			all = append(all, i)
		}
	}
	if len(all) <= mostLines {
		return all, 0
	}
	order := slices.Clone(all)
	slices.SortStableFunc(order, func(a, b int) int {
		ma, mb := slices.Contains(c.Mark, a), slices.Contains(c.Mark, b)
		switch {
		case ma != mb && ma:
			return -1
		case ma != mb:
			return 1
		case c.Value[a] > c.Value[b]:
			return -1
		case c.Value[a] < c.Value[b]:
			return 1
		}
		return 0
	})
	const few = 12 // of many values a dozen tell the story
	show := order[:max(few, min(mostLines, len(c.Mark)))]
	slices.Sort(show)
	return show, len(all) - len(show)
}

// extent gives the ends of the axis: all dots, intervals and the band.
func extent(c *evenstand.Chart) (lo, hi float64) {
	lo, hi = math.Inf(1), math.Inf(-1)
	take := func(n evenstand.Number) {
		if x := float64(n); !math.IsNaN(x) && !math.IsInf(x, 0) {
			lo, hi = min(lo, x), max(hi, x)
		}
	}
	for _, xs := range [][]evenstand.Number{c.Value, c.Low, c.High} {
		for _, x := range xs {
			take(x)
		}
	}
	if c.Band != nil {
		take(c.Band.Low)
		take(c.Band.High)
	}
	if lo > 0 && lo < hi/2 {
		lo = 0
	}
	if math.IsInf(lo, 0) {
		return 0, 1
	}
	if hi <= lo {
		hi = lo + 1
	}
	return lo, hi
}

func draw(c *evenstand.Chart, i int, lo, hi float64, columns int, marked bool) string {
	cells := []rune(strings.Repeat(" ", columns))
	at := func(n evenstand.Number) (int, bool) {
		x := float64(n)
		if math.IsNaN(x) || math.IsInf(x, 0) {
			return 0, false
		}
		return min(columns-1, max(0, int(math.Round((x-lo)/(hi-lo)*float64(columns-1))))), true
	}
	if c.Band != nil {
		a, ok1 := at(c.Band.Low)
		b, ok2 := at(c.Band.High)
		for k := a; ok1 && ok2 && k <= b; k++ {
			cells[k] = '░'
		}
	}
	dot, ok := at(c.Value[i])
	if !ok {
		return string(cells)
	}
	if i < len(c.Low) && i < len(c.High) {
		a, ok1 := at(c.Low[i])
		b, ok2 := at(c.High[i])
		if ok1 && ok2 && a < b {
			for k := a; k <= b; k++ {
				cells[k] = '─'
			}
			cells[a], cells[b] = '├', '┤'
		}
	}
	cells[dot] = '○'
	if marked {
		cells[dot] = '●'
	}
	return string(cells)
}

// label names a line: "cell 12", "row 7", a clock time when x is time (Unix
// seconds, or microseconds beyond 1e14).
func (p *page) label(c *evenstand.Chart, i int) string {
	x := float64(c.At[i])
	switch {
	case c.X != "time":
		return strings.TrimSpace(fmt.Sprintf("%s %g", c.X, x))
	case math.Abs(x) > 1e14:
		return p.o.Voice.Clock(evenstand.Micros(x))
	}
	return p.o.Voice.Clock(evenstand.FromSeconds(x))
}
