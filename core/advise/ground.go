package advise

import (
	"math"

	"evenstand"
)

// liquid says what is off with the liquid of a row or of the whole machine.
func (v Voice) liquid(f *evenstand.Finding) string {
	return v.product(f, "liquid", "less", "flow over its peers'", "liquid over its target")
}

// granules says the same of granules.
func (v Voice) granules(f *evenstand.Finding) string {
	return v.product(f, "granules", "fewer", "granules over its peers'", "granules over their target")
}

// product says what is off with a product: of a row against its peers, by the
// figure peers, or of the whole machine against its target.
func (v Voice) product(f *evenstand.Finding, what, less, peers, target string) string {
	who, name, than := Rows(f.Rows), peers, its(f)+" peers"
	does := verb(f, "gets", "get", "got")
	tail := ""
	if f.Kind == evenstand.KindLiquidRateOff || f.Kind == evenstand.KindGranularRateOff {
		who, name, than = "The planter", target, "asked for"
		does = "puts on"
		if f.Until != nil {
			does = "put on"
		}
		if own, ok := Figure(f, "by the machine's own meter"); ok && math.Abs(own-1) < 0.02 {
			tail = ", by the rows' meters; the machine's own shows the target"
		}
	}
	x, ok := Figure(f, name)
	amount := "another amount of " + what + " than " + than
	switch {
	case ok && x < 0.1 && f.Kind != evenstand.KindLiquidRateOff:
		amount = "hardly any " + what
	case ok && x < 1:
		amount = v.Percent(1-x) + " " + less + " " + what + " than " + than
	case ok:
		amount = v.Percent(x-1) + " more " + what + " than " + than
	}
	return who + " " + does + " " + amount + v.since(f) + tail
}

// pressed says where gauge wheels are off the ground, or carry more than they
// need.
func (v Voice) pressed(f *evenstand.Finding) string {
	share, ok := Figure(f, "off the ground")
	since := v.since(f)
	if peers, row := Figure(f, "off the ground, its peers"); row {
		s := Rows(f.Rows) + "'s gauge wheels " + wereWheels(f) + " off the ground"
		if ok {
			s += " " + v.Percent(share) + " of the way"
		}
		return s + since + ", " + its(f) + " peers' " + v.Percent(peers)
	}
	var s, other string
	if f.Kind == evenstand.KindContactLoss {
		s = "The gauge wheels " + wereWheels(f) + " off the ground"
		if ok {
			s += " " + v.Percent(share) + " of the way"
		}
		if x, ok := Figure(f, "off the ground elsewhere"); ok {
			other = ", elsewhere " + v.Percent(x)
		}
	} else {
		s = "The rows " + verb(f, "carry", "carry", "carried")
		if x, ok := Figure(f, "spare load"); ok {
			s += " " + v.Load(x) + " more than they need"
		} else {
			s += " more than they need"
		}
		if x, ok := Figure(f, "spare load elsewhere"); ok {
			other = ", elsewhere " + v.Load(math.Max(0, x))
		}
	}
	return s + where(f) + since + other
}

func wereWheels(f *evenstand.Finding) string {
	if f.Until != nil {
		return "were"
	}
	return "are"
}

// where names the ground of a finding by the force it needs.
func where(f *evenstand.Finding) string {
	x, ok := Figure(f, "needs more force than elsewhere")
	switch {
	case !ok:
		return ""
	case x > 0:
		return " where the ground needs most force"
	}
	return " where the ground needs least force"
}

// force says which change of force suits the zone of a finding, and the rest.
func (v Voice) force(f *evenstand.Finding) string {
	there, ok := v.change(f, "change of force that suits")
	if !ok {
		return ""
	}
	if elsewhere, ok := v.change(f, "change of force that suits elsewhere"); ok {
		return "By the loads," + where(f) + " " + there + "; elsewhere " + elsewhere + "."
	}
	return "By the loads, " + there + "."
}

func (v Voice) change(f *evenstand.Finding, name string) (string, bool) {
	for _, e := range f.Evidence {
		if e.Name != name || math.IsNaN(float64(e.Low)) || math.IsNaN(float64(e.High)) {
			continue
		}
		low, high := float64(e.Low), float64(e.High)
		switch {
		case low <= 0 && high >= 0:
			return "leave the force as it is", true
		case low > 0:
			return v.between("add", low, high), true
		}
		return v.between("take off", -high, -low), true
	}
	return "", false
}

func (v Voice) between(what string, low, high float64) string {
	a, b := v.Load(low), v.Load(high)
	if a == b {
		return what + " " + a
	}
	return what + " " + a + " to " + b
}
