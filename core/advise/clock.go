package advise

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
)

// clocks says which boxes' clocks are off and by how much.
func (v Voice) clocks(f *evenstand.Finding) string {
	var parts []struct{ box, off string }
	for _, e := range f.Evidence {
		box, ok := strings.CutPrefix(e.Name, "clock of ")
		if !ok || math.IsNaN(float64(e.Value)) {
			continue
		}
		parts = append(parts, struct{ box, off string }{"the " + box, Offset(float64(e.Value))})
	}
	does, put := " is ", "its times are"
	if f.Until != nil {
		does = " was "
	}
	if len(parts) != 1 {
		does, put = strings.Replace(strings.Replace(does, "was", "were", 1), "is", "are", 1), "their times are"
	}
	switch {
	case len(parts) == 0:
		return "A box's clock" + does + "off" + v.since(f)
	case len(parts) == 1:
		return "The clock of " + parts[0].box + does + parts[0].off + ", and nobody said so; " + put + " put right here"
	}
	var all []string
	for _, p := range parts {
		all = append(all, p.box+" "+p.off)
	}
	return "The clocks of some boxes" + does + "off, and nobody said so: " + and(all, "and") + "; " + put + " put right here"
}

// Offset writes by how much a clock is off, logged minus true, in seconds.
func Offset(off float64) string {
	word := "fast"
	if off < 0 {
		word = "slow"
	}
	switch a := math.Abs(off); {
	case a < 0.005:
		return "right"
	case a >= 600:
		m := math.Round(a / 60)
		if m < 90 {
			return fmt.Sprintf("%.0f min %s", m, word)
		}
		return fmt.Sprintf("%.0f h %02.0f min %s", math.Floor(m/60), math.Mod(m, 60), word)
	default:
		return fmt.Sprintf("%.1f s %s", a, word)
	}
}
