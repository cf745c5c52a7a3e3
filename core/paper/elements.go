package paper

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"evenstand"
	"evenstand/core/advise"
)

// Name is an element that a record can have.
type Name struct {
	ID    string `json:"id"`
	Label string `json:"label"`
	Hand  bool   `json:"hand"` // people write it down; else the logs tell it, and people may correct it
	Hint  string `json:"hint"`
}

// Ask is one that asks for an element: a line of elements.csv, or of the logbook's
// own paper.toml.
type Ask struct {
	Document string `json:"document"`
	Element  string `json:"element"`
	Who      string `json:"who"`     // federal, state, good practice, or what the logbook says
	State    string `json:"state"`   // two letters; empty: everywhere
	Applies  string `json:"applies"` // any, pesticide, restricted, commercial
	By       string `json:"by"`
	Keep     string `json:"keep"`
	Source   string `json:"source"`
	Status   string `json:"status"`
	Own      bool   `json:"own"` // of the logbook
}

// Rules are the elements and who asks for them, as they hold for a logbook.
type Rules struct {
	State string // two letters; empty: nobody said
	Names []Name
	Asks  []Ask
}

//go:embed names.csv
var namesCSV string

//go:embed elements.csv
var elementsCSV string

var rules = sync.OnceValue(func() Rules {
	r, err := ReadRules(strings.NewReader(namesCSV), strings.NewReader(elementsCSV))
	if err != nil {
		panic("elements of this build: " + err.Error()) // a broken build; a test reads the same files
	}
	return r
})

// Standard gives the rules that come with the program.
func Standard() Rules {
	r := rules()
	return Rules{Names: slices.Clone(r.Names), Asks: slices.Clone(r.Asks)}
}

// The words that lines may use.
var (
	documents = []string{"applications", "posting", "acres"}
	applies   = []string{"any", "pesticide", "restricted", "commercial"}
	statuses  = []string{"verified", "reported", "from memory", "judgement"}
)

// Applies and Asked list what a line may say.
func Applies() []string { return slices.Clone(applies) }

// Asked are the documents that ask for elements.
func Asked() []string { return slices.Clone(documents) }

// ReadRules reads names and elements and refuses a line that lacks its source, or
// that says what this program does not know.
func ReadRules(names, elements io.Reader) (r Rules, err error) {
	lines, err := table(names, "element", "label", "from", "hint")
	if err != nil {
		return r, fmt.Errorf("names: %w", err)
	}
	for _, l := range lines {
		if l[2] != "log" && l[2] != "hand" {
			return r, fmt.Errorf("names: %s comes from %q: want log or hand", l[0], l[2])
		}
		r.Names = append(r.Names, Name{l[0], l[1], l[2] == "hand", l[3]})
	}
	lines, err = table(elements, "document", "element", "who", "state", "applies", "by", "keep", "source", "status")
	if err != nil {
		return r, fmt.Errorf("elements: %w", err)
	}
	for _, l := range lines {
		a := Ask{Document: l[0], Element: l[1], Who: l[2], State: l[3], Applies: l[4], By: l[5], Keep: l[6], Source: l[7], Status: l[8]}
		if err := r.Sound(&a); err != nil {
			return r, fmt.Errorf("elements: %s, %s: %w", a.Document, a.Element, err)
		}
		if !slices.Contains(statuses, a.Status) {
			return r, fmt.Errorf("elements: %s, %s: status %q: want %s", a.Document, a.Element, a.Status, strings.Join(statuses, ", "))
		}
		r.Asks = append(r.Asks, a)
	}
	return r, nil
}

// Sound refuses an ask that cannot be used.
func (r *Rules) Sound(a *Ask) error {
	switch {
	case !slices.Contains(documents, a.Document):
		return fmt.Errorf("document %q: want %s", a.Document, strings.Join(documents, ", "))
	case r.Name(a.Element) == nil:
		return fmt.Errorf("there is no element %q: give it a label to make one", a.Element)
	case !slices.Contains(applies, a.Applies):
		return fmt.Errorf("applies %q: want %s", a.Applies, strings.Join(applies, ", "))
	case a.Who == "" || a.Source == "":
		return fmt.Errorf("who asks for it, and the source, are both wanted")
	case a.State != "" && len(a.State) != 2:
		return fmt.Errorf("state %q: want its two letters", a.State)
	}
	_, _, err := within(a.By)
	return err
}

func table(from io.Reader, columns ...string) ([][]string, error) {
	rd := csv.NewReader(from)
	rd.Comment = '#'
	rd.FieldsPerRecord = len(columns)
	lines, err := rd.ReadAll()
	if err != nil {
		return nil, err
	}
	if len(lines) == 0 || !slices.Equal(lines[0], columns) {
		return nil, fmt.Errorf("the columns must be %s", strings.Join(columns, ", "))
	}
	return lines[1:], nil
}

// Name gives an element, nil when there is none.
func (r *Rules) Name(id string) *Name {
	if i := slices.IndexFunc(r.Names, func(n Name) bool { return n.ID == id }); i >= 0 {
		return &r.Names[i]
	}
	return nil
}

// asks gives what is asked of a product in a document: kind and applicator as they
// were written down, empty where nobody did, which leaves all of it possible.
func (r *Rules) asks(document, kind, applicator string) (out []Ask) {
	for _, a := range r.Asks {
		if a.Document != document || a.State != "" && a.State != r.State {
			continue
		}
		switch a.Applies {
		case "pesticide":
			if kind == Fertilizer {
				continue
			}
		case "restricted":
			if kind != "" && kind != Restricted {
				continue
			}
		case "commercial":
			if kind != "" && kind != Restricted || applicator == "private" {
				continue
			}
		}
		out = append(out, a)
	}
	return out
}

// The kinds of product.
const (
	Fertilizer = "fertilizer"
	Pesticide  = "pesticide"
	Restricted = "restricted-use pesticide"
)

// within reads by when an element is wanted.
func within(by string) (n int, unit string, err error) {
	switch by {
	case "", "at once":
		return 0, by, nil
	}
	number, unit, _ := strings.Cut(by, " ")
	n, err = strconv.Atoi(number)
	if err != nil || n < 1 || n > 3660 || unit != "h" && unit != "d" && unit != "working days" {
		return 0, "", fmt.Errorf("by %q: write it as 24 h, 14 d, 2 working days or at once", by)
	}
	return n, unit, nil
}

// due gives by when an element is wanted after an end, and the same in words;
// NoTime where nobody says.
func due(by string, end evenstand.Micros, v advise.Voice) (t evenstand.Micros, says string) {
	n, unit, err := within(by)
	if err != nil || unit == "" || end == evenstand.NoTime {
		return evenstand.NoTime, ""
	}
	at := end.Time()
	if v.Zone != nil {
		at = at.In(v.Zone)
	}
	switch unit {
	case "at once":
		return end, "wanted at once"
	case "h":
		t = end + evenstand.Micros(n)*3600*evenstand.Second
		return t, "by " + v.Clock(t) + ", " + v.Date(t)
	case "d":
		at = at.AddDate(0, 0, n)
	case "working days":
		for range n { // holidays are not known
			at = at.AddDate(0, 0, 1)
			for at.Weekday() == time.Saturday || at.Weekday() == time.Sunday {
				at = at.AddDate(0, 0, 1)
			}
		}
	}
	t = evenstand.Micros(at.UnixMicro())
	return t, "by " + v.Date(t)
}
