package advise

import "evenstand"

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
