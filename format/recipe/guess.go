package recipe

import (
	"bytes"
	_ "embed"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"path"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/format/table"
)

//go:embed words.csv
var wordsCSV []byte

// phrase is a line of words.csv.
type phrase struct {
	words  []string
	joined string
	means  []string
}

var phrases = func() []phrase {
	r := csv.NewReader(bytes.NewReader(wordsCSV))
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		panic(err)
	}
	var out []phrase
	for _, l := range lines[1:] {
		ws := strings.Fields(l[0])
		out = append(out, phrase{ws, strings.Join(ws, ""), strings.Split(l[1], "|")})
	}
	return out
}()

// Sample is the head of a table, for guessing.
type Sample struct {
	Kind    table.Kind
	Sheet   string
	Dialect table.Dialect
	Doubts  []string // of the dialect, whole sentences
	Columns []table.Column
	Rows    [][]table.Cell
}

// About is what is known of the book for which a table is guessed.
type About struct {
	Zone string // of the logbook
	Rows int    // of the planter, 0 unknown
	Box  string // what the box is called; empty: it is asked
	File string // the table's file, whose name proposes one
	// Tell words how one says, where the proposal is shown, that a column is
	// something, to follow "say so"; both can be empty. Nil: as an option of the
	// command line.
	Tell func(column, as string) string
}

// tell words how one says that a column is something.
func (a *About) tell(column, as string) string {
	switch {
	case a.Tell != nil:
		return a.Tell(column, as)
	case column+as == "":
		return "with --column"
	case column == "":
		column = "NAME"
	}
	return fmt.Sprintf("with --column %q", column+" = "+as)
}

// AnswerError is an answer about a column that cannot be.
type AnswerError struct {
	Column, Answer string
	Err            error // why
}

func (e *AnswerError) Error() string {
	return fmt.Sprintf("--column %q: %v", e.Column+" = "+e.Answer, e.Err)
}
func (e *AnswerError) Unwrap() error { return e.Err }

// UnknownQuantity is a name that stands for no quantity.
type UnknownQuantity struct {
	Name string
	Near []string // what may have been meant
}

// Known says the name, and what may have been meant.
func (e *UnknownQuantity) Known() string {
	out := fmt.Sprintf("the quantity %q is not known", e.Name)
	if len(e.Near) > 0 {
		out += ". It may be one of " + strings.Join(e.Near, ", ")
	}
	return out
}

func (e *UnknownQuantity) Error() string {
	return e.Known() + ". All of them are listed by evenstand help recipe"
}

// Option is one answer to a question.
type Option struct{ Key, Text string }

// Question is what a guess leaves open.
type Question struct {
	ID       string // names it in Answers
	Text     string // a whole sentence
	Options  []Option
	Proposed string // key of the likeliest; empty: none is
}

// PartsNot is why a column of singulation is not read.
const PartsNot = "singulation does not part skips from doubles"

// Reading says how a column, or one column for each row, is read.
type Reading struct {
	Column string // the name, with {n} for the row
	Count  int    // how many columns it stands for
	Means  string // in plain words
}

// Proposal is a guess: a recipe that is whole only when no question is open.
type Proposal struct {
	Recipe    Recipe
	Questions []Question // not yet answered
	Reads     []Reading
	Left      []Reading // columns that are not read, and why
	Err       error     // why no recipe can be made of it at all
}

// group is a column, or the columns of one pattern.
type group struct {
	pattern string
	columns []int
	rows    []int // the row's number in each; nil: no pattern
	named   name
	values  []*table.Cell // of the sample
	lines   []int         // of each value, the row of the sample
	each    bool          // its columns are told one by one: one of them was said to be something else
	sided   map[int]int   // of columns counted from both sides: our number of the row
	inCell  string        // unit that stands behind each number
}

// name is what the words of a column's name say.
type name struct {
	words   []string
	unit    string // as written; empty none
	row     int    // -1 none
	rowFrom int    // bytes of the row's number in the name
	rowTo   int
	rowWord bool // a word says that the number is a row
	element string
	unsure  bool // the element stands on one letter
	average float64
	scale   float64 // a factor in the name, such as x1000; 0 none
}

var (
	rowWords   = []string{"row", "r", "reihe", "rang", "surco", "hilera", "fila", "rij", "linha", "linea", "fileira", "unit", "ru", "rowunit"}
	sections   = []string{"section", "sec", "teilbreite", "sektion", "troncon", "seccion", "sectie", "secao"}
	tanks      = []string{"tank", "cuve", "tanque", "behalter"}
	lefts      = []string{"left", "links", "gauche", "izquierda", "izquierdo", "izq", "esquerda", "esquerdo", "lh"}
	rights     = []string{"right", "rechts", "droite", "derecha", "derecho", "der", "direita", "direito", "rh"}
	fillers    = []string{"actual", "act", "ist", "aktuell", "current", "measured", "sensor", "reading", "the", "of", "de", "du", "des", "la", "le", "les", "el", "do", "da", "per", "pro", "par", "por", "gemessen", "mesure", "medido", "real", "rate", "percent", "prozent", "pourcentage", "porcentaje", "percentage", "pct", "machine", "planter"}
	averages   = []string{"avg", "average", "mean", "smoothed", "mittel", "mittelwert", "moyenne", "promedio", "media", "gemiddelde"}
	targetMark = []string{"target", "tgt", "set", "setpoint", "soll", "sollwert", "consigne", "objetivo", "doel", "alvo", "commanded", "desired"}
)

// unitWords are the spellings of units in headers, folded and without blanks,
// with ours and a factor where the column counts in thousands and the like.
var unitWords = map[string]struct {
	unit  string
	times float64
}{
	"%": {"%", 1}, "pct": {"%", 1}, "percent": {"%", 1}, "prozent": {"%", 1}, "ppm": {"%", 1e-4}, "‰": {"%", 0.1},
	"m": {"m", 1}, "cm": {"cm", 1}, "mm": {"mm", 1}, "ft": {"ft", 1}, "feet": {"ft", 1}, "in": {"in", 1}, "inch": {"in", 1}, "inches": {"in", 1}, "\"": {"in", 1},
	"m/s": {"m/s", 1}, "mps": {"m/s", 1}, "ms-1": {"m/s", 1}, "km/h": {"km/h", 1}, "kmh": {"km/h", 1}, "kph": {"km/h", 1}, "km/hr": {"km/h", 1}, "kmu": {"km/h", 1}, "mph": {"mph", 1}, "mi/h": {"mph", 1}, "knots": {"km/h", knot}, "knot": {"km/h", knot}, "kt": {"km/h", knot}, "kts": {"km/h", knot},
	"n": {"N", 1}, "newton": {"N", 1}, "kn": {"kN", 1}, "dan": {"N", 10}, "lbf": {"lbf", 1}, "lbs": {"lb", 1}, "lb": {"lb", 1}, "pounds": {"lb", 1}, "kg": {"kg", 1}, "kgf": {"kgf", 1}, "kp": {"kgf", 1},
	"pa": {"Pa", 1}, "kpa": {"kPa", 1}, "mbar": {"mbar", 1}, "hpa": {"mbar", 1}, "bar": {"bar", 1}, "psi": {"psi", 1},
	"inh2o": {"inH2O", 1}, "inwc": {"inH2O", 1}, "\"h2o": {"inH2O", 1}, "inchh2o": {"inH2O", 1}, "inchesh2o": {"inH2O", 1}, "inchesofwater": {"inH2O", 1}, "iwc": {"inH2O", 1}, "mmh2o": {"Pa", 9.80665}, "mmca": {"Pa", 9.80665},
	"1/m2": {"1/m2", 1}, "seeds/m2": {"1/m2", 1}, "korner/m2": {"1/m2", 1}, "koerner/m2": {"1/m2", 1}, "graines/m2": {"1/m2", 1}, "semillas/m2": {"1/m2", 1}, "sementes/m2": {"1/m2", 1}, "zaden/m2": {"1/m2", 1}, "k/m2": {"1/m2", 1},
	"1/ha": {"1/ha", 1}, "seeds/ha": {"1/ha", 1}, "korner/ha": {"1/ha", 1}, "koerner/ha": {"1/ha", 1}, "graines/ha": {"1/ha", 1}, "grains/ha": {"1/ha", 1}, "semillas/ha": {"1/ha", 1}, "plantas/ha": {"1/ha", 1}, "sementes/ha": {"1/ha", 1}, "zaden/ha": {"1/ha", 1}, "plants/ha": {"1/ha", 1},
	"1000/ha": {"1/ha", 1000}, "1000korner/ha": {"1/ha", 1000}, "tsd/ha": {"1/ha", 1000}, "mil/ha": {"1/ha", 1000},
	"1/ac": {"1/ac", 1}, "seeds/ac": {"1/ac", 1}, "seeds/acre": {"1/ac", 1}, "sds/ac": {"1/ac", 1}, "plants/ac": {"1/ac", 1}, "plants/acre": {"1/ac", 1}, "k/ac": {"1/ac", 1000}, "1000/ac": {"1/ac", 1000}, "1000/acre": {"1/ac", 1000}, "ksds/ac": {"1/ac", 1000}, "ks/ac": {"1/ac", 1000}, "kseeds/ac": {"1/ac", 1000}, "1000seeds/ac": {"1/ac", 1000},
	"l/ha": {"L/ha", 1}, "gal/ac": {"gal/ac", 1}, "gpa": {"gal/ac", 1}, "gal/acre": {"gal/ac", 1}, "kg/ha": {"kg/ha", 1}, "lb/ac": {"lb/ac", 1}, "lbs/ac": {"lb/ac", 1}, "lb/acre": {"lb/ac", 1},
	"l/min": {"L/min", 1}, "l/s": {"L/s", 1}, "gpm": {"gal/min", 1}, "oz/min": {"gal/min", 1.0 / 128}, "floz/min": {"gal/min", 1.0 / 128}, "gal/min": {"gal/min", 1}, "l": {"L", 1}, "liter": {"L", 1}, "litres": {"L", 1}, "gal": {"gal", 1}, "gallons": {"gal", 1},
	"rpm": {"1/min", 1}, "1/min": {"1/min", 1}, "u/min": {"1/min", 1}, "tr/min": {"1/min", 1}, "min-1": {"1/min", 1}, "hz": {"1/s", 1}, "1/s": {"1/s", 1}, "s": {"s", 1},
	"v": {"V", 1}, "volt": {"V", 1}, "volts": {"V", 1}, "deg": {"deg", 1}, "°": {"deg", 1}, "grad": {"deg", 1}, "degc": {"degC", 1}, "°c": {"degC", 1}, "c": {"degC", 1}, "degf": {"degF", 1}, "°f": {"degF", 1}, "f": {"degF", 1},
	"seeds": {"", 1}, "korner": {"", 1}, "graines": {"", 1}, "semillas": {"", 1}, "count": {"", 1}, "0/1": {"", 1}, "-": {"", 1}, "seeds/s": {"?", 1},
}

// parseUnit reads the spelling of a unit in a header.
func parseUnit(text string) (unit string, times float64, ok bool) {
	key := strings.NewReplacer(" ", "", "²", "2", "·", "", ".", "", "₂", "2").Replace(fold(text))
	if u, ok := unitWords[key]; ok && u.unit != "?" {
		return u.unit, u.times, true
	}
	if _, err := evenstand.ParseUnit(text); err == nil && text != "" {
		return text, 1, true
	}
	return "", 0, false
}

// unitFor reads a unit in a header as that of a quantity: pounds of a force are
// pounds-force, and kn of a speed are knots.
func unitFor(q evenstand.Quantity, text string) (unit string, times float64, ok bool) {
	unit, times, ok = parseUnit(text)
	if ok && unit == "kN" && fold(text) == "kn" {
		if si, _ := evenstand.ParseUnit(q.Info().SI); si.Dim == evenstand.Speed {
			return "km/h", knot, true
		}
	}
	return ofQuantity(q, unit), times, ok
}

// knot in km/h: the international nautical mile is 1852 m (BIPM, The
// International System of Units, 8th edition, table 8).
const knot = 1.852

// UnitName says a unit with its factor as people do.
func UnitName(unit string, times float64) string {
	switch {
	case unit == "km/h" && times == knot:
		return "knots"
	case unit == "%" && times == 0.1:
		return "‰"
	case unit == "%" && times == 1e-4:
		return "ppm"
	case unit == "N" && times == 10:
		return "daN"
	case unit == "Pa" && times == evenstand.Gravity:
		return "mmH2O"
	case unit == "gal/min" && times == 1.0/128:
		return "oz/min"
	}
	spoken := unit
	switch unit {
	case "1/ac", "1/ha", "1/m2":
		spoken = "seeds" + unit[1:]
	case "1/min":
		spoken = "rpm"
	}
	if times == 1 || times == 0 {
		return spoken
	}
	return strconv.FormatFloat(times, 'g', -1, 64) + " " + spoken
}

// readName takes a column's name apart.
func readName(c table.Column) name {
	n := name{row: -1, unit: c.Unit}
	text := c.Name
	if m := factor.FindStringSubmatchIndex(text); m != nil {
		n.scale = 1000
		if m[2] >= 0 {
			n.scale, _ = strconv.ParseFloat(text[m[2]:m[3]], 64)
		}
		text = text[:m[0]] + strings.Repeat(" ", m[1]-m[0]) + text[m[1]:] // offsets stay
	}
	if m := seedsPer.FindStringSubmatchIndex(text); m != nil && !speaks(text[:m[0]]) {
		per := fold(text[m[2]:m[3]])
		of := "seeds per"
		switch per = strings.TrimSuffix(strings.TrimSuffix(strings.ReplaceAll(per, "²", "2"), "."), "re"); per {
		case "m2", "ha", "ac":
			of = "seed rate"
			if n.unit == "" {
				n.unit = "1/" + per
			}
		}
		text = text[:m[0]] + " " + of
	}
	// What stands in brackets is a unit, or a remark such as "3 s avg".
	for _, pair := range []string{"()", "[]", "{}"} {
		for {
			from := strings.IndexByte(text, pair[0])
			if from < 0 {
				break
			}
			to := strings.IndexByte(text[from:], pair[1])
			if to < 0 {
				break
			}
			inside := strings.TrimSpace(text[from+1 : from+to])
			if s, ok := averageOf(inside); ok {
				if s > 0 && s <= maxAverage {
					n.average = s
				}
			} else if _, err := strconv.Atoi(inside); err == nil {
				text = text[:from] + " " + inside + " " + text[from+to+1:] // "Skips [3]"
				continue
			} else if inside != "" {
				if _, _, known := parseUnit(inside); known || n.unit == "" {
					n.unit = inside
				}
			}
			text = text[:from] + strings.Repeat(" ", to+1) + text[from+to+1:] // offsets stay
		}
	}
	if strings.Contains(text, "%") && n.unit == "" {
		n.unit = "%"
	}
	words := tokens(text)
	// A unit at the end, after a sign: "speed_kmh", "vacuum, kPa".
	if n.unit == "" {
		for _, cut := range []string{", ", "_", " "} {
			if i := strings.LastIndex(strings.TrimSpace(text), cut); i > 0 {
				tail := strings.TrimSpace(text)[i+len(cut):]
				if _, _, ok := parseUnit(tail); ok && !unitIsWord(tail) {
					n.unit = tail
					words = tokens(strings.TrimSpace(text)[:i])
					break
				}
			}
		}
	}
	// Elements.
	var rest []string
	for i := 0; i < len(words); i++ {
		w := words[i]
		num, isNum := -1, false
		if i+1 < len(words) {
			if v, err := strconv.Atoi(words[i+1]); err == nil {
				num, isNum = v, true
			}
		}
		skipTo := i + 1
		if i+2 < len(words) && (words[i+1] == "no" || words[i+1] == "nr" || words[i+1] == "num") && !isNum {
			if v, err := strconv.Atoi(words[i+2]); err == nil {
				num, isNum, skipTo = v, true, i+2
			}
		}
		switch {
		case isNum && slices.Contains(rowWords, w):
			n.row, n.rowWord = num, true
			i = skipTo
		case isNum && slices.Contains(sections, w):
			n.element = "section " + strconv.Itoa(num)
			i = skipTo
		case isNum && slices.Contains(tanks, w):
			n.element = "tank " + strconv.Itoa(num)
			rest = append(rest, "tank")
			i = skipTo
		case slices.Contains(lefts, w):
			n.element = "left"
		case slices.Contains(rights, w):
			n.element = "right"
		case slices.Contains(averages, w):
			n.average = math.NaN()
		default:
			rest = append(rest, w)
		}
	}
	if k := len(rest); k > 1 && n.element == "" && (rest[k-1] == "l" || rest[k-1] == "r") {
		n.element, n.unsure = map[string]string{"l": "left", "r": "right"}[rest[k-1]], true
		rest = rest[:k-1]
	}
	if n.row < 0 { // a number alone: "Skips 3"
		for i, w := range rest {
			if v, err := strconv.Atoi(w); err == nil && v < 1000 && len(rest) > 1 {
				n.row = v
				rest = slices.Delete(slices.Clone(rest), i, i+1)
				break
			}
		}
	}
	n.words = rest
	if n.row >= 0 {
		n.rowFrom, n.rowTo = numberIn(c.Name, n.row, n.rowWord)
		if n.rowFrom < 0 {
			n.row = -1
		}
	}
	return n
}

// factor is a number in a name by which its values are to be multiplied, or
// were.
var factor = regexp.MustCompile(`(?i)(?:^|[\s_(\[])(?:[x×*]\s?(10+)|in thousands|thousands?|1000s|'?000'?s|milliers|millares|duizenden|milhares)(?:$|[\s_)\]])`)

// seedsPer are seeds of an area, a length or a time at the end of a name.
var seedsPer = regexp.MustCompile(`(?i)(?:korner|körner|koerner|seeds?|sds|graines?|semillas|sementes|zaden|plants|plantas|gr)\s?/\s?(m2|m²|ha|ac|acre|m|ft|s|sec|min)\.?$`)

// speaks tells whether a text means something without the words of rows.
func speaks(text string) bool {
	means, _ := meaning(slices.DeleteFunc(tokens(text), func(w string) bool { return slices.Contains(rowWords, w) || w[0] >= '0' && w[0] <= '9' }))
	return len(means) > 0
}

// unitIsWord keeps words that only look like a unit at a name's end, such as
// "left in" or "row c".
func unitIsWord(tail string) bool {
	switch fold(tail) {
	case "in", "c", "f", "v", "n", "l", "m", "s", "k", "count", "seeds", "korner", "graines", "semillas", "grad", "bar", "deg", "-":
		// bar and deg are units often enough, but a name such as "tool bar" ends so too
		return fold(tail) != "bar" && fold(tail) != "deg"
	}
	return false
}

// maxAverage is the longest time in s over which a box is believed to average.
const maxAverage = 3600

// averageOf reads "3 s", "5s avg" as a time over which the box averages.
func averageOf(s string) (float64, bool) {
	t := tokens(s)
	if len(t) < 3 || t[1] != "s" && t[1] != "sec" || !slices.Contains(averages, t[2]) {
		if len(t) < 3 || !slices.Contains(averages, t[0]) || t[2] != "s" && t[2] != "sec" {
			return 0, false
		}
		v, err := strconv.ParseFloat(t[1], 64)
		return v, err == nil
	}
	v, err := strconv.ParseFloat(t[0], 64)
	return v, err == nil
}

// numberIn finds where the row's number stands in a name; behind a word of
// rows where there is one.
func numberIn(s string, n int, afterWord bool) (from, to int) {
	best := -1
	for i := 0; i < len(s); {
		if s[i] < '0' || s[i] > '9' {
			i++
			continue
		}
		j := i
		for j < len(s) && s[j] >= '0' && s[j] <= '9' {
			j++
		}
		if v, err := strconv.Atoi(s[i:j]); err == nil && v == n {
			before := tokens(s[:i])
			worded := len(before) > 0 && (slices.Contains(rowWords, before[len(before)-1]) ||
				len(before) > 1 && slices.Contains(rowWords, before[len(before)-2]))
			if !afterWord || worded {
				return i, j
			}
			if best < 0 {
				best = i
			}
		}
		i = j
	}
	if best < 0 {
		return -1, -1
	}
	j := best
	for j < len(s) && s[j] >= '0' && s[j] <= '9' {
		j++
	}
	return best, j
}

// meaning finds what the words of a name may mean. sure: all of its words are
// those of a phrase.
func meaning(words []string) (means []string, sure bool) {
	if m := exact(words); m != nil {
		return m, true
	}
	target := false
	var bare, rated []string // without fillers; the second keeps "rate"
	for _, w := range words {
		switch {
		case slices.Contains(targetMark, w):
			target = true
			continue
		case !slices.Contains(fillers, w):
			bare = append(bare, w)
		}
		if !slices.Contains(fillers, w) || w == "rate" {
			rated = append(rated, w)
		}
	}
	if target {
		for _, words := range [][]string{rated, bare} {
			if m := exact(append([]string{"target"}, words...)); m != nil {
				return m, true
			}
		}
		m := exact(rated)
		if m == nil {
			m = exact(bare)
		}
		if m != nil { // "soll X": the target of X where there is one
			var out []string
			for _, q := range m {
				if _, ok := evenstand.ParseQuantity(q + "_target"); ok {
					out = append(out, q+"_target")
				}
			}
			return out, len(out) > 0
		}
		return nil, false
	}
	for _, words := range [][]string{rated, bare} {
		if m := exact(words); m != nil {
			return m, true
		}
	}
	// The longest phrase all of whose words stand in the name.
	most := 0
	for _, p := range phrases {
		if len(p.words) < most || !within(p.words, words) {
			continue
		}
		if len(p.words) > most {
			means = nil
		}
		most = len(p.words)
		for _, m := range p.means {
			if !slices.Contains(means, m) {
				means = append(means, m)
			}
		}
	}
	return means, false
}

func within(words, of []string) bool {
	for _, w := range words {
		if !slices.Contains(of, w) {
			return false
		}
	}
	return true
}

func exact(words []string) []string {
	if len(words) == 0 {
		return nil
	}
	joined := strings.Join(words, "")
	for _, p := range phrases {
		if p.joined == joined || len(p.words) == len(words) && within(p.words, words) && within(words, p.words) {
			return p.means
		}
	}
	return nil
}

// groups gathers the columns of one pattern.
func groups(s *Sample, answers map[string]string) []*group {
	var out []*group
	at := map[string]*group{}
	alone := map[string]bool{} // patterns of which one column was said to be something
	for i, c := range s.Columns {
		n := readName(c)
		key := c.Name
		if _, said := answers[columnPrefix+c.Name]; said && n.row >= 0 {
			alone[c.Name[:n.rowFrom]+rowMark+c.Name[n.rowTo:]] = true
			n.row, n.rowWord = -1, false
		}
		if n.row >= 0 {
			key = c.Name[:n.rowFrom] + rowMark + c.Name[n.rowTo:]
		}
		g := at[key]
		if g == nil {
			g = &group{pattern: key, named: n}
			at[key] = g
			out = append(out, g)
		}
		g.columns = append(g.columns, i)
		if n.row >= 0 {
			g.rows = append(g.rows, n.row)
		}
	}
	for _, g := range out {
		g.each = g.rows != nil && alone[g.pattern]
		// One number in a name is a row only where a word says so.
		if g.rows != nil && (len(g.rows) == 1 && !g.named.rowWord) {
			g.pattern, g.rows = s.Columns[g.columns[0]].Name, nil
		}
		for i, r := range s.Rows {
			for _, c := range g.columns {
				if c < len(r) && r[c].Type != table.Empty {
					g.values = append(g.values, &r[c])
					g.lines = append(g.lines, i)
				}
			}
		}
		g.unitsInCells(s.Dialect.Decimal)
	}
	return out
}

// unitsInCells finds the unit that stands behind the number in every cell.
func (g *group) unitsInCells(decimal byte) {
	unit := ""
	for _, c := range g.values {
		if c.Type != table.Words || wordless(c) {
			continue // without a value, or a line of totals
		}
		_, u, ok := withUnit(c.Text, decimal)
		if !ok || unit != "" && fold(u) != fold(unit) {
			return
		}
		unit = u
	}
	if _, _, ok := parseUnit(unit); ok && unit != "" {
		g.inCell = unit
		if g.named.unit == "" {
			g.named.unit = unit
		}
	}
}

// withUnit reads a number with the text behind it: "5.1 mph".
func withUnit(b []byte, decimal byte) (v float64, unit string, ok bool) {
	b = bytes.TrimSpace(b)
	i := 0
	for i < len(b) && (b[i] >= '0' && b[i] <= '9' || b[i] == '.' || b[i] == ',' || i == 0 && (b[i] == '-' || b[i] == '+')) {
		i++
	}
	rest := bytes.TrimSpace(b[i:])
	if len(rest) == 0 || len(rest) > 16 {
		return 0, "", false
	}
	v, ok = number(b[:i], decimal)
	return v, string(rest), ok
}

// numbers gives the sample's values of a group, and how many cells are none.
func (g *group) numbers(decimal byte) (vs []float64, other int) {
	for _, c := range g.values {
		switch c.Type {
		case table.Number, table.Flag:
			vs = append(vs, c.Num)
		case table.Words:
			v, ok := number(c.Text, decimal)
			if !ok && g.inCell != "" {
				v, _, ok = withUnit(c.Text, decimal)
			}
			if ok {
				vs = append(vs, v)
			} else if !slices.Contains(absent, strings.ToLower(string(c.Text))) {
				other++
			}
		}
	}
	return vs, other
}

// guesser makes a proposal.
type guesser struct {
	s       *Sample
	about   About
	answers map[string]string
	p       Proposal
	taken   map[*group]bool
}

// ask gives the answer to a question, or notes that it is open and gives what
// is proposed.
func (g *guesser) ask(q Question) string {
	if a, ok := g.answers[q.ID]; ok {
		for _, o := range q.Options {
			if o.Key == a {
				return a
			}
		}
		if strings.HasPrefix(q.ID, columnPrefix) || len(q.Options) == 0 {
			return a // a free answer; whoever asked checks it
		}
	}
	g.p.Questions = append(g.p.Questions, q)
	return q.Proposed
}

// columnPrefix begins the ID of a question about a column; the column's name,
// with {n} for the row, follows.
const columnPrefix = "column "

// Guess proposes a recipe for a table. Answers are by question; the keys of
// its options, or for a column "QUANTITY, ELEMENT, UNIT" in the words of the
// plain layout, or "none". It is the same for the same sample and answers.
func Guess(s Sample, about About, answers map[string]string) Proposal {
	g := &guesser{s: &s, about: about, answers: answers, taken: map[*group]bool{}}
	r := New()
	if r.Box = about.Box; r.Box == "" {
		r.Box = g.ask(Question{ID: "box", Text: "What do you call the box that writes such tables?", Proposed: boxName(about.File)})
	}
	r.File = File{Kind: s.Kind, Sheet: s.Sheet, Dialect: s.Dialect}
	units := false
	for _, c := range s.Columns {
		r.File.Columns = append(r.File.Columns, c.Name)
		r.File.Units = append(r.File.Units, c.Unit)
		units = units || c.Unit != ""
	}
	if !units {
		r.File.Units = nil
	}
	g.p.Recipe = r
	for i, d := range s.Doubts {
		g.ask(Question{ID: "file " + strconv.Itoa(i+1), Text: d, Options: []Option{{"yes", "It is read as said."}}, Proposed: "yes"})
	}
	gs := groups(&s, answers)
	g.time(gs)
	if g.p.Err != nil {
		return g.p
	}
	g.sides(gs)
	g.layout(gs)
	if g.places(gs); g.p.Err != nil {
		return g.p
	}
	for _, x := range gs {
		if !g.taken[x] {
			g.column(x)
		}
	}
	if g.p.Err != nil {
		return g.p
	}
	g.apart(gs)
	g.twice()
	g.seeds(gs)
	g.rowsFrom(gs)
	if len(g.p.Recipe.Values) == 0 && g.p.Recipe.Place.Latitude == "" && g.p.Recipe.Seeds.Row == "" && len(g.p.Questions) == 0 {
		g.p.Err = fmt.Errorf("no column beside the time is known to mean anything that this program uses. Say what one is %s; of a place, say which columns are latitude and longitude", g.about.tell("", "QUANTITY, ELEMENT, UNIT"))
	}
	return g.p
}

// boxName makes a name of a file's: its words without numbers.
func boxName(file string) string {
	var words []string
	for _, w := range tokens(strings.TrimSuffix(path.Base(file), path.Ext(file))) {
		if _, err := strconv.Atoi(w); err != nil && len(w) > 1 {
			words = append(words, w)
		}
	}
	if len(words) == 0 {
		return "box"
	}
	return strings.Join(words, " ")
}

func (g *guesser) read(x *group, means string) {
	g.taken[x] = true
	g.p.Reads = append(g.p.Reads, Reading{x.pattern, len(x.columns), means})
}

func (g *guesser) leave(x *group, why string) {
	g.taken[x] = true
	g.p.Left = append(g.p.Left, Reading{x.pattern, len(x.columns), why})
}

func (g *guesser) means(x *group, what ...string) bool {
	if x.rows != nil {
		return false
	}
	if a, ok := g.answers[columnPrefix+x.pattern]; ok {
		return slices.Contains(what, a) // said by a person
	}
	m, _ := meaning(x.named.words)
	for _, w := range what {
		if slices.Contains(m, w) {
			return true
		}
	}
	return false
}

// time finds the column of times and how they are written.
func (g *guesser) time(gs []*group) {
	var dates, clocks, both, counts []*group
	for _, x := range gs {
		if !g.means(x, "time", "date", "clock", "elapsed") || len(x.values) == 0 {
			continue
		}
		v := x.values[0]
		switch v.Type {
		case table.Instant, table.Local:
			if v.Type == table.Local && v.T >= 0 && v.T < 86400*evenstand.Second {
				clocks = append(clocks, x) // a part of a day, as workbooks have it
				continue
			}
			if v.T%(86400*evenstand.Second) == 0 && g.means(x, "date") && allMidnight(x.values) {
				dates = append(dates, x)
			} else {
				both = append(both, x)
			}
			continue
		case table.Number:
			counts = append(counts, x)
			continue
		}
		text := bytes.TrimSpace(v.Text)
		if !g.means(x, "elapsed") && allClocks(x.values) {
			clocks = append(clocks, x)
			continue
		}
		if _, ok := number(text, g.s.Dialect.Decimal); ok && !bytes.ContainsAny(text, ":/") && bytes.Count(text, []byte(".")) < 2 && bytes.Count(text, []byte("-")) == 0 && (len(text) != 8 || !g.means(x, "date")) && !stamp(text) {
			counts = append(counts, x)
			continue
		}
		if _, _, _, ok := timeOfDay(text, g.s.Dialect.Decimal); ok {
			clocks = append(clocks, x)
			continue
		}
		if hasClock(text) {
			both = append(both, x)
		} else {
			dates = append(dates, x)
		}
	}
	t := &g.p.Recipe.Time
	pick := func(list []*group, what string) *group {
		if len(list) == 1 {
			return list[0]
		}
		q := Question{ID: "time column", Text: "Several columns may be the " + what + ". Which one is it?"}
		for _, c := range list {
			q.Options = append(q.Options, Option{c.pattern, strconv.Quote(c.pattern) + ", such as " + show(c.values[0])})
		}
		a := g.ask(q)
		for _, c := range list {
			if c.pattern == a {
				return c
			}
		}
		return list[0]
	}
	var x, y *group
	switch {
	case len(both) > 0:
		x = pick(both, "time")
	case len(dates) > 0 && len(clocks) > 0:
		x, y = pick(dates, "date"), pick(clocks, "time of day")
		t.Clock = y.pattern
		g.read(y, "time of day")
	case len(counts) > 0:
		x = pick(counts, "time")
	case len(clocks) > 0:
		g.p.Err = fmt.Errorf("the times in %q, such as %s, are times of day, and no column tells the date. A recipe is for the tables of many days, so the date has to stand in them: export date and time, or write the date in a column of its own", clocks[0].pattern, show(clocks[0].values[0]))
		return
	case len(dates) > 0:
		g.p.Err = fmt.Errorf("the column %q has dates without a time of day, and no other column tells it", dates[0].pattern)
		return
	default:
		g.p.Err = fmt.Errorf("no column is known to be the time. Say which it is %s, or rename it to time", g.about.tell("", "time"))
		return
	}
	t.Column = x.pattern
	zoned := g.written(x, y)
	if g.p.Err != nil {
		return
	}
	if !zoned {
		words := strings.Join(append(slices.Clone(x.named.words), tokens(x.named.unit)...), " ")
		if y != nil {
			words += " " + strings.Join(y.named.words, " ")
		}
		if strings.Contains(words, "utc") || strings.Contains(words, "gmt") {
			t.Zone = "UTC"
		} else {
			q := Question{
				ID: "zone", Text: "Times such as " + timeOf(x, y) + " do not say their zone. Which one is it?",
				Options: []Option{{"UTC", "UTC"}},
			}
			if g.about.Zone != "" && g.about.Zone != "UTC" {
				q.Options = append([]Option{{g.about.Zone, g.about.Zone + ", the logbook's"}}, q.Options...)
				q.Proposed = g.about.Zone
			}
			t.Zone = g.answers["zone"]
			if _, err := loadZone(t.Zone); err != nil {
				t.Zone = g.ask(q)
			}
		}
	}
	means := "time, written as " + t.Written.words()
	if t.Written == "" {
		means = "date, whose order is open"
	}
	if t.Zone != "" {
		means += ", in " + t.Zone
	}
	g.read(x, means)
	for _, list := range [][]*group{both, counts, dates, clocks} {
		for _, c := range list {
			if !g.taken[c] {
				g.leave(c, "another column is the time")
			}
		}
	}
}

// timeOf writes the first time of a sample as it stands in the file; date and
// time of day may stand in two columns.
func timeOf(x, y *group) string {
	out := timeText(x.values[0])
	if y != nil {
		if i := slices.Index(y.lines, x.lines[0]); i >= 0 {
			out += " " + timeText(y.values[i])
		}
	}
	return out
}

func timeText(c *table.Cell) string {
	switch c.Type {
	case table.Number:
		return strconv.FormatFloat(c.Num, 'f', -1, 64)
	case table.Words:
		return strings.Trim(show(c), `"`)
	}
	return Cell(c)
}

// allClocks tells whether all values are times of day written as six digits.
func allClocks(cs []*table.Cell) bool {
	for _, c := range cs {
		if wordless(c) {
			continue
		}
		text := bytes.TrimSpace(c.Text)
		digits := 0
		for digits < len(text) && text[digits] >= '0' && text[digits] <= '9' {
			digits++
		}
		if _, _, zoned, ok := timeOfDay(text, '.'); c.Type != table.Words || digits != 6 || !ok || zoned {
			return false
		}
	}
	return true
}

// stamp tells 20260502141208 from a count.
func stamp(b []byte) bool {
	return len(b) == 14 && len(bytes.Trim(b, "0123456789")) == 0 && plausibleYear(b)
}

func allMidnight(cs []*table.Cell) bool {
	for _, c := range cs {
		if c.T%(86400*evenstand.Second) != 0 {
			return false
		}
	}
	return true
}

// hasClock tells whether a date has a time of day behind it.
func hasClock(b []byte) bool {
	return bytes.IndexByte(b, ':') >= 0 || len(bytes.Fields(b)) > 1 && len(b) > 12 || len(b) >= 14 && !bytes.ContainsAny(b, "/.-")
}

// written tells how times are written, and whether they carry their zone.
func (g *guesser) written(x, y *group) (zoned bool) {
	t := &g.p.Recipe.Time
	v := x.values[0]
	if v.Type == table.Instant || v.Type == table.Local {
		t.Written = ByContainer
		return v.Type == table.Instant && y == nil
	}
	if v.Type == table.Number || isCount(v.Text, g.s.Dialect.Decimal) && y == nil {
		return g.counted(x)
	}
	if y != nil && isCount(v.Text, g.s.Dialect.Decimal) && len(bytes.TrimSpace(v.Text)) != 8 {
		t.Written = SerialDays
		return false
	}
	// Try the three orders over the sample; those that fail anywhere are out.
	var fit []Written
	for _, w := range []Written{YearFirst, DayFirst, MonthFirst} {
		rd := when{written: w, decimal: g.s.Dialect.Decimal}
		ok, z := true, false
		for _, c := range x.values {
			if c.Type != table.Words || wordless(c) {
				continue // a line of totals tells nothing
			}
			_, _, zone, good := rd.dateTime(c.Text, true)
			ok = ok && good
			z = z || zone
		}
		if ok {
			fit = append(fit, w)
			zoned = z
		}
	}
	first := bytes.TrimSpace(v.Text)
	year := 0
	for year < len(first) && first[year] >= '0' && first[year] <= '9' {
		year++
	}
	if slices.Contains(fit, YearFirst) && (year == 4 || year == 8 && plausibleYear(first)) {
		t.Written = YearFirst
		return zoned
	}
	// A two-digit year in front is possible and rare; four digits behind are not.
	if len(fit) > 1 && !yearBehind(first) {
		// leave it among the options
	} else {
		fit = slices.DeleteFunc(fit, func(w Written) bool { return w == YearFirst })
	}
	switch {
	case len(fit) == 0:
		g.p.Err = fmt.Errorf("times such as %s in %q cannot be read. If another column is the time, say so %s; else export them as 2026-05-02 14:12:08", show(v), x.pattern, g.about.tell("", "time"))
		return false
	case len(fit) == 1:
		t.Written = fit[0]
		return zoned
	}
	if at := bytes.IndexByte(first, '.'); at > 0 && at < 3 && slices.Contains(fit, DayFirst) {
		t.Written = DayFirst // dates with points have the day first wherever they are written
		return zoned
	}
	q := Question{ID: "time written", Text: fmt.Sprintf("Dates such as %s can be read in more than one way. Which one is it?", show(v))}
	for _, w := range fit {
		rd := when{written: w, decimal: g.s.Dialect.Decimal}
		at, _, _, _ := rd.dateTime(v.Text, true)
		q.Options = append(q.Options, Option{string(w), string(w) + ": " + at.Time().Format("January 2, 2006")})
	}
	t.Written = Written(g.ask(q))
	return zoned
}

func plausibleYear(b []byte) bool {
	y, err := strconv.Atoi(string(b[:4]))
	return err == nil && y >= 1990 && y <= 2099
}

// yearBehind tells whether the third part of a date has four digits.
func yearBehind(b []byte) bool {
	parts := bytes.FieldsFunc(b, func(r rune) bool { return strings.ContainsRune("-/. T", r) })
	return len(parts) >= 3 && len(parts[2]) == 4
}

func isCount(b []byte, decimal byte) bool {
	b = bytes.TrimSpace(b)
	if stamp(b) || len(b) == 8 && !bytes.ContainsAny(b, ".,") && plausibleYear(b) {
		return false
	}
	_, ok := number(b, decimal)
	return ok
}

// counted tells what a number counts from: Unix and GPS seconds overlap.
func (g *guesser) counted(x *group) (zoned bool) {
	t := &g.p.Recipe.Time
	vs, _ := x.numbers(g.s.Dialect.Decimal)
	if len(vs) == 0 {
		g.p.Err = fmt.Errorf("the times in %q cannot be read", x.pattern)
		return
	}
	lo, hi := slices.Min(vs), slices.Max(vs)
	in := func(a, b float64) bool { return lo >= a && hi <= b }
	// 2014 to 2100 as seconds since 1970; GPS seconds are 0.316e9 less.
	switch {
	case in(1.4e9, 1.55e9):
		q := Question{ID: "time written", Text: fmt.Sprintf("Times such as %s may count seconds since 1970, or seconds of GPS since 1980. Which one is it?", show(x.values[0]))}
		for _, w := range []Written{Seconds, GPSSeconds} {
			rd := when{written: w}
			at, _ := rd.number(lo)
			q.Options = append(q.Options, Option{string(w), string(w) + ": " + at.Time().Format("January 2, 2006, 15:04 UTC")})
		}
		t.Written = Written(g.ask(q))
	case in(1.55e9, 4.1e9):
		t.Written = Seconds
	case in(1.3e9, 1.4e9):
		t.Written = GPSSeconds
	case in(1.4e12, 4.1e12):
		t.Written = Millis
	case in(1.4e15, 4.1e15):
		t.Written = Micros
	case in(36526, 73050): // 2000 to 2099
		t.Written = SerialDays
		return false
	default:
		g.p.Err = fmt.Errorf("the times in %q, such as %s, count from a moment that the table does not tell. Export date and time, or add a column with them", x.pattern, show(x.values[0]))
	}
	return true
}

// layout finds the columns of tables with a line for each row or each value.
func (g *guesser) layout(gs []*group) {
	l := &g.p.Recipe.Long
	var names, vals, rows []*group
	for _, x := range gs {
		if g.taken[x] {
			continue
		}
		switch {
		case g.means(x, "value"):
			vals = append(vals, x)
		case g.ofRows(x) && g.wholes(x):
			rows = append(rows, x)
		case g.means(x, "name") && g.texts(x):
			names = append(names, x)
		}
	}
	if len(rows) == 1 {
		l.Row = rows[0].pattern
		g.read(rows[0], "number of the row that the line speaks of")
	}
	if len(names) == 1 && len(vals) == 1 {
		l.Name, l.Value = names[0].pattern, vals[0].pattern
		g.taken[names[0]], g.taken[vals[0]] = true, true
		g.words(names[0], vals[0])
	}
}

func (g *guesser) wholes(x *group) bool {
	totals := 0
	for _, c := range x.values {
		switch v, ok := rowNumber(c, g.s.Dialect.Decimal); {
		case !ok && wordless(c) && len(x.values) > 10*(totals+1):
			totals++ // a line under the table
		case !ok || v < 0 || v > evenstand.MaxRows:
			return false
		}
	}
	return len(x.values) > totals
}

// ofRows tells whether a column's name says that it holds the numbers of rows,
// and nothing else.
func (g *guesser) ofRows(x *group) bool {
	if _, said := g.answers[columnPrefix+x.pattern]; said {
		return g.means(x, "row")
	}
	words := slices.DeleteFunc(slices.Clone(x.named.words), func(w string) bool { return slices.Contains(numberWords, w) })
	_, sure := meaning(words)
	return sure && g.means(x, "row")
}

// numberWords say that a number follows.
var numberWords = []string{"no", "nr", "num", "number", "nummer", "numero", "index", "id"}

// sideOf gives the side that a pattern names beside the number of the row, and
// the pattern's words without it.
func sideOf(pattern string) (side, bare string) {
	before, after, _ := strings.Cut(pattern, rowMark)
	words := tokens(before)
	for i, w := range words {
		last := i == len(words)-1
		switch {
		case slices.Contains(lefts, w), last && w == "l":
			side = "left"
		case slices.Contains(rights, w), last && w == "r":
			side = "right"
		default:
			bare += w + " "
		}
	}
	return side, bare + rowMark + strings.Join(tokens(after), " ")
}

// sides asks how rows are counted of which the left and the right ones have
// numbers of their own: L4 to L1 and R1 to R4.
func (g *guesser) sides(gs []*group) {
	left, right := map[string]*group{}, map[string]*group{}
	for _, x := range gs {
		if x.rows == nil || g.taken[x] {
			continue
		}
		switch side, bare := sideOf(x.pattern); side {
		case "left":
			left[bare] = x
		case "right":
			right[bare] = x
		}
	}
	var pairs [][2]*group
	for _, x := range gs {
		if _, bare := sideOf(x.pattern); left[bare] == x && right[bare] != nil {
			pairs = append(pairs, [2]*group{x, right[bare]})
		}
	}
	if len(pairs) == 0 {
		return
	}
	l, r := pairs[0][0], pairs[0][1]
	nl, nr := len(l.rows), len(r.rows)
	names := func(x *group, up bool) []string {
		var out []string
		for _, n := range slices.Sorted(slices.Values(x.rows)) {
			before, _, _ := strings.Cut(x.pattern, rowMark)
			out = append(out, strings.TrimRight(before, " _-")+strconv.Itoa(n))
		}
		if !up {
			slices.Reverse(out)
		}
		if n := len(out); n > 3 {
			out = []string{out[0], "…", out[n-1]}
		}
		return out
	}
	order := func(upLeft, upRight bool) string {
		return strings.Join(append(names(l, upLeft), names(r, upRight)...), " ")
	}
	q := Question{
		ID: "sides", Text: fmt.Sprintf("The rows of %s and of %s are counted by themselves. In which order do they stand from the left, looking forward?", strconv.Quote(l.pattern), strconv.Quote(r.pattern)),
		Options: []Option{
			{"middle", "the numbers rise from the middle: " + order(false, true)},
			{"outside", "the numbers rise from the outside: " + order(true, false)},
			{"left", "both rise from the left: " + order(true, true)},
			{"none", "leave them out"},
		},
	}
	// The order of the columns proposes one, where it goes from one end to the other.
	switch risesLeft, risesRight := rises(l), rises(r); {
	case g.about.Rows > 0 && g.about.Rows != nl+nr:
		q.Text += fmt.Sprintf(" They are %d together, and the planter card has %d rows.", nl+nr, g.about.Rows)
	case slices.Max(l.columns) > slices.Min(r.columns):
	case risesLeft < 0 && risesRight > 0:
		q.Proposed = "middle"
	case risesLeft > 0 && risesRight < 0:
		q.Proposed = "outside"
	}
	a := g.ask(q)
	for _, p := range pairs {
		for i, x := range p {
			switch a {
			case "none":
				g.leave(x, "left out")
				continue
			case "":
				g.taken[x] = true // when it is told
				continue
			}
			x.sided = map[int]int{}
			x.named.rowWord, x.named.element, x.named.unsure = true, "", false
			x.named.words = slices.DeleteFunc(slices.Clone(x.named.words), func(w string) bool { return w == "l" || w == "r" })
			sorted := slices.Sorted(slices.Values(x.rows))
			for k, c := range x.columns {
				n := slices.Index(sorted, x.rows[k]) + 1
				if up := a == "left" || i == 0 && a == "outside" || i == 1 && a == "middle"; !up {
					n = len(sorted) + 1 - n
				}
				if i == 1 {
					n += len(p[0].rows)
				}
				x.sided[c] = n
			}
		}
	}
}

// rises tells whether the rows of a pattern rise from column to column, 1, or
// fall, -1; 0 neither.
func rises(x *group) int {
	up, down := true, true
	for i := 1; i < len(x.rows); i++ {
		up, down = up && x.rows[i] > x.rows[i-1], down && x.rows[i] < x.rows[i-1]
	}
	switch {
	case len(x.rows) < 2 || up == down:
		return 0
	case up:
		return 1
	}
	return -1
}

// moment writes the time of a row of the sample so that equal ones are equal.
func (g *guesser) moment(r []table.Cell) string {
	key := ""
	for _, n := range []string{g.p.Recipe.Time.Column, g.p.Recipe.Time.Clock} {
		if c := at(r, g.columnOf(n)); c != nil {
			key += fmt.Sprint(string(c.Text), c.Num, c.T, "|")
		}
	}
	return key
}

// apart asks about a column that is not known and tells lines of one time
// apart: without it they would lie on one another.
func (g *guesser) apart(gs []*group) {
	l := &g.p.Recipe.Long
	if l.Row != "" || g.openColumns() {
		return
	}
	nameAt, valueAt := g.columnOf(l.Name), g.columnOf(l.Value)
	at0 := map[string][]int{} // lines of one time and name
	for i, r := range g.s.Rows {
		key := g.moment(r)
		if c := at(r, nameAt); c != nil {
			key += string(c.Text)
		}
		at0[key] = append(at0[key], i)
	}
	several := 0
	for _, ls := range at0 {
		if len(ls) > 1 {
			several++
		}
	}
	if 2*several <= len(at0) || len(at0) < 2 {
		return
	}
	for _, x := range gs {
		if x.rows != nil || len(x.columns) != 1 || !slices.ContainsFunc(g.p.Left, func(r Reading) bool { return r.Column == x.pattern }) || g.answers[columnPrefix+x.pattern] != "" {
			continue
		}
		distinct := map[string]int{}
		tells := true
		for _, ls := range at0 {
			here := map[string]bool{}
			for _, i := range ls {
				c := at(g.s.Rows[i], x.columns[0])
				if c == nil || c.Type == table.Empty {
					tells = false
					continue
				}
				w := show(c)
				tells = tells && !here[w]
				here[w] = true
				distinct[w]++
			}
		}
		for _, n := range distinct { // what tells lines apart comes again and again
			tells = tells && 2*n > len(at0)
		}
		if !tells || len(distinct) < 2 || len(distinct) > evenstand.MaxRows || x.columns[0] == valueAt {
			continue
		}
		q := Question{ID: columnPrefix + x.pattern, Text: fmt.Sprintf("Lines of one time are told apart by %s, which holds %s. Is it the row?", strconv.Quote(x.pattern), g.some(x))}
		if g.wholes(x) {
			q.Options = append(q.Options, Option{"row", "the number of the row"})
		} else {
			q.Text = fmt.Sprintf("Lines of one time are told apart by %s, which holds %s, and that is no number of a row.", strconv.Quote(x.pattern), g.some(x))
		}
		q.Options = append(q.Options, Option{"none", "leave it out: of several values at one time only one is kept"})
		g.p.Questions = append(g.p.Questions, q)
		g.p.Left = slices.DeleteFunc(g.p.Left, func(r Reading) bool { return r.Column == x.pattern })
		return
	}
}

// twice asks which column it is where several give one quantity of one part.
func (g *guesser) twice() {
	by := map[string][]string{}
	var order []string
	for i := range g.p.Recipe.Values {
		v := &g.p.Recipe.Values[i]
		n := v.Column + v.Word
		if slices.ContainsFunc(g.p.Questions, func(q Question) bool { return q.ID == columnPrefix+n }) {
			continue // when it is told
		}
		what := v.Quantity.String() + ", " + v.Element
		if by[what] = append(by[what], n); len(by[what]) == 2 {
			order = append(order, what)
		}
	}
	for _, what := range order {
		label, element, _ := strings.Cut(what, ", ")
		if q, ok := evenstand.ParseQuantity(label); ok {
			label = q.Info().Label
		}
		if element == "machine" {
			element = "the whole planter"
		} else if element == "row "+rowMark {
			element = "each row"
		}
		q := Question{ID: "one " + what, Text: fmt.Sprintf("Several columns are read as %s of %s. Which one is to be used?", label, element)}
		for _, n := range by[what] {
			q.Options = append(q.Options, Option{n, strconv.Quote(n)})
		}
		a := g.ask(q)
		if a == "" {
			continue
		}
		g.p.Recipe.Values = slices.DeleteFunc(g.p.Recipe.Values, func(v Value) bool {
			n := v.Column + v.Word
			out := n != a && v.Quantity.String()+", "+v.Element == what
			if out {
				g.p.Reads = slices.DeleteFunc(g.p.Reads, func(r Reading) bool { return r.Column == n })
				g.p.Left = append(g.p.Left, Reading{n, 1, strconv.Quote(a) + " is used for it"})
			}
			return out
		})
	}
}

func (g *guesser) texts(x *group) bool {
	_, other := x.numbers(g.s.Dialect.Decimal)
	return other > 0
}

// words reads the distinct words of a column of names as if each were a column.
func (g *guesser) words(names, vals *group) {
	at := map[string]*group{}
	var list []*group
	for i, r := range g.s.Rows {
		c, v := r[names.columns[0]], &r[vals.columns[0]]
		if c.Type != table.Words {
			continue
		}
		w := string(c.Text)
		n := readName(table.Column{Name: w, Unit: vals.named.unit})
		key := w
		if n.row >= 0 && n.rowWord {
			key = w[:n.rowFrom] + rowMark + w[n.rowTo:]
		}
		x := at[key]
		if x == nil {
			x = &group{pattern: key, named: n, columns: []int{vals.columns[0]}}
			if key != w {
				x.rows = []int{n.row}
			}
			at[key] = x
			list = append(list, x)
		} else if key != w && !slices.Contains(x.rows, n.row) {
			x.rows = append(x.rows, n.row)
		}
		x.values, x.lines = append(x.values, v), append(x.lines, i)
	}
	for _, x := range list {
		before := len(g.p.Recipe.Values)
		g.column(x)
		for i := before; i < len(g.p.Recipe.Values); i++ {
			g.p.Recipe.Values[i].Word, g.p.Recipe.Values[i].Column = g.p.Recipe.Values[i].Column, ""
		}
	}
}

// places finds the columns of the receiver's place.
func (g *guesser) places(gs []*group) {
	p := &g.p.Recipe.Place
	why := map[*group]string{}
	find := func(what string, lo, hi float64) *group {
		var out *group
		for _, x := range gs {
			if g.taken[x] || !g.means(x, what) {
				continue
			}
			if why[x] = g.unfit(x, what, lo, hi); why[x] != "" {
				continue
			}
			if out != nil && what == "latitude" || out != nil && what == "longitude" {
				g.leave(x, "another column is the "+what)
				continue
			}
			if out == nil {
				out = x
			}
		}
		return out
	}
	la, lo := find("latitude", -90, 90), find("longitude", -180, 180)
	defer func() { // in the order of the columns
		for _, x := range gs {
			switch w, said := why[x], g.answers[columnPrefix+x.pattern]; {
			case g.taken[x] || !g.means(x, "latitude", "longitude", "altitude", "heading", "hdop", "satellites"):
			case said != "" && w != "":
				g.p.Err = &AnswerError{x.pattern, said, errors.New(w)}
			case said == "latitude" || said == "longitude":
				other := map[string]string{"latitude": "longitude", "longitude": "latitude"}[said]
				g.p.Err = &AnswerError{x.pattern, said, fmt.Errorf("a place needs both. Say which column is the %s too, %s", other, g.about.tell("", other))}
			case w != "":
				g.leave(x, w)
			case g.means(x, "latitude") && lo == nil || g.means(x, "longitude") && la == nil:
				g.leave(x, "a place needs latitude and longitude, and the other one is not known. Say which it is "+g.about.tell("", ""))
			}
		}
	}()
	if la == nil || lo == nil {
		return
	}
	p.Latitude, p.Longitude = la.pattern, lo.pattern
	g.read(la, "latitude, degrees")
	g.read(lo, "longitude, degrees")
	if x := find("altitude", -1000, 10000); x != nil {
		switch u, times, ok := parseUnit(x.named.unit); {
		case x.named.unit == "" || ok && u == "m" && times == 1:
			p.Altitude = x.pattern
			g.read(x, "altitude, m")
		default:
			g.leave(x, "an altitude in "+x.named.unit+" is not used")
		}
	}
	for _, x := range gs {
		m, sure := meaning(x.named.words)
		if g.taken[x] || x.rows != nil || !sure || len(m) != 1 || m[0] != evenstand.GroundSpeed.String() {
			continue
		}
		v := Value{Quantity: evenstand.GroundSpeed}
		vs, other := x.numbers(g.s.Dialect.Decimal)
		var ok bool
		v.Unit, v.Times, ok = parseUnit(x.named.unit)
		if u, err := evenstand.ParseUnit(v.Unit); !ok || err != nil || u.Dim != evenstand.Speed || v.Times != 1 || other > 0 || !plausible(v, vs) {
			continue // asked like any other column
		}
		p.Speed, p.SpeedUnit = x.pattern, v.Unit
		g.read(x, "speed of the receiver, in "+v.Unit)
		break
	}
	if x := find("heading", -360, 720); x != nil {
		p.Heading = x.pattern
		g.read(x, "heading, degrees from north")
	}
	if x := find("hdop", 0, 1000); x != nil {
		p.HDOP = x.pattern
		g.read(x, "HDOP of the receiver")
	}
	if x := find("satellites", 0, 200); x != nil {
		p.Satellites = x.pattern
		g.read(x, "satellites")
	}
}

// placeFillers are the words that stand beside those of a place and change
// nothing of it.
var placeFillers = []string{"gps", "gnss", "wgs", "84", "deg", "degree", "degrees", "decimal", "dd", "dec", "position", "pos", "antenna", "receiver", "nav", "of", "grad", "msl", "m", "n", "fix"}

// unfit says why a column whose name speaks of a place cannot be one; empty
// when it can. lo and hi bound its values.
func (g *guesser) unfit(x *group, what string, lo, hi float64) string {
	if len(x.values) == 0 {
		return "it is empty in the first rows"
	}
	vs, other := x.numbers(g.s.Dialect.Decimal)
	if _, said := g.answers[columnPrefix+x.pattern]; !said {
		words := slices.DeleteFunc(slices.Clone(x.named.words), func(w string) bool { return slices.Contains(placeFillers, w) })
		_, sure := meaning(x.named.words)
		_, also := meaning(words)
		if !sure && !also {
			holds := what
			if what == "latitude" || what == "longitude" {
				holds = "decimal degrees"
			}
			return fmt.Sprintf("its name says more than %s. If it holds %s, say so %s", what, holds, g.about.tell(x.pattern, what))
		}
		if u := fold(x.named.unit); (what == "latitude" || what == "longitude" || what == "heading") && u != "" {
			known, times, ok := parseUnit(u)
			if bare := slices.DeleteFunc(tokens(u), func(w string) bool { return slices.Contains(placeFillers, w) }); (!ok || known != "deg" || times != 1) && len(bare) > 0 {
				return fmt.Sprintf("its unit %s is not degrees. Export decimal degrees", strconv.Quote(x.named.unit))
			}
		}
	}
	place := what == "latitude" || what == "longitude"
	switch {
	case other > 0 && place:
		return "its values, such as " + show(x.values[0]) + ", are no decimal degrees. Export them as 41.600001 and -93.500001"
	case other > 0:
		return "its values, such as " + show(x.values[0]) + ", are no numbers"
	case len(vs) == 0:
		return "it is empty in the first rows"
	case slices.Min(vs) >= lo && slices.Max(vs) <= hi:
		return ""
	case what == "latitude" && slices.Min(vs) >= -180 && slices.Max(vs) <= 180:
		return fmt.Sprintf("no latitude is %s. If it is the longitude, say so %s, and which one is the latitude", show(x.values[0]), g.about.tell(x.pattern, "longitude"))
	case place:
		return "its values, such as " + show(x.values[0]) + ", are no decimal degrees. Export them as 41.600001 and -93.500001"
	}
	return fmt.Sprintf("its values, such as %s, cannot be those of %s", show(x.values[0]), what)
}

// typical is where a planter's values lie most of the time, in SI; judgement,
// no source. It only orders the units that are proposed.
var typical = map[evenstand.Quantity][2]float64{
	evenstand.GroundSpeed: {1, 6}, evenstand.Vacuum: {1500, 9000}, evenstand.FanSpeed: {20, 100}, evenstand.SeedRate: {3, 60}, evenstand.SeedRateTarget: {3, 60},
	evenstand.GaugeWheelLoad: {50, 1500}, evenstand.AppliedForce: {100, 3000}, evenstand.GaugeWheelLoadTarget: {100, 1500},
	evenstand.CleanerPressure: {3e4, 1e6}, evenstand.CloserPressure: {3e4, 1e6}, evenstand.HydraulicPressure: {1e6, 2.5e7}, evenstand.Voltage: {10, 15},
	evenstand.SeedZoneTemperature: {2, 35}, evenstand.LiquidRate: {2e-6, 4e-5}, evenstand.LiquidRateTarget: {2e-6, 4e-5}, evenstand.GranularRate: {2e-4, 5e-2}, evenstand.GranularRateTarget: {2e-4, 5e-2},
	evenstand.LiquidFlow: {1e-5, 3e-3}, evenstand.TankContent: {0.01, 8},
}

// perRow tells whether a quantity is of a row where nothing else is said.
func perRow(q evenstand.Quantity) bool {
	switch q {
	case evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.SeedCount, evenstand.SpacingCV, evenstand.RowEnabled, evenstand.RowWorking,
		evenstand.SeedRate, evenstand.GaugeWheelLoad, evenstand.AppliedForce, evenstand.WheelOffShare:
		return true
	}
	return false
}

// special are the meanings of words.csv that are no quantity of the registry.
var special = map[string]struct {
	quantity evenstand.Quantity
	opposite bool
}{"wheel_on": {evenstand.WheelOffShare, true}, "implement_lowered": {evenstand.ImplementLifted, true}}

// column finds what a column means.
func (g *guesser) column(x *group) {
	id := columnPrefix + x.pattern
	if a, ok := g.answers[id]; ok {
		if a == "none" {
			g.leave(x, "left out")
			return
		}
		if slices.Contains(layoutWords, a) {
			g.p.Err = &AnswerError{x.pattern, a, fmt.Errorf("its values, such as %s, cannot be that", g.some(x))}
			return
		}
		v, err := g.said(x, a)
		if err == nil {
			g.add(x, v)
			return
		}
		g.p.Err = &AnswerError{x.pattern, a, err}
		return
	}
	means, sure := meaning(x.named.words)
	if len(means) == 0 {
		if len(x.rows) >= 2 && x.named.rowWord && len(x.values) > 0 {
			g.open(x, g.anyOfRow(x), fmt.Sprintf("The columns %s are one for each row. What do they hold?", strconv.Quote(x.pattern)))
			return
		}
		g.leave(x, "its name says nothing that is known")
		return
	}
	var vs []Value
	why := ""
	for _, m := range means {
		switch m {
		case "singulation", "spacing":
			switch {
			case !sure:
				why = "its name says nothing that is known"
			case m == "spacing":
				why = "the mean spacing is in the seed rate"
			default:
				why = PartsNot
			}
			continue
		case "seeds_per":
			why = "seeds of a length or of a time are not used; a seed rate of an area is, and a count"
			continue
		case "temperature":
			why = "it does not say of what it is the temperature"
			continue
		case "row", "name", "value", "time", "date", "clock", "elapsed", "latitude", "longitude", "altitude", "hdop", "satellites":
			switch why = "it is of no use without others"; {
			case !sure:
				why = "its name says nothing that is known"
			case m == "row" && len(x.values) > 0 && !g.wholes(x):
				why = "its values, such as " + show(x.values[0]) + ", are no numbers of rows"
			}
			continue
		case "heading":
			m = "heading"
		}
		q, ok := evenstand.ParseQuantity(m)
		opposite := false
		if s, is := special[m]; is {
			q, opposite, ok = s.quantity, s.opposite, true
		}
		if !ok {
			continue
		}
		vs = append(vs, Value{Column: x.pattern, Quantity: q, Opposite: opposite, Times: 1})
		if in := q.Info(); !sure && in.Aggregate == evenstand.State && in.SI == "" && !wordsOfState(x, q) {
			// The rest of the name may turn it round: "Clutch disengaged".
			vs = append(vs, Value{Column: x.pattern, Quantity: q, Opposite: !opposite, Times: 1})
		}
	}
	if len(vs) == 1 && wordsOfState(x, vs[0].Quantity) { // words such as up and down say themselves what they mean
		vs[0].Opposite = false
	}
	vs = slices.CompactFunc(vs, func(a, b Value) bool { return a.Quantity == b.Quantity && a.Opposite == b.Opposite })
	if len(vs) == 0 {
		g.leave(x, why)
		return
	}
	if len(x.values) == 0 {
		g.leave(x, "it is empty in the first rows; say what it is "+g.about.tell("", "")+" if it is wanted")
		return
	}
	var options []Value
	certain := sure && len(vs) == 1
	text := ""
	for _, v := range vs {
		list, open := g.complete(x, v)
		if open != "" {
			certain = false
			if text == "" || len(options) == 0 && len(list) > 0 { // of one that it can be
				text = open
			}
		}
		options = append(options, list...)
	}
	if certain && len(options) == 1 {
		g.add(x, options[0])
		return
	}
	if len(options) == 0 && len(vs) == 1 && g.noNumbers(x, vs[0].Quantity) {
		g.leave(x, "its values, such as "+show(x.values[0])+", are no numbers")
		return
	}
	switch {
	case len(options) > 1 && len(vs) > 1:
		text = fmt.Sprintf("%s may mean more than one thing. What is it?", strconv.Quote(x.pattern))
	case !sure:
		text = strings.TrimSpace(fmt.Sprintf("Is %s what its name seems to say? %s", strconv.Quote(x.pattern), text))
	}
	g.open(x, options, text)
}

// layoutWords are the answers about columns that are no quantities.
var layoutWords = []string{"time", "date", "clock", "row", "name", "value", "latitude", "longitude", "altitude", "hdop", "satellites"}

// anyOfRow lists what columns that are one for each row may hold.
func (g *guesser) anyOfRow(x *group) (out []Value) {
	for _, q := range []evenstand.Quantity{
		evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.SpacingCV, evenstand.SeedCount, evenstand.SeedRate, evenstand.GaugeWheelLoad,
		evenstand.AppliedForce, evenstand.WheelOffShare, evenstand.RowEnabled, evenstand.RowWorking,
	} {
		list, _ := g.complete(x, Value{Column: x.pattern, Quantity: q, Times: 1})
		if in := q.Info(); in.Aggregate == evenstand.State && in.SI == "" {
			if vs, _ := x.numbers(g.s.Dialect.Decimal); slices.ContainsFunc(vs, func(v float64) bool { return v != 0 && v != 1 }) {
				continue
			}
		}
		if len(list) > 0 && !g.noNumbers(x, q) {
			out = append(out, list[0])
		}
	}
	return out
}

func (g *guesser) noNumbers(x *group, q evenstand.Quantity) bool {
	in := q.Info()
	if in.Aggregate == evenstand.State && in.SI == "" {
		return false
	}
	vs, other := x.numbers(g.s.Dialect.Decimal)
	return other > len(vs)
}

// open asks what a column is.
func (g *guesser) open(x *group, options []Value, text string) {
	q := Question{ID: columnPrefix + x.pattern, Text: text}
	if len(x.values) > 0 {
		q.Text += " It holds " + g.some(x) + "."
	}
	for _, v := range options {
		q.Options = append(q.Options, Option{v.key(), v.words()})
	}
	q.Options = append(q.Options, Option{"none", "leave it out"})
	if len(options) == 1 {
		q.Proposed = options[0].key()
	}
	g.taken[x] = true
	g.p.Questions = append(g.p.Questions, q)
	if q.Proposed != "" { // so that the first lines can be shown as they would be read
		g.put(x, options[0])
	}
}

// some shows up to three different values of a column.
func (g *guesser) some(x *group) string {
	var out []string
	for _, c := range x.values {
		if s := show(c); !slices.Contains(out, s) {
			out = append(out, s)
		}
		if len(out) == 3 {
			break
		}
	}
	return strings.Join(out, ", ")
}

// add puts a value into the recipe.
func (g *guesser) add(x *group, v Value) {
	g.put(x, v)
	g.read(x, v.words())
}

// put takes a value in: a pattern as one, unless its columns are told apart.
func (g *guesser) put(x *group, v Value) {
	if x.sided == nil && !x.each || v.Element != "row "+rowMark {
		g.p.Recipe.Values = append(g.p.Recipe.Values, v)
		return
	}
	for i, c := range x.columns {
		w, n := v, x.rows[i]
		if x.sided != nil {
			n = x.sided[c]
		}
		w.Column, w.Element = g.s.Columns[c].Name, "row "+strconv.Itoa(n)
		g.p.Recipe.Values = append(g.p.Recipe.Values, w)
	}
}

// words say what a value is.
func (v *Value) words() string {
	in := v.Quantity.Info()
	s := in.Label
	if v.Opposite {
		s = "the opposite of " + s
	}
	switch {
	case strings.Contains(v.Element, rowMark):
		s += " of each row"
	case v.Element == "machine":
	default:
		s += ", " + v.Element
	}
	unit := UnitName(v.Unit, v.Times)
	switch {
	case unit != "":
		s += ", in " + unit
	case in.Aggregate == evenstand.Mean:
		s += ", as a plain fraction"
	}
	if v.Quantity == evenstand.SeedCount {
		if v.Running {
			s += ", a running total"
		} else {
			s += ", since the line before"
		}
	}
	if v.Average > 0 {
		s += fmt.Sprintf(", averaged over %g s", v.Average)
	}
	return s
}

// key writes a value as an answer.
func (v *Value) key() string {
	unit := v.Unit
	if v.Times != 1 && v.Times != 0 {
		unit = strconv.FormatFloat(v.Times, 'g', -1, 64) + " " + unit
	}
	s := v.Quantity.String() + ", " + v.Element + ", " + unit
	if unit == "" {
		s = strings.TrimSuffix(s, ", ")
	}
	if v.Opposite {
		s += ", opposite"
	}
	if v.Running {
		s += ", running"
	}
	return s
}

// said reads an answer about a column.
func (g *guesser) said(x *group, answer string) (Value, error) {
	v := Value{Column: x.pattern, Times: 1, Average: math.Max(x.named.average, 0)}
	if math.IsNaN(v.Average) {
		v.Average = 0
	}
	parts := strings.Split(answer, ",")
	for i := range parts {
		parts[i] = strings.TrimSpace(parts[i])
	}
	q, ok := evenstand.ParseQuantity(parts[0])
	if !ok {
		means, sure := meaning(tokens(parts[0]))
		if sure && len(means) == 1 {
			if s, is := special[means[0]]; is {
				q, ok, v.Opposite = s.quantity, true, s.opposite
			} else {
				q, ok = evenstand.ParseQuantity(means[0])
			}
		}
		if !ok {
			unknown := &UnknownQuantity{Name: parts[0]}
			for _, m := range means {
				if _, is := evenstand.ParseQuantity(m); is {
					unknown.Near = append(unknown.Near, m)
				}
			}
			return v, unknown
		}
	}
	v.Quantity = q
	v.Element = g.element(x, q)
	unitSaid := false
	for _, p := range parts[1:] {
		switch {
		case p == "opposite":
			v.Opposite = !v.Opposite
		case p == "running":
			v.Running = true
		case p == "row "+rowMark || p == "row":
			v.Element = "row " + rowMark
		case p == "":
			unitSaid = true
		default:
			if _, err := evenstand.ParseElement(p); err == nil {
				v.Element = p
				continue
			}
			factor, unit, ok := strings.Cut(p, " ")
			if f, err := strconv.ParseFloat(factor, 64); ok && err == nil {
				v.Times, p = f, unit
			}
			u, times, ok := unitFor(q, p)
			if !ok {
				return v, fmt.Errorf("%q is neither an element nor a unit that is known", p)
			}
			v.Unit, unitSaid = u, true
			v.Times *= times
		}
	}
	if !unitSaid {
		if u, times, ok := unitFor(q, x.named.unit); ok {
			v.Unit, v.Times = u, times
		}
	}
	if in := q.Info(); in.Aggregate == evenstand.State && in.SI == "" {
		g.states(x, &v) // for its words
	}
	u, err := evenstand.ParseUnit(v.Unit)
	if err != nil || !q.Accepts(u) {
		return v, fmt.Errorf("%s wants a unit such as %s", q, q.Info().SI)
	}
	return v, nil
}

// ofQuantity reads pounds as a force, and inches as a vacuum, where that is
// what is measured.
func ofQuantity(q evenstand.Quantity, unit string) string {
	si, err := evenstand.ParseUnit(q.Info().SI)
	if err != nil {
		return unit
	}
	switch {
	case si.Dim == evenstand.Force && unit == "lb":
		return "lbf"
	case si.Dim == evenstand.Force && unit == "kg":
		return "kgf"
	case q == evenstand.Vacuum && unit == "in":
		return "inH2O"
	}
	return unit
}

// element says of which part of the planter a column speaks.
func (g *guesser) element(x *group, q evenstand.Quantity) string {
	switch {
	case x.rows != nil:
		return "row " + rowMark
	case x.named.element != "":
		return x.named.element
	case g.p.Recipe.Long.Row != "" && perRow(q):
		return "row " + rowMark
	case q == evenstand.TankContent:
		return "tank 1"
	}
	return "machine"
}

// complete finds element and unit of a value; open says what is not certain.
func (g *guesser) complete(x *group, v Value) (options []Value, open string) {
	q := v.Quantity
	v.Element = g.element(x, q)
	if x.named.average > 0 {
		v.Average = x.named.average
	}
	quoted := strconv.Quote(x.pattern)
	if x.rows != nil && !x.named.rowWord {
		open = fmt.Sprintf("Is the number in %s that of the row?", quoted)
	}
	if x.rows != nil && (q == evenstand.GroundSpeed || q == evenstand.TankContent || q == evenstand.FanSpeed || q == evenstand.ImplementLifted) {
		return nil, fmt.Sprintf("What are the columns %s?", quoted)
	}
	if x.named.unsure {
		open = fmt.Sprintf("Is %s that of the %s side?", quoted, v.Element)
	}
	if v.Element == "machine" && g.p.Recipe.Long.Row != "" && !wholePlanter(q) {
		differ, several := g.byRows(x)
		both := v
		both.Element = "row " + rowMark
		switch {
		case differ:
			v = both
			open = fmt.Sprintf("%s has values of its own on the lines of each row. Is it that of the row?", quoted)
		case several && g.p.Recipe.Long.Name != "":
			list, o := g.filled(x, v, fmt.Sprintf("%s stands on the lines of several rows. Is it that of each row, or of the whole planter?", quoted))
			more, _ := g.filled(x, both, "")
			return append(more, list...), o
		}
	}
	return g.filled(x, v, open)
}

// wholePlanter tells whether a quantity is of the planter and not of its rows,
// also on the line of a row.
func wholePlanter(q evenstand.Quantity) bool {
	switch q {
	case evenstand.GroundSpeed, evenstand.FanSpeed, evenstand.ImplementLifted, evenstand.Heading, evenstand.HitchAngle, evenstand.Voltage, evenstand.HydraulicPressure:
		return true
	}
	return false
}

// byRows tells, of a table with a line for each row, whether a column has
// values on the lines of several rows, and different ones at one time.
func (g *guesser) byRows(x *group) (differ, several bool) {
	rowAt := g.columnOf(g.p.Recipe.Long.Row)
	if rowAt < 0 {
		return false, false
	}
	first := map[string]string{}
	rows := map[string]bool{}
	for i, c := range x.values {
		r := g.s.Rows[x.lines[i]]
		n := at(r, rowAt)
		if n == nil || n.Type == table.Empty {
			continue
		}
		rows[show(n)] = true
		key := g.moment(r)
		if was, ok := first[key]; ok && was != show(c) {
			differ = true
		}
		first[key] = show(c)
	}
	return differ && len(rows) > 1, len(rows) > 1
}

// filled finds the unit of a value, and what a count or a state is; open is
// what is not certain by now.
func (g *guesser) filled(x *group, v Value, open string) ([]Value, string) {
	q := v.Quantity
	in := q.Info()
	quoted := strconv.Quote(x.pattern)
	vs, _ := x.numbers(g.s.Dialect.Decimal)
	state := in.Aggregate == evenstand.State && in.SI == ""
	switch {
	case state:
		if u := x.named.unit; u != "" {
			if _, _, ok := parseUnit(u); !ok {
				open = fmt.Sprintf("Is %s a state, yes or no?", quoted)
			}
		}
		if o := g.states(x, &v); o != "" {
			return []Value{v}, o
		}
		return []Value{v}, open
	case q == evenstand.SeedCount:
		if u := x.named.unit; u != "" {
			if name, _, ok := parseUnit(u); !ok || name != "" {
				return nil, fmt.Sprintf("%s has the unit %s, which is none of a count. What is it?", quoted, strconv.Quote(u))
			}
		}
		if x.named.scale > 0 {
			return nil, fmt.Sprintf("%s speaks of a factor. What is it?", quoted)
		}
		return g.counts(x, v, open)
	case x.named.scale > 0:
		return g.scaled(x, v, vs), fmt.Sprintf("%s speaks of a factor of %g. In what does it count?", quoted, x.named.scale)
	}
	if x.named.unit != "" {
		unit, times, ok := unitFor(q, x.named.unit)
		u, err := evenstand.ParseUnit(unit)
		switch {
		case !ok || err != nil:
			return g.units(x, v, vs), fmt.Sprintf("The unit %s of %s is not known. What is it?", strconv.Quote(x.named.unit), quoted)
		case !q.Accepts(u):
			return nil, fmt.Sprintf("%s has the unit %s, which does not fit %s. What is it?", quoted, strconv.Quote(x.named.unit), in.Label)
		}
		v.Unit, v.Times = unit, times
		if !plausible(v, vs) {
			return append([]Value{v}, g.units(x, v, vs)...), fmt.Sprintf("Values of %s in %s would not be possible. What is it?", quoted, unit)
		}
		if usual := typical[q]; (q == evenstand.SeedRate || q == evenstand.SeedRateTarget) && median(vs) > 0 && u.ToSI(median(vs)*times) < usual[0]/10 {
			thousands := v
			if thousands.Times *= 1000; plausible(thousands, vs) {
				return []Value{v, thousands}, fmt.Sprintf("%s holds less than anybody plants. In what does it count?", quoted)
			}
		}
		if strings.Contains(v.Element, "tank") && x.named.element == "" && open == "" {
			open = fmt.Sprintf("Is %s the tank that is number 1 on the planter card?", quoted)
		}
		return []Value{v}, open
	}
	options := g.units(x, v, vs)
	return options, fmt.Sprintf("%s does not say its unit. Which one is it?", quoted)
}

// scaled lists the units in which a column with a factor in its name may count:
// as often, or in parts of as many.
func (g *guesser) scaled(x *group, v Value, vs []float64) (out []Value) {
	units := slices.DeleteFunc(g.units(x, v, nil), func(v Value) bool { return v.Times != 1 })
	if u, times, ok := unitFor(v.Quantity, x.named.unit); ok && x.named.unit != "" {
		v.Unit, v.Times = u, times
		units = []Value{v}
	}
	mid := median(vs)
	usual, known := typical[v.Quantity]
	for _, times := range []float64{x.named.scale, 1 / x.named.scale, 1} {
		for _, w := range units {
			w.Times *= times
			u, err := evenstand.ParseUnit(w.Unit)
			if si := u.ToSI(mid * w.Times); err == nil && v.Quantity.Accepts(u) && plausible(w, vs) && (!known || si >= usual[0] && si <= usual[1]) {
				out = append(out, w)
			}
		}
	}
	return out
}

func plausible(v Value, vs []float64) bool {
	u, err := evenstand.ParseUnit(v.Unit)
	if err != nil {
		return false
	}
	in := v.Quantity.Info()
	bad := 0
	for _, x := range vs {
		if si := u.ToSI(x * v.Times); si < in.Min || si > in.Max {
			bad++
		}
	}
	return 10*bad <= len(vs)
}

// units lists the units in which a column's values are possible, the likeliest
// first.
func (g *guesser) units(_ *group, v Value, vs []float64) []Value {
	names := []string{"m/s", "km/h", "mph", "N", "lbf", "kgf", "kPa", "mbar", "inH2O", "bar", "psi", "1/m2", "1/ha", "1/ac", "L/ha", "gal/ac", "kg/ha", "lb/ac", "L/min", "gal/min", "L", "gal", "1/min", "V", "deg", "degC", "degF", "%", ""}
	type scored struct {
		v    Value
		rank int
	}
	var out []scored
	mid := median(vs)
	type counted struct {
		unit  string
		times float64
	}
	var all []counted
	for _, n := range names {
		switch all = append(all, counted{n, 1}); n {
		case "1/ha", "1/ac": // are often counted in thousands
			all = append(all, counted{n, 1000})
		case "mph":
			all = append(all, counted{"km/h", knot})
		}
	}
	for _, n := range all {
		u, _ := evenstand.ParseUnit(n.unit)
		if !v.Quantity.Accepts(u) || v.Quantity.Info().SI != "" && u.Dim == evenstand.Plain {
			continue
		}
		w := v
		w.Unit, w.Times = n.unit, n.times
		if !plausible(w, vs) {
			continue
		}
		rank := 1
		if t, ok := typical[v.Quantity]; ok {
			if si := u.ToSI(mid * n.times); si >= t[0] && si <= t[1] {
				rank = 0
			}
		}
		out = append(out, scored{w, rank})
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].rank < out[j].rank })
	var list []Value
	best := len(out) > 0 && out[0].rank == 0
	for _, s := range out {
		if best && s.rank > 0 && v.Quantity.Info().SI != "" {
			continue // possible, and nobody logs such values
		}
		list = append(list, s.v)
	}
	return list
}

// median of the values that are not zero: boxes log nothing while they stand.
func median(vs []float64) float64 {
	var nz []float64
	for _, v := range vs {
		if v != 0 {
			nz = append(nz, v)
		}
	}
	if len(nz) == 0 {
		return 0
	}
	slices.Sort(nz)
	return nz[len(nz)/2]
}

// counts tells running totals from counts of one step.
func (g *guesser) counts(x *group, v Value, open string) ([]Value, string) {
	v.Unit = ""
	rises, falls, most := 0, 0, 0.0
	for _, c := range x.columns {
		last := map[int]float64{}
		for _, r := range g.s.Rows {
			if c >= len(r) {
				continue
			}
			k := 0
			if at := g.columnOf(g.p.Recipe.Long.Row); at >= 0 && at < len(r) {
				if n, ok := g.cell(&r[at]); ok {
					k = int(n)
				}
			}
			n, ok := g.cell(&r[c])
			if !ok {
				continue
			}
			if p, have := last[k]; have {
				if n > p {
					rises++
				} else if n < p {
					falls++
				}
			}
			last[k] = n
			most = max(most, n)
		}
	}
	run := v
	run.Running = true
	switch {
	case falls > rises/4 && falls >= 3:
		return []Value{v}, open
	case falls == 0 && rises >= 5 && most > 100:
		return []Value{run}, open
	}
	return []Value{v, run}, fmt.Sprintf("Is %s the seeds since the line before, or a running total?", strconv.Quote(x.pattern))
}

func (g *guesser) columnOf(name string) int {
	if name == "" {
		return -1
	}
	return slices.IndexFunc(g.s.Columns, func(c table.Column) bool { return c.Name == name })
}

func (g *guesser) cell(c *table.Cell) (float64, bool) {
	switch c.Type {
	case table.Number, table.Flag:
		return c.Num, true
	case table.Words:
		return number(c.Text, g.s.Dialect.Decimal)
	}
	return 0, false
}

// Words of lifting and lowering that stand in a column of that state.
var (
	upWords   = []string{"up", "raised", "lifted", "oben", "ausgehoben", "releve", "haut", "arriba", "levantado", "omhoog", "geheven", "cima"}
	downWords = []string{"down", "lowered", "unten", "abgesenkt", "baisse", "bas", "abajo", "bajado", "omlaag", "baixo", "working", "in work"}
)

// wordsOfState tells whether a column holds words that say themselves whether
// the planter is up or down.
func wordsOfState(x *group, q evenstand.Quantity) bool {
	some := false
	for _, c := range x.values {
		if c.Type != table.Words {
			return false
		}
		switch w := fold(string(c.Text)); {
		case slices.Contains(absent, w):
		case q == evenstand.ImplementLifted && (slices.Contains(upWords, w) || slices.Contains(downWords, w)):
			some = true
		default:
			return false
		}
	}
	return some
}

// states finds the words of a state; open says that they are not known.
func (g *guesser) states(x *group, v *Value) (open string) {
	var strange []string
	for _, c := range x.values {
		switch c.Type {
		case table.Number, table.Flag:
			if c.Num != 0 && c.Num != 1 {
				return fmt.Sprintf("%s holds other values than 0 and 1. Is it a state?", strconv.Quote(x.pattern))
			}
		case table.Words:
			if n, ok := number(c.Text, g.s.Dialect.Decimal); ok && (n == 0 || n == 1) {
				continue
			}
			w := fold(string(c.Text))
			switch {
			case slices.Contains(yes, w), slices.Contains(no, w), slices.Contains(absent, w):
			case v.Quantity == evenstand.ImplementLifted && slices.Contains(upWords, w):
				mark(&v.Yes, string(c.Text))
			case v.Quantity == evenstand.ImplementLifted && slices.Contains(downWords, w):
				mark(&v.No, string(c.Text))
			default:
				if !slices.Contains(strange, w) {
					strange = append(strange, w)
				}
			}
		}
	}
	if len(strange) > 0 {
		return fmt.Sprintf("%s holds words that are not known to mean yes or no: %s. They are left out unless the recipe lists them.", strconv.Quote(x.pattern), strings.Join(strange[:min(4, len(strange))], ", "))
	}
	return ""
}

// mark notes a word.
func mark(list *[]string, word string) {
	if !slices.Contains(*list, word) {
		*list = append(*list, word)
	}
}

// seeds asks, when a table holds rows and times and nothing else that is read,
// whether its lines are seeds. It is proposed where there is nothing else at
// all, and the times are finer than a second.
func (g *guesser) seeds(gs []*group) {
	r := &g.p.Recipe
	if r.Long.Row == "" || len(r.Values) > 0 || r.Place.Latitude != "" || len(g.p.Questions) > 0 && g.openColumns() {
		return
	}
	q := Question{
		ID: "seeds", Text: "The table has a time and a row and nothing else that is known. Is each line one seed?",
		Options: []Option{{"yes", "each line is one seed that the row's sensor saw"}, {"no", "no"}},
	}
	if len(g.p.Left) == 0 && g.fine(gs) {
		q.Proposed = "yes"
	}
	if g.ask(q) == "yes" {
		r.Seeds.Row, r.Long.Row = r.Long.Row, ""
		return
	}
	if _, said := g.answers[q.ID]; said {
		g.p.Err = fmt.Errorf("no column beside time and row is known. Say what one is %s", g.about.tell("", "QUANTITY, ELEMENT, UNIT"))
	}
}

// fine tells whether some time of the sample has parts of a second.
func (g *guesser) fine(gs []*group) bool {
	w, err := newWhen(Time{Written: g.p.Recipe.Time.Written, Zone: "UTC"}, g.s.Dialect.Decimal)
	if err != nil {
		return false
	}
	timeAt, clockAt := g.columnOf(g.p.Recipe.Time.Column), g.columnOf(g.p.Recipe.Time.Clock)
	for _, r := range g.s.Rows {
		if c := at(r, timeAt); c != nil {
			if t, why := w.read(c, at(r, clockAt)); why == fine && t%evenstand.Second != 0 {
				return true
			}
		}
	}
	return false
}

func (g *guesser) openColumns() bool {
	return slices.ContainsFunc(g.p.Questions, func(q Question) bool { return strings.HasPrefix(q.ID, columnPrefix) })
}

// rowsFrom asks from which side rows count.
func (g *guesser) rowsFrom(gs []*group) {
	r := &g.p.Recipe
	asked := slices.ContainsFunc(g.p.Questions, func(q Question) bool { // so that all stands in one list
		return q.ID == "seeds" || slices.ContainsFunc(q.Options, func(o Option) bool { return strings.Contains(o.Key, "row "+rowMark) })
	})
	ofSides := func(v Value) bool {
		return slices.ContainsFunc(gs, func(x *group) bool {
			return x.sided != nil && slices.ContainsFunc(x.columns, func(c int) bool { return g.s.Columns[c].Name == v.Column })
		})
	}
	if others := *r; !asked { // rows counted from both sides are ours already
		others.Values = slices.DeleteFunc(slices.Clone(r.Values), ofSides)
		if !others.byRow() {
			return
		}
	}
	first, most := 1, 0
	for _, x := range gs {
		for _, n := range x.rows {
			if n == 0 && x.sided == nil {
				first = 0
			}
			most = max(most, n)
		}
		for _, n := range x.sided {
			most = max(most, n)
		}
		if x.pattern == r.Long.Row || x.pattern == r.Seeds.Row {
			vs, _ := x.numbers(g.s.Dialect.Decimal)
			for _, v := range vs {
				if v == 0 {
					first = 0
				}
				most = max(most, int(v))
			}
		}
	}
	r.Rows.First = first
	count := most + 1 - first
	if g.about.Rows > count {
		count = g.about.Rows
	}
	a := g.ask(Question{
		ID: "rows", Text: fmt.Sprintf("Is row %d the leftmost, looking forward?", first),
		Options: []Option{{"left", "yes, rows count from the left"}, {"right", fmt.Sprintf("no, they count from the right, and there are %d", count)}}, Proposed: "left",
	})
	if a != "right" {
		return
	}
	r.Rows.From, r.Rows.Count = "right", count
	for i, v := range r.Values { // what is ours already is turned round once more
		if e, err := evenstand.ParseElement(v.Element); err == nil && e.Scope == evenstand.ScopeRow && ofSides(v) {
			r.Values[i].Element = "row " + strconv.Itoa(count-int(e.N)+first)
		}
	}
}
