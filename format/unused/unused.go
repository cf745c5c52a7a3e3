// Package unused gathers what a reader of text or tables did not use, by
// reason, so that a file of noise does not become a report of its size.
package unused

import (
	"fmt"
	"strconv"
	"strings"

	"evenstand"
)

// Reason is one way in which something cannot be used.
type Reason struct {
	Why  string // what was wrong; %s is the text that was found
	Do   string
	Of   string // what is counted; "lines" when empty
	Each bool   // counted apart for each text that was found
}

// Most bounds the reasons that are told apart by a text in one file.
const Most = 40

// Report gathers what was not used of a file.
type Report struct {
	evenstand.Tally
	File string
}

// Add counts one more for a reason, at a line from 1 (0: lines mean nothing) and
// a byte from 0 (-1: unknown).
func (r *Report) Add(why *Reason, text string, line int, offset int64) {
	key := why.Why
	if why.Each {
		key += text
		if met, n := r.Has(key); !met && n >= Most {
			key = why.Why
			text += ", and others"
		}
	}
	r.Tally.Add(key, func() evenstand.Unused {
		u := evenstand.Unused{File: r.File, Line: line, Offset: offset, Of: why.Of, Why: why.Why, Do: why.Do}
		if u.Of == "" {
			u.Of = "lines"
		}
		if strings.Contains(why.Why, "%s") {
			u.Why = fmt.Sprintf(why.Why, text)
		}
		return u
	})
}

// Show makes a found text fit for a sentence: quoted, short, printable.
func Show(b []byte) string {
	const most = 40
	if len(b) > most {
		return strconv.Quote(strings.ToValidUTF8(string(b[:most]), "?") + "…")
	}
	return strconv.Quote(strings.ToValidUTF8(string(b), "?"))
}
