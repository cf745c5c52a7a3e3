package record

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// WalkList says where to count plants in a field, in the order of walking.
type WalkList struct {
	Schema  int           `json:"schema"`
	Field   string        `json:"field"`
	Planted evenstand.Day `json:"planted"`
	Title   string        `json:"title"`
	When    string        `json:"when"`   // when to go; says what is missing where it is not known
	How     string        `json:"how"`    // what one count is
	Way     string        `json:"way"`    // how far it is
	Asked   string        `json:"asked"`  // how many places there are, and what they are for
	Tells   string        `json:"tells"`  // how well so many counts tell the mean
	Places  []WalkPlace   `json:"places"` // in the order of walking
	Notes   []string      `json:"notes"`
	Fields  []string      `json:"fields"` // that have been planted
	// What a form for counts and a picture want beside.
	CountOver evenstand.Number `json:"count_over_m"`  // of each row
	Spacing   evenstand.Number `json:"row_spacing_m"` // of the planter that planted first
	Boundary  [][][2]float64   `json:"boundary"`      // outer rings and holes, longitude and latitude; empty: none is known
}

// WalkPlace is somewhere to count.
type WalkPlace struct {
	Number   int              `json:"number"`
	Planter  string           `json:"planter"`
	Lat      float64          `json:"lat"`
	Lon      float64          `json:"lon"`
	Pass     int              `json:"pass"`
	Key      string           `json:"pass_key"`
	Along    float64          `json:"along_m"` // from the start of the pass
	Rows     evenstand.Rows   `json:"rows"`    // two beside one another
	Expected evenstand.Number `json:"expected_per_m2"`
	Stratum  int              `json:"stratum"` // from 1, the thinnest; 0: beside the strata, of the thinnest tenth; -1: to try a finding
	Worst    bool             `json:"worst"`
	Finding  string           `json:"finding,omitempty"` // that it is to try; Stratum is -1 then
	Where    string           `json:"where"`
	Why      string           `json:"why"`
}

// WalkFacts is what a walk list is made of beside its places.
type WalkFacts struct {
	Strata    int
	Up        float64 // share of seeds that came up by earlier counts; 0 there are none
	Thinnest  int     // places in the thinnest tenth, beside the strata
	Length    float64 // m of walking
	FromStart bool    // the walk begins at a place that was named
	CountOver float64 // m of row of one count
	Share     string  // of an acre, in words
	Half      float64 // half-width of the mean's 90 % interval, plants per m2
	First     evenstand.Day
	Likely    evenstand.Day
	Last      evenstand.Day
	Told      bool // the temperatures reach that far
}

// SayWalk puts a walk into words.
func SayWalk(l WalkList, f WalkFacts, v advise.Voice) WalkList {
	per := perUnit(v)
	plants := func(x float64) string {
		return advise.Thousands(100*int64(math.Round(x*areaOf(v)/100))) + " plants" + per
	}
	l.Schema, l.Title = 1, "Where to count in "+l.Field
	switch {
	case f.Likely == "":
		l.When = "When: not known without temperatures. Corn comes up after about 115 growing degree days (°F; 90 to 130); count when nothing more comes."
	default:
		l.When = "It should come up about " + v.Day(f.Likely) + ", between " + v.Day(f.First) + " and " + v.Day(f.Last) + " (90 to 130 growing degree days, °F)."
		if !f.Told {
			l.When += " The temperatures that were given end before that; they are taken to go on as in their last week."
		}
		l.When += " Count when nothing more comes, some days later."
	}
	over := v.Length(f.CountOver)
	if v.Units != evenstand.Metric {
		in := int(math.Round(f.CountOver / evenstand.Inch))
		over = fmt.Sprintf("%d ft %d in", in/12, in%12)
	}
	l.How = fmt.Sprintf("Count the plants on %s of each row that is named%s.", over, f.Share)
	l.Way = v.Length(f.Length) + " of walking"
	if !f.FromStart {
		l.Way += ", from the first place to the last"
	}
	l.Way += "."
	if f.Thinnest > 0 {
		l.Asked = fmt.Sprintf("%s: one in each of %d equal parts of the field, for its mean, and %d more on the tenth of the ground where the fewest plants are expected, for whether to plant again.", advise.Plural(int64(f.Strata+f.Thinnest), "place", "places"), f.Strata, f.Thinnest)
	}
	tries := 0
	for i := range l.Places {
		if l.Places[i].Stratum < 0 {
			tries++
		}
	}
	if tries > 0 {
		l.Asked = strings.TrimSpace(l.Asked + fmt.Sprintf(" %d more tell what findings leave open: on their ground, and beside it for comparison.", tries))
	}
	l.Tells = fmt.Sprintf("The counts of the %d parts tell the mean of the field to within about %s either way, 9 times in 10, if single counts scatter by 12 in 100 as is common (from memory).", f.Strata, plants(f.Half))
	for i := range l.Places {
		p := &l.Places[i]
		p.Number = i + 1
		p.Where = fmt.Sprintf("Pass %d, %s from its start, %s", p.Pass, v.Length(p.Along), advise.Lower(advise.Rows(p.Rows)))
		switch {
		case p.Stratum < 0: // says so already
		case p.Stratum == 0:
			p.Why = "Where the fewest are expected, for whether to plant again: about " + plants(float64(p.Expected))
		default:
			p.Why = fmt.Sprintf("Part %d of %d of the field, from thin to thick: about %s expected", p.Stratum, f.Strata, plants(float64(p.Expected)))
		}
	}
	share := "the share of them that usually comes up (90 to 95 in 100)"
	if f.Up > 0 {
		share = fmt.Sprintf("the share of them that came up by the counts of this farm (%.0f in 100)", 100*f.Up)
	}
	l.Notes = append(l.Notes,
		"What is expected comes from the seeds that were logged and "+share+"; a count tells what came up.",
		"The field is parted by what is expected into parts of equal area, and one place is drawn in each; two rows beside one another are drawn too, so that nobody chooses the good ones. Counts are kept with their place by this page on the phone, or by evenstand count. As a note ("+noteOf(f.CountOver, v)+") a count has no place; it tells of row trials alone.")
	return l
}

// noteOf is how a count over so much of a row is written down.
func noteOf(m float64, v advise.Voice) string {
	if v.Units == evenstand.Metric {
		return fmt.Sprintf("counted 31 in %.2f m row 3", m)
	}
	return fmt.Sprintf("counted 31 in %.1f ft row 3", m/evenstand.Foot)
}

func areaOf(v advise.Voice) float64 {
	if v.Units == evenstand.Metric {
		return evenstand.Hectare
	}
	return evenstand.Acre
}

// RenderWalk writes it as text.
func RenderWalk(l WalkList, o Options) string {
	p := &page{o: o}
	p.line(o.strong(l.Title))
	for _, s := range nonempty(l.When, l.How, l.Asked, l.Tells, l.Way) {
		p.text("", s)
	}
	p.line("")
	for _, x := range l.Places {
		p.text(fmt.Sprintf("%3d  ", x.Number), x.Where+".")
		p.text("     ", fmt.Sprintf("%.6f, %.6f. %s.", x.Lat, x.Lon, x.Why))
		p.text("     ", "Counted: row "+strings.Trim(strings.Join(strings.Fields(fmt.Sprint([]int(x.Rows))), " ____  row "), "[]")+" ____")
	}
	p.line("")
	for _, n := range l.Notes {
		p.text("", n)
	}
	return p.b.String()
}
