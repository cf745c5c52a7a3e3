package relation

import (
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// Remedy is what is known about one cause of one kind of finding: how often
// the usual advice cures it, how long it takes and who does it. The figures are
// trade knowledge without a published source; each line says so.
type Remedy struct {
	Kind, Cause string
	Fault       string  // section of the fault reference, "F01"
	SeedsFall   bool    // the seeds lie in the ground all the same: nothing was lost
	Works       float64 // chance that the advice cures it
	Minutes     int     // one person, in the field, parts on the truck
	Who         string  // operator, mechanic, agronomist
	Do          string  // whole sentences; {10 ft|3 m} stands for US or metric
	Source      string
	Status      Status
}

//go:embed causes.csv
var causesCSV string

var remedies = sync.OnceValue(func() []Remedy {
	rs, err := ReadRemedies(strings.NewReader(causesCSV))
	if err != nil {
		panic("causes.csv of this build: " + err.Error()) // a broken build; a test reads the same file
	}
	return rs
})

// ReadRemedies reads remedies in the layout of causes.csv and refuses a line
// without a source.
func ReadRemedies(r io.Reader) ([]Remedy, error) {
	recs, err := readTable(r, "kind,cause,fault,seeds_fall,works,minutes,who,do,source,status")
	if err != nil {
		return nil, err
	}
	out := make([]Remedy, 0, len(recs))
	for i, rec := range recs {
		m := Remedy{Kind: rec[0], Cause: rec[1], Fault: rec[2], SeedsFall: rec[3] == "1", Who: rec[6], Do: rec[7], Source: rec[8], Status: Status(rec[9])}
		err := checkSource(m.Source, m.Status)
		if err == nil {
			m.Works, err = strconv.ParseFloat(rec[4], 64)
		}
		if err == nil {
			m.Minutes, err = strconv.Atoi(rec[5])
		}
		if err == nil && (m.Works < 0 || m.Works > 1) {
			err = fmt.Errorf("chance %g is outside 0 to 1", m.Works)
		}
		if err == nil && !slices.Contains([]string{"operator", "mechanic", "agronomist"}, m.Who) {
			err = fmt.Errorf("who %q is none of operator, mechanic, agronomist", m.Who)
		}
		if err != nil {
			return nil, fmt.Errorf("line %d, %s, %s: %w", i+2, m.Kind, m.Cause, err)
		}
		out = append(out, m)
	}
	return out, nil
}

// Remedies gives the remedies of a kind in the order of the catalogue.
func Remedies(kind string) []Remedy {
	var out []Remedy
	for _, m := range remedies() {
		if m.Kind == kind {
			out = append(out, m)
		}
	}
	return out
}

// RemedyFor finds the remedy of a cause within a kind; false when the
// catalogue has none.
func RemedyFor(kind, cause string) (Remedy, bool) {
	for _, m := range remedies() {
		if m.Kind == kind && m.Cause == cause {
			return m, true
		}
	}
	return Remedy{}, false
}
