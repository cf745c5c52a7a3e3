package stat_test

import (
	"fmt"

	"evenstand/core/stat"
)

// Twelve skips in a thousand places whose variance is 1.8 times the binomial
// one: the rate with its 90 % interval.
func ExampleJeffreys() {
	y, n := stat.Effective(12, 1000, 1.8)
	lo, hi := stat.Jeffreys(y, n, 0.9)
	fmt.Printf("%.1f %% (%.1f to %.1f)\n", 100*y/n, 100*lo, 100*hi)
	// Output: 1.2 % (0.6 to 2.2)
}

// A row that skips four times as often in its last ten batches: how sure, and
// since when. By hand, for the ratio 4: ten times 5 ln 4 + 95 ln(0.952/0.988)
// is 34, less ln 4 for four ratios.
func ExampleEDetector() {
	d := stat.NewEDetector(stat.Upward, 1)
	for i := range 40 {
		y := 1.0
		if i >= 30 {
			y = 5
		}
		d.Add(y, 100, 0.012)
	}
	back, _, _ := d.Onset()
	fmt.Printf("evidence %.0f nats, began %d batches ago\n", d.S(), back+1)
	// Output: evidence 33 nats, began 10 batches ago
}
