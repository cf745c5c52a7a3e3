package evenstand

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
)

// Scope says what kind of part of the planter a reading belongs to.
type Scope uint8

// The scopes. Left and right are the vacuum groups of that name.
const (
	ScopeMachine Scope = iota
	ScopeLeft
	ScopeRight
	ScopeSection
	ScopeRow
	ScopeTank
)

// Element is a part of the planter: the machine, a side, or a numbered
// section, row (1 at the left, looking forward) or tank. It is comparable.
type Element struct {
	Scope Scope
	N     int16
}

// RowElement is the element of row n.
func RowElement(n int) Element { return Element{ScopeRow, int16(n)} }

// String writes the element as the plain layout does: "row 7", "left".
func (e Element) String() string {
	switch e.Scope {
	case ScopeMachine:
		return "machine"
	case ScopeLeft:
		return "left"
	case ScopeRight:
		return "right"
	case ScopeSection:
		return "section " + strconv.Itoa(int(e.N))
	case ScopeRow:
		return "row " + strconv.Itoa(int(e.N))
	case ScopeTank:
		return "tank " + strconv.Itoa(int(e.N))
	}
	return "?"
}

// ParseElement reads what String writes.
func ParseElement(s string) (Element, error) {
	s = strings.TrimSpace(s)
	switch s {
	case "machine":
		return Element{}, nil
	case "left":
		return Element{Scope: ScopeLeft}, nil
	case "right":
		return Element{Scope: ScopeRight}, nil
	}
	word, num, ok := strings.Cut(s, " ")
	if ok {
		n, err := strconv.ParseInt(strings.TrimSpace(num), 10, 16)
		if err == nil && n >= 1 {
			switch word {
			case "section":
				return Element{ScopeSection, int16(n)}, nil
			case "row":
				return Element{ScopeRow, int16(n)}, nil
			case "tank":
				return Element{ScopeTank, int16(n)}, nil
			}
		}
	}
	return Element{}, fmt.Errorf("element %q: want machine, left, right, section 2, row 7 or tank 1", s)
}

// Rows is a set of row numbers in rising order, 1 at the left.
type Rows []int

// ParseRows reads a row list such as "1-16" or "1-8,12".
func ParseRows(s string) (Rows, error) {
	var rows Rows
	for part := range strings.SplitSeq(s, ",") {
		part = strings.TrimSpace(part)
		if part == "" {
			continue
		}
		a, b, ranged := strings.Cut(part, "-")
		lo, err := strconv.Atoi(strings.TrimSpace(a))
		hi := lo
		if err == nil && ranged {
			hi, err = strconv.Atoi(strings.TrimSpace(b))
		}
		if err != nil || lo < 1 || hi < lo || hi > MaxRows {
			return nil, fmt.Errorf("row list %q: want rows such as 1-16 or 1-8,12 (1 to %d)", s, MaxRows)
		}
		for r := lo; r <= hi; r++ {
			rows = append(rows, r)
		}
	}
	slices.Sort(rows)
	return slices.Compact(rows), nil
}

// MaxRows is the widest planter that a card may describe.
const MaxRows = 128

// String writes the set in the shortest list: "1-8,12".
func (r Rows) String() string {
	var b strings.Builder
	for i := 0; i < len(r); {
		j := i
		for j+1 < len(r) && r[j+1] == r[j]+1 {
			j++
		}
		if b.Len() > 0 {
			b.WriteByte(',')
		}
		b.WriteString(strconv.Itoa(r[i]))
		if j > i {
			b.WriteByte('-')
			b.WriteString(strconv.Itoa(r[j]))
		}
		i = j + 1
	}
	return b.String()
}

// Has tells whether row n is in the set.
func (r Rows) Has(n int) bool { return slices.Contains(r, n) }

// Jaccard gives the share of rows that two sets have in common: the size of
// the intersection over that of the union; 0 when both are empty.
func (r Rows) Jaccard(o Rows) float64 {
	both := 0
	for _, n := range r {
		if o.Has(n) {
			both++
		}
	}
	all := len(r) + len(o) - both
	if all == 0 {
		return 0
	}
	return float64(both) / float64(all)
}
