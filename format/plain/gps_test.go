package plain

import (
	"testing"

	"evenstand"
)

// By hand, from the dates of IERS Bulletin C: GPS time and UTC agreed on
// 1980-01-06; GPS was 13 s ahead from 1999-01-01, 14 s from 2006-01-01 and
// 18 s from 2017-01-01. GPS week 2,000 began on 2018-05-06 at 00:00:00 GPS
// time, which is 2018-05-05T23:59:42Z.
func TestFromGPS(t *testing.T) {
	for _, tt := range []struct {
		seconds evenstand.Micros
		want    string
	}{
		{0, "1980-01-06T00:00:00Z"},
		{2000 * 7 * 86400, "2018-05-05T23:59:42Z"},
		{1136073600 - 315964800 + 13 - 1, "2005-12-31T23:59:59Z"},
		{1136073600 - 315964800 + 14, "2006-01-01T00:00:00Z"},
		{1483228800 - 315964800 + 18, "2017-01-01T00:00:00Z"},
	} {
		if got := FromGPS(tt.seconds * evenstand.Second).String(); got != tt.want {
			t.Errorf("%d GPS seconds are %s, want %s", tt.seconds, got, tt.want)
		}
	}
	c := clock{gps: true}
	if got, err := c.parse([]byte("1209600000.25")); err != nil || got.String() != "2018-05-05T23:59:42.25Z" {
		t.Errorf("a count gives %s, %v", got, err)
	}
	if got, err := c.parse([]byte("2018-05-05T23:59:42Z")); err != nil || got.String() != "2018-05-05T23:59:42Z" {
		t.Errorf("a date gives %s, %v", got, err)
	}
}
