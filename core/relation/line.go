package relation

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Status says how far a line can be trusted as a citation.
type Status string

// The statuses.
const (
	Read    Status = "V"  // read in the source itself
	Quoted  Status = "V2" // read in a text that quotes the source
	Derived Status = "D"  // arithmetic or a fit on such figures
	Memory  Status = "M"  // from memory
	Judged  Status = "J"  // judgement
)

// Citable tells whether a line of this status may be shown as a citation.
func (s Status) Citable() bool { return s == Read || s == Quoted || s == Derived }

// Line is one figure of a relation. Low, Likely and High are NaN where the
// source gives none. A figure that is an expression in d (days) is NaN too and
// stands in LowForm or HighForm; At evaluates it.
type Line struct {
	ID          string // "R2-skip"
	Name        string // unique within the id
	Form        string
	Coefficient string
	Low         float64
	Likely      float64
	High        float64
	Unit        string
	Domain      string
	Source      string
	Status      Status

	LowForm, HighForm string
}

// Cite gives the publication to show beside a figure, with "derived from"
// before it for status D, and false for lines that are no citation.
func (l Line) Cite() (string, bool) {
	switch l.Status {
	case Read:
		return l.Source, true
	case Quoted:
		return "quoted: " + l.Source, true
	case Derived:
		return "derived: " + l.Source, true
	}
	return "", false
}

// At gives low, likely and high with expressions evaluated at d days.
func (l Line) At(d float64) (low, likely, high float64) {
	low, high = l.Low, l.High
	if l.LowForm != "" {
		low = evalDays(l.LowForm, d)
	}
	if l.HighForm != "" {
		high = evalDays(l.HighForm, d)
	}
	return low, l.Likely, high
}

// Range gives low, likely and high, a missing end replaced by the likely
// value, so that a figure without a range is a point.
func (l Line) Range() (low, likely, high float64) {
	low, likely, high = l.Low, l.Likely, l.High
	if math.IsNaN(low) {
		low = likely
	}
	if math.IsNaN(high) {
		high = likely
	}
	return low, likely, high
}

//go:embed relations.csv
var relationsCSV string

var lines = sync.OnceValue(func() []Line {
	ls, err := ReadLines(strings.NewReader(relationsCSV))
	if err != nil {
		panic("relations.csv of this build: " + err.Error()) // a broken build; a test reads the same file
	}
	return ls
})

// ReadLines reads relations in the layout of relations.csv and refuses a line
// without a source or with an unknown status, naming it.
func ReadLines(r io.Reader) ([]Line, error) {
	recs, err := readTable(r, "id,name,form,coefficient,low,likely,high,unit,domain,source,status")
	if err != nil {
		return nil, err
	}
	out := make([]Line, 0, len(recs))
	seen := map[[2]string]int{}
	for i, rec := range recs {
		at := i + 2
		l := Line{ID: rec[0], Name: rec[1], Form: rec[2], Coefficient: rec[3], Unit: rec[7], Domain: rec[8], Source: rec[9], Status: Status(rec[10])}
		if l.ID == "" || l.Name == "" {
			return nil, fmt.Errorf("line %d: id or name is missing", at)
		}
		if err := checkSource(l.Source, l.Status); err != nil {
			return nil, fmt.Errorf("line %d, %s, %s: %w", at, l.ID, l.Name, err)
		}
		key := [2]string{l.ID, l.Name}
		if first, dup := seen[key]; dup {
			return nil, fmt.Errorf("line %d: %s, %s stands on line %d already", at, l.ID, l.Name, first)
		}
		seen[key] = at
		if l.Low, l.LowForm, err = figure(rec[4]); err == nil {
			if l.High, l.HighForm, err = figure(rec[6]); err == nil {
				l.Likely, err = plain(rec[5])
			}
		}
		if err != nil {
			return nil, fmt.Errorf("line %d, %s, %s: %w", at, l.ID, l.Name, err)
		}
		out = append(out, l)
	}
	return out, nil
}

func readTable(r io.Reader, header string) ([][]string, error) {
	recs, err := csv.NewReader(r).ReadAll()
	if err != nil {
		return nil, err
	}
	if len(recs) == 0 || strings.Join(recs[0], ",") != header {
		return nil, fmt.Errorf("line 1: want the header %s", header)
	}
	return recs[1:], nil
}

func checkSource(source string, status Status) error {
	switch status {
	case Read, Quoted, Derived, Memory, Judged:
	default:
		return fmt.Errorf("status %q is none of V, V2, D, M, J", string(status))
	}
	if strings.TrimSpace(source) == "" || strings.EqualFold(source, "as above") {
		return fmt.Errorf("no source; name the publication, or say judgement with status J")
	}
	return nil
}

func plain(s string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return math.NaN(), fmt.Errorf("%q is not a number", s)
	}
	return v, nil
}

func figure(s string) (float64, string, error) {
	if v, err := plain(s); err == nil {
		return v, "", nil
	}
	if math.IsNaN(evalDays(s, 1)) {
		return math.NaN(), "", fmt.Errorf("%q is neither a number nor an expression in d", s)
	}
	return math.NaN(), s, nil
}

// evalDays evaluates "0.07d", "0.02(d-3)" and either with " cap 0.40" behind.
// Anything else is NaN.
func evalDays(form string, d float64) float64 {
	limit := math.Inf(1)
	body, capped, ok := strings.Cut(form, " cap ")
	if ok {
		v, err := strconv.ParseFloat(capped, 64)
		if err != nil {
			return math.NaN()
		}
		limit = v
	}
	num, shift := "", 0.0
	switch {
	case strings.HasSuffix(body, "d"):
		num = strings.TrimSuffix(body, "d")
	case strings.HasSuffix(body, ")"):
		a, b, ok := strings.Cut(strings.TrimSuffix(body, ")"), "(d-")
		if !ok {
			return math.NaN()
		}
		v, err := strconv.ParseFloat(b, 64)
		if err != nil {
			return math.NaN()
		}
		num, shift = a, v
	default:
		return math.NaN()
	}
	k, err := strconv.ParseFloat(num, 64)
	if err != nil {
		return math.NaN()
	}
	return math.Min(limit, math.Max(0, k*(d-shift)))
}

// All gives every line in the order of the file.
func All() []Line { return slices.Clone(lines()) }

// Get finds a line by id and name.
func Get(id, name string) (Line, bool) {
	for _, l := range lines() {
		if l.ID == id && l.Name == name {
			return l, true
		}
	}
	return Line{}, false
}

// Must finds a line that the program itself asks for; a name that does not
// exist is a slip of the programmer and panics.
func Must(id, name string) Line {
	l, ok := Get(id, name)
	if !ok {
		panic("relation: no line " + id + ", " + name)
	}
	return l
}

// Of gives the lines of one relation.
func Of(id string) []Line {
	var out []Line
	for _, l := range lines() {
		if l.ID == id {
			out = append(out, l)
		}
	}
	return out
}

// Citations gives the publications behind a relation, each once, in the order
// of the file; lines from memory and judgement are left out.
func Citations(id string) []string {
	var out []string
	for _, l := range Of(id) {
		if c, ok := l.Cite(); ok && !slices.Contains(out, c) {
			out = append(out, c)
		}
	}
	return out
}
