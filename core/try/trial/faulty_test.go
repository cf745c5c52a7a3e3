package trial_test

import (
	"fmt"
	"strings"
	"testing"

	"evenstand/core/stat"
	"evenstand/core/try/trial"
)

// A sound row is called faulty in one trial of a thousand at most.
func TestSoundRows(t *testing.T) {
	counts := usual()
	counts.shares, counts.places, counts.passes = true, 30, 10
	counts.row, counts.drift = 1, 0.3
	each, full := runs()
	if full {
		each = 1000
	}
	n, all := 0, 0
	for i, w := range []world{usual(), counts} {
		for _, how := range []trial.How{trial.Swap, trial.Fitted, trial.Beside} {
			for _, m := range []int{1, 4, 8} {
				rng := stat.NewRand(7009, fmt.Sprint("sound", i, how, m))
				for range each {
					all++
					for _, o := range w.run(rng, design(how, m, w.rows), 0, 0).Out {
						if strings.Contains(o.Why, "far from") {
							n++
						}
					}
				}
			}
		}
	}
	t.Logf("in %d of %d", n, all)
	if float64(n) > 0.002*float64(all)+3 {
		t.Errorf("in %d of %d", n, all)
	}
}
