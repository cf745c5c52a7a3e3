package record

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/makeup"
)

// MakeUpSheet is a plan for the next machine in words, with what to draw.
type MakeUpSheet struct {
	Schema   int            `json:"schema"`
	Title    string         `json:"title"`
	Field    string         `json:"field"`
	Season   string         `json:"season"`
	Says     []string       `json:"says"`
	Totals   []Line         `json:"totals"`
	Unit     string         `json:"unit"`    // of the rates of the zones
	Planned  float64        `json:"planned"` // in it
	Strips   []MakeUpStrip  `json:"strips"`  // what was off, the most first
	Zones    []MakeUpZone   `json:"zones"`   // with another rate than planned
	Boundary [][][2]float64 `json:"boundary"`
	Cautions []string       `json:"cautions"`
	Notes    []string       `json:"notes"`
	Cites    []Cite         `json:"cites"`
}

// MakeUpStrip is a part of rows' way that was off.
type MakeUpStrip struct {
	Kind   string         `json:"kind" enum:"missed,short,over,doubled"`
	Rows   evenstand.Rows `json:"rows"`
	Pass   int            `json:"pass"`
	Key    string         `json:"pass_key"`
	Length float64        `json:"length_m"`
	Lacks  float64        `json:"lacks"` // m3 or kg of what went on beside seed; below 0 too much
	Got    float64        `json:"got"`   // m3 or kg per m2
	Want   float64        `json:"want"`
	From   [2]float64     `json:"from"` // latitude, longitude
	To     [2]float64     `json:"to"`
	Says   string         `json:"says"`
}

// MakeUpZone is ground that gets another rate than planned.
type MakeUpZone struct {
	Rate float64      `json:"rate"` // in the sheet's unit
	Owed float64      `json:"owed"` // likewise; below 0 it has too much
	Area float64      `json:"area_m2"`
	Why  string       `json:"why"`  // what keeps it from what it is owed; empty: nothing
	Ring [][2]float64 `json:"ring"` // longitude, latitude, closed
}

// MakeUpSum is what strips of a kind come to.
type MakeUpSum struct{ Area, Lacks float64 }

// MakeUpFacts is what a plan is made of.
type MakeUpFacts struct {
	Field, Season string
	Dry, NextDry  bool
	Name          string
	Nutrient      bool    // the next product does for the first by its nutrient
	Wanted        float64 // product per m2 asked for; NaN unknown
	WantedSaid    bool    // the logs say so
	RowFlows      bool    // each row has a meter of its own
	Sums          map[makeup.Kind]MakeUpSum
	MissedArea    float64 // m2 that got nothing, as an equivalent
	Strips        []MakeUpStrip
	Plan          *makeup.Plan
	ToGlobal      func(e, n float64) (lat, lon float64)
	Boundary      [][][2]float64
	Price         float64 // of m3 or kg of the next product; 0 not said
	Currency      string
	Rows, Parts   int // of the next machine
	Starter       evenstand.Range
	StarterKnown  bool
}

// mostStrips is how many a sheet lists.
const mostStrips = 60

// SayMakeUp puts a plan into words.
func SayMakeUp(f MakeUpFacts, v advise.Voice) MakeUpSheet {
	s := MakeUpSheet{
		Schema: 1, Title: "Make up in " + f.Field, Field: f.Field, Season: f.Season, Says: []string{}, Totals: []Line{}, Strips: []MakeUpStrip{}, Zones: []MakeUpZone{}, Boundary: f.Boundary, Notes: []string{},
		Cautions: []string{
			"Talk to your agronomist before the rate is changed: soil, stage and weather decide whether making up still pays.",
			advise.CautionLabel,
		},
		Cites: cites([]string{"R17-fertilizer"}),
	}
	if s.Boundary == nil {
		s.Boundary = [][][2]float64{}
	}
	p := f.Plan
	amount := func(x float64, dry bool) string {
		if dry {
			return v.Mass(x)
		}
		return v.Volume(x)
	}
	var unit string
	per := 1.0
	unit, per = rateUnit(f.NextDry, v)
	s.Unit, s.Planned = unit, round4(p.M.Planned*per)
	kinds := []makeup.Kind{makeup.Missed, makeup.Short, makeup.Over, makeup.Doubled}
	words := map[makeup.Kind]string{makeup.Missed: "got next to nothing", makeup.Short: "fell short", makeup.Over: "got too much", makeup.Doubled: "got it twice"}
	for _, k := range kinds {
		x := f.Sums[k]
		if x.Area <= 0 {
			continue
		}
		what := "lacks "
		if x.Lacks < 0 {
			what = "has too much: "
		}
		s.Totals = append(s.Totals, Line{advise.Capital(words[k]), v.Area(x.Area) + " of rows, " + what + amount(math.Abs(x.Lacks), f.Dry)})
	}
	name := f.Name
	if name == "" {
		name = "product"
	}
	switch {
	case len(f.Strips) == 0:
		s.Says = append(s.Says, fmt.Sprintf("Nothing to make up: no row was off by %.0f %% or more over %s or more.", 100*makeup.Least, v.Length(makeup.LeastLength)))
	default:
		if p.Owed > 0 {
			s.Says = append(s.Says, fmt.Sprintf("Of what was missed or short the plan makes up %.0f %%: %s more of %s, at the places where it is missing.", 100*p.Made/p.Owed, amount(p.Made, f.NextDry), name))
		}
		if p.Excess > 0 && p.M.Planned > 0 {
			s.Says = append(s.Says, fmt.Sprintf("Where there is too much it spares %s.", amount(p.Spared, f.NextDry)))
		}
		for _, w := range []makeup.Why{makeup.MachineMost, makeup.SaltMost, makeup.SeasonMost, makeup.MachineLeast, makeup.NoLess} {
			if x, ok := p.Unmet[w]; ok && math.Abs(x) > 0 {
				switch {
				case x > 0:
					s.Says = append(s.Says, fmt.Sprintf("%s stay missing: %s stands against more.", advise.Capital(amount(x, f.NextDry)), w))
				default:
					s.Says = append(s.Says, fmt.Sprintf("%s stay too much: %s.", advise.Capital(amount(-x, f.NextDry)), w))
				}
			}
		}
		if p.Area > 0 {
			s.Totals = append(s.Totals, Line{"Ground with another rate than planned", v.Area(p.Area)})
		}
		s.Totals = append(s.Totals, Line{"More of the next product", amount(p.Made, f.NextDry)}, Line{"Less of it", amount(p.Spared, f.NextDry)})
		if f.Price > 0 {
			net := (p.Made - p.Spared) * f.Price
			word := "What that costs"
			if net < 0 {
				word = "What that saves"
			}
			s.Totals = append(s.Totals, Line{word, advise.Whole(int64(math.Round(math.Abs(net))), f.Currency)})
		}
		if f.StarterKnown && f.MissedArea > 0 {
			s.Says = append(s.Says, "Starter that was missed costs "+v.Money(f.Starter, f.Currency)+" by itself (0 to 5.2 % of yield there); what comes later is no starter and brings back its nitrogen alone.")
		}
	}
	strips := slices.Clone(f.Strips)
	slices.SortStableFunc(strips, func(a, b MakeUpStrip) int { return cmp.Compare(math.Abs(b.Lacks), math.Abs(a.Lacks)) })
	joined := joinStrips(strips)
	for i := range joined {
		x := &joined[i]
		x.Says = fmt.Sprintf("Pass %d, %s: %s over %s", x.Pass, advise.Lower(advise.Rows(x.Rows)), words[makeup.Kind(x.Kind)], v.Length(x.Length))
		if x.Lacks > 0 {
			x.Says += ", lacks " + amount(x.Lacks, f.Dry)
		} else {
			x.Says += ", " + amount(-x.Lacks, f.Dry) + " too much"
		}
		x.Says += "."
	}
	if len(joined) > mostStrips {
		s.Notes = append(s.Notes, fmt.Sprintf("Of %d strips the %d that matter most are listed; the plan holds all.", len(joined), mostStrips))
		joined = joined[:mostStrips]
	}
	s.Strips = append(s.Strips, joined...)
	for _, z := range p.Zones {
		if math.Abs(z.Rate-p.M.Planned) < 1e-12 && z.Why == "" {
			continue
		}
		x := MakeUpZone{Rate: round4(z.Rate * per), Owed: round4(z.Owed * per), Area: z.Area, Why: string(z.Why)}
		for _, c := range z.Ring {
			lat, lon := f.ToGlobal(c[0], c[1])
			x.Ring = append(x.Ring, [2]float64{math.Round(lon*1e8) / 1e8, math.Round(lat*1e8) / 1e8})
		}
		s.Zones = append(s.Zones, x)
	}
	if !f.WantedSaid && !math.IsNaN(f.Wanted) {
		s.Notes = append(s.Notes, "No box logged which rate was asked for: taken is what most of the rows got.")
	}
	if !f.RowFlows {
		s.Notes = append(s.Notes, "Only the whole machine was measured, so a single row that got nothing is not seen.")
	}
	s.Notes = append(s.Notes,
		fmt.Sprintf("Less than %.0f %% off, or over less than %s, is left alone: monitors and pumps hold no rate better (judgement). Places are as true as the log: at a row a second and 5 mph half a second is 3.7 ft.", 100*makeup.Least, v.Length(makeup.LeastLength)),
		fmt.Sprintf("The next machine is laid over the field along its rows, in %s of %s.", advise.Plural(int64(f.Parts), "part", "parts"), v.Length(p.M.Part)))
	if f.Nutrient {
		s.Notes = append(s.Notes, "The next product does for the first by what both hold of the nutrient; what else was in the first is not made up.")
	}
	return s
}

// joinStrips puts together rows beside one another that were off the same way over
// about the same ground.
func joinStrips(ss []MakeUpStrip) (out []MakeUpStrip) {
	by := map[string][]int{}
	for _, x := range ss {
		key := x.Kind + "\n" + x.Key
		placed := false
		for _, i := range by[key] {
			o := &out[i]
			if math.Abs(o.Length-x.Length) < 0.1*o.Length+4 && nearBy(o.From, x.From) && !o.Rows.Has(x.Rows[0]) {
				o.Rows = append(o.Rows, x.Rows...)
				slices.Sort(o.Rows)
				o.Lacks += x.Lacks
				placed = true
				break
			}
		}
		if !placed {
			x.Rows = slices.Clone(x.Rows)
			by[key] = append(by[key], len(out))
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b MakeUpStrip) int { return cmp.Compare(math.Abs(b.Lacks), math.Abs(a.Lacks)) })
	return out
}

// nearBy tells whether two places lie within the width of a planter of one another.
func nearBy(a, b [2]float64) bool {
	n, e := (a[0]-b[0])*111_200, (a[1]-b[1])*111_200*math.Cos(a[0]*math.Pi/180)
	return math.Hypot(n, e) < 30
}

// rateUnit gives the unit that people of a voice have for a product's rate, and how
// many of it one of SI is.
func rateUnit(dry bool, v advise.Voice) (string, float64) {
	metric := v.Units == evenstand.Metric
	switch {
	case dry && metric:
		return "kg/ha", evenstand.Hectare
	case dry:
		return "lb/ac", evenstand.Acre / evenstand.Pound
	case metric:
		return "L/ha", evenstand.Hectare * 1000
	}
	return "gal/ac", evenstand.Acre / evenstand.Gallon
}

func round4(x float64) float64 { return math.Round(x*1e4) / 1e4 }

// RenderMakeUp writes it as text.
func RenderMakeUp(s MakeUpSheet, o Options) string {
	p := &page{o: o}
	p.line(o.strong(s.Title))
	for _, x := range s.Says {
		p.text("", x)
	}
	if len(s.Totals) > 0 {
		p.line("")
	}
	for _, t := range s.Totals {
		p.text("  ", t.What+": "+t.Says)
	}
	if len(s.Strips) > 0 {
		p.line("")
		p.line(o.strong("What was off"))
	}
	for _, x := range s.Strips {
		p.text("  ", x.Says)
	}
	if len(s.Zones) > 0 {
		p.line("")
		p.text("", fmt.Sprintf("%s with another rate than %g %s; --out writes them for the machine.", advise.Plural(int64(len(s.Zones)), "zone", "zones"), s.Planned, s.Unit))
	}
	p.line("")
	for _, c := range s.Cautions {
		p.text("! ", c)
	}
	for _, n := range s.Notes {
		p.text("", n)
	}
	return strings.TrimRight(p.b.String(), "\n") + "\n"
}
