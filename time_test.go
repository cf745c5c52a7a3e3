package evenstand_test

import (
	"encoding/json"
	"testing"

	"evenstand"
)

// An instant in JSON is RFC 3339 in UTC, null where it is not known
// (RFC 3339 section 5.8 gives the first example with its instant in UTC).
func TestMicrosInJSON(t *testing.T) {
	for _, tt := range []struct {
		in, out string
		m       evenstand.Micros
	}{
		{`"1985-04-12T23:20:50.52Z"`, `"1985-04-12T23:20:50.52Z"`, 482196050_520000},
		{`"1996-12-19T16:39:57-08:00"`, `"1996-12-20T00:39:57Z"`, 851042397_000000},
		{`null`, `null`, evenstand.NoTime},
		{`""`, `null`, evenstand.NoTime},
	} {
		m := evenstand.Micros(1)
		if err := json.Unmarshal([]byte(tt.in), &m); err != nil || m != tt.m {
			t.Errorf("%s: %d, %v; want %d", tt.in, m, err, tt.m)
		}
		if b, err := json.Marshal(m); err != nil || string(b) != tt.out {
			t.Errorf("%s came back as %s, %v", tt.in, b, err)
		}
		p := &m // an optional instant
		if err := json.Unmarshal([]byte("null"), &p); err != nil || p != nil {
			t.Errorf("null is %v, %v; want none", p, err)
		}
	}
	for _, bad := range []string{`1`, `"yesterday"`, `{}`} {
		var m evenstand.Micros
		if err := json.Unmarshal([]byte(bad), &m); err == nil {
			t.Errorf("%s is read as %v", bad, m)
		}
	}
}
