package relation

import (
	_ "embed"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

// Cell is one cell of a replant table: yield in percent of the best for a
// stand (plants an acre) that was planted between two dates, both included.
type Cell struct {
	Table            string // NAF, ISU, ISU10, WI-S
	From, To         int    // days after April 30
	StandLo, StandHi float64
	Season           string // full, short or empty
	Percent          float64
	Source           string
	Status           Status
}

//go:embed replant.csv
var replantCSV string

var cells = sync.OnceValue(func() []Cell {
	cs, err := ReadCells(strings.NewReader(replantCSV))
	if err != nil {
		panic("replant.csv of this build: " + err.Error()) // a broken build; a test reads the same file
	}
	return cs
})

// ReadCells reads replant tables and refuses a line without a source.
func ReadCells(r io.Reader) ([]Cell, error) {
	recs, err := readTable(r, "table,date_from,date_to,stand_lo,stand_hi,season,percent,source,status")
	if err != nil {
		return nil, err
	}
	out := make([]Cell, 0, len(recs))
	for i, rec := range recs {
		at := i + 2
		c := Cell{Table: rec[0], Season: rec[5], Source: rec[7], Status: Status(rec[8])}
		if err := checkSource(c.Source, c.Status); err != nil {
			return nil, fmt.Errorf("line %d: %w", at, err)
		}
		if c.From, err = AfterApril30(rec[1]); err == nil {
			c.To, err = AfterApril30(rec[2])
		}
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", at, err)
		}
		for j, to := range map[int]*float64{3: &c.StandLo, 4: &c.StandHi, 6: &c.Percent} {
			if *to, err = strconv.ParseFloat(rec[j], 64); err != nil {
				return nil, fmt.Errorf("line %d: %q is not a number", at, rec[j])
			}
		}
		out = append(out, c)
	}
	return out, nil
}

// AfterApril30 turns a date such as "05-20", or a whole one such as
// "2026-05-20", into days after April 30 of the same year.
func AfterApril30(date string) (int, error) {
	if len(date) == len("05-20") {
		date = "2001-" + date
	}
	t, err := time.Parse("2006-01-02", date)
	if err != nil {
		return 0, fmt.Errorf("date %q: want 05-20 or 2026-05-20", date)
	}
	return int(t.Sub(time.Date(t.Year(), 4, 30, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour)), nil
}

// Lookup finds the cell of a table that holds a date (days after April 30)
// and a stand (plants an acre). Where bands share an end day the earlier one
// counts (judgement: the source does not say); where they leave a hole there
// is none. Nothing is interpolated.
func Lookup(table string, d int, stand float64, season string) (Cell, bool) {
	for _, c := range cells() {
		if c.Table == table && c.Season == season && c.From <= d && d <= c.To && c.StandLo <= stand && stand <= c.StandHi {
			return c, true
		}
	}
	return Cell{}, false
}

type grid struct {
	days, stands []float64
	percent      [][]float64 // by day, by stand
}

var naf = sync.OnceValue(func() grid {
	var g grid
	for _, c := range cells() {
		if c.Table != "NAF" {
			continue
		}
		if !slices.Contains(g.days, float64(c.From)) {
			g.days = append(g.days, float64(c.From))
		}
		if !slices.Contains(g.stands, c.StandLo/1000) {
			g.stands = append(g.stands, c.StandLo/1000)
		}
	}
	slices.Sort(g.days)
	slices.Sort(g.stands)
	for _, d := range g.days {
		row := make([]float64, len(g.stands))
		for j, s := range g.stands {
			c, ok := Lookup("NAF", int(d), s*1000, "")
			if !ok {
				panic(fmt.Sprintf("replant.csv of this build: NAF has no cell for day %g, stand %g", d, s))
			}
			row[j] = c.Percent
		}
		g.percent = append(g.percent, row)
	}
	return g
})

// Stand gives the yield in percent of the best for p thousand plants an acre
// planted d days after April 30, bilinear between the cells of table NAF and
// clamped at its edges (10 to 36 thousand, April 10 to June 9). It is the
// default of R1; Surface serves for derivatives.
func Stand(p, d float64) float64 {
	g := naf()
	i, fi := bracket(g.days, d)
	j, fj := bracket(g.stands, p)
	a := g.percent[i][j]*(1-fj) + g.percent[i][j+1]*fj
	b := g.percent[i+1][j]*(1-fj) + g.percent[i+1][j+1]*fj
	return a*(1-fi) + b*fi
}

// bracket finds the interval of xs that holds v and how far v lies in it;
// outside the ends it is clamped.
func bracket(xs []float64, v float64) (int, float64) {
	if math.IsNaN(v) {
		return 0, math.NaN()
	}
	i := 0
	for i+2 < len(xs) && v >= xs[i+1] {
		i++
	}
	return i, min(max((v-xs[i])/(xs[i+1]-xs[i]), 0), 1)
}

// Tables are the names of the replant tables, the default first.
func Tables() []string { return []string{"NAF", "ISU", "ISU10", "WI-S"} }

// TableSource gives where a replant table was published.
func TableSource(table string) string {
	for _, c := range cells() {
		if c.Table == table {
			return c.Source
		}
	}
	return ""
}

// ByTable reads a replant table for p thousand plants an acre planted d days after
// April 30, in percent of the best; false where the table has nothing for it. NAF
// is read as Stand does. Of the others the band of dates counts that began last:
// they leave days uncovered and share end days, of which the sources do not say
// what holds there (judgement: the earlier band). WI-S has single days, and is
// linear between them. Within a band it is linear between the stands that it has.
// season is full or short where a table tells
// them apart, as WI-S does.
func ByTable(table string, p, d float64, season string) (float64, bool) {
	if math.IsNaN(p) || math.IsNaN(d) {
		return math.NaN(), false
	}
	if table == "NAF" {
		g := naf()
		if p < g.stands[0] || p > g.stands[len(g.stands)-1] || d < g.days[0] || d > g.days[len(g.days)-1] {
			return math.NaN(), false
		}
		return Stand(p, d), true
	}
	from := math.MinInt // of the band
	last := math.MinInt // on which any band ends
	day := int(math.Floor(d))
	for _, c := range cells() {
		if c.Table != table || c.Season != "" && c.Season != season {
			continue
		}
		last = max(last, c.To)
		// Where two bands share a day it is the earlier's.
		if c.From <= day && c.From > from && (from == math.MinInt || day > c.From || !covers(table, from, day)) {
			from = c.From
		}
	}
	if from == math.MinInt || day > last {
		return math.NaN(), false
	}
	here, ok := inBand(table, from, p, season)
	if next, two := nextDay(table, from); ok && two && d > float64(from) { // single days, not bands
		then, also := inBand(table, next, p, season)
		return here + (d-float64(from))/float64(next-from)*(then-here), also
	}
	return here, ok
}

// nextDay gives the next day of a table of single days; false where from begins a
// band, or is the last.
func nextDay(table string, from int) (next int, ok bool) {
	next = math.MaxInt
	for _, c := range cells() {
		switch {
		case c.Table != table:
		case c.From == from && c.To != from:
			return 0, false
		case c.From > from && c.From == c.To:
			next = min(next, c.From)
		}
	}
	return next, next < math.MaxInt
}

// inBand reads a table's band, linear between the stands that it has.
func inBand(table string, from int, p float64, season string) (float64, bool) {
	below, above := Cell{StandHi: math.Inf(-1)}, Cell{StandLo: math.Inf(1)}
	for _, c := range cells() {
		if c.Table != table || c.From != from || c.Season != "" && c.Season != season {
			continue
		}
		switch lo, hi := c.StandLo/1000, c.StandHi/1000; {
		case lo <= p && p <= hi:
			return c.Percent, true
		case hi < p && hi > below.StandHi:
			below = Cell{StandHi: hi, Percent: c.Percent}
		case lo > p && lo < above.StandLo:
			above = Cell{StandLo: lo, Percent: c.Percent}
		}
	}
	if math.IsInf(below.StandHi, 0) || math.IsInf(above.StandLo, 0) {
		return math.NaN(), false
	}
	f := (p - below.StandHi) / (above.StandLo - below.StandHi)
	return below.Percent + f*(above.Percent-below.Percent), true
}

// covers tells whether a table's band that begins on from holds a day.
func covers(table string, from, day int) bool {
	for _, c := range cells() {
		if c.Table == table && c.From == from && day <= c.To {
			return true
		}
	}
	return false
}
