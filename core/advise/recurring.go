package advise

import "evenstand"

// recurring says how often trouble came back, and what it cost each time.
func (v Voice) recurring(f *evenstand.Finding, who, since string) string {
	s := who + " " + verb(f, "keeps", "keep", "kept") + " having passing trouble" + since
	if n, ok := Figure(f, "times it came"); ok {
		s += ", " + Digits(n) + " times"
	}
	if n, ok := Figure(f, "planting time between"); ok && n >= 90 {
		s += ", every " + Digits(n/60) + " min of planting or so"
	}
	if n, ok := Figure(f, "seeds missed each time"); ok {
		s += ", some " + Digits(n) + " seeds each"
	}
	return s
}
