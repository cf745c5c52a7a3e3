package trial

import (
	"math"
	"slices"

	"evenstand"
)

// aims are the measures that a kind of part is mounted for, the first first
// (judgement): skips are the meter's, and no closing wheel mends them.
var aims = map[string][]string{
	"closing_wheel": {"spacing", "stand"},
	"row_cleaner":   {"trash", "moisture"},
	"seed_firmer":   {"skips", "spacing", "moisture"},
}

// Kinds are the kinds of parts that are known, in words.
func Kinds() []string {
	out := []string{"seed disc", "seed tube", "gauge wheel"}
	for k := range aims {
		out = append(out, KindSays(k))
	}
	slices.Sort(out)
	return out
}

// matters is the difference of each measure, in its unit, below which nobody would
// act, so that no sentence is made of it; of rates as a share of what the rows do.
// Judgement, no source.
func matters(f *Told) float64 {
	switch f.Measure {
	case "skips", "doubles":
		return 0.005
	case "moisture":
		return 0.01
	case "spacing", "wheel-off", "trash":
		return 0.02
	case "load", "force":
		return 30 * evenstand.PoundForce
	case "temperature":
		return 1
	}
	return 0.05 * math.Abs(float64(f.Without))
}

// sure tells whether a measure differs even for somebody who looks at so many of
// them (Holm 1979), by as much as matters.
func sure(f *Told, n float64) bool {
	r := &f.result
	return f.How != Nothing && r.Known() && !r.Lone && len(r.Mixed) == 0 && r.P*n < 2*Side && math.Abs(r.Value) >= matters(f)
}

// known counts the measures that are told with an error.
func known(fs []Told) float64 {
	n := 0.0
	for i := range fs {
		if fs[i].How != Nothing && fs[i].result.Known() {
			n++
		}
	}
	return n
}

// purpose gives which figures are of what the part is for: what the person set,
// else by its kind. asked tells that there is such a thing.
func (in *Input) purpose(fs []Told) (at []int, asked bool) {
	want := aims[in.Kind]
	if in.Part.Aim != "" {
		want = []string{in.Part.Aim}
	}
	for _, id := range want {
		for i := range fs {
			if fs[i].Measure == id && fs[i].How != Nothing {
				at = append(at, i)
			}
		}
	}
	return at, len(want) > 0
}

// lead picks the measure that the sentence is of: what the part is for, else the
// surest that differs by what matters, else the first that is told and does not
// differ. aimed is false where what the part is for was not told.
func (in *Input) lead(fs []Told) (lead int, aimed bool) {
	at, asked := in.purpose(fs)
	if len(at) > 0 {
		n := 0.0
		best := -1
		for _, i := range at {
			if fs[i].result.Known() {
				n++
				if best < 0 || fs[i].result.P < fs[best].result.P {
					best = i
				}
			}
		}
		if best >= 0 && fs[best].result.P*n < 2*Side {
			return best, true
		}
		for _, i := range at { // looked at with the others it does not differ
			if fs[i].result.Known() && !fs[i].result.Called() {
				return i, true
			}
		}
		return at[0], true
	}
	n := known(fs)
	best, told, quiet := -1, -1, -1
	for i := range fs {
		f := &fs[i]
		if f.How == Nothing {
			continue
		}
		if told < 0 || fs[told].Worse == 0 && f.Worse != 0 {
			told = i
		}
		if f.Worse == 0 || !f.result.Known() {
			continue
		}
		if quiet < 0 && !f.result.Called() {
			quiet = i
		}
		if sure(f, n) && (best < 0 || f.result.P < fs[best].result.P) {
			best = i
		}
	}
	switch {
	case best >= 0:
		return best, !asked
	case told < 0 && len(fs) > 0:
		return 0, !asked
	case told >= 0 && fs[told].result.Called() && n > 1 && quiet >= 0:
		return quiet, !asked
	}
	return told, !asked
}
