package record

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// depth is the setting that no box logs.
const depth = "depth"

// settings are the names that people give to what they set, longest first.
var settings = []struct {
	word string
	q    evenstand.Quantity // Raw: depth
}{
	{"row cleaner pressure", evenstand.CleanerPressure},
	{"row cleaners", evenstand.CleanerPressure},
	{"cleaner pressure", evenstand.CleanerPressure},
	{"cleaners", evenstand.CleanerPressure},
	{"closing wheel pressure", evenstand.CloserPressure},
	{"closing wheels", evenstand.CloserPressure},
	{"closer pressure", evenstand.CloserPressure},
	{"closers", evenstand.CloserPressure},
	{"gauge wheel load", evenstand.GaugeWheelLoadTarget},
	{"wheel load", evenstand.GaugeWheelLoadTarget},
	{"down pressure", evenstand.AppliedForce},
	{"down force", evenstand.AppliedForce},
	{"downforce", evenstand.AppliedForce},
	{"hydraulic pressure", evenstand.HydraulicPressure},
	{"vacuum", evenstand.Vacuum},
	{"fan speed", evenstand.FanSpeed},
	{"fan", evenstand.FanSpeed},
	{"ground speed", evenstand.GroundSpeed},
	{"speed", evenstand.GroundSpeed},
	{"seeding rate", evenstand.SeedRateTarget},
	{"seed rate", evenstand.SeedRateTarget},
	{"liquid rate", evenstand.LiquidRateTarget},
	{"starter rate", evenstand.LiquidRateTarget},
	{"seeding depth", evenstand.Raw},
	{"planting depth", evenstand.Raw},
	{"depth", evenstand.Raw},
}

var (
	setFirst    = regexp.MustCompile(`^(?:set|changed|change|put|turned)(?: the)? `)
	fillFirst   = regexp.MustCompile(`^(?:refilled|refill|filled|fill|topped up|top up)\b[:,]? ?(?:with |in )?`)
	fillLater   = regexp.MustCompile(`^(\pL+(?: \pL+)?),? (\d.*)$`)
	fixFirst    = regexp.MustCompile(`^(?:fixed|fix|repaired|repair)\b[:,]? ?`)
	workFirst   = regexp.MustCompile(`^(?:cleaned|replaced|changed|swapped|unplugged|unclogged|cleared|tightened|greased|adjusted)\b`)
	digFirst    = regexp.MustCompile(`^(?:dug|dig)(?: up)?\b[:,]? ?`)
	countFirst  = regexp.MustCompile(`^(?:counted|count)\b[:,]? ?`)
	standFirst  = regexp.MustCompile(`^(?:stand|population)\b[:,]? ?(?:of |is )?`)
	lotFirst    = regexp.MustCompile(`^(?:seed )?lot\b[:,#]? ?`)
	settingLike = regexp.MustCompile(`^:? ?(?:(?:from|to|at|up|down|by|up to|down to) )?-?[0-9]`)
	inLength    = regexp.MustCompile(`^(?:plants?|seeds?|seedlings?)? ?(?:in|over|on|per) `)
)

// kind tells what a note is of and reads it. what, when not empty, is what it
// was said to be.
func (p *noteParser) kind(text, what string, given bool) error {
	e := &p.n.Entry
	rows := func(strict bool) (string, error) {
		if given {
			return text, nil
		}
		rest, _, err := p.takeRows(text, strict)
		return rest, err
	}
	low := lower(text)
	is := func(kind string, first *regexp.Regexp) bool {
		return what == kind || what == "" && first.MatchString(low)
	}
	var rest string
	var err error
	if what == "" || what == "setting" {
		keep, was := e.Rows, p.n.Supposed
		rest, err = rows(true)
		if p.names(lower(rest)) && strings.ContainsAny(rest, "0123456789¼½¾") {
			if err != nil {
				return err
			}
			ok, err := p.setting(rest)
			if err != nil || ok {
				e.What = "setting"
				return err
			}
			if what == "" && settingLike.MatchString(p.unnamed(lower(rest))) {
				was = append(slices.Clone(was), "This is kept as words, not as a setting. A setting is written as cleaners 30 to 22 psi, with what else there is to say behind a comma.")
			}
		}
		e.Rows, p.n.Supposed = keep, was // it only begins like one
		if what == "setting" {
			return fmt.Errorf("%q is no setting: write it as cleaners 30 to 22 psi, vacuum 20, down force to 180 or depth 2 1/4 in", text)
		}
	}
	switch {
	case is("refill", fillFirst):
		e.What = "refill"
		if rest, err = rows(true); err == nil {
			err = p.refill(rest[len(fillFirst.FindString(lower(rest))):])
		}
	case is("dig", digFirst):
		e.What = "dig"
		if rest, err = rows(true); err == nil {
			err = p.dig(rest[len(digFirst.FindString(lower(rest))):])
		}
	case what == "count" || what == "" && (countFirst.MatchString(low) || standFirst.MatchString(low)) && strings.ContainsAny(low, "0123456789"):
		e.What = "count"
		if rest, err = rows(true); err == nil {
			low := lower(rest)
			if m := standFirst.FindString(low); m != "" {
				err = p.stand(rest[len(m):])
			} else {
				err = p.count(rest[len(countFirst.FindString(low)):])
			}
		}
	case is("lot", lotFirst):
		e.What = "lot"
		if rest, err = rows(true); err == nil {
			if e.Note = tidy(rest[len(lotFirst.FindString(lower(rest))):]); e.Note == "" {
				err = fmt.Errorf("which lot? Write it as lot A123 rows 1-8")
			}
		}
	case what == "fix" || what == "" && (fixFirst.MatchString(low) || workFirst.MatchString(low)):
		e.What = "fix"
		if rest, err = rows(false); err == nil {
			e.Note = tidy(rest[len(fixFirst.FindString(lower(rest))):])
		}
	default:
		e.What, e.Note = "remark", text
		_, err = rows(false)
	}
	return err
}

// tidy takes what is left of punctuation off the ends.
func tidy(s string) string { return strings.Trim(s, " :,;") }

// names tells whether a text begins with the name of a setting.
func (p *noteParser) names(low string) bool {
	return p.unnamed(low) != low
}

// unnamed takes the name of a setting off; a text that begins with none comes
// back as it is.
func (p *noteParser) unnamed(low string) string {
	for _, s := range settings {
		if rest, ok := strings.CutPrefix(low[len(setFirst.FindString(low)):], s.word); ok && (rest == "" || rest[0] == ' ' || rest[0] == ':') {
			return rest
		}
	}
	return low
}

// setting reads "cleaners 30 to 22 psi"; false when no number follows the name
// or words are left over, as in a remark.
func (p *noteParser) setting(text string) (bool, error) {
	low := lower(text)
	skip := len(setFirst.FindString(low))
	text, low = text[skip:], low[skip:]
	for _, s := range settings {
		after, ok := strings.CutPrefix(low, s.word)
		if !ok || after != "" && after[0] != ' ' && after[0] != ':' {
			continue
		}
		rest := tidy(text[len(s.word):])
		from := strings.HasPrefix(lower(rest), "from ")
		for _, w := range []string{"from ", "to ", "at ", "up to ", "down to "} {
			if strings.HasPrefix(lower(rest), w) {
				rest = rest[len(w):]
				break
			}
		}
		v, rest, ok := takeNumber(rest)
		if !ok {
			if d := lower(rest); d != "" && (d[0] >= '0' && d[0] <= '9') {
				return false, fmt.Errorf("the number of %q cannot be read: write it with a point, as in 5.2, or as 2 1/4", rest)
			}
			return false, nil
		}
		u, rest, unit := takeUnit(rest)
		was := math.NaN()
		if rest == "to" || from && !strings.HasPrefix(lower(rest), "to ") {
			return false, fmt.Errorf("from %s to what? Write it as cleaners 30 to 22 psi", amountOf(v, ""))
		}
		if strings.HasPrefix(lower(rest), "to ") {
			if to, after, ok := takeNumber(rest[3:]); ok {
				was, v = v, to
				u2, after2, unit2 := takeUnit(after)
				if unit && unit2 && u2 != u {
					return false, fmt.Errorf("two units, %s and %s: write both numbers in one", u.Name, u2.Name)
				}
				if rest = after; unit2 {
					u, unit, rest = u2, true, after2
				}
			}
		}
		note := tidy(rest)
		if note != "" && rest[0] != ':' && rest[0] != ',' && rest[0] != ';' && rest[0] != '(' && !strings.HasPrefix(lower(rest), "because ") {
			return false, nil
		}
		return true, p.set(s.q, v, was, u, unit, note)
	}
	return false, nil
}

// set writes a setting into the entry, in the unit that was said or the usual.
func (p *noteParser) set(q evenstand.Quantity, v, was float64, u evenstand.Unit, said bool, note string) error {
	in := q.Info()
	usual, name, low, high := in.US, in.Name, in.Min, in.Max
	if p.c.Units == evenstand.Metric {
		usual = in.Metric
	}
	dim := func(u evenstand.Unit) bool { return q.Accepts(u) }
	if q == evenstand.Raw {
		usual, name, low, high = "in", depth, 0, 0.3
		if p.c.Units == evenstand.Metric {
			usual = "cm"
		}
		dim = func(u evenstand.Unit) bool { return u.Dim == evenstand.Length }
	}
	us, err := evenstand.ParseUnit(usual)
	if err != nil {
		return err
	}
	switch {
	case !said:
		u = us
		p.suppose("No unit was said: %s is taken.", usual)
	case !dim(u):
		swap := map[string]string{"lb": "lbf", "kg": "kgf", "in": "inH2O"}[u.Name]
		s, err := evenstand.ParseUnit(swap)
		if swap == "" || err != nil || !dim(s) {
			return fmt.Errorf("%s is no unit of %s: write it in %s", u.Name, settingName(name), usual)
		}
		u = s
	}
	for _, x := range []float64{v, was} {
		if si := u.ToSI(x); !math.IsNaN(x) && !(si >= low && si <= high) {
			return fmt.Errorf("%s of %s cannot be: check the number and the unit", settingName(name), amountOf(x, u.Name))
		}
	}
	e := &p.n.Entry
	e.Value, e.Unit, e.Note = v, u.Name, name
	if !math.IsNaN(was) {
		e.Note += ", was " + amountOf(was, u.Name)
	}
	if note != "" {
		e.Note += ": " + note
	}
	return nil
}

func (p *noteParser) refill(text string) error {
	e := &p.n.Entry
	v, rest, ok := takeNumber(tidy(text))
	before := ""
	if m := fillLater.FindStringSubmatch(tidy(text)); !ok && m != nil { // starter 400 gal
		before = m[1]
		v, rest, ok = takeNumber(m[2])
	}
	if !ok {
		e.Note = tidy(text)
		return nil
	}
	if !(v > 0) {
		return fmt.Errorf("a fill of nothing: write how much, as in fill 12 units")
	}
	word, after := takeWord(rest)
	if pack := packs[lower(word)]; pack != "" {
		e.Value, e.Note = v, strings.Join(nonempty(pack, before, strings.TrimPrefix(tidy(after), "of ")), " ")
		return nil
	}
	u, after, ok := takeUnit(rest)
	if !ok || u.Dim != evenstand.Volume && u.Dim != evenstand.Mass {
		return fmt.Errorf("%s of what? Write it as fill 12 units, filled 400 gal starter or fill 900 lb", amountOf(v, ""))
	}
	e.Value, e.Unit, e.Note = v, u.Name, strings.Join(nonempty(before, strings.TrimPrefix(tidy(after), "of ")), " ")
	return nil
}

func (p *noteParser) dig(text string) error {
	e := &p.n.Entry
	v, rest, ok := takeNumber(tidy(text))
	if !ok {
		e.Note = tidy(text)
		return nil
	}
	u, after, said := takeUnit(rest)
	if !said {
		name := "in"
		if p.c.Units == evenstand.Metric {
			name = "cm"
		}
		u, _ = evenstand.ParseUnit(name) // both are units
		p.suppose("No unit was said: %s is taken.", name)
		after = rest
	}
	if si := u.ToSI(v); u.Dim != evenstand.Length || !(si >= 0 && si <= 0.3) {
		return fmt.Errorf("a seed %s deep cannot be: write the depth, as in dug row 7: 2.1 in", amountOf(v, u.Name))
	}
	e.Value, e.Unit, e.Note = v, u.Name, tidy(after)
	return nil
}

func (p *noteParser) count(text string) error {
	e := &p.n.Entry
	const how = "write it as counted 31 in 17.5 ft row 3, or stand 30500"
	v, rest, ok := takeNumber(tidy(text))
	if !ok || v != math.Trunc(v) {
		return fmt.Errorf("how many were counted? %s", advise.Capital(how))
	}
	m := inLength.FindString(lower(rest))
	if m == "" {
		return fmt.Errorf("%s in what length? %s", amountOf(v, ""), advise.Capital(how))
	}
	long, rest, ok := takeNumber(rest[len(m):])
	u, rest, unit := takeUnit(rest)
	if u.Name == "ft" { // 17 ft 6 in
		if more, after, is := takeNumber(rest); is && more < 12 {
			if in, after, said := takeUnit(after); said && in.Name == "in" {
				long, rest = math.Round((long+more/12)*1e4)/1e4, after
			}
		}
	}
	if !ok || !unit || u.Dim != evenstand.Length || !(u.ToSI(long) > 0 && u.ToSI(long) < 2000) {
		return fmt.Errorf("%s in what length? %s", amountOf(v, ""), advise.Capital(how))
	}
	e.Value, e.Note = v, "in "+amountOf(long, u.Name)
	if note := tidy(rest); note != "" {
		e.Note += ": " + note
	}
	if w := p.c.Card.RowSpacing; len(e.Rows) == 1 && w > 0 {
		p.n.Area = u.ToSI(long) * w
	}
	return nil
}

func (p *noteParser) stand(text string) error {
	e := &p.n.Entry
	name := "1/ac"
	if p.c.Units == evenstand.Metric {
		name = "1/ha"
	}
	u, err := evenstand.ParseUnit(name)
	if err != nil {
		return err
	}
	v, rest, ok := takeNumber(tidy(text))
	if !ok {
		return fmt.Errorf("how large is the stand? Write it as stand 30500")
	}
	for _, w := range []string{"an acre", "per acre", "a hectare", "per hectare"} {
		if after, ok := strings.CutPrefix(lower(rest), w); ok {
			rest = "1/ha" + after
			if strings.HasSuffix(w, "acre") {
				rest = "1/ac" + after
			}
		}
	}
	said, after, unit := takeUnit(rest)
	switch {
	case unit && said.Dim == evenstand.PerArea:
		u, rest = said, after
	case unit:
		return fmt.Errorf("%s is no unit of a stand: write it as stand 30500, or counted 31 in 17.5 ft row 3", said.Name)
	default:
		p.suppose("No unit was said: plants %s are taken.", perArea(name))
	}
	// 0.1 to 200 plants/m2 is from 400 to 800,000 an acre (judged).
	if si := u.ToSI(v); !(si >= 0.1 && si <= 200) {
		return fmt.Errorf("a stand of %s %s cannot be: write it as stand 30500, or counted 31 in 17.5 ft row 3", amountOf(v, ""), perArea(u.Name))
	}
	e.Value, e.Unit, e.Note = v, u.Name, tidy(rest)
	return nil
}
