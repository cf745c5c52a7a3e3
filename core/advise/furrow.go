package advise

import (
	"math"
	"strings"

	"evenstand"
)

// furrow says where the seed zone is too dry, too cold or full of trash, or which
// row's is.
func (v Voice) furrow(f *evenstand.Finding, who, since string) string {
	is := "is"
	if f.Until != nil {
		is = "was"
	}
	figure := func(name string) (float64, bool) { return Figure(f, name) }
	switch f.Kind {
	case evenstand.KindDryFurrow:
		if x, ok := figure("seed-zone moisture below its peers'"); ok {
			return who + "'s seed zone " + is + " " + points(x) + " drier than its peers'" + since
		}
	case evenstand.KindColdFurrow:
		if x, ok := figure("seed-zone temperature over its peers'"); ok {
			return who + "'s seed zone " + is + " " + v.Value(math.Abs(x), "K") + " colder than its peers'" + since
		}
	case evenstand.KindDirtyFurrow:
		if x, ok := figure("trash in the slot over its peers'"); ok {
			return who + "'s slot " + verb(f, "holds", "holds", "held") + " " + points(x) + " more trash than its peers'" + since
		}
	}
	limit, known := figure("limit, by default")
	if !known {
		limit, known = figure("limit that was set")
	}
	than := "its limit"
	if known {
		than = v.Value(limit, map[string]string{evenstand.KindColdFurrow: "degC"}[f.Kind])
		if f.Kind != evenstand.KindColdFurrow {
			than = v.Percent(limit)
		}
	}
	s, name := "The seed zone "+is+" drier than "+than, "ground drier than the limit"
	switch f.Kind {
	case evenstand.KindColdFurrow:
		s, name = "The seed zone "+is+" colder than "+than, "ground colder than the limit"
	case evenstand.KindDirtyFurrow:
		holds := "holds"
		if f.Until != nil {
			holds = "held"
		}
		s, name = "The slot "+holds+" more trash than "+than, "ground more trash than the limit"
	}
	if x, ok := figure(name); ok {
		s += " on " + v.Percent(x) + " of the ground"
	}
	s += where(f) + since
	if x, ok := figure(name + " elsewhere"); ok {
		s += ", elsewhere on " + v.Percent(x)
	}
	return s
}

// points writes a difference of shares: 4 points.
func points(x float64) string {
	if d := Digits(100 * x); d != "1" {
		return d + " points"
	}
	return "1 point"
}

// dragged says how a row's cleaner drags residue.
func (v Voice) dragged(f *evenstand.Finding, who, since string) string {
	s := who + " " + verb(f, "drags", "drag", "dragged") + " residue"
	x, ok := Figure(f, "trash in a burst over its peers'")
	if share, in := Figure(f, "in bursts"); in && share < 0.75 {
		s += " in bursts"
	}
	s += since
	if ok {
		s += ", " + points(x) + " more trash in the slot than its peers"
	}
	if n, ok := Figure(f, "load below its neighbours'"); ok && n > 25 {
		s += ", and its wheels " + verb(f, "carry", "carry", "carried") + " " + v.Load(n) + " less"
	}
	return s
}

// dug says that digs found an open slot.
func (v Voice) dug(f *evenstand.Finding, who, since string) string {
	if n, _ := Figure(f, "digs that found it"); n > 1 {
		return Digits(n) + " digs found the slot open behind " + lower(who) + since
	}
	return "A dig found the slot open behind " + lower(who) + strings.Replace(since, " since ", " at ", 1)
}
