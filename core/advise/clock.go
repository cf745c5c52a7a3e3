package advise

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
)

// clocks says which boxes' clocks are off and by how much: those that nobody
// declared, whose times are put right, and those of which something else was
// said, whose times are taken as said.
func (v Voice) clocks(f *evenstand.Finding) string {
	said := map[string]float64{}
	for _, e := range f.Evidence {
		if box, ok := strings.CutPrefix(e.Name, "said of the clock of "); ok {
			said[box] = float64(e.Value)
		}
	}
	type word struct{ box, off string }
	var unset, wrong []word
	for _, e := range f.Evidence {
		box, ok := strings.CutPrefix(e.Name, "clock of ")
		if !ok || math.IsNaN(float64(e.Value)) {
			continue
		}
		if x, ok := said[box]; ok {
			wrong = append(wrong, word{"the " + box, Offset(float64(e.Value), 2) + " instead of " + Offset(x, 2)})
		} else {
			unset = append(unset, word{"the " + box, Offset(float64(e.Value), 1)})
		}
	}
	is, are := " is ", " are "
	if f.Until != nil {
		is, are = " was ", " were "
	}
	list := func(words []word) string {
		var all []string
		for _, w := range words {
			all = append(all, w.box+" "+w.off)
		}
		return and(all, "and")
	}
	one := func(w word) string { return "The clock of " + w.box + is + w.off }
	some := "The clocks of some boxes" + are
	const used = " and is used; findings by %s may be wrong"
	switch {
	case len(unset)+len(wrong) == 0:
		return "A box's clock" + is + "off" + v.since(f)
	case len(unset) == 1 && len(wrong) == 0:
		return one(unset[0]) + ", and nobody said so; its times are put right here"
	case len(wrong) == 0:
		return some + "off, and nobody said so: " + list(unset) + "; their times are put right here"
	case len(wrong) == 1 && len(unset) == 0:
		return one(wrong[0]) + ", which is what was said of it" + fmt.Sprintf(used, "this box")
	case len(unset) == 0:
		return some + "off: " + list(wrong) + ", which is what was said of them" + fmt.Sprintf(used, "these boxes")
	}
	return some + "off: " + list(unset) + ", which nobody said and is put right here; " + list(wrong) + ", which is what was said" + fmt.Sprintf(used, "that box")
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
