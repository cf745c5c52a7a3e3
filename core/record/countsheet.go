package record

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/stat"
)

// CountSheet is what plants counted on foot say: of each field, of the farm, of
// findings, with every count.
type CountSheet struct {
	Schema int          `json:"schema"`
	Title  string       `json:"title"`
	Says   []string     `json:"says"` // of the farm
	Fields []CountField `json:"fields"`
	Counts []CountLine  `json:"counts"` // the newest first
	Notes  []string     `json:"notes"`
	Cites  []Cite       `json:"cites"`
}

// NewCountSheet gives one that says nothing yet.
func NewCountSheet(title string) CountSheet {
	return CountSheet{
		Schema: 1, Title: title, Says: []string{}, Fields: []CountField{}, Counts: []CountLine{}, Notes: []string{},
		Cites: cites([]string{"R16-stand-count", "R1-population", "R2-skip", "R6-late-plants"}),
	}
}

// CountField is what they say of a field.
type CountField struct {
	Field    string           `json:"field"`
	Season   string           `json:"season"`
	Counts   int              `json:"counts"` // that are used
	Emerge   evenstand.Range  `json:"emerge"` // share of the seeds that became plants; 10th, 50th, 90th percentile
	Stand    evenstand.Range  `json:"stand_per_m2"`
	Says     []string         `json:"says"`
	Findings []CountedFinding `json:"findings"` // that counts can try
	Zones    []CountZone      `json:"zones"`    // for planting again
}

// CountedFinding is what they say of a finding.
type CountedFinding struct {
	Finding  string `json:"finding"`
	Sentence string `json:"sentence"`
	Says     string `json:"says"`
	Told     bool   `json:"told"`
}

// CountZone is a piece of a field by how it stands.
type CountZone struct {
	Name   string           `json:"name"`
	Area   evenstand.Number `json:"area_m2"`
	Stand  evenstand.Range  `json:"stand_per_m2"`
	Late   evenstand.Number `json:"late"` // share of the plants counted in it; unknown nobody has looked
	Counts int              `json:"counts"`
	Says   string           `json:"says"`
}

// CountLine is one count.
type CountLine struct {
	ID        string            `json:"id"`
	Time      evenstand.Micros  `json:"time"`
	When      string            `json:"when"`
	Field     string            `json:"field"`
	Place     string            `json:"place"`
	Lat       *evenstand.Number `json:"lat,omitempty"`
	Lon       *evenstand.Number `json:"lon,omitempty"`
	Rows      string            `json:"rows"`
	Says      string            `json:"says"`      // what was counted
	Logged    string            `json:"logged"`    // what the logs have of that ground
	Unused    string            `json:"unused"`    // why it does not count; empty: it does
	Corrected bool              `json:"corrected"` // by a later one
	Replaces  string            `json:"replaces"`  // id of the one that this corrects
	Note      string            `json:"note"`
	Who       string            `json:"who"`
}

// CountFacts is a count in figures.
type CountFacts struct {
	Line         CountLine
	Plants, Late float64 // NaN not counted
	Per          float64 // plants per m2; NaN not told
	Seeds        float64 // logged per m2 there; NaN nothing
	Pass         int     // 0 not known
	Along        float64 // m
	Rows         evenstand.Rows
	Depths       []float64 // m
}

// SayCount puts a count into words.
func SayCount(f CountFacts, v advise.Voice) CountLine {
	l := f.Line
	l.When = v.Date(l.Time) + ", " + v.Clock(l.Time)
	var says []string
	if !math.IsNaN(f.Plants) {
		s := advise.Plural(int64(f.Plants), "plant", "plants")
		if !math.IsNaN(f.Per) {
			s += ", " + plantsPer(f.Per, v)
		}
		says = append(says, s)
		if !math.IsNaN(f.Late) {
			says = append(says, fmt.Sprintf("%.0f late", f.Late))
		}
	}
	if n := len(f.Depths); n > 0 {
		if n == 1 {
			says = append(says, "1 seed dug, "+v.Length(f.Depths[0])+" deep")
		} else {
			says = append(says, fmt.Sprintf("%s dug, %s deep in the middle, %s to %s", advise.Plural(int64(n), "seed", "seeds"), v.Length(stat.Median(f.Depths)), v.Length(stat.Quantile(f.Depths, 0)), v.Length(stat.Quantile(f.Depths, 1))))
		}
	}
	l.Says = advise.Capital(strings.Join(says, ", ")) + "."
	if !math.IsNaN(f.Seeds) {
		l.Logged = fmt.Sprintf("Pass %d, %s: %s seeds%s logged", f.Pass, advise.Lower(advise.Rows(f.Rows)), advise.Thousands(100*int64(math.Round(f.Seeds*areaOf(v)/100))), perUnit(v))
		if !math.IsNaN(f.Per) && f.Seeds > 0 {
			l.Logged += fmt.Sprintf("; %.0f plants for 100 of them", 100*f.Per/f.Seeds)
		}
		l.Logged += "."
	}
	return l
}

func plantsPer(x float64, v advise.Voice) string {
	return advise.Thousands(100*int64(math.Round(x*areaOf(v)/100))) + " plants" + perUnit(v)
}

// plantsSpan writes a stand with its range.
func plantsSpan(r evenstand.Range, v advise.Voice) string {
	n := func(x evenstand.Number) string {
		return advise.Thousands(100 * int64(math.Round(float64(x)*areaOf(v)/100)))
	}
	return n(r.Mid) + " plants" + perUnit(v) + " (" + n(r.Low) + " to " + n(r.High) + ")"
}

// FieldFacts is a field in figures.
type FieldFacts struct {
	Field       CountField
	Late, Of    float64 // late plants and plants among which they were looked for
	LateLoss    float64 // R6, percent of yield; NaN none
	FarmCounted int     // fields
}

// SayCountField puts a field into words.
func SayCountField(f FieldFacts, v advise.Voice) CountField {
	c := f.Field
	c.Says = []string{}
	percent := func(n evenstand.Number) int { return int(math.Round(100 * float64(n))) }
	if c.Counts > 0 && !math.IsNaN(float64(c.Emerge.Mid)) {
		c.Says = append(c.Says, fmt.Sprintf("Of 100 seeds that were logged %d became plants (%d to %d), by %s.", percent(c.Emerge.Mid), percent(c.Emerge.Low), percent(c.Emerge.High), advise.Plural(int64(c.Counts), "count", "counts")))
		if !math.IsNaN(float64(c.Stand.Mid)) && len(c.Zones) != 1 {
			c.Says = append(c.Says, "So the field stands at "+plantsSpan(c.Stand, v)+".")
		}
		if c.Counts < 6 {
			c.Says = append(c.Says, "These are few counts: the range leans on the other fields and on what is common.")
		}
	}
	if f.Of > 0 {
		s := fmt.Sprintf("%.0f of %.0f plants were late", f.Late, f.Of)
		if !math.IsNaN(f.LateLoss) && f.Late > 0 {
			s += fmt.Sprintf("; were the whole field so, and they a week or so behind, it would cost about %.1f %% of the yield", f.LateLoss)
		}
		c.Says = append(c.Says, s+".")
	}
	for i := range c.Zones {
		z := &c.Zones[i]
		z.Says = fmt.Sprintf("%s: %s, %s", advise.Capital(z.Name), v.Area(float64(z.Area)), plantsSpan(z.Stand, v))
		if z.Counts > 0 {
			z.Says += ", " + advise.Plural(int64(z.Counts), "count", "counts") + " in it"
		}
		z.Says += "."
	}
	return c
}

// RenderCounts writes a sheet as text.
func RenderCounts(s CountSheet, o Options) string {
	p := &page{o: o}
	p.line(o.strong(s.Title))
	for _, x := range s.Says {
		p.text("", x)
	}
	for _, f := range s.Fields {
		p.line("")
		p.line(o.strong(f.Field + ", " + f.Season))
		for _, x := range f.Says {
			p.text("  ", x)
		}
		for _, z := range f.Zones {
			p.text("  ", z.Says)
		}
		for _, x := range f.Findings {
			p.text("  ", x.Sentence)
			p.text("    ", x.Says)
		}
	}
	if len(s.Counts) > 0 {
		p.line("")
	}
	for _, c := range s.Counts {
		head := c.When + "  " + c.Field
		if c.Corrected {
			head += "  (corrected later)"
		}
		p.text("", head)
		p.text("  ", c.Says)
		for _, x := range nonempty(c.Logged, c.Unused, c.Note) {
			p.text("  ", x)
		}
	}
	p.line("")
	for _, n := range s.Notes {
		p.text("", n)
	}
	return p.b.String()
}
