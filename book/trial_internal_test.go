package book

import (
	"math"
	"slices"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/try"
)

const minute = 60 * evenstand.Second

// passesOf gives passes of ten minutes with turns of half a minute.
func passesOf(n int) (out []seasonPass) {
	for i := range n {
		var p seasonPass
		p.Start = evenstand.Micros(i)*(10*minute+30*evenstand.Second) + 100*minute
		p.End, p.area = p.Start+10*minute, 1
		out = append(out, p)
	}
	return out
}

// A setting stands as changes of people and boxes say: a note of the turn parts two
// passes, one within a pass leaves that out, and levels of a box that are alike
// are one.
func TestHowASettingStood(t *testing.T) {
	const psi = 6894.757
	s := season{rows: 4, passes: passesOf(6)}
	hand := func(at evenstand.Micros, from, to float64, rows ...int) try.Change {
		return try.Change{Lever: "cleaner_pressure", T: at, Early: at - noteError, Late: at + noteError, From: from * psi, To: to * psi, Rows: rows}
	}
	turn := s.passes[1].Start - 10*evenstand.Second
	within := s.passes[3].Start + 2*minute
	long := hand(s.passes[4].End+10*evenstand.Second, 21.95, 30.2, 1, 2)
	long.Early, long.Source = s.passes[4].Start+3*minute, "box" // somewhere in the pass
	s.changes = []try.Change{hand(turn, 30, 22, 1, 2), hand(within, 22.1, 30, 1, 2), hand(s.passes[4].Start-5*evenstand.Second, math.NaN(), 22, 1, 2), long}
	l := s.setting("cleaner_pressure", advise.Voice{})
	for i, want := range []string{"30 psi", "22 psi", "22 psi", unsure, unsure, "30 psi"} {
		for _, row := range []int{1, 2} {
			if got := l.of[i][row-1]; got != want {
				t.Errorf("pass %d, row %d: %q, want %q", i+1, row, got, want)
			}
		}
		if got := l.of[i][2]; got != "30 psi" { // never changed
			t.Errorf("pass %d, row 3: %q", i+1, got)
		}
	}
}

// All rows to and fro make a trial by passes, of the two ways between which it
// went; once there and back makes none.
func TestToAndFro(t *testing.T) {
	s := season{rows: 4, passes: passesOf(20)}
	mode := func(pass int, from, to string) {
		at := s.passes[pass].Start - 10*evenstand.Second
		s.changes = append(s.changes, try.Change{Lever: try.ForceMode, T: at, Early: at, Late: at, From: math.NaN(), To: math.NaN(), FromState: from, ToState: to})
	}
	mode(3, "automatic", "fixed")
	mode(6, "fixed", "automatic")
	if s.tries() {
		t.Error("once there and back is a trial")
	}
	mode(9, "automatic", "fixed")
	mode(12, "fixed", "automatic")
	mode(17, "automatic", "off")
	if !s.tries() {
		t.Fatal("no trial")
	}
	l := s.setting(try.ForceMode, advise.Voice{})
	if labels, base, byPasses := s.against(&l); !slices.Equal(labels, []string{"fixed"}) || base != "automatic" || !byPasses {
		t.Errorf("%q against %q, by passes %v", labels, base, byPasses)
	}
}
