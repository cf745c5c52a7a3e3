package plain

import "evenstand"

// gpsEpoch is 1980-01-06T00:00:00Z, from which GPS time counts.
const gpsEpoch = 315_964_800 * evenstand.Second

// leaps are the instants of UTC from which GPS time is one second more ahead,
// in seconds since 1970 (IERS Bulletin C; the last was at the end of 2016).
var leaps = [...]evenstand.Micros{
	362793600, 394329600, 425865600, 489024000, 567993600, 631152000, 662688000, 709948800, 741484800,
	773020800, 820454400, 867715200, 915148800, 1136073600, 1230768000, 1341100800, 1435708800, 1483228800,
}

// FromGPS turns time since the GPS epoch (1980-01-06T00:00:00Z, without leap
// seconds) into UTC.
func FromGPS(t evenstand.Micros) evenstand.Micros {
	t += gpsEpoch
	n := evenstand.Micros(0)
	for _, at := range leaps {
		if t < (at+n)*evenstand.Second {
			break
		}
		n++
	}
	return t - n*evenstand.Second
}
