package main

import (
	"context"
	"fmt"
	"math"
	"regexp"
)

// heldLine is what a world of row trials prints.
var heldLine = regexp.MustCompile(`held ([\d.]+) \| none there: better ([\d.]+) worse ([\d.]+) \| .*found ([\d.]+)`)

// trials runs simulated row trials of known effect, 2,000 of each design and world.
func trials(ctx context.Context, root string) (Figure, error) {
	f := Figure{
		What:   "row trials of known effect by swap, before and after, beside and by passes, 2,000 of each of 52 designs and worlds: 90 % intervals hold it; nothing is called better or worse; a difference of the stated size is found",
		Target: "0.88 to 0.92; ≤ 0.05 each; 0.78 to 0.82 (0.74 of small counts), give or take the count of runs", Command: "EVENSTAND_TRIALS=2000 go test -count=1 -run Trials -v -timeout 60m ./core/try/trial/",
	}
	out, err := goCommand(ctx, root, []string{"EVENSTAND_TRIALS=2000"}, "test", "-count=1", "-run", "Trials", "-v", "-timeout", "60m", "./core/try/trial/")
	low, high, better, worse, least, most, n := 1.0, 0.0, 0.0, 0.0, 1.0, 0.0, 0
	for _, m := range heldLine.FindAllStringSubmatch(out, -1) {
		n++
		low, high = math.Min(low, atof(m[1])), math.Max(high, atof(m[1]))
		better, worse = math.Max(better, atof(m[2])), math.Max(worse, atof(m[3]))
		least, most = math.Min(least, atof(m[4])), math.Max(most, atof(m[4]))
	}
	if n == 0 {
		return f, fmt.Errorf("the row trials gave no figure: %v\n%s", err, out)
	}
	f.Value = fmt.Sprintf("held %.3f to %.3f; better %.3f, worse %.3f at most; found %.3f to %.3f; %d designs and worlds", low, high, better, worse, least, most, n)
	f.Verdict = judge(err == nil)
	return f, nil
}
