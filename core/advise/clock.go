package advise

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
)

// boxClock is what a finding says of one box's clock.
type boxClock struct {
	box       string
	off, said float64 // s; said NaN nobody said anything
	overruled bool    // the log is believed and not what was said
	set       bool    // during the day
}

func boxClocks(f *evenstand.Finding) (all []boxClock) {
	figure := func(name string) float64 {
		if x, ok := Figure(f, name); ok {
			return x
		}
		return math.NaN()
	}
	for _, e := range f.Evidence {
		box, ok := strings.CutPrefix(e.Name, "clock of ")
		if !ok || math.IsNaN(float64(e.Value)) {
			continue
		}
		c := boxClock{box: box, off: float64(e.Value), said: figure("said of the clock of " + box)}
		if x := figure("said, and not used, of the clock of " + box); !math.IsNaN(x) {
			c.said, c.overruled = x, true
		}
		c.set = figure("settings of the clock of "+box) > 0
		all = append(all, c)
	}
	return all
}

// clocks says which boxes' clocks are off and by how much: those that nobody
// declared and those of which something else was said and the log is believed,
// whose times are put right, and those whose times are taken as said.
func (v Voice) clocks(f *evenstand.Finding) string {
	is, are := " is ", " are "
	if f.Until != nil {
		is, are = " was ", " were "
	}
	var unset, over, wrong []boxClock
	for _, c := range boxClocks(f) {
		switch {
		case math.IsNaN(c.said):
			unset = append(unset, c)
		case c.overruled:
			over = append(over, c)
		default:
			wrong = append(wrong, c)
		}
	}
	var clauses []string
	say := func(cs []boxClock, how func(boxClock) string, one, some string) {
		switch len(cs) {
		case 0:
		case 1:
			clauses = append(clauses, "the clock of the "+cs[0].box+is+how(cs[0])+one)
		default:
			var parts []string
			for _, c := range cs {
				parts = append(parts, "the "+c.box+" "+how(c))
			}
			clauses = append(clauses, "the clocks of some boxes"+are+"off: "+and(parts, "and")+some)
		}
	}
	instead := func(c boxClock) string { return Offset(c.off, 2) + " instead of " + Offset(c.said, 2) }
	say(wrong, instead, ", as was said of it and is used, so findings that rest on its times may be wrong", ", as was said of them and is used, so findings that rest on their times may be wrong")
	say(over, instead, ", as was said of it; the log is believed, and its times are put right here", ", as was said of them; the logs are believed, and their times are put right here")
	if alike(append(slices.Clone(over), wrong...)) {
		clauses = append(clauses, "all are off by as much, so it may be the receiver's clock that is wrong")
	}
	say(unset, func(c boxClock) string { return Offset(c.off, 1) }, ", and nobody said so; its times are put right here", ", and nobody said so; their times are put right here")
	if len(clauses) == 0 {
		return "A box's clock" + is + "off" + v.since(f)
	}
	return Capital(strings.Join(clauses, "; "))
}

// alike tells whether several clocks are off what was said of them by as much.
func alike(cs []boxClock) bool {
	const same = 1.0 // s (judged)
	for _, c := range cs {
		if math.Abs(c.off-c.said-(cs[0].off-cs[0].said)) > same {
			return false
		}
	}
	return len(cs) > 1
}

// offsets gives the line that says how far each clock is off, to be written down
// for boxes whose clocks are wrong again tomorrow.
func offsets(f *evenstand.Finding) string {
	var parts []string
	for _, c := range boxClocks(f) {
		switch {
		case c.set:
			parts = append(parts, "the clock of the "+c.box+" was set during the day, so no one offset is right for it")
		default:
			parts = append(parts, fmt.Sprintf("of the %s it was clock_offset_s = %.2f", c.box, c.off))
		}
	}
	if len(parts) == 0 {
		return ""
	}
	return Capital(and(parts, "and")) + "."
}

// Offset writes by how much a clock is off, logged minus true, in seconds with
// so many decimals. Ten minutes and more are hours and minutes, with seconds
// where two decimals are asked for.
func Offset(off float64, decimals int) string {
	word := "fast"
	if off < 0 {
		word = "slow"
	}
	a := math.Abs(off)
	m, s := math.Floor(math.Round(a)/60), math.Mod(math.Round(a), 60)
	if decimals < 2 {
		m = math.Round(a / 60)
	}
	switch {
	case a < 0.005:
		return "right"
	case a < 600:
		return fmt.Sprintf("%.*f s %s", decimals, a, word)
	case decimals >= 2:
		return fmt.Sprintf("%.0f h %02.0f min %02.0f s %s", math.Floor(m/60), math.Mod(m, 60), s, word)
	case m < 90:
		return fmt.Sprintf("%.0f min %s", m, word)
	default:
		return fmt.Sprintf("%.0f h %02.0f min %s", math.Floor(m/60), math.Mod(m, 60), word)
	}
}
