package relation

import (
	_ "embed"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
)

// Class says what kind of thing a cause is cured by, so that what can be bought
// or mended in winter stands apart from what is set, filled or driven.
type Class string

// The classes.
const (
	ClassPart     Class = "part"     // to mend or to buy
	ClassSetting  Class = "setting"  // to set or to calibrate
	ClassSeed     Class = "seed"     // the lot, its fit and its treatment
	ClassHandling Class = "handling" // filling and driving
	ClassGround   Class = "ground"   // soil, residue, weather: nothing to buy
)

// Part is what stands behind a cause. Which part a cause lies in is trade
// knowledge without a published source; each line says so.
type Part struct {
	Cause  string
	Part   string // in the plural, as on a parts list: "meter seals and discs"
	Class  Class
	Source string
	Status Status
}

//go:embed parts.csv
var partsCSV string

var parts = sync.OnceValue(func() []Part {
	ps, err := ReadParts(strings.NewReader(partsCSV))
	if err != nil {
		panic("parts.csv of this build: " + err.Error()) // a broken build; a test reads the same file
	}
	return ps
})

// ReadParts reads parts in the layout of parts.csv and refuses a line without a
// source and a cause that stands twice.
func ReadParts(r io.Reader) ([]Part, error) {
	recs, err := readTable(r, "cause,part,class,source,status")
	if err != nil {
		return nil, err
	}
	out := make([]Part, 0, len(recs))
	seen := map[string]bool{}
	for i, rec := range recs {
		p := Part{rec[0], rec[1], Class(rec[2]), rec[3], Status(rec[4])}
		err := checkSource(p.Source, p.Status)
		switch {
		case err != nil:
		case p.Part == "":
			err = fmt.Errorf("no part")
		case !slices.Contains([]Class{ClassPart, ClassSetting, ClassSeed, ClassHandling, ClassGround}, p.Class):
			err = fmt.Errorf("class %q is none of part, setting, seed, handling, ground", string(p.Class))
		case seen[p.Cause]:
			err = fmt.Errorf("the cause stands twice")
		}
		if err != nil {
			return nil, fmt.Errorf("line %d, %s: %w", i+2, p.Cause, err)
		}
		seen[p.Cause] = true
		out = append(out, p)
	}
	return out, nil
}

// PartOf gives the part that a cause lies in; false where the catalogue has none.
func PartOf(cause string) (Part, bool) {
	return part(func(p Part) bool { return p.Cause == cause })
}

// PartNamed gives a part by its name, with the first of its causes; false where
// the catalogue has none.
func PartNamed(name string) (Part, bool) {
	return part(func(p Part) bool { return p.Part == name })
}

func part(is func(Part) bool) (Part, bool) {
	if i := slices.IndexFunc(parts(), is); i >= 0 {
		return parts()[i], true
	}
	return Part{}, false
}
