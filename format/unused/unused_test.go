package unused

import (
	"fmt"
	"testing"

	"evenstand"

	"github.com/google/go-cmp/cmp"
)

// By hand: each reason once with its first place and its count; of texts that
// are told apart the first 40, and the rest together.
func TestReport(t *testing.T) {
	r := Report{File: "a.csv"}
	short := Reason{Why: "a short line", Do: "Look."}
	word := Reason{Why: "the word %s", Of: "cells", Each: true}
	one := Reason{Why: "a time such as %s"}
	r.Add(&short, "", 3, 20)
	r.Add(&one, "x", 4, -1)
	r.Add(&one, "y", 5, -1)
	r.Add(&short, "", 6, 90)
	for i := range 100 {
		r.Add(&word, Show(fmt.Append(nil, i%50)), 10+i, -1)
	}
	got := r.List()
	if len(got) != Most+1 {
		t.Fatalf("%d reasons", len(got))
	}
	want := []evenstand.Unused{
		{File: "a.csv", Line: 3, Offset: 20, Count: 2, Of: "lines", Why: "a short line", Do: "Look."},
		{File: "a.csv", Line: 4, Offset: -1, Count: 2, Of: "lines", Why: "a time such as x"},
		{File: "a.csv", Line: 10, Offset: -1, Count: 2, Of: "cells", Why: `the word "0"`},
		{File: "a.csv", Line: 48, Offset: -1, Count: 24, Of: "cells", Why: `the word "38", and others`},
	}
	if d := cmp.Diff(want, append(got[:3:3], got[Most])); d != "" {
		t.Errorf("(-want +got):\n%s", d)
	}
}

func TestShow(t *testing.T) {
	for _, tt := range []struct{ in, want string }{
		{"", `""`},
		{"a\"b\n", `"a\"b\n"`},
		{"\xff\xfe", `"?"`},
		{"0123456789012345678901234567890123456789", `"0123456789012345678901234567890123456789"`},
		{"01234567890123456789012345678901234567890", `"0123456789012345678901234567890123456789…"`},
	} {
		if got := Show([]byte(tt.in)); got != tt.want {
			t.Errorf("%q: %s, want %s", tt.in, got, tt.want)
		}
	}
}
