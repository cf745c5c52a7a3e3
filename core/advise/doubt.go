package advise

import (
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
		if name, ok := strings.CutPrefix(e.Name, "silence of "); ok {
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
		s += ", " + Digits(long) + " s of planting"
	}
	if n, ok := Figure(f, "silences"); ok {
		s += ", " + Digits(n) + " times"
	}
	return s
}
