package score

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/sim"
)

// Taken is what a fault or distractor was taken for: a line of the table of
// what is mistaken for what.
type Taken struct {
	Day      string   `json:"day"`
	Fault    string   `json:"fault"`
	Kind     string   `json:"kind"`
	Variant  string   `json:"variant,omitempty"`
	Distract bool     `json:"distractor"`
	Demanded bool     `json:"detectable"`
	For      []string `json:"taken_for"` // kinds raised on its rows in its time, sorted, each once
	// Right: the finding that was asked for was raised, with a first cause that
	// counts as right; of what asks for none, that nothing was raised but what
	// its evidence may honestly raise.
	Right bool `json:"right"`
	// What the findings that were raised of it say of why. Unknown when none was.
	True   evenstand.Number `json:"true_cause"`       // least chance that one gives to the causes that count as right
	Rival  evenstand.Number `json:"other_cause"`      // most that one gives to a single other cause
	Settle bool             `json:"says_how_to_tell"` // each says to dig, or to swap the sensor with a neighbour's
}

// takenFor says what was raised on the rows and in the time of each fault.
func (w work) takenFor(day string, raised []*evenstand.Finding, match []*sim.Fault, faults []sim.Fault) (out []Taken) {
	for i := range faults {
		t := &faults[i]
		if !t.Happened {
			continue
		}
		x := Taken{Day: day, Fault: t.ID, Kind: t.Kind, Variant: t.Variant, Distract: t.Distract, Demanded: t.Detectable, For: []string{}, Right: t.Distract, True: evenstand.Unknown, Rival: evenstand.Unknown}
		for j, f := range raised {
			if match[j] != t && (match[j] != nil || overlap(f.Rows, t.Rows) < 0.5 || !w.near(f.Since, t)) {
				continue
			}
			if !slices.Contains(x.For, f.Kind) {
				x.For = append(x.For, f.Kind)
			}
			x.reasons(f, t)
			switch {
			case match[j] == t:
				x.Right = slices.Contains(t.Causes, firstCause(f))
			case t.Distract && !slices.Contains(t.Excused, f.Kind):
				x.Right = false
			}
		}
		slices.Sort(x.For)
		out = append(out, x)
	}
	return out
}

// reasons takes down what a finding says of why.
func (x *Taken) reasons(f *evenstand.Finding, t *sim.Fault) {
	var right, rival evenstand.Number
	for _, c := range f.Causes {
		if p := evenstand.Number(c.Probability); slices.Contains(t.Causes, c.Cause) {
			right += p
		} else {
			rival = max(rival, p)
		}
	}
	do := strings.ToLower(f.Advice.Do)
	settle := strings.Contains(do, "sensor") && (strings.Contains(do, "dig ") || strings.Contains(do, "swap "))
	if math.IsNaN(float64(x.True)) {
		x.True, x.Rival, x.Settle = right, rival, settle
		return
	}
	x.True, x.Rival, x.Settle = min(x.True, right), max(x.Rival, rival), x.Settle && settle
}

// Undecided gives, of the distractors of a kind of which anything was raised,
// the share whose findings leave open what the log cannot tell: they name the
// true cause at no worse than odds, no other at better, and say how to settle
// it. Low and high are the chances given to the true cause.
func (r *Report) Undecided(kind string, odds float64) (s Share, low, high float64) {
	s.Share, low, high = evenstand.Unknown, math.NaN(), math.NaN()
	for _, t := range r.Taken {
		p := float64(t.True)
		if t.Kind != kind || !t.Distract || math.IsNaN(p) {
			continue
		}
		if s.Of == 0 {
			low, high = p, p
		}
		low, high = min(low, p), max(high, p)
		s.add(p >= 1/(1+odds) && float64(t.Rival) <= odds/(1+odds) && t.Settle)
	}
	return s, low, high
}

func firstCause(f *evenstand.Finding) (cause string) {
	best := -1.0
	for _, c := range f.Causes {
		if c.Probability > best {
			best, cause = c.Probability, c.Cause
		}
	}
	return cause
}

// Mistaken is the table of what was taken for what: by kind of the fault, with
// its variant where it has one, how often each kind was raised of it, "" nothing.
type Mistaken map[string]map[string]int

// Mistaken draws the table. Faults weaker than demanded are left out.
func (r *Report) Mistaken() Mistaken {
	m := Mistaken{}
	for _, t := range r.Taken {
		if !t.Demanded && !t.Distract {
			continue
		}
		name := t.Kind
		if t.Variant != "" {
			name += ", " + t.Variant
		}
		if m[name] == nil {
			m[name] = map[string]int{}
		}
		if len(t.For) == 0 {
			m[name][""]++
		}
		for _, k := range t.For {
			m[name][k]++
		}
	}
	return m
}

// Text writes the table for people, one line a kind, the most frequent first.
func (m Mistaken) Text() string {
	var b strings.Builder
	var kinds []string
	for k := range m {
		kinds = append(kinds, k)
	}
	slices.Sort(kinds)
	for _, k := range kinds {
		var names []string
		for n := range m[k] {
			names = append(names, n)
		}
		slices.SortFunc(names, func(a, b string) int {
			if d := m[k][b] - m[k][a]; d != 0 {
				return d
			}
			return strings.Compare(a, b)
		})
		var parts []string
		for _, n := range names {
			what := n
			if n == "" {
				what = "nothing"
			}
			parts = append(parts, fmt.Sprintf("%s %d", what, m[k][n]))
		}
		fmt.Fprintf(&b, "%-24s %s\n", k, strings.Join(parts, ", "))
	}
	return b.String()
}

// Apart gives the share of the faults of two kinds, in their variants when they
// are named ("kind variant", "kind variant|variant"), that were not taken for one another: right, and
// nothing raised of them that only the other asks for.
func (r *Report) Apart(a, b string) (s Share) {
	s.Share = evenstand.Unknown
	is := func(t *Taken, name string) bool {
		kind, variant, named := strings.Cut(name, " ")
		return t.Kind == kind && (!named || slices.Contains(strings.Split(variant, "|"), t.Variant))
	}
	kind := func(name string) string { k, _, _ := strings.Cut(name, " "); return evenstand.Family(k) }
	for i := range r.Taken {
		t := &r.Taken[i]
		if !t.Demanded && !t.Distract {
			continue
		}
		other := ""
		switch {
		case is(t, a):
			other = kind(b)
		case is(t, b):
			other = kind(a)
		default:
			continue
		}
		ok := t.Right
		if other != evenstand.Family(t.Kind) {
			for _, k := range t.For {
				ok = ok && evenstand.Family(k) != other
			}
		}
		s.add(ok)
	}
	return s
}
