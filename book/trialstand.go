package book

import (
	"math"
	"regexp"
	"slices"
	"strconv"

	"evenstand"
	measure "evenstand/core/measure/group"
	"evenstand/core/try/trial"
)

// stand is a count of plants as a measure of rows.
var stand = measure.Measure{ID: "stand", Label: "plants counted", Of: "on the ground counted", Unit: "1/m2", Worse: -1}

// standCount is plants counted on some rows.
type standCount struct {
	day  evenstand.Day
	rows evenstand.Rows
	per  float64 // m2
	area float64 // m2
}

// countedIn finds the length that a count was taken over, as notes say it: in 17.5 ft.
var countedIn = regexp.MustCompile(`^in ([0-9.]+) ?([a-z]+)`)

// countOf reads a line of the journal as a count of plants on named rows.
func (b *Book) countOf(e *evenstand.Entry, spacing float64) (standCount, bool) {
	c := standCount{day: evenstand.DayOf(e.T, b.Zone()), rows: e.Rows, per: e.Value, area: 1}
	if e.What != "count" || len(e.Rows) == 0 || !(e.Value > 0) {
		return c, false
	}
	if u, err := evenstand.ParseUnit(e.Unit); err == nil && u.Dim == evenstand.PerArea {
		c.per = u.ToSI(e.Value)
		return c, true
	}
	m := countedIn.FindStringSubmatch(e.Note)
	if m == nil {
		return c, false
	}
	u, err := evenstand.ParseUnit(m[2])
	long, fault := strconv.ParseFloat(m[1], 64)
	if err != nil || fault != nil || u.Dim != evenstand.Length {
		return c, false
	}
	c.area = u.ToSI(long) * spacing * float64(len(e.Rows))
	c.per = e.Value / c.area
	return c, c.area > 0
}

// standData puts the counts of each day beside one another; nil where there are
// none, or where rows changed parts and nothing says which ground was counted.
func (s *season) standData(in *trial.Input) *trial.Data {
	if len(in.Periods) != 1 || in.ByPasses {
		return nil
	}
	d := &trial.Data{Measure: stand}
	days := map[evenstand.Day]int{}
	for _, c := range s.counts {
		i, ok := days[c.day]
		if !ok {
			i = len(d.Blocks)
			days[c.day] = i
			d.Blocks = append(d.Blocks, trial.Block{Y: make([]float64, s.rows), W: make([]float64, s.rows)})
		}
		bl := &d.Blocks[i]
		for _, r := range c.rows {
			if r < 1 || r > s.rows {
				continue
			}
			w := c.area / float64(len(c.rows))
			bl.Y[r-1] = (bl.Y[r-1]*bl.W[r-1] + c.per*w) / (bl.W[r-1] + w)
			bl.W[r-1] += w
		}
	}
	d.Blocks = slices.DeleteFunc(d.Blocks, func(b trial.Block) bool {
		n := 0
		for r := range b.W {
			if b.W[r] > 0 {
				n++
			} else {
				b.Y[r] = math.NaN()
			}
		}
		return n < 2
	})
	if len(d.Blocks) == 0 {
		return nil
	}
	return d
}
