package book

import (
	"context"
	"math"
	"regexp"
	"slices"
	"strconv"

	"evenstand"
	measure "evenstand/core/measure/group"
	"evenstand/core/try/trial"
)

// standMeasure is a count of plants as a measure of rows.
var standMeasure = measure.Measure{ID: "stand", Label: "plants counted", Of: "on the ground counted", Unit: "1/m2", Worse: -1}

// standCount is plants counted on some rows.
type standCount struct {
	day  evenstand.Day
	from evenstand.Day // on which its ground was planted; empty: not said
	rows evenstand.Rows
	per  float64 // m2
	area float64 // m2
}

// countedIn finds the length that a count was taken over, as notes say it: in 17.5 ft.
var countedIn = regexp.MustCompile(`^in ([0-9.]+) ?([a-z]+)`)

// plantedOn finds the day on which the ground of a count was planted, as notes say
// it: planted 2026-04-30.
var plantedOn = regexp.MustCompile(`planted (\d{4}-\d\d-\d\d)`)

// boxCounts adds the counts that came with logs.
func (b *Book) boxCounts(ctx context.Context, by map[string]*season) error {
	srcs, err := b.Sources(ctx)
	if err != nil {
		return err
	}
	seen := map[evenstand.Day]bool{}
	for i := range srcs {
		if srcs[i].First == evenstand.NoTime {
			continue
		}
		day := evenstand.DayOf(srcs[i].First, b.Zone())
		if seen[day] {
			continue
		}
		seen[day] = true
		for _, s := range by { // lines of a day without planting are not kept
			if h := &srcs[i]; !slices.Contains(s.days, day) && h.Counts.Entries > 0 && h.Counts.Readings == 0 && h.Counts.Seeds == 0 && (h.Planter == "" || h.Planter == s.planter) {
				s.unread = h.Name
			}
		}
		lines, _, err := b.BoxJournal(ctx, day)
		if err != nil {
			return err
		}
		for k := range lines {
			l := &lines[k]
			s := by[l.Planter]
			if s == nil || l.What != "count" {
				continue
			}
			rows, err := evenstand.ParseRows(l.Rows)
			if err != nil {
				continue
			}
			if c, ok := b.countOf(&evenstand.Entry{T: l.T, What: l.What, Rows: rows, Value: float64(l.Value), Unit: l.Unit, Note: l.Note}, s.spacing); ok {
				s.counts = append(s.counts, c)
			}
		}
	}
	return nil
}

// countOf reads a line of the journal as a count of plants on named rows.
func (b *Book) countOf(e *evenstand.Entry, spacing float64) (standCount, bool) {
	c := standCount{day: evenstand.DayOf(e.T, b.Zone()), rows: e.Rows, per: e.Value, area: 1}
	if e.What != "count" || len(e.Rows) == 0 || !(e.Value > 0) {
		return c, false
	}
	if m := plantedOn.FindStringSubmatch(e.Note); m != nil {
		c.from = evenstand.Day(m[1])
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
	if len(in.Periods) == 0 || in.ByPasses {
		return nil
	}
	d := &trial.Data{Measure: standMeasure}
	type on struct {
		day    evenstand.Day
		period int
	}
	days := map[on]int{}
	for _, c := range s.counts {
		period := 0
		if len(in.Periods) > 1 { // by the rows as they carried the part when it was planted
			n := 0
			for k, p := range in.Periods {
				if c.from >= p.From && c.from <= p.To {
					period = k
					n++
				}
			}
			if n != 1 {
				continue
			}
		}
		i, ok := days[on{c.day, period}]
		if !ok {
			i = len(d.Blocks)
			days[on{c.day, period}] = i
			d.Blocks = append(d.Blocks, trial.Block{Period: period, Y: make([]float64, s.rows), W: make([]float64, s.rows)})
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
