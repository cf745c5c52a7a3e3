package advise

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenstand"
)

// names are the figures of the evidence as people say them; the others are
// said as they stand.
var names = map[string]string{
	"metres without seed":              "length without seed",
	"share of turns missed":            "turns of the disc missed",
	"slips of the place number":        "times the count of cells slipped",
	"runs of three and more":           "runs of three and more missed",
	"scatter about its places":         "scatter of its seeds about their places",
	"size of the wave":                 "size of the wave, either way",
	"actual over target":               "dropped, of what was asked for",
	"off the ground":                   "readings off the ground",
	"off the ground, its peers":        "the same on its peers",
	"off the ground elsewhere":         "the same elsewhere",
	"force below its peers'":           "down force below its peers'",
	"change of force that suits":       "change of force that suits there",
	"flow over its peers'":             "liquid, of what the middle row gets",
	"flow over its peers' before":      "the same before",
	"liquid over its target":           "liquid, of what was asked for",
	"granules over its peers'":         "granules, of what the middle row gets",
	"granules over its peers' before":  "the same before",
	"granules over their target":       "granules, of what was asked for",
	"by the machine's own meter":       "by the machine's own meter",
	"logged speed over the receiver's": "logged speed, of the receiver's",
	"keeps up with":                    "speed that the liquid keeps up with",
	"kept up at first with":            "the same at first",
	"from thick to thick":              "length of a strip, from thick to thick",

	"liquid over its target above that":        "liquid above it, of what was asked for",
	"of the swing that the load makes at once": "part of the swing that the load makes at once",
	"its pace goes with the speed":             "how its pace goes with the speed (0 by time, 1 by distance)",
}

// counted are the words for what a figure was counted on.
var counted = map[string]string{
	"share of turns missed": "turns",
	"metres without seed":   "seconds",
	"flow over its peers'":  "means of ten seconds", "liquid over its target": "means of ten seconds",
	"keeps up with": "means of five seconds", "force swings either way by": "windows", "liquid swings either way by": "windows",
	"granules over its peers'": "means of ten seconds", "granules over their target": "means of ten seconds",
	"runs of three and more": "places", "scatter about its places": "seeds", "size of the wave": "seeds", "lean towards late seeds": "seeds",
	"skips": "places", "skips of its peers": "places", "skips usual for it": "places",
	"doubles": "places", "doubles of its peers": "places", "doubles usual for it": "places",
	"share of seeds not seen": "places", "seeds missed": "places",
}

const (
	rhythmName = "odds for a rhythm of "
	silenceOf  = "silence of " // and the box
)

// EvidenceName gives the name of a figure in people's words.
func EvidenceName(e evenstand.Evidence) string {
	if n, err := strconv.Atoi(strings.TrimPrefix(e.Name, rhythmName)); err == nil && strings.HasPrefix(e.Name, rhythmName) {
		return "odds that it is every " + Ordinal(n) + " seed"
	}
	if s, ok := strings.CutPrefix(e.Name, limitOf); ok {
		return "limit that you entered for " + s
	}
	if s, ok := names[e.Name]; ok {
		return s
	}
	return e.Name
}

// Evidence writes a figure with its 90 % interval and what it was counted on.
func (v Voice) Evidence(e evenstand.Evidence) string {
	value, low, high, n := float64(e.Value), float64(e.Low), float64(e.High), float64(e.N)
	interval := !math.IsNaN(low) && !math.IsNaN(high)
	unit := UnitOf(e)
	write := func(x float64) string { return v.Value(x, unit) }
	on := counted[e.Name]
	switch {
	case unit == "s" && strings.Contains(e.Name, "clock of "):
		write = func(x float64) string { return Offset(x, 2) }
	case strings.HasPrefix(e.Name, rhythmName):
		write, on = oddsOf, "places"
	case strings.HasPrefix(e.Name, "odds "):
		write = oddsOf
	case strings.HasPrefix(e.Name, silenceOf):
		write = Span
	case unit == "fraction" && interval && high-low < 0.03 && high >= 0.1:
		write = func(x float64) string { return fmt.Sprintf("%.1f%%", 100*x) }
	}
	s := write(value)
	if interval && write(low) != write(high) {
		s += " (90% between " + write(low) + " and " + write(high) + ")"
	}
	if !math.IsNaN(n) && n > 0 && on != "" { // a number of nobody knows what says nothing
		s += ", from " + Digits(n) + " " + on
	}
	return s
}

// oddsOf writes odds that may be huge: 30 to 1, more than a million to 1.
func oddsOf(x float64) string {
	switch {
	case math.IsNaN(x):
		return Unknown
	case x >= 1e6:
		return "more than a million to 1"
	case x >= 1e4:
		return "more than 10,000 to 1"
	case x >= 1000:
		return "more than 1,000 to 1"
	case x >= 1:
		return Digits(math.Round(x)) + " to 1"
	}
	return "under 1 to 1"
}

// GradeAllows says what findings a data grade allows, as the end of a sentence.
func GradeAllows(g evenstand.Grade) string {
	switch g {
	case evenstand.GradeA:
		return "tells all that can go wrong with the dropping of seeds: single cells of a disc, starving rows, worn drives, bouncing tubes, uneven spacing"
	case evenstand.GradeB:
		return "tells which row skips, doubles or stops, and since when; not which part of its meter it is"
	case evenstand.GradeC:
		return "tells rates, pressures and forces of a side, a section or the whole planter; not which row"
	case evenstand.GradeD:
		return "tells where everything was and what was noted; what the rows did comes from the other boxes"
	}
	return ""
}

// GradeWords says what a data grade stands for.
func GradeWords(g evenstand.Grade) string {
	switch g {
	case evenstand.GradeA:
		return "seed times"
	case evenstand.GradeB:
		return "a row a second"
	case evenstand.GradeC:
		return "by section or machine, or slower"
	case evenstand.GradeD:
		return "position and notes"
	}
	return "not known"
}
