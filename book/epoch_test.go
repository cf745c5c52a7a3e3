package book

import (
	"strings"
	"testing"

	"evenstand"
)

// By hand: 2026-05-02 12:40 UTC is 1,777,725,600 s since 1970 and, with 18 leap
// seconds, 1,461,760,818 s since 1980-01-06; 1,024 weeks are 619,315,200 s.
func TestNoteEpochs(t *testing.T) {
	at := func(s evenstand.Micros) SourceReport {
		return SourceReport{Planter: "p", First: s * evenstand.Second, Last: (s + 3600) * evenstand.Second}
	}
	for _, tt := range []struct {
		name, want string
		first      evenstand.Micros
	}{
		{"right", "", 1777725600},
		{"half a minute off", "", 1777725630},
		{"GPS seconds", `count_from = "gps"`, 1461760818},
		{"weeks begun anew", "1,024 weeks", 1777725600 - 619315200},
		{"another day", "", 1777725600 - 86400},
	} {
		all := []SourceReport{at(1777725600), at(tt.first)}
		noteEpochs(all)
		if n := strings.Join(all[1].Notes, " "); tt.want == "" && n != "" || !strings.Contains(n, tt.want) {
			t.Errorf("%s: notes %q, want %q", tt.name, n, tt.want)
		}
		if len(all[0].Notes) > 0 {
			t.Errorf("%s: the other box is told %q", tt.name, all[0].Notes)
		}
	}
}
