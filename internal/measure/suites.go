package main

import _ "embed"

// A suite is simulated days that are scored together.
type suite struct {
	name     string
	scenario string   // file under scenarios; a name without .toml is built in
	also     []string // further scenarios: the days take them by turns
	seeds    []uint64
	from     uint64 // first seed with -dev
	gradeA   bool   // also simulate the same days at grade A and compare
	money    bool   // go on only until moneyWanted ranges have been compared
}

// of gives the scenario of a day.
func (s suite) of(seed uint64) string {
	if i := int(seed % uint64(len(s.also)+1)); i > 0 {
		return s.also[i-1]
	}
	return s.scenario
}

// moneyWanted is the number of faults whose loss must have been compared.
const moneyWanted = 400

// calmHours is how long nothing must have been wrong.
const calmHours = 100

// halfCell are days on which one cell at a time misses half of its turns.
//
//go:embed half-cell.toml
var halfCell string

// suites is the one list of simulated days. The seeds from 9001 on have not
// been used for tuning anything; whoever works on a detector runs with -dev,
// which takes days from 7001 on.
func suites() []suite {
	return []suite{
		{name: "detectable", scenario: "random-detectable.toml", seeds: days(9001, 20), from: 7001},
		{name: "single", scenario: "random-single.toml", seeds: days(9101, 15), from: 7101},
		{name: "half", scenario: "half-cell", seeds: days(9151, 5), from: 7151},
		{name: "calm", scenario: "calm.toml", seeds: days(9201, 11), from: 7201},
		{name: "row a second", scenario: "random-grade-b.toml", seeds: days(9311, 12), from: 7301, gradeA: true},
		{name: "task data", scenario: "grade-b.toml", seeds: days(9401, 4), from: 7401},
		{name: "places", scenario: "places.toml", seeds: days(9501, 3), from: 7501},
		{name: "clocks", scenario: "clocks.toml", seeds: days(9601, 3), from: 7601},
		{name: "all kinds", scenario: "random-all.toml", also: []string{"random-turns.toml", "random-upsets.toml", "random-spacing.toml", "random-all.toml", "random-ground.toml", "random-all.toml", "random-doubt.toml"}, seeds: days(9940, 60), from: 7900},
		{name: "fields", scenario: "random-fields.toml", seeds: days(9271, 15), from: 7271},
		{name: "tanks", scenario: "random-tanks.toml", also: []string{"random-two-tanks.toml", "random-tanks.toml", "calm-tanks.toml", "calm-tanks.toml"}, seeds: days(12201, 20), from: 7701},
		{name: "swing", scenario: "random-swing.toml", seeds: days(9861, 15), from: 7401},
		{name: "catalogue", scenario: "random-all.toml", also: []string{
			"random-turns.toml", "random-upsets.toml", "random-spacing.toml", "random-ground.toml", "random-doubt.toml", "random-fields.toml",
			"random-tanks.toml", "random-two-tanks.toml", "random-swing.toml", "random-furrow.toml", "random-granules.toml",
		}, seeds: days(12000, 72), from: 7104},
		{name: "calm, all boxes", scenario: "calm-boxes.toml", seeds: days(12101, 11), from: 7221},
		{name: "calm ground", scenario: "calm-ground.toml", seeds: days(9251, 5), from: 7251},
		{name: "furrow", scenario: "random-furrow.toml", seeds: days(9881, 15), from: 7501},
		{name: "calm furrow", scenario: "calm-furrow.toml", seeds: days(9256, 5), from: 7551},
		{name: "granules", scenario: "random-granules.toml", also: []string{"random-granules.toml", "calm-granules.toml"}, seeds: days(9901, 15), from: 7601},
		{name: "look-alikes", scenario: "random-look-alikes.toml", seeds: days(9801, 15), from: 7851},
		{name: "zone and speed", scenario: "random-zone-speed.toml", seeds: days(9821, 20), from: 7821},
		{name: "clocks told", scenario: "clocks-told.toml", seeds: days(9621, 30), from: 7621},
		{name: "money", scenario: "random-detectable.toml", seeds: days(9701, 60), from: 7701, money: true},
	}
}

// pairs are faults that imitate one another: kinds, with variants where these
// make the difference. Dust of the strength that tests demand is sensor-doubt;
// drop-outs and misses are those of a log's telling (docs/measured.md).
func pairs() []pair {
	return []pair{
		{"look-alikes", "dust and doubles", "sensor-doubt dust", "row-doubles"},
		{"look-alikes", "drop-out and skips", "sensor-doubt drop-out|misses", "row-skips"},
		{"look-alikes", "bounce and skips", "row-bounce", "row-skips"},
		{"look-alikes", "a side and a row", "low-vacuum", "row-skips"},
		{"look-alikes", "a stone and a part", "rock", "row-skips"},
		{"look-alikes", "discs of other cells and a setting", "rate-off cells", "rate-off setting"},
		{"zone and speed", "zone and speed", "rough-ground", "speed-spacing"},
		{"swing", "a pump's limit and a rate that is off", "pump-limit", "liquid-rate-off strainer|control"},
		{"swing", "swings by time and by distance", "flow-hunting gain", "flow-hunting drive"},
	}
}

type pair struct{ suite, what, a, b string }

// small is what CI runs: two days, one on which much goes wrong and one calm.
func small() []suite {
	return []suite{
		{name: "small", scenario: "demo.toml", seeds: days(7001, 1)},
		{name: "small, calm", scenario: "calm-short.toml", seeds: days(7001, 1)},
	}
}

func days(first uint64, n int) []uint64 {
	s := make([]uint64, n)
	for i := range s {
		s[i] = first + uint64(i)
	}
	return s
}
