package ground_test

import (
	"testing"

	"evenstand/core/ground"
)

// A place within lies within: of a square its middle, of a bent strip not its
// centre of gravity, which lies outside.
func TestWithin(t *testing.T) {
	square := ground.Polygon{{{0, 0}, {2, 0}, {2, 2}, {0, 2}}}
	if c := square.Within(); c != (ground.Point{1, 1}) {
		t.Errorf("%v", c)
	}
	bent := ground.Polygon{{{0, 0}, {100, 0}, {100, 2}, {2, 2}, {2, 80}, {0, 80}}}
	if c := bent.Centroid(); bent.Contains(c) {
		t.Fatalf("%v lies within", c)
	}
	if c := bent.Within(); !bent.Contains(c) {
		t.Errorf("%v lies outside", c)
	}
}
