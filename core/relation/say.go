package relation

import (
	"math"
	"regexp"
	"strconv"
	"strings"
)

// Said is a relation in plain words.
type Said struct {
	Title string
	Text  string
}

// said puts the relations into words. {name} stands for the likely figure of
// that line, {low:name} and {high:name} for its ends, and a % before the brace's
// end, as in {name%}, for a share written as a percentage; so that the
// words follow the figures; dates, depths and stands that name a line are typed.
var said = map[string]Said{
	"R1-population":       {"Yield against stand and date", "Yield is flat near the best stand, {best stand, Indiana} thousand plants an acre in Indiana ({low:best stand, Indiana} in severe drought), {low:best stand, Iowa} to {high:best stand, Iowa} in Iowa: a few plants in a hundred more or less cost little, the first holes least. {low:seeds that do not become plants} to {high:seeds that do not become plants} seeds in 100 never become plants."},
	"R2-skip":             {"A place without a seed", "The neighbours of a missing plant make up {neighbour make-up at 18k%} of it at 18,000 plants an acre and {neighbour make-up at 30k%} at 30,000. What is left, about {net loss per skip} of a plant, is the cost of a skip."},
	"R3-double":           {"Two seeds in one place", "Where a double adds a plant, the pair and its neighbours together gain {extra plant, net at 18k} of a plant at 18,000 an acre and {extra plant, net at 30k} at 30,000. A double is priced at its seed; no yield is charged for it by itself."},
	"R4-spacing-sd":       {"Uneven spacing", "With skips and doubles taken out, no yield was lost up to a standard deviation of 12 cm (4.7 in); beyond it {SD above 12 cm}% a centimetre."},
	"R5-spacing-classes":  {"What counts as a skip or a double", "A gap of half the target spacing or less is a multiple, one over {high:class bounds} times the target a skip (ISO 7256-1)."},
	"R6-late-plants":      {"Plants that come up late", "A plant that is 4 to 7 days behind the first flush loses {share lost, 4-7 d%} of its yield, {share lost, 8-13 d%} at 8 to 13 days and {share lost, >=14 d%} from 14 days on; up to 3 days nothing. The more plants are late, the less each loses."},
	"R7-depth":            {"Depth of the seed", "Seed at half an inch or less cost {loss, seed <=0.5 in}% of the yield of those plants ({low:loss, seed <=0.5 in} to {high:loss, seed <=0.5 in}%). Between half an inch and an inch {loss, 0.5-1.0 in}% is reckoned with, from 1.5 to 3 in {loss, 1.5-3.0 in}% (judged)."},
	"R8-gauge-load":       {"Load on the gauge wheels", "No yield is published for a pound of load. What is given is a margin to carry, from memory: about {margin, dry/firm} lb on dry or firm ground, {margin, moist} lb on moist, {margin, wet} lb on wet."},
	"R9-sidewall":         {"Pressed furrow walls", "Spiked closing wheels brought up to {high:spiked closers, emergence}% more plants at three sites, and no yield that could be told."},
	"R10-speed":           {"Speed and spacing", "With gravity tubes the spacing's standard deviation grew by about {SD rise per mph above 4} in for each mph over 4."},
	"R11-emergence-gdd":   {"Heat until emergence", "Corn comes up after about {GDD to emergence} growing degree days (°F; {low:GDD to emergence} to {high:GDD to emergence}), later from deeper than 2 in, under residue, in fine soil and in a dry seed zone."},
	"R12-dry-seed-zone":   {"A dry seed zone", "A corn seed has to take up {seed water, corn}% of its weight in water to germinate, a soybean {seed water, soybean}%. Corn is not sown deeper than {deepest when dry} in after moisture, {high:deepest when dry} in only into even moisture."},
	"R13-residue":         {"Trash in the slot", "Rows of the most and of the least variable residue differed by {most against least variable row}% of yield over 38 fields. For heavy residue that is not cleared about {uncleared heavy residue}% is reckoned (judged)."},
	"R14-planting-date":   {"A day later", "A day of delay is reckoned (judged from trials of the Corn Belt) at nothing before May 1, {May 1-10}% of yield from May 1 to 10, {May 11-20}% from May 11 to 20 and {May 21-31}% from May 21 to 31."},
	"R15-replant":         {"Planting again", "What is left of a thin stand is read from stand and date tables, which disagree: 20,000 plants planted early keep {20k planted early, table ISU}% to {20k planted early, table NAF (default)}% of the best yield. Planting again costs seed, an application and a pass."},
	"R16-stand-count":     {"Counting a stand", "A thousandth of an acre is 522.72 ft·in over the row width: 17 ft 5 in at 30 in. One count scatters by {low:CV of one count} to {high:CV of one count}% (from memory)."},
	"R17-fertilizer":      {"Fertilizer that was missed, or is too much", "A starter that was missed cost {missed starter}% of yield ({low:missed starter} to {high:missed starter}%). In the furrow no more nitrogen and potash than {in-furrow N+K2O, medium-fine} over the row width in inches, in lb/ac, on medium and fine soil; {in-furrow N+K2O, sandy, 30 in} lb/ac in 30 in rows on sand; no urea there. The label governs."},
	"R18-granule-rate":    {"Dry product by the row", "Pounds an acre are {lb/ac from oz per 1000 ft} times the ounces on 1,000 ft of row over the row width in inches."},
	"R19-seed-arithmetic": {"Arithmetic of seed", "The spacing in inches is {spacing} over row width times population; a unit is {corn unit} kernels of corn or, from memory, {soybean unit} soybeans."},
	"R20-overlap-curve":   {"Overlaps and curves", "On 52 fields {low:double-planted area, 52 fields} to {high:double-planted area, 52 fields}% of each was planted twice; the mean of another farm was {double-planted area, mean}%. On a curve without compensation the outer rows get less seed, the inner ones more, as their radius goes."},
	"R21-timeliness":      {"An hour lost", "What an hour's stop costs is the ground still to plant times its yield and price, times the loss of a day's delay, over the hours of a day."},
}

var slot = regexp.MustCompile(`\{(?:(low|high):)?([^}%]+)(%?)\}`)

// Say gives a relation in plain words with the figures of its lines; false for
// one that has none.
func Say(id string) (Said, bool) {
	s, ok := said[id]
	if !ok {
		return s, false
	}
	s.Text = slot.ReplaceAllStringFunc(s.Text, func(m string) string {
		p := slot.FindStringSubmatch(m)
		l := Must(id, p[2])
		x := l.Likely
		switch p[1] {
		case "low":
			x = l.Low
		case "high":
			x = l.High
		}
		if p[3] != "" {
			return number(100*x) + "%"
		}
		return number(x)
	})
	return s, true
}

// number writes a figure of a relation with the thousands parted.
func number(x float64) string {
	s := strconv.FormatFloat(math.Round(x*1e4)/1e4, 'f', -1, 64)
	if x < 10000 || strings.Contains(s, ".") {
		return s
	}
	for i := len(s) - 3; i > 0; i -= 3 {
		s = s[:i] + "," + s[i:]
	}
	return s
}
