package advise

import "evenstand"

// turnRate says how far inner and outer rows are off on curves.
func (v Voice) turnRate(f *evenstand.Finding) string {
	s := "On curves the inner rows " + verb(f, "plant", "plant", "planted") + " too thick and the outer ones too thin" + v.since(f)
	thick, ok1 := Figure(f, "too thick inside")
	thin, ok2 := Figure(f, "too thin outside")
	if ok1 && ok2 {
		s += ", by " + v.Percent(thick-1) + " and " + v.Percent(1-thin) + " on average"
	}
	return s
}
