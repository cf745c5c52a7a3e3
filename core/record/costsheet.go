package record

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/relation"
)

// CostSheet is what a season lost to unevenness, in words and figures. Every way
// parts the same sum: the middle figures of its lines add up to that of the total
// as they are printed.
type CostSheet struct {
	Schema   int            `json:"schema"`
	Season   string         `json:"season"` // the year; empty: nothing was read
	Title    string         `json:"title"`
	Says     []string       `json:"says"` // the sum, and what it is an acre
	Unit     string         `json:"unit"` // of all sums: a currency, or bu
	Total    CostLine       `json:"total"`
	Ways     []CostWay      `json:"ways"`
	Winter   []CostLine     `json:"winter"`   // parts to mend or to buy, the dearest first
	Unpriced []CostUnpriced `json:"unpriced"` // what nothing can be said of, by what is missing
	Notes    []string       `json:"notes"`    // how the sums are to be read
	Seasons  []CostSeason   `json:"seasons"`  // all that there are, the newest first
}

// CostWay is one way to part the total.
type CostWay struct {
	By    string     `json:"by" enum:"cause,part,row,field,day,hour"`
	Title string     `json:"title"`
	Lines []CostLine `json:"lines"` // the dearest first
}

// CostLine is a line of the sheet.
type CostLine struct {
	Name  string           `json:"name"`
	Low   evenstand.Number `json:"low"` // 10th percentile of this line by itself
	Mean  evenstand.Number `json:"mean"`
	High  evenstand.Number `json:"high"` // 90th
	Low0  evenstand.Number `json:"at_total_low"`
	High0 evenstand.Number `json:"at_total_high"`
	// Sum and Range are the same in words: "$224", "$90 to $380".
	Sum      string      `json:"sum"`
	Range    string      `json:"range"`
	Rows     []Line      `json:"rows"` // the rows behind it with their sums, the dearest first
	Findings []CostPiece `json:"findings"`
	Cites    []Cite      `json:"cites"`
	Do       string      `json:"do"` // for a part: what is done about it; empty: nothing is known
}

// CostPiece is a finding behind a line.
type CostPiece struct {
	Finding string `json:"finding"`
	Says    string `json:"says"`
	Sum     string `json:"sum"`
}

// CostUnpriced is something that is missing, and what cannot be priced without it.
type CostUnpriced struct {
	Need     string      `json:"need"`
	Findings []CostPiece `json:"findings"`
}

// CostSeason is the sum of one season.
type CostSeason struct {
	Book   string           `json:"book"`
	Season string           `json:"season"`
	Area   evenstand.Number `json:"area_m2"` // planted; null unknown
	Low    evenstand.Number `json:"low"`
	Mean   evenstand.Number `json:"mean"`
	High   evenstand.Number `json:"high"`
	Unit   string           `json:"unit"`
	Sum    string           `json:"sum"`
	Range  string           `json:"range"`
	Per    string           `json:"per"` // of an acre or hectare; empty unknown
}

// CostQuery says what a cost sheet is of.
type CostQuery struct {
	Season  string // a year
	Field   string // empty: all
	Several bool   // planters: rows are told with theirs
	Area    float64
}

// costWays are the ways that are shown, with their titles.
var costWays = []struct {
	by    price.By
	title string
}{
	{price.ByCause, "By cause"}, {price.ByPart, "By part"}, {price.ByRow, "By row"}, {price.ByField, "By field"}, {price.ByDay, "By day"}, {price.ByHour, "By hour of the day"},
}

// CostWays are the ways that a cost sheet is parted in; by hour it is only where
// that is asked for, for an hour is somebody's at the wheel.
func CostWays(hour bool) (ways []price.By) {
	for _, w := range costWays {
		if w.by != price.ByHour || hour {
			ways = append(ways, w.by)
		}
	}
	return ways
}

// MakeCostSheet puts a cost sheet into words. fs are the findings behind it, with
// their sentences.
func MakeCostSheet(q CostQuery, s price.Sheet, fs []evenstand.Finding, o Options) CostSheet {
	c := &costWords{o: o, unit: s.Unit, says: map[string]string{}, several: q.Several}
	for i := range fs {
		c.says[fs[i].ID] = fs[i].Sentence
	}
	out := CostSheet{Schema: 1, Season: q.Season, Unit: s.Unit, Title: "What unevenness cost", Ways: []CostWay{}, Winter: []CostLine{}, Unpriced: []CostUnpriced{}, Seasons: []CostSeason{}}
	if q.Season != "" {
		out.Title += " in " + q.Season
	}
	if q.Field != "" {
		out.Title += ", " + fieldName(q.Field)
	}
	c.sum = c.units(s.Total.Mean)
	out.Total = c.line("Total", price.Line{Cost: s.Total}, c.sum)
	for i, w := range s.Ways {
		if w.By == price.ByHour { // they follow one another
			slices.SortStableFunc(w.Lines, func(a, b price.Line) int { return strings.Compare(a.Key, b.Key) })
		}
		way := CostWay{By: string(w.By), Title: costWays[i].title, Lines: []CostLine{}}
		for j, n := range c.adding(w.Lines) {
			l := &w.Lines[j]
			way.Lines = append(way.Lines, c.line(c.name(w.By, l), *l, n))
			if p, ok := relation.PartNamed(l.Key); w.By == price.ByPart && ok && p.Class == relation.ClassPart {
				out.Winter = append(out.Winter, way.Lines[j])
			}
		}
		out.Ways = append(out.Ways, way)
	}
	out.Says, out.Notes = c.sums(s, q)
	out.Unpriced = append(out.Unpriced, c.unpriced(s.Unpriced)...)
	return out
}

type costWords struct {
	o       Options
	unit    string
	says    map[string]string // sentences by finding
	several bool
	sum     int64 // the total as it is printed, in steps
}

// step is what sums are printed to: a whole of the currency, a tenth of a bushel.
func (c *costWords) step() float64 {
	if c.unit == "bu" {
		return 0.1
	}
	return 1
}

func (c *costWords) units(x evenstand.Number) int64 { return int64(math.Round(float64(x) / c.step())) }

// adding gives the lines' means in steps so that they add up to the total as it is
// printed: the largest remainders are rounded up.
func (c *costWords) adding(lines []price.Line) []int64 {
	out := make([]int64, len(lines))
	order := make([]int, len(lines))
	left := c.sum
	rest := func(i int) float64 { x := float64(lines[i].Mean) / c.step(); return x - math.Floor(x) }
	for i := range lines {
		out[i] = int64(math.Floor(float64(lines[i].Mean) / c.step()))
		left -= out[i]
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch x, y := rest(a), rest(b); {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	for _, i := range order {
		if left <= 0 {
			break
		}
		out[i]++
		left--
	}
	return out
}

// line puts a line into words; n is its mean in steps.
func (c *costWords) line(name string, l price.Line, n int64) CostLine {
	out := CostLine{
		Name: name, Low: l.Low, Mean: l.Mean, High: l.High, Low0: l.AtLow, High0: l.AtHigh,
		Sum: c.steps(n), Range: c.spread(l.Cost),
		Rows: []Line{}, Findings: []CostPiece{}, Cites: cites(l.Relations),
	}
	out.Rows = append(out.Rows, c.rows(l.Rows)...)
	for _, f := range l.Findings {
		out.Findings = append(out.Findings, CostPiece{f.Finding, c.says[f.Finding], c.money(f.Mean)})
	}
	if p, ok := relation.PartNamed(l.Key); ok {
		out.Do = map[relation.Class]string{
			relation.ClassPart: "Mend or buy", relation.ClassSetting: "Set or calibrate", relation.ClassSeed: "Ask the seed dealer", relation.ClassHandling: "Change how it is done",
		}[p.Class]
	}
	return out
}

// spread writes the range of a line. What costs something only if an unlikely cause
// is the true one has none.
func (c *costWords) spread(x price.Cost) string {
	if x.High <= 0 && x.Mean > 0 {
		return "nothing, 9 times in 10"
	}
	return c.o.Voice.Money(evenstand.Range{Low: x.Low, Mid: x.Mean, High: x.High}, c.unit)
}

func (c *costWords) money(x evenstand.Number) string {
	n := c.units(x)
	if n == 0 && x > 0 {
		return "under " + c.steps(1)
	}
	return c.steps(n)
}

// steps writes a sum that is a number of steps: $1,240, 3.1 bu.
func (c *costWords) steps(n int64) string {
	if c.unit == "bu" {
		return advise.Thousands(n/10) + fmt.Sprintf(".%d bu", n%10)
	}
	return advise.Whole(n, c.unit)
}

func (c *costWords) row(planter string, row int) string {
	name := fmt.Sprintf("Row %d", row)
	if row == 0 {
		name = "The whole planter"
	}
	if c.several {
		name += ", " + planter
	}
	return name
}

// rows tells the rows behind a line, those of one sum together.
func (c *costWords) rows(of []price.Share) (out []Line) {
	type like struct{ planter, sum string }
	var order []like
	by := map[like]evenstand.Rows{}
	for _, r := range of {
		k := like{r.Planter, c.money(r.Mean)}
		if by[k] == nil {
			order = append(order, k)
		}
		by[k] = append(by[k], r.Row)
	}
	for _, k := range order {
		rows := by[k]
		slices.Sort(rows)
		name, sum := advise.Rows(rows), k.sum
		if c.several {
			name += ", " + k.planter
		}
		if len(rows) > 1 {
			sum += " each"
		}
		out = append(out, Line{name, sum})
	}
	return out
}

func (c *costWords) name(by price.By, l *price.Line) string {
	switch by {
	case price.ByRow:
		return c.row(l.Key, l.Row)
	case price.ByField:
		return fieldName(l.Key)
	case price.ByDay:
		return c.o.Voice.Day(evenstand.Day(l.Key))
	case price.ByHour:
		if h, err := strconv.Atoi(l.Key); err == nil {
			return c.o.Voice.Hour(h) + " to " + c.o.Voice.Hour(h+1)
		}
		return "Hour not told"
	}
	if l.Key == "" {
		return "Cause not told"
	}
	return advise.Capital(l.Key)
}

func fieldName(f string) string {
	if f == evenstand.Unassigned || f == "" {
		return "field not named"
	}
	return f
}

// sums says the total, what it is of an acre, and how it is to be read.
func (c *costWords) sums(s price.Sheet, q CostQuery) (says, notes []string) {
	v := c.o.Voice
	says, notes = []string{}, []string{}
	total := evenstand.Range{Low: s.Total.Low, Mid: s.Total.Mean, High: s.Total.High}
	if s.Total.High <= 0 {
		why := "Nothing that was found has a price."
		if len(s.Unpriced) == 0 {
			why = "Nothing was found that cost anything."
		}
		return append(says, why), notes
	}
	says = append(says, fmt.Sprintf("%s, on average %s.", advise.Capital(v.Money(total, c.unit)), c.steps(c.sum)))
	if q.Area > 0 {
		says = append(says, fmt.Sprintf("That is %s of each of %s planted.", v.Money(overArea(total, q.Area, v), c.unit), v.Area(q.Area)))
	}
	notes = append(notes,
		"Low and high hold the sum of all 8 times in 10; each line has its own, and these do not add up, for not all goes badly at once. The averages do add up.",
		"A loss counts by the chance of its cause: what may be a sensor that does not see costs nothing as often as that is likely. The sums of single findings on the worklist hold if the named cause is right, and are larger.")
	if s.Doubted > 0 && c.units(s.Doubted) > 0 {
		notes = append(notes, c.steps(c.units(s.Doubted))+" were taken off for that.")
	}
	notes = append(notes, "A loss of several rows is shared out evenly among them. Which part a cause lies in is trade knowledge, without a published source.")
	return says, append(notes, s.Assumed...)
}

// overArea gives a range of an acre or a hectare.
func overArea(r evenstand.Range, m2 float64, v advise.Voice) evenstand.Range {
	k := evenstand.Number(areaOf(v) / m2)
	return evenstand.Range{Low: r.Low * k, Mid: r.Mid * k, High: r.High * k}
}

// unpriced groups what has no price by what is missing.
func (c *costWords) unpriced(us []price.Unpriced) (out []CostUnpriced) {
	at := map[string]int{}
	for _, u := range us {
		need := needs(u.Needs, !c.o.Page)
		i, ok := at[need]
		if !ok {
			i = len(out)
			at[need] = i
			out = append(out, CostUnpriced{Need: need})
		}
		out[i].Findings = append(out[i].Findings, CostPiece{u.Finding, c.says[u.Finding], ""})
	}
	slices.SortStableFunc(out, func(a, b CostUnpriced) int { return len(b.Findings) - len(a.Findings) })
	return out
}

// SayCostSeason puts the sum of a season into words.
func SayCostSeason(s CostSeason, v advise.Voice) CostSeason {
	c := &costWords{o: Options{Voice: v}, unit: s.Unit}
	r := evenstand.Range{Low: s.Low, Mid: s.Mean, High: s.High}
	s.Sum, s.Range = c.money(s.Mean), v.Money(r, s.Unit)
	if s.Area > 0 {
		s.Per = v.Money(overArea(r, float64(s.Area), v), s.Unit)
	}
	return s
}

// RenderCostSheet writes it as text. ways are the ways to show; none: all.
func RenderCostSheet(s CostSheet, o Options, ways ...string) string {
	p := &page{o: o}
	p.line(o.strong(s.Title))
	for _, l := range s.Says {
		p.text("", l)
	}
	table := func(title string, lines []CostLine, do bool) {
		p.head(title)
		for _, l := range lines {
			p.line(fmt.Sprintf("  %10s  %s (%s)", l.Sum, l.Name, l.Range))
			if do && len(l.Rows) > 0 {
				var rows []string
				for _, r := range l.Rows {
					rows = append(rows, r.What+": "+r.Says)
				}
				p.text("              ", strings.Join(rows, "; "))
			}
		}
	}
	if len(s.Winter) > 0 && len(ways) == 0 {
		table("For the winter: parts, by what they cost this season", s.Winter, true)
	}
	for _, w := range s.Ways {
		if len(w.Lines) > 0 && (len(ways) == 0 && w.By != string(price.ByPart) || slices.Contains(ways, w.By)) {
			table(w.Title, w.Lines, w.By == string(price.ByPart))
		}
	}
	if len(s.Unpriced) > 0 {
		p.head("Cannot say")
		for _, u := range s.Unpriced {
			p.text("  - ", fmt.Sprintf("%s: needs %s", advise.Plural(int64(len(u.Findings)), "finding", "findings"), u.Need))
		}
	}
	if len(s.Seasons) > 1 {
		p.head("Seasons")
		for _, x := range s.Seasons {
			name := x.Season
			if x.Book != "" {
				name += ", " + x.Book
			}
			per := ""
			if x.Per != "" {
				per = "; " + x.Per + perUnit(o.Voice)
			}
			p.line(fmt.Sprintf("  %10s  %s (%s%s)", x.Sum, name, x.Range, per))
		}
	}
	if len(s.Notes) > 0 {
		p.line("")
	}
	for _, n := range s.Notes {
		p.text("", n)
	}
	return p.b.String()
}

func perUnit(v advise.Voice) string {
	if v.Units == evenstand.Metric {
		return " a hectare"
	}
	return " an acre"
}
