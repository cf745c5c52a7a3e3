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
		parts = append(parts, struct{ box, off string }{"the " + box, Offset(float64(e.Value), 1)})
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
