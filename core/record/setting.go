package record

import (
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenstand"
)

// ForceMode is the setting that has named states and no number.
const ForceMode = "force_mode"

// States are the named states of settings that have no number.
var States = map[string][]string{ForceMode: {"automatic", "fixed", "off"}}

// Setting is a line of the journal that says what was set, as code reads it.
type Setting struct {
	T     evenstand.Micros
	Lever string         // the registry's name of a quantity, depth or force_mode
	Rows  evenstand.Rows // empty: all
	// To and Was are in the registry's unit, depth in m; NaN where a state is named
	// or, of Was, where nobody said it.
	To, Was           float64
	State, StateWas   string // of a lever with named states; StateWas empty: nobody said
	Words             string // what else was said
	ToAsSaid, WasSaid string // the numbers as they were written, with their unit; empty: none
}

// SettingOf reads a line of the journal as a setting: cleaner_pressure, was 30
// psi: much trash. False: it is none, or of something that is not known.
func SettingOf(e *evenstand.Entry) (Setting, bool) {
	s := Setting{T: e.T, Rows: e.Rows, To: math.NaN(), Was: math.NaN()}
	if e.What != "setting" {
		return s, false
	}
	head, words, _ := strings.Cut(e.Note, ": ")
	head, was, _ := strings.Cut(head, ", was ")
	s.Words = words
	name, state, _ := strings.Cut(head, " ")
	if states, ok := States[name]; ok {
		if s.Lever = name; !slices.Contains(states, state) {
			return s, false
		}
		s.State = state
		if slices.Contains(states, was) {
			s.StateWas = was
		}
		return s, true
	}
	q, known := leverOf(head)
	if !known || math.IsNaN(e.Value) {
		return s, false
	}
	s.Lever = depth
	dim := func(u evenstand.Unit) bool { return u.Dim == evenstand.Length }
	if q != evenstand.Raw {
		s.Lever = q.String()
		dim = q.Accepts
	}
	u, ok := unitOf(e.Unit)
	if !ok && e.Unit == "" && q != evenstand.Raw && q.Info().SI == "" {
		ok = true
		u.Name = ""
	}
	if !ok || !dim(u) {
		return s, false
	}
	si := func(v float64, u evenstand.Unit) float64 { return u.ToSI(v) }
	s.To, s.ToAsSaid = si(e.Value, u), amountOf(e.Value, e.Unit)
	if v, rest, ok := takeNumber(strings.TrimPrefix(was, "-")); ok {
		if strings.HasPrefix(was, "-") {
			v = -v
		}
		of, left := u, rest
		if rest != "" {
			if of, left, ok = takeUnit(rest); !ok || left != "" || !dim(of) {
				return s, true // the amount before is words
			}
		}
		s.Was, s.WasSaid = si(v, of), was
	}
	return s, true
}

// leverOf finds what a name is of: one of the registry, depth (Raw), or a word
// that people use.
func leverOf(name string) (evenstand.Quantity, bool) {
	if name == depth {
		return evenstand.Raw, true
	}
	if q, ok := evenstand.ParseQuantity(name); ok {
		return q, true
	}
	low := lower(name)
	for _, s := range settings {
		if s.word == low {
			return s.q, true
		}
	}
	return evenstand.Raw, false
}

// LeverSay writes a lever in plain words.
func LeverSay(lever string) string {
	switch lever {
	case depth:
		return "depth"
	case ForceMode:
		return "down-force mode"
	}
	return settingName(lever)
}

// Words that people use for the states of row force.
var stateWords = map[string]string{
	"automatic": "automatic", "auto": "automatic", "automatically": "automatic", "fixed": "fixed", "manual": "fixed", "constant": "fixed", "off": "off",
}

var (
	modeFirst = regexp.MustCompile(`^(?:(?:row |down ?)force|down ?pressure|force)(?: (?:mode|control))?\b`)
	modeTo    = regexp.MustCompile(`^[: ]*(?:from )?(?:(automatic|auto|fixed|manual|constant|off)(?: mode)? to )?(?:(?:set |put |switched |turned )?(?:to |in |into |on |at )?)(automatic|auto|fixed|manual|constant|off)(?: mode| control)?(.*)$`)
)

// mode reads "force mode automatic to fixed" or "down force off", without its
// rows; false where it says no state.
func (p *noteParser) mode(text string) bool {
	low := lower(text)
	skip := len(setFirst.FindString(low))
	m := modeFirst.FindString(low[skip:])
	if m == "" {
		return false
	}
	rest := low[skip+len(m):]
	to := modeTo.FindStringSubmatchIndex(rest)
	if to == nil {
		return false
	}
	group := func(i int) string {
		if to[2*i] < 0 {
			return ""
		}
		return rest[to[2*i]:to[2*i+1]]
	}
	tail := group(3)
	if tail != "" && !strings.ContainsAny(tail[:1], ":,;(.") && !strings.HasPrefix(tail, " because ") && !strings.HasPrefix(tail, " (") {
		return false // a remark that only begins like one
	}
	words := tidy(text[len(text)-len(tail):])
	if words == "." {
		words = ""
	}
	e := &p.e
	e.Value, e.Unit, e.Note = math.NaN(), "", ForceMode+" "+stateWords[group(2)]
	if was := stateWords[group(1)]; was != "" {
		e.Note += ", was " + was
	}
	if words != "" {
		e.Note += ": " + words
	}
	return true
}

// isMode tells whether a text in small letters says a state of row force.
func (p *noteParser) isMode(low string) bool {
	q := noteParser{c: p.c, n: &Note{}}
	return q.mode(low)
}

// Retype writes a line of the journal with another amount, as people type it,
// without its time and rows; empty: it has none that could be another.
func Retype(e *evenstand.Entry, v float64) string {
	number := strconv.FormatFloat(v, 'f', -1, 64)
	if math.IsNaN(e.Value) || !(v >= 0) {
		return ""
	}
	switch e.What {
	case "setting":
		s, ok := SettingOf(e)
		if !ok {
			return ""
		}
		name := depth
		for _, w := range settings {
			if w.q != evenstand.Raw && w.q.String() == s.Lever {
				name = w.word
				break
			}
		}
		text := name + " " + number
		if s.WasSaid != "" {
			text = name + " " + s.WasSaid + " to " + number
		}
		if e.Unit != "" {
			text += " " + e.Unit
		}
		if s.Words != "" {
			text += ", " + s.Words
		}
		return text
	case "refill":
		return strings.Join(nonempty("filled", number, e.Unit, e.Note), " ")
	case "dig":
		text := strings.Join(nonempty("dug", number, e.Unit), " ")
		if e.Note != "" {
			text += ", " + e.Note
		}
		return text
	case "count":
		if e.Unit != "" {
			return strings.Join(nonempty("stand", number, e.Unit, e.Note), " ")
		}
		return strings.Join(nonempty("counted", number, strings.Replace(e.Note, ": ", ", ", 1)), " ")
	}
	return ""
}
