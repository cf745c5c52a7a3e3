package book

import (
	"testing"

	"evenstand"
)

// Both sides of a level are one line, which is as unsure of its time as the one that
// is less sure.
func TestBothSides(t *testing.T) {
	at := 3600 * evenstand.Second
	side := func(of evenstand.Scope, early evenstand.Micros) targetChange {
		return targetChange{targetKey{evenstand.Vacuum, evenstand.Element{Scope: of}}, at, early, 4000, 5000, true}
	}
	for _, tt := range []struct{ left, right, want evenstand.Micros }{
		{at - 900*evenstand.Second, at - 60*evenstand.Second, at - 900*evenstand.Second},
		{at - 60*evenstand.Second, at - 900*evenstand.Second, at - 900*evenstand.Second},
		{evenstand.NoTime, at - 900*evenstand.Second, at - 900*evenstand.Second},
	} {
		ls := changeLines("air", []targetChange{side(evenstand.ScopeLeft, tt.left), side(evenstand.ScopeRight, tt.right)}, 8)
		if len(ls) != 1 || ls[0].Note != "" || ls[0].Early != tt.want {
			t.Errorf("%+v", ls)
		}
	}
}

// A line by hand that names no planter is of the only one that worked, and of none
// where there are several.
func TestNoteOf(t *testing.T) {
	b := &Book{}
	for _, tt := range []struct {
		said   string
		worked []string
		want   string
	}{
		{"", []string{"east"}, "east"},
		{"", []string{"east", "west"}, unnamed},
		{"", []string{"east", unnamed}, unnamed},
		{"west", []string{"east"}, "west"},
	} {
		if got := b.noteOf(tt.said, tt.worked); got != tt.want {
			t.Errorf("%q of %v: %q", tt.said, tt.worked, got)
		}
	}
}
