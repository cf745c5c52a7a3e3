package advise

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
)

// doubted says what a sensor claims that is not to be believed.
func (v Voice) doubted(f *evenstand.Finding, who, since string) string {
	sensor := who + "'s sensor"
	if len(f.Rows) > 1 {
		sensor = "The sensors of " + lower(who)
	}
	if share, ok := Figure(f, "share of seeds not seen"); ok {
		return sensor + " " + verb(f, "shows", "show", "showed") + " " + v.Percent(share) + " of the seeds missing from one moment to the next" + since
	}
	s := sensor + " " + verb(f, "counts", "count", "counted") + " pulses that are no seeds" + since
	if n, ok := Figure(f, "extra pulses"); ok {
		s += ", " + Digits(n)
		if f.Until == nil {
			s += " so far"
		}
	}
	return s
}

// silent names the boxes that stopped logging, and how long.
func (v Voice) silent(f *evenstand.Finding, since string) string {
	var boxes []string
	long := 0.0
	for _, e := range f.Evidence {
		if name, ok := strings.CutPrefix(e.Name, silenceOf); ok {
			boxes = append(boxes, name)
			long = float64(e.Value)
		}
	}
	if len(boxes) == 0 {
		boxes = []string{"a box"}
	}
	who, be := "The log of "+and(boxes, "and"), "is"
	if f.Until != nil {
		be = "was"
	}
	s := who + " " + be + " silent" + since + " while the others went on"
	if long > 0 {
		s += ", " + Span(long) + " of planting"
	}
	if n, ok := Figure(f, "silences"); ok {
		s += ", " + Digits(n) + " times"
	}
	return s
}

// Span writes a length of time in s: in minutes from two on.
func Span(s float64) string {
	if math.Round(s) < 120 {
		return Digits(math.Round(s)) + " s"
	}
	return fmt.Sprintf("%.0f min", s/60)
}

// misplaced says what is wrong with the receiver's places.
func (v Voice) misplaced(f *evenstand.Finding, since string) string {
	var signs []string
	if n, ok := Figure(f, "jumps of the place"); ok {
		s := "jumped " + Digits(n) + " times"
		if n == 1 {
			s = "jumped once"
		}
		if m, ok := Figure(f, "farthest jump"); ok {
			s += ", by up to " + v.Length(m)
		}
		signs = append(signs, s)
	}
	if n, ok := Figure(f, "single places that jumped"); ok {
		signs = append(signs, "was wrong for a moment "+Digits(n)+" times")
	}
	if n, ok := Figure(f, "seconds without a new place"); ok {
		signs = append(signs, "stood still for "+Digits(n)+" s while it moved")
	}
	if n, ok := Figure(f, "seconds of poorer places"); ok {
		signs = append(signs, "was poorer than usual for "+Digits(n)+" s of planting")
	}
	if len(signs) == 0 {
		signs = []string{"stands still while it moves"}
	}
	return "The receiver's place is not to be trusted" + since + ": it " + and(signs, "and")
}
