package book

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"regexp"
	"slices"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"evenstand/core/paper"
	"evenstand/format/plain"
)

// paperName is the file in which the people say what their state asks for.
const paperName = "paper.toml"

type paperFile struct {
	State    string         `toml:"state"`
	Elements []paperElement `toml:"element"`
}

// paperElement is a line of the logbook's own. It takes the place of those of the
// program that ask for the same element in the same document for the same who.
type paperElement struct {
	Document string `toml:"document"`
	Element  string `toml:"element"`
	Label    string `toml:"label"` // of an element that the program does not know
	Hint     string `toml:"hint"`
	Who      string `toml:"who"`
	Applies  string `toml:"applies"`
	By       string `toml:"by"`
	Keep     string `toml:"keep"`
	Source   string `toml:"source"`
	Status   string `toml:"status"`
	Off      bool   `toml:"off"` // nobody asks for it here
}

var ownElement = regexp.MustCompile(`^[a-z][a-z0-9_]{0,39}$`)

// parsePaper reads paper.toml onto the rules that come with the program.
func parsePaper(data []byte) (paper.Rules, error) {
	r := paper.Standard()
	var f paperFile
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		line, hint, what := plain.TOMLError(data, err)
		if line == 0 {
			return r, what
		}
		return r, errors.New(strings.TrimSpace(fmt.Sprintf("line %d: %v. %s", line, what, hint)))
	}
	r.State = strings.ToUpper(strings.TrimSpace(f.State))
	if r.State != "" && len(r.State) != 2 {
		return r, fmt.Errorf("state = %q: write its two letters, as in IA", f.State)
	}
	for n, e := range f.Elements {
		where := fmt.Sprintf("[[element]] %d, %s", n+1, e.Element)
		if !ownElement.MatchString(e.Element) {
			return r, fmt.Errorf("%s: a name has small letters, digits and _ only", where)
		}
		if r.Name(e.Element) == nil && e.Label != "" {
			r.Names = append(r.Names, paper.Name{ID: e.Element, Label: e.Label, Hand: true, Hint: e.Hint})
		}
		a := paper.Ask{Document: e.Document, Element: e.Element, Who: strings.TrimSpace(e.Who), Applies: e.Applies, By: e.By, Keep: e.Keep, Source: strings.TrimSpace(e.Source), Status: e.Status, Own: true}
		if a.Document == "" {
			a.Document = "applications"
		}
		if a.Applies == "" {
			a.Applies = "any"
		}
		if e.Off && a.Source == "" {
			a.Source = paperName
		}
		if err := r.Sound(&a); err != nil {
			return r, fmt.Errorf("%s: %w", where, err)
		}
		r.Asks = slices.DeleteFunc(r.Asks, func(x paper.Ask) bool {
			return !x.Own && x.Document == a.Document && x.Element == a.Element && x.Who == a.Who
		})
		if !e.Off {
			r.Asks = append(r.Asks, a)
		}
	}
	return r, nil
}

// PaperRules gives what papers are to hold in this logbook: the program's lines
// with those of paper.toml.
func (b *Book) PaperRules() (paper.Rules, error) {
	data, err := os.ReadFile(b.path(paperName))
	if errors.Is(err, fs.ErrNotExist) {
		return paper.Standard(), nil
	}
	if err != nil {
		return paper.Rules{}, &Error{b.path(paperName), err, "The file must be readable"}
	}
	r, err := parsePaper(data)
	if err != nil {
		return r, &Error{b.path(paperName), err, "Correct that line in paper.toml; docs/book-format.md says what may stand there"}
	}
	return r, nil
}
