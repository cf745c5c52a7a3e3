package balance

import (
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/advise"
)

func TestSay(t *testing.T) {
	us := advise.Voice{Zone: time.UTC, Units: evenstand.US}
	metric := advise.Voice{Zone: time.UTC, Units: evenstand.Metric}
	psi := 0.45359237 * 9.80665 / (0.0254 * 0.0254)
	p := inPa(cleaners(), psi)
	a := Next(p)
	s := Say(p, &a, "USD", us)
	for _, want := range []string{"Try the row cleaners at ", " psi on rows 1 to 8 for the next ", "likely less trash in the slot", "seed-zone moisture stays within your limit ("} {
		if !strings.Contains(s.Sentence, want) {
			t.Errorf("%q: want %q in it", s.Sentence, want)
		}
	}
	if !strings.HasPrefix(s.Note, "cleaners 22 to ") || !strings.HasSuffix(s.Note, " psi") || !slices.Equal(s.Rows, evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}) {
		t.Errorf("note %q of rows %v", s.Note, s.Rows)
	}
	if !strings.Contains(s.Expect, "$") || !strings.Contains(s.Rests, "6 changes") || len(s.Why) < 4 {
		t.Errorf("%q, %q, %q", s.Expect, s.Rests, s.Why)
	}
	t.Log(s.Sentence)
	t.Log(s.Do)
	t.Log(s.Expect)
	for _, w := range s.Why {
		t.Log(w)
	}
	if m := Say(p, &a, "USD", metric); !strings.Contains(m.Sentence, " bar ") || strings.Contains(strings.Join(m.Why, " "), "psi") {
		t.Errorf("metric: %q %q", m.Sentence, m.Why)
	}
	// Without money none is named.
	if w := Say(p, &a, "", us); strings.Contains(w.Expect+strings.Join(w.Why, ""), "$") {
		t.Errorf("money that there is not: %q %q", w.Expect, w.Why)
	}
	// Every verdict has a sentence.
	for _, verdict := range []Verdict{Try, Back, Stay, Settled, Costs, Short, NoRoom, Cannot} {
		b := a
		b.Verdict = verdict
		if w := Say(p, &b, "USD", us); !strings.HasSuffix(w.Sentence, ".") || strings.Contains(w.Sentence, "NaN") {
			t.Errorf("%s: %q", verdict, w.Sentence)
		} else {
			t.Log(w.Sentence)
		}
	}
	p.ByRows = false
	a = Next(p)
	if s := Say(p, &a, "USD", us); !strings.Contains(s.Sentence, "back and forth for ") {
		t.Errorf("machine-wide: %q", s.Sentence)
	} else {
		t.Log(s.Sentence, s.Do)
	}
}

// inPa puts a problem in psi into the registry's unit.
func inPa(p *Problem, psi float64) *Problem {
	p.Low, p.High, p.Now, p.Step = p.Low*psi, p.High*psi, p.Now*psi, p.Step*psi
	for i := range p.Aims {
		c := &p.Aims[i].Curve
		c.Ref, c.Scale, c.Low, c.High = c.Ref*psi, c.Scale*psi, c.Low*psi, c.High*psi
	}
	return p
}

func TestLevers(t *testing.T) {
	for _, l := range Levers() {
		if l.Quantity() == evenstand.Raw || !slices.Contains(evenstand.Limited, l.Quantity()) {
			t.Errorf("%s: no quantity, or no limits can be given for it", l.Name)
		}
		for _, u := range []evenstand.Units{evenstand.US, evenstand.Metric} {
			if !(l.Step(u) > 0) || l.UnitSay(u) == "" {
				t.Errorf("%s: step %g %s", l.Name, l.Step(u), l.UnitSay(u))
			}
		}
		for _, m := range l.Measures {
			if label(m) == m && m != "skips" && m != "doubles" && m != "spacing" {
				t.Errorf("%s: no measure %q", l.Name, m)
			}
		}
	}
}
