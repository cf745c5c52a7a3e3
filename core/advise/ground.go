package advise

import (
	"math"

	"evenstand"
)

// liquid says what is off with the liquid of a row or of the whole machine.
func (v Voice) liquid(f *evenstand.Finding) string {
	who, name, than := Rows(f.Rows), "flow over its peers'", its(f)+" peers"
	does := verb(f, "gets", "get", "got")
	tail := ""
	if f.Kind == evenstand.KindLiquidRateOff {
		who, name, than = "The planter", "liquid over its target", "asked for"
		does = "puts on"
		if f.Until != nil {
			does = "put on"
		}
		if own, ok := Figure(f, "by the machine's own meter"); ok && math.Abs(own-1) < 0.02 {
			tail = ", by the rows' meters; the machine's own shows the target"
		}
	}
	x, ok := Figure(f, name)
	amount := "another amount of liquid than " + than
	switch {
	case ok && x < 0.1 && f.Kind == evenstand.KindLiquidRowLow:
		amount = "hardly any liquid"
	case ok && x < 1:
		amount = v.Percent(1-x) + " less liquid than " + than
	case ok:
		amount = v.Percent(x-1) + " more liquid than " + than
	}
	return who + " " + does + " " + amount + v.since(f) + tail
}
