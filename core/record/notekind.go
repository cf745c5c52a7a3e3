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
	{"row cleaner", evenstand.CleanerPressure},
	{"cleaner pressure", evenstand.CleanerPressure},
	{"cleaners", evenstand.CleanerPressure},
	{"cleaner", evenstand.CleanerPressure},
	{"closing wheel pressure", evenstand.CloserPressure},
	{"closing wheels", evenstand.CloserPressure},
	{"closing wheel", evenstand.CloserPressure},
	{"closer pressure", evenstand.CloserPressure},
	{"closers", evenstand.CloserPressure},
	{"closer", evenstand.CloserPressure},
	{"gauge wheel load", evenstand.GaugeWheelLoadTarget},
	{"gauge wheels", evenstand.GaugeWheelLoadTarget},
	{"gauge wheel", evenstand.GaugeWheelLoadTarget},
	{"wheel load", evenstand.GaugeWheelLoadTarget},
	{"down pressure", evenstand.AppliedForce},
	{"down force", evenstand.AppliedForce},
	{"downforce", evenstand.AppliedForce},
	{"hydraulic pressure", evenstand.HydraulicPressure},
	{"hydraulics", evenstand.HydraulicPressure},
	{"hydraulic", evenstand.HydraulicPressure},
	{"hyd pressure", evenstand.HydraulicPressure},
	{"hyd", evenstand.HydraulicPressure},
	{"vacuum", evenstand.Vacuum},
	{"vac", evenstand.Vacuum},
	{"fan speed", evenstand.FanSpeed},
	{"fan", evenstand.FanSpeed},
	{"ground speed", evenstand.GroundSpeed},
	{"speed", evenstand.GroundSpeed},
	{"seeding rate", evenstand.SeedRateTarget},
	{"seed rate", evenstand.SeedRateTarget},
	{"liquid rate", evenstand.LiquidRateTarget},
	{"starter rate", evenstand.LiquidRateTarget},
	{"starter", evenstand.LiquidRateTarget},
	{"liquid", evenstand.LiquidRateTarget},
	{"population", evenstand.SeedRateTarget},
	{"pop", evenstand.SeedRateTarget},
	{"seeding depth", evenstand.Raw},
	{"planting depth", evenstand.Raw},
	{"depth", evenstand.Raw},
}

var (
	setFirst    = regexp.MustCompile(`^(?:set|changed|change|put|turned)(?: the)? `)
	fillFirst   = regexp.MustCompile(`^(?:refilled|refill|filled|fill|topped up|top up)\b[:,]? ?(?:with |in )?`)
	fillLater   = regexp.MustCompile(`^(\pL+(?: \pL+)?),? (\d.*)$`)
	fillTank    = regexp.MustCompile(`(?i)^((?:\pL+ )?tank ?#?\d{1,2})[,:]? (\d.*)$`)
	fixFirst    = regexp.MustCompile(`^(?:fixed|fix|repaired|repair)\b[:,]? ?`)
	workFirst   = regexp.MustCompile(`^(?:cleaned|replaced|changed|swapped|unplugged|unclogged|cleared|tightened|greased|adjusted)\b`)
	digFirst    = regexp.MustCompile(`^(?:dug|dig)(?: up)?\b[:,]? ?`)
	countFirst  = regexp.MustCompile(`^(?:counted|count)\b[:,]? ?`)
	standFirst  = regexp.MustCompile(`^(?:stand|population|pop)\b[:,]? ?(?:of |is )?`)
	lotFirst    = regexp.MustCompile(`^(?:(?:switch|switched|changed?|went)(?: over)?(?: to)? (?:the )?|started |opened )?(?:new )?(?:seed )?lot\b[:,#]? ?(?:to )?`)
	fillEnd     = regexp.MustCompile(`^([0-9.].*?),? (?:refilled|filled|filled up|topped up)[.!]?$`)
	popFirst    = regexp.MustCompile(`^(?:population|pop)\b:?(?: (?:of|is|was|at))?,? [0-9]`)
	popTo       = regexp.MustCompile(` to [0-9]`)
	oneRow      = regexp.MustCompile(`\brow #?\d`)
	nextValue   = regexp.MustCompile(`^(?: ?[,;&+/] ?| ?and |, and )([0-9.].*)$`)
	nextAmount  = regexp.MustCompile(`^(.*?)(?: ?[,;&+] ?| and |, and | plus )([0-9.].*)$`)
	ordinal     = regexp.MustCompile(`^\d+(?:st|nd|rd|th)\b`)
	leftOver    = regexp.MustCompile(`\b(?:left|over|still|remain(?:s|ing)?|short|empty|to|more|less|extra|in|on|at|for|from|per|of a|too)\b`)
	joint       = regexp.MustCompile(`(?:[,;:] | and )`)
	settingLike = regexp.MustCompile(`^:? ?(?:(?:from|to|at|up|down|by|up to|down to) )?[-+]?[0-9]`)
	// Row 3, 7 meters: rows 3 and 7, or a length.
	partOrLength = regexp.MustCompile(`\b(?:rows? ?#?|r)(\d{1,3}(?: ?(?:,|-|–|and|&) ?\d{1,3})*) ?, ?(\d{1,3}) (meters?|metres?|units?|box(?:es)?)\b( of\b)?`)
	inLength     = regexp.MustCompile(`^(?:plants?|seeds?|seedlings?)? ?(?:in|over|on|per) `)
)

// kind tells what a note is of and reads it. what, when not empty, is what it
// was said to be.
func (p *noteParser) kind(text, what string) error {
	low := p.bare(lower(text))
	found := false
	rows := func(strict bool) (rest string, err error) {
		said := p.e.Rows
		if !p.given {
			rest, found, err = p.takeRows(text, strict)
			return rest, err
		}
		q := noteParser{c: p.c, n: &Note{}}
		rest, found, err = q.takeRows(text, strict)
		switch {
		case !strict && found && !slices.Equal(q.e.Rows, said):
			p.suppose("The rows in the text are kept as words: the note is of %s.", rowsSay(said))
			return text, nil
		case err != nil && strict:
			return rest, err
		case found && !slices.Equal(q.e.Rows, said):
			return rest, fmt.Errorf("the note says %s, and beside it stands %s: say the rows once", rowsSay(q.e.Rows), rowsSay(said))
		case !found:
			return text, nil
		}
		return rest, nil
	}
	is := func(kind string, first *regexp.Regexp) bool {
		return what == kind || what == "" && first.MatchString(low)
	}
	var rest string
	var err error
	if what == "" || what == "setting" {
		keep, was := p.e.Rows, p.n.Supposed
		if what == "" {
			if parts := p.settingParts(text); len(parts) > 1 {
				return p.several(parts)
			}
		}
		rest, err = rows(true)
		low := lower(rest)
		if p.mode(rest) {
			p.e.What = "setting"
			return err
		}
		if p.names(low) && strings.ContainsAny(rest, digits) {
			if err != nil {
				return err
			}
			if what == "" && popFirst.MatchString(low) && !popTo.MatchString(low) {
				return fmt.Errorf("is %q what was set or what was counted? Write it as seed rate 34,000, or as stand 30,500", rest)
			}
			ok, err := p.setting(rest)
			if err != nil || ok {
				p.e.What = "setting"
				return err
			}
		}
		p.e.Rows, p.n.Supposed = keep, was // it only begins like one
		if what == "setting" {
			return fmt.Errorf("%q is no setting: write it as cleaners 30 to 22 psi, vacuum 20, down force to 180, force mode fixed or depth 2 1/4 in", text)
		}
	}
	switch {
	case what == "refill" || what == "" && isFill(low):
		p.e.What = "refill"
		if rest, err = rows(true); err == nil {
			if m := fillEnd.FindStringSubmatchIndex(lower(rest)); m != nil {
				rest = rest[m[2]:m[3]]
			}
			err = p.refill(rest[len(fillFirst.FindString(lower(rest))):])
		}
	case is("dig", digFirst):
		p.e.What = "dig"
		if rest, err = rows(true); err == nil {
			if !p.given && len(p.e.Rows) > 1 && oneRow.MatchString(lower(text)) && !strings.ContainsAny(text, "-–") {
				return fmt.Errorf("are those rows or depths? Write them as dug row 7: 2.1, 2 in, or as dug rows %s: 2.1 in", p.e.Rows)
			}
			err = p.dig(rest[len(digFirst.FindString(lower(rest))):])
		}
	case what == "count" || what == "" && (countFirst.MatchString(low) || standFirst.MatchString(low)) && strings.ContainsAny(low, digits):
		p.e.What = "count"
		if rest, err = rows(true); err == nil {
			low := lower(rest)
			if m := standFirst.FindString(low); m != "" {
				err = p.stand(rest[len(m):])
			} else {
				err = p.count(rest[len(countFirst.FindString(low)):])
			}
		}
	case what == "lot" || what == "" && lotFirst.MatchString(low) && lotLike(low[len(lotFirst.FindString(low)):]):
		p.e.What = "lot"
		if rest, err = rows(true); err == nil {
			if p.e.Note = tidy(rest[len(lotFirst.FindString(lower(rest))):]); p.e.Note == "" {
				err = fmt.Errorf("which lot? Write it as lot A123 rows 1-8")
			}
		}
	case what == "fix" || what == "" && (fixFirst.MatchString(low) || workFirst.MatchString(low)):
		p.e.What = "fix"
		if m := partOrLength.FindStringSubmatch(lower(text)); m != nil && !p.given && m[4] == "" {
			return fmt.Errorf("is %s a row? Write it as fixed rows %s and %[1]s: the %[3]s, or as fixed row %[2]s: %[1]s %[3]s of hose", m[2], m[1], m[3])
		}
		if rest, err = rows(false); err == nil {
			p.e.Note = tidy(rest[len(fixFirst.FindString(lower(rest))):])
			if what == "" && !found && !p.given {
				err = p.rowMeant(p.e.Note[len(workFirst.FindString(lower(p.e.Note))):])
				if strings.ContainsAny(p.e.Note, digits) {
					p.suppose("The number is kept as words, and the fix is of the whole planter. A row is written as fixed row 7: new seal.")
				}
			}
		}
	default:
		p.e.What, p.e.Note = "remark", text
		_, err = rows(false)
		if what == "" {
			p.hint(lower(text))
		}
		return err
	}
	if err == nil && what == "" && p.e.What != "refill" {
		p.hintAside(p.e.Note)
	}
	return err
}

// isFill tells whether a text in small letters says that something was filled:
// fill tube bent says nothing of the kind.
func isFill(low string) bool {
	m := fillFirst.FindString(low)
	return fillEnd.MatchString(low) || m != "" && (m == low || strings.Contains(m, "ed") || strings.ContainsAny(low, digits))
}

// digits are what a number begins with.
const digits = "0123456789¼½¾"

// bare takes the first rows out of a text in small letters, where they stand in
// front or at the end: row 7 dug 1.75 in.
func (p *noteParser) bare(low string) string {
	if from, to := p.rowsFirst(low); from < to && (from == 0 || to == len(low)) {
		return strings.TrimLeft(cut(low, from, to), " :,;")
	}
	return low
}

// rowsFirst gives where the first rows of a text stand, nothing when they cannot
// be read.
func (p *noteParser) rowsFirst(low string) (from, to int) {
	q := noteParser{c: p.c, n: &Note{}}
	_, from, to, _ = q.findRows(low, true)
	return from, to
}

// lotLike tells a lot's name from other words: a word alone, or one with a
// figure. Nothing is one too, and is refused.
func lotLike(low string) bool {
	word, more := takeWord(low)
	return word != "of" && (more == "" || strings.ContainsAny(word, digits) || rowWord.MatchString(low) || sideWord.MatchString(low))
}

// settingParts cuts a text of several settings before the names of all but the
// first.
func (p *noteParser) settingParts(text string) []string {
	low := lower(text)
	at := 0
	var parts []string
	for _, m := range joint.FindAllStringIndex(low, -1) {
		if next := low[m[1]:]; p.like(low[at:m[0]]) == "setting" && p.like(next) == "setting" {
			parts = append(parts, text[at:m[0]])
			at = m[1]
		}
	}
	return append(parts, text[at:])
}

// several reads several settings of one note, each a line.
func (p *noteParser) several(parts []string) error {
	with := 0
	for _, s := range parts {
		if _, to := p.rowsFirst(lower(s)); to > 0 {
			with++
		}
	}
	if with != 0 && with != len(parts) {
		return fmt.Errorf("which rows are the settings of? Write a note for each, or say the rows with each")
	}
	rows := p.e.Rows
	for i, s := range parts {
		if i > 0 {
			p.again()
			p.e.Rows = rows
		}
		if err := p.kind(s, "setting"); err != nil {
			return err
		}
	}
	return nil
}

// rowMeant asks whether a number in front of the words of a fix is a row. Two
// seals are a number of things.
func (p *noteParser) rowMeant(words string) error {
	words = tidy(words)
	v, rest, ok := takeNumber(words)
	last := p.c.Card.Rows
	if last == 0 {
		last = evenstand.MaxRows
	}
	word, _ := takeWord(tidy(rest))
	_, unit := unitOf(word)
	if !ok || v != math.Trunc(v) || v < 1 || v > float64(last) || unit || ordinal.MatchString(words) || strings.HasSuffix(word, "s") && !strings.HasSuffix(word, "ss") {
		return nil
	}
	return fmt.Errorf("is %s a row? Write it as fixed row %s: new seal, or with all rows where it is none", amountOf(v, ""), amountOf(v, ""))
}

// like tells what kind of note a text in small letters would be by its first
// words and a number behind them; empty: none.
func (p *noteParser) like(low string) string {
	low = p.bare(low)
	switch number := strings.ContainsAny(low, digits); {
	case settingLike.MatchString(p.unnamed(low)) && p.names(low):
		return "setting"
	case p.isMode(low):
		return "setting"
	case number && isFill(low):
		return "refill"
	case number && digFirst.MatchString(low):
		return "dig"
	case number && (countFirst.MatchString(low) || standFirst.MatchString(low)):
		return "count"
	case lotFirst.MatchString(low) && number && lotLike(low[len(lotFirst.FindString(low)):]):
		return "lot"
	case fixFirst.MatchString(low) || workFirst.MatchString(low):
		return "fix"
	}
	return ""
}

// written says how a kind of note is written.
var written = map[string]string{
	"setting": "A setting is written as cleaners 30 to 22 psi, with what else there is to say behind a comma.",
	"refill":  "A fill is written as filled 12 units, or filled 400 gal starter.",
	"dig":     "A dig is written as dug row 7: 2.1 in.",
	"count":   "A count is written as counted 31 in 17.5 ft row 3, or stand 30500.",
	"lot":     "A lot is written as lot A123 rows 1-8.",
}

// kindWords are words inside a remark that, with a number in it, may mean
// another kind of note.
var kindWords = []struct {
	kind string
	word *regexp.Regexp
}{
	{"setting", regexp.MustCompile(`\d ?(?:psi|bar|mbar|kpa|inh2o|lbf|gal/ac|gpa|mph|km/h|kmh|rpm)\b`)},
	{"refill", regexp.MustCompile(`\b(?:re)?fill(?:ed)?\b|\btopped up\b|\d(?:\.\d+)? ?(?:gal|gallons?|lbs?|units?|bags?)\b`)},
	{"dig", regexp.MustCompile(`\bdug\b|\bdeep\b`)},
	{"count", regexp.MustCompile(`\bcounted\b|\bstand of\b|\bplants in\b`)},
	{"lot", regexp.MustCompile(`\blot #?[a-z]*\d`)},
}

// hint says how a remark would be written that may be meant as more.
func (p *noteParser) hint(low string) {
	kept := func(kind string) string {
		return "This is kept as words, not as " + map[string]string{"setting": "a setting", "refill": "a fill", "dig": "a dig", "count": "a count", "lot": "a lot"}[kind] + ". "
	}
	for i := range low { // a name with a number behind it
		if (i == 0 || low[i-1] == ' ') && p.names(low[i:]) && settingLike.MatchString(p.unnamed(low[i:])) {
			p.suppose("%s%s", kept("setting"), written["setting"])
			return
		}
	}
	if !strings.ContainsAny(low, digits) {
		return
	}
	if near := nearSetting(low); near != "" {
		p.suppose("%sIs it about %s? %s", kept("setting"), near, written["setting"])
		return
	}
	bare := low // a row's number is no value
	if from, to := p.rowsFirst(low); to > from {
		bare = low[:from] + low[to:]
	}
	for _, k := range kindWords {
		if k.word.MatchString(low) && strings.ContainsAny(bare, digits) && !(k.kind == "setting" && strings.Contains(low, "wind")) {
			p.suppose("%s%s", kept(k.kind), written[k.kind])
			return
		}
	}
}

// hintAside says which words behind what was understood look like a note of
// their own.
func (p *noteParser) hintAside(text string) {
	low := lower(text)
	at := 0
	for _, m := range append(joint.FindAllStringIndex(low, -1), []int{len(low), len(low)}) {
		if kind := p.like(strings.TrimSpace(low[at:m[0]])); kind != "" && kind != "fix" {
			p.suppose("%q is kept as words: write a note of its own for it.", strings.TrimSpace(text[at:m[0]]))
		}
		at = m[1]
	}
}

// nearSetting gives the setting that a text's first or second word is a slip of
// the thumb away from; empty: none.
func nearSetting(low string) string {
	words := strings.Fields(low)
	for i, w := range words[:min(2, len(words))] {
		w = strings.Trim(w, ",;:.")
		if i+1 >= len(words) || len(w) < 5 {
			continue
		}
		for _, s := range settings {
			if s.word == w {
				return "" // no slip
			}
		}
		for _, s := range settings {
			if n := len(s.word); !strings.Contains(s.word, " ") && n >= 5 && w != s.word && slips(w, s.word) <= (n+1)/5 {
				return s.word
			}
		}
	}
	return ""
}

// slips counts the letters that were missed, doubled, struck wrongly or struck
// in the wrong order to get from one word to another: the optimal string
// alignment distance.
func slips(a, b string) int {
	d := make([][]int, len(a)+1)
	for i := range d {
		d[i] = make([]int, len(b)+1)
		d[i][0] = i
	}
	for j := range d[0] {
		d[0][j] = j
	}
	for i := 1; i <= len(a); i++ {
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			d[i][j] = min(d[i-1][j]+1, d[i][j-1]+1, d[i-1][j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				d[i][j] = min(d[i][j], d[i-2][j-2]+1)
			}
		}
	}
	return d[len(a)][len(b)]
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
		if onlyNumbers(note) {
			return false, fmt.Errorf("%s and %s: one setting has one number, and was another: write it as cleaners 30 to 22 psi", amountOf(v, u.Name), note)
		}
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
	usual, name := in.US, in.Name
	if p.c.Units == evenstand.Metric {
		usual = in.Metric
	}
	dim := func(u evenstand.Unit) bool { return q.Accepts(u) }
	if q == evenstand.Raw {
		usual, name = "in", depth
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
		p.suppose("No unit was said: %s taken.", map[bool]string{true: "seeds " + perArea(usual) + " are", false: unitSay(usual) + " is"}[us.Dim == evenstand.PerArea])
	case q == evenstand.LiquidRateTarget && u.Dim == evenstand.Volume:
		return fmt.Errorf("was %s filled or set? Write it as filled 400 gal starter, or as a rate in %s", amountOf(v, u.Name), usual)
	case !dim(u):
		swap := map[string]string{"lb": "lbf", "kg": "kgf", "in": "inH2O"}[u.Name]
		s, err := evenstand.ParseUnit(swap)
		if swap == "" || err != nil || !dim(s) {
			return fmt.Errorf("%s is no unit of %s: write it in %s", u.Name, settingName(name), usual)
		}
		u = s
	}
	low, high := common(q)
	for _, x := range []float64{v, was} {
		if si := u.ToSI(x); !math.IsNaN(x) && !(si >= low && si <= high) {
			return implausible(settingName(name)+" of "+amountOf(x, u.Name), low, high, us)
		}
	}
	e := &p.e
	e.Value, e.Unit, e.Note = v, u.Name, name
	if !math.IsNaN(was) {
		e.Note += ", was " + amountOf(was, u.Name)
	}
	if note != "" {
		e.Note += ": " + note
	}
	return nil
}

// amount is one amount of a fill.
type amount struct {
	v     float64
	unit  string // empty: a pack
	of    string // the pack and what it is of
	words string // as they were written behind it
}

func (p *noteParser) refill(text string) error {
	text = tidy(text)
	if strings.HasPrefix(text, "-") {
		return fmt.Errorf("a fill of %s cannot be: write how much, as in fill 12 units", text)
	}
	before := ""
	if m := fillTank.FindStringSubmatch(text); m != nil { // tank 1 200 gal
		before, text = m[1], m[2]
	} else if m := fillLater.FindStringSubmatch(text); m != nil { // starter 400 gal
		before, text = m[1], m[2]
	}
	if text == "" || !strings.Contains("0123456789.¼½¾", text[:1]) {
		p.e.Note = text
		if strings.ContainsAny(text, digits) {
			p.suppose("How much was filled is kept as words. %s", written["refill"])
		}
		return nil
	}
	var all []amount
	for rest := text; ; {
		tail := ""
		if m := nextAmount.FindStringSubmatch(rest); m != nil && !ordinal.MatchString(m[2]) {
			rest, tail = m[1], m[2]
		}
		a, err := takeAmount(rest)
		if err != nil {
			return err
		}
		if all = append(all, a); tail == "" {
			break
		}
		rest = tail
	}
	for i, a := range all {
		if i > 0 {
			p.again()
		}
		p.hintAside(a.words)
		if len(all) > 1 && (len(strings.Fields(a.words)) > 2 || strings.ContainsAny(a.words, digits+",;:") || leftOver.MatchString(lower(a.words))) {
			return fmt.Errorf("%q holds several amounts and other words: write a note for each fill, as in filled 12 units, 400 gal starter", text)
		}
		p.e.Value, p.e.Unit, p.e.Note = a.v, a.unit, a.of
		if i == 0 && before != "" {
			p.e.Note = strings.Join(nonempty(packs[lower(a.of)], before, a.words), " ")
		}
	}
	return nil
}

// mostOf is how much one fill may be of each pack. A pro box or tote holds
// some 50 units; common practice, no source.
var mostOf = map[string]float64{"units": 1000, "bags": 1000, "boxes": 40, "totes": 40}

// takeAmount reads one amount of a fill and the words behind it.
func takeAmount(s string) (amount, error) {
	v, rest, ok := takeNumber(s)
	if !ok {
		return amount{}, fmt.Errorf("the amount of %q cannot be read: write it as fill 12 units, or with a point, as in 2.5 bags", s)
	}
	if !(v > 0) {
		return amount{}, fmt.Errorf("a fill of nothing: write how much, as in fill 12 units")
	}
	word, after := takeWord(rest)
	name := packs[lower(word)]
	if name == "" {
		u, more, ok := takeUnit(rest)
		if !ok || u.Dim != evenstand.Volume && u.Dim != evenstand.Mass {
			return amount{}, fmt.Errorf("%s of what? Write it as fill 12 units, filled 400 gal starter or fill 900 lb", amountOf(v, ""))
		}
		// Field tanks and tenders; common practice, no source.
		most := map[evenstand.Dimension]string{evenstand.Volume: "gal", evenstand.Mass: "lb"}[u.Dim]
		us, err := evenstand.ParseUnit(most)
		if err != nil {
			return amount{}, err
		}
		high := us.ToSI(map[evenstand.Dimension]float64{evenstand.Volume: 5000, evenstand.Mass: 60000}[u.Dim])
		if si := u.ToSI(v); si > high {
			return amount{}, implausible("a fill of "+amountOf(v, u.Name), 0, high, u)
		}
		words := strings.TrimPrefix(tidy(more), "of ")
		if onlyNumbers(words) {
			return amount{}, fmt.Errorf("%s, and what is %s? Write it as filled 400 gal starter", amountOf(v, u.Name), words)
		}
		return amount{v, u.Name, words, words}, nil
	}
	if most := mostOf[name]; v > most {
		return amount{}, fmt.Errorf("a fill of %s %s cannot be: up to %s %s is common practice, no source. Check the number, or keep it as words with --what remark", amountOf(v, ""), name, amountOf(most, ""), name)
	}
	words := strings.TrimPrefix(tidy(after), "of ")
	if onlyNumbers(words) {
		return amount{}, fmt.Errorf("%s %s, and what is %s? Write it as fill 12 units", amountOf(v, ""), name, words)
	}
	return amount{v, "", strings.Join(nonempty(name, words), " "), words}, nil
}

// onlyNumbers tells whether words are nothing but numbers and their units.
func onlyNumbers(words string) bool {
	n := 0
	for _, w := range strings.Fields(strings.NewReplacer(", ", " ", "; ", " ").Replace(lower(words))) {
		if _, rest, ok := takeNumber(w); ok {
			n++
			w = rest
		}
		if _, unit := unitOf(w); w != "" && !unit && packs[w] == "" && w != "and" {
			return false
		}
	}
	return n > 0
}

func (p *noteParser) dig(text string) error {
	text = tidy(text)
	if m := digWords.FindString(lower(text)); len(m) < len(text) && strings.ContainsAny(text[len(m):len(m)+1], digits) {
		text = text[len(m):] // found 2.1 in
	}
	const how = "write it as dug row 7: 2.1 in, and several as dug row 7: 2.1, 2, 1.75 in"
	type value struct {
		v    float64
		u    evenstand.Unit
		said bool
	}
	var vs []value
	var note string
	name := "in"
	if p.c.Units == evenstand.Metric {
		name = "cm"
	}
	usual, err := evenstand.ParseUnit(name)
	if err != nil {
		return err
	}
	for rest := closedUp.ReplaceAllString(text, "$1, $2"); ; {
		v, after, ok := takeNumber(rest)
		if !ok {
			if len(vs) == 0 && rest != "" && strings.Contains("-0123456789.", rest[:1]) {
				return fmt.Errorf("the depth of %q cannot be read: write it with a point, as in 2.1, or as 2 1/4", rest)
			}
			note = rest
			break
		}
		u, after, said := takeUnit(after)
		if valueRange.MatchString(lower(after)) {
			return fmt.Errorf("are those two depths or a range? Write each depth, as in dug row 7: 2, 2.5 in")
		}
		m := nextValue.FindStringSubmatch(after)
		if t := tidy(after); m == nil && t != "" && after[0] != ',' && after[0] != ':' && after[0] != ';' && after[0] != '(' {
			_, _, number := takeNumber(t)
			switch {
			case len(vs) > 0: // 2.1 in, 2 seeds in one place
				note = rest
			case number:
				return fmt.Errorf("is %s a row? Otherwise %s", amountOf(v, ""), strings.Replace(how, "write it", "it is written", 1))
			}
			if note != "" {
				break
			}
		}
		vs = append(vs, value{v, u, said})
		if m == nil {
			note = after
			break
		}
		rest = m[1]
	}
	nowhere := len(p.e.Rows) == 0 && !p.given
	for i := range vs {
		x := &vs[i]
		if nowhere && i == 0 && !x.said && x.v == math.Trunc(x.v) && x.v >= 1 {
			return fmt.Errorf("is %s the row or the depth? Write it as dug row %[1]s: 2.1 in, or with the unit", amountOf(x.v, ""))
		}
		for j := i; !x.said && j < len(vs); j++ { // the next that was said, else the one before
			if vs[j].said {
				x.u, x.said = vs[j].u, true
			}
		}
		if !x.said && i > 0 && vs[i-1].said {
			x.u, x.said = vs[i-1].u, true
		}
		if !x.said {
			x.u = usual
		}
		low, high := common(evenstand.Raw)
		if si := x.u.ToSI(x.v); x.u.Dim != evenstand.Length {
			return fmt.Errorf("%s is no unit of a depth: %s", x.u.Name, how)
		} else if !(si >= low && si <= high) {
			return implausible("a seed "+amountOf(x.v, x.u.Name)+" deep", low, high, usual)
		}
	}
	if len(vs) > 0 && !vs[0].said {
		p.suppose("No unit was said: %s is taken.", name)
	}
	if len(vs) > 1 && len(p.e.Rows) > 1 {
		return fmt.Errorf("several depths and several rows: write a note for each row, as in dug row 7: 2.1, 2 in")
	}
	for i, x := range vs {
		if i > 0 {
			p.again()
		}
		p.e.Value, p.e.Unit = x.v, x.u.Name
	}
	if p.e.Note = tidy(note); p.e.Note == "deep" {
		p.e.Note = ""
	}
	if len(vs) == 0 && strings.ContainsAny(note, digits) {
		p.suppose("The depth is kept as words. %s", written["dig"])
	}
	return nil
}

// digWords are what may stand between the row and the depth, valueRange what
// makes a range of two.
var (
	digWords   = regexp.MustCompile(`^(?:(?:found|seeds?|depth|at|is|was|were|planted)[:,]? )+`)
	valueRange = regexp.MustCompile(`^(?:-|–|to) ?[0-9.]`)
)

// closedUp is the end of a decimal number and the next without a space between.
var closedUp = regexp.MustCompile(`(\.\d+),(\d)`)

// spread is a range in one unit.
type spread struct {
	low, high float64
	unit      string
}

// commonly is what can be set on a planter; what lies outside is asked back.
// Common practice, no source; a quantity that is not here has the registry's
// range. Depth is Raw: on top of the ground to deeper than any row crop is
// planted (R7 and R11 of core/relation speak of 0.5 to 3 in).
var commonly = map[evenstand.Quantity]spread{
	evenstand.Raw:                  {0, 5, "in"},
	evenstand.GaugeWheelLoadTarget: {0, 800, "lbf"},
	evenstand.AppliedForce:         {-800, 1200, "lbf"},
	evenstand.CleanerPressure:      {-100, 150, "psi"},
	evenstand.CloserPressure:       {-100, 150, "psi"},
	evenstand.Vacuum:               {0, 60, "inH2O"},
	evenstand.FanSpeed:             {0, 8000, "1/min"},
	evenstand.GroundSpeed:          {0, 15, "mph"},
	evenstand.HydraulicPressure:    {0, 5000, "psi"},
	evenstand.LiquidRateTarget:     {0, 100, "gal/ac"},
	evenstand.SeedRateTarget:       {1000, 250000, "1/ac"},
}

// common gives the range of a quantity in SI.
func common(q evenstand.Quantity) (low, high float64) {
	r, ok := commonly[q]
	u, err := evenstand.ParseUnit(r.unit)
	if in := q.Info(); !ok || err != nil {
		return in.Min, in.Max
	}
	return u.ToSI(r.low), u.ToSI(r.high)
}

// implausible refuses a number outside a range in SI, which it says in a unit.
func implausible(what string, low, high float64, u evenstand.Unit) error {
	show := func(si float64) string {
		x := u.FromSI(si)
		if math.Abs(x) >= 100 {
			return amountOf(math.Round(x), "")
		}
		return amountOf(math.Round(x*10)/10, "")
	}
	return fmt.Errorf("%s cannot be: from %s to %s is common practice, no source. Check the number and the unit, or keep it as words with --what remark", what, show(low), strings.TrimSpace(show(high)+" "+unitSay(u.Name)))
}

func (p *noteParser) count(text string) error {
	e := &p.e
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
	if most := 50 * u.ToSI(long); v > most {
		// 250,000 an acre in rows of 30 in are 47 on a metre.
		return fmt.Errorf("%s plants in %s cannot be: up to %s is common practice, no source. Check the number and the length, or keep it as words with --what remark", amountOf(v, ""), amountOf(long, u.Name), amountOf(math.Ceil(most), ""))
	}
	if onlyNumbers(rest) {
		return fmt.Errorf("what is %s? %s", tidy(rest), advise.Capital(how))
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
	e := &p.e
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
	said, after, unit := takeUnit(rest)
	switch {
	case unit && said.Dim == evenstand.PerArea:
		u, rest = said, after
	case unit:
		return fmt.Errorf("%s is no unit of a stand: write it as stand 30500, or counted 31 in 17.5 ft row 3", said.Name)
	default:
		p.suppose("No unit was said: plants %s are taken.", perArea(name))
	}
	if onlyNumbers(rest) {
		return fmt.Errorf("%s, and what is %s? Write it as stand 30500 rows 1-8", amountOf(v, ""), tidy(rest))
	}
	if low, high := common(evenstand.SeedRateTarget); !(u.ToSI(v) >= low && u.ToSI(v) <= high) {
		return implausible("a stand of "+amountOf(v, u.Name), low, high, u)
	}
	e.Value, e.Unit, e.Note = v, u.Name, tidy(rest)
	return nil
}
