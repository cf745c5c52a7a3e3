package record

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"evenstand"
)

// NoteContext is what a short note is read with.
type NoteContext struct {
	Now   evenstand.Micros
	Zone  *time.Location
	Units evenstand.Units
	Card  evenstand.Card // Rows 0: not known
	// Of is the note that this one is put in the place of: time and rows that are
	// not said stay, and a time of day is of its day. nil: it is a note of its own.
	Of *evenstand.Entry
}

// Note is a short note that was understood: the lines of the journal, one or
// more of one time, and what was supposed about them where it did not say, as
// whole sentences.
type Note struct {
	Entries  []evenstand.Entry
	Supposed []string
	// Area is what a count was taken over in m2, NaN where it cannot be told.
	Area float64

	saidRows bool
}

// NoteKinds are the kinds of journal lines, as the plain layout names them.
var NoteKinds = []string{"setting", "refill", "fix", "remark", "count", "dig", "lot"}

// maxNote is the longest note in bytes.
const maxNote = 1000

// ParseNote reads a note as people type it with their thumbs: a time first,
// last or not at all, then what was done, and to which rows. at, rows and what
// say the same explicitly where they are not empty; a text that says another
// time or other rows is refused. Several values of one kind are several lines.
// What cannot be told apart is an error that says how to write it, and what is
// kept as words though it looks like more is among what was supposed.
func ParseNote(text, at, rows, what string, c NoteContext) (Note, error) {
	n := Note{Area: math.NaN()}
	if !utf8.ValidString(text) || strings.ContainsFunc(text, func(r rune) bool { return unicode.IsControl(r) && !unicode.IsSpace(r) }) {
		return n, fmt.Errorf("the note is no plain text")
	}
	text = strings.Join(strings.Fields(text), " ")
	if len(text) > maxNote {
		return n, fmt.Errorf("the note is longer than %d characters: write it in parts", maxNote)
	}
	if what != "" && !slices.Contains(NoteKinds, what) {
		return n, fmt.Errorf("what = %q: want %s", what, strings.Join(NoteKinds, ", "))
	}
	now := c.Now
	if c.Of != nil {
		now = c.Of.T
		if !fromNow.MatchString(lower(text + " " + at)) {
			c.Now = min(c.Now, dayEnd(now, c.Zone))
		}
	}
	p := noteParser{c: c, n: &n, e: evenstand.Entry{T: now, Value: math.NaN()}}
	if what == "" && undoOnly.MatchString(lower(text)) {
		return n, fmt.Errorf("%q is no note: --undo takes back the last one, --undo 12 the one of that number", text)
	}
	var err error
	rest := text
	switch {
	case at != "" && what == "remark": // its words are as they are
	case at != "":
		rest, err = p.sameTime(text, at)
	default:
		rest, err = p.takeTime(text)
	}
	if err != nil {
		return n, err
	}
	if at != "" {
		if p.e.T, err = p.when(at); err != nil {
			return n, err
		}
	}
	if rest == "" {
		return n, fmt.Errorf("the note says nothing: write what was done, such as cleaners 30 to 22 psi")
	}
	if rows != "" {
		more, found, err := p.takeRows(rowWords(rows), true)
		if err != nil {
			return n, err
		}
		if !found || more != "" {
			return n, fmt.Errorf("rows %q: want rows such as 7, 3,4, 1-8, left or right", rows)
		}
		p.given, n.saidRows = true, true
	}
	if err := p.kind(rest, what); err != nil {
		return n, err
	}
	n.Entries = append(n.Entries, p.e)
	if c.Of != nil && !n.saidRows && len(c.Of.Rows) > 0 {
		for i := range n.Entries {
			n.Entries[i].Rows = c.Of.Rows
		}
		p.suppose("The rows stay: %s. All rows are written as all rows.", rowsSay(c.Of.Rows))
	}
	return n, nil
}

// fromNow are the words of a time that is told from now, or with its day.
var fromNow = regexp.MustCompile(`\b(?:ago|` + lonePattern + `)\b`)

// dayEnd gives the last minute of a time's day.
func dayEnd(t evenstand.Micros, zone *time.Location) evenstand.Micros {
	y, m, d := t.Time().In(zone).Date()
	return evenstand.FromTime(time.Date(y, m, d, 23, 59, 0, 0, zone))
}

// undoOnly is what people type who want a note taken back.
var undoOnly = regexp.MustCompile(`^undo\b|^(?:take back|delete|cancel)(?: (?:the|last|note|that|it|one|#?\d{1,6}))*[.!]?$`)

// rowWords puts the word in front of a bare list.
func rowWords(s string) string {
	s = strings.TrimSpace(s)
	if lower(s) == "all" {
		return "all rows"
	}
	if s != "" && s[0] >= '0' && s[0] <= '9' {
		return "rows " + s
	}
	return s
}

type noteParser struct {
	c     NoteContext
	n     *Note
	e     evenstand.Entry // the last line of the note; those before it stand in n
	given bool            // its rows were said beside the text
}

// again closes a line of the journal and begins another of the same time, kind
// and rows.
func (p *noteParser) again() {
	p.n.Entries = append(p.n.Entries, p.e)
	p.e.Value, p.e.Unit, p.e.Note = math.NaN(), "", ""
}

func (p *noteParser) suppose(format string, a ...any) {
	if s := fmt.Sprintf(format, a...); !slices.Contains(p.n.Supposed, s) {
		p.n.Supposed = append(p.n.Supposed, s)
	}
}

// Spoken forms of units, by what they are written as.
var spoken = map[string]string{
	"inch": "in", "inches": "in", "\"": "in", "foot": "ft", "feet": "ft", "'": "ft", "meter": "m", "meters": "m", "metre": "m", "metres": "m",
	"pounds": "lb", "pound": "lb", "lbs": "lb", "kilos": "kg", "kilo": "kg", "gallon": "gal", "gallons": "gal",
	"liter": "L", "liters": "L", "litre": "L", "litres": "L", "l": "L", "kmh": "km/h", "kph": "km/h", "mbars": "mbar", "bars": "bar",
	"psi": "psi", "gpa": "gal/ac", "gal/acre": "gal/ac", "lb/acre": "lb/ac", "l/ha": "L/ha", "rpm": "1/min", "percent": "%",
	"inh2o": "inH2O", "kpa": "kPa", "n": "N", "mph": "mph", "v": "V", "seeds/ac": "1/ac", "seeds/acre": "1/ac", "seeds/ha": "1/ha",
	"plants/ac": "1/ac", "plants/ha": "1/ha", "/ac": "1/ac", "/ha": "1/ha", "°": "deg", "pa": "Pa",
}

// packs are what seed comes in: counts, which are no unit.
var packs = map[string]string{"unit": "units", "units": "units", "bag": "bags", "bags": "bags", "box": "boxes", "boxes": "boxes", "tote": "totes", "totes": "totes"}

func unitOf(word string) (evenstand.Unit, bool) {
	if word == "" {
		return evenstand.Unit{}, false
	}
	if u, err := evenstand.ParseUnit(word); err == nil {
		return u, true
	}
	if s, ok := spoken[strings.ToLower(word)]; ok {
		u, err := evenstand.ParseUnit(s)
		return u, err == nil
	}
	return evenstand.Unit{}, false
}

// fractions are those that have a sign of their own.
var fractions = map[string]string{"¼": "1/4", "½": "1/2", "¾": "3/4"}

var joined = regexp.MustCompile(`^(\d{1,3})(?:-(\d{1,2}/\d{1,2})| ?([¼½¾]))`)

var number = regexp.MustCompile(`^(?:(\d{1,4}) (\d{1,2})/(\d{1,2})|(\d{1,2})/(\d{1,2})|(\d{1,3}(?:,\d{3})+|\d{1,9})(\.\d{1,6})?|(\.\d{1,6}))`)

// takeNumber reads a number at the begin of a text: 22, 2.1, 30,500, 2 1/4.
func takeNumber(s string) (v float64, rest string, ok bool) {
	if m := joined.FindStringSubmatch(s); m != nil { // 2-1/4, 2¼
		s = m[1] + " " + m[2] + fractions[m[3]] + s[len(m[0]):]
	}
	m := number.FindStringSubmatch(s)
	if m == nil {
		return 0, s, false
	}
	rest = s[len(m[0]):]
	if rest != "" && (rest[0] >= '0' && rest[0] <= '9' || rest[0] == '/' && !strings.HasPrefix(rest, "/ac") && !strings.HasPrefix(rest, "/ha") ||
		len(rest) > 1 && (rest[0] == ',' || rest[0] == '.') && rest[1] >= '0' && rest[1] <= '9') {
		return 0, s, false
	}
	atoi := func(s string) float64 { f, _ := strconv.ParseFloat(s, 64); return f } // the pattern holds digits only
	switch {
	case m[1] != "" || m[4] != "":
		whole, num, den := atoi("0"+m[1]), atoi(m[2]+m[4]), atoi(m[3]+m[5])
		if den == 0 || num >= den {
			return 0, s, false
		}
		return whole + num/den, strings.TrimSpace(rest), true
	case m[8] != "":
		return atoi("0" + m[8]), strings.TrimSpace(rest), true
	}
	v = atoi(strings.ReplaceAll(m[6], ",", "") + m[7])
	if len(rest) > 0 && (rest[0] == 'k' || rest[0] == 'K') && (len(rest) == 1 || rest[1] == ' ') { // 32k
		return v * 1000, strings.TrimSpace(rest[1:]), true
	}
	return v, strings.TrimSpace(rest), true
}

// takeWord gives the first word and what follows.
func takeWord(s string) (word, rest string) {
	word, rest, _ = strings.Cut(strings.TrimSpace(s), " ")
	return strings.TrimRight(word, ",;:."), strings.TrimSpace(rest)
}

// anArea is what people write for what comes on an area: seeds an acre, gal per
// hectare.
var anArea = regexp.MustCompile(`^(?:(?:seeds|plants) |(\pL+) )?(?:an|a|per) (acre|ac|hectare|ha)\b`)

// takeUnit reads a unit at the begin of a text. A comma behind it stays.
func takeUnit(s string) (u evenstand.Unit, rest string, ok bool) {
	if m := anArea.FindStringSubmatch(lower(s)); m != nil {
		name := "1"
		if first, ok := unitOf(m[1]); ok {
			name = first.Name
		}
		if u, err := evenstand.ParseUnit(name + "/" + map[byte]string{'a': "ac", 'h': "ha"}[m[2][0]]); err == nil && (m[1] == "" || name != "1") {
			return u, strings.TrimSpace(s[len(m[0]):]), true
		}
	}
	word, _ := takeWord(s)
	u, ok = unitOf(word)
	if !ok {
		return u, s, false
	}
	return u, strings.TrimSpace(strings.TrimSpace(s)[len(word):]), true
}
