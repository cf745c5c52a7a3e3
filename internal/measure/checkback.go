package main

import (
	"context"
	"fmt"
	"math"
	"regexp"
	"strings"
)

var (
	onLine    = regexp.MustCompile(`go:\d+: (.+): wrong ([\d.]+)(, plain)?`)
	untouched = regexp.MustCompile(`go:\d+: wrong (\d+) of (\d+)`)
	cured     = regexp.MustCompile(`go:\d+: .*: right (\d+), wrong (\d+) of (\d+)`)
	cleared   = regexp.MustCompile(`go:\d+: rate 3\.7%, CV 0\.00, .*: wrong ([\d.]+),`)
	ofDay     = regexp.MustCompile(`go:\d+: .* right +(\d+), wrong (\d+), not yet known (\d+);`)
)

// checkBack runs check-backs of known truth: the tests by themselves, then whole
// simulated days.
func checkBack(ctx context.Context, root string) ([]Figure, error) {
	env := []string{"EVENSTAND_VERIFY=long"}
	f := Figure{
		What:   "check-back, looked at all the time: called on either side with the truth on the line, rates and means; rows to which nothing was done; a cell that is not cleared called cleared; rows cured or not while the soil changes",
		Target: "wrong ≤ 0.05 give or take the count of runs; right on ≥ 0.90", Command: "EVENSTAND_VERIFY=long go test -count=1 -v -timeout 60m ./core/verify",
	}
	out, err := goCommand(ctx, root, env, "test", "-count=1", "-v", "-timeout", "60m", "./core/verify")
	if f.Value = checkBackSays(out); f.Value == "" {
		return nil, fmt.Errorf("check-back gave no figure: %v\n%s", err, out)
	}
	f.Verdict = judge(err == nil)
	d := Figure{
		What: "check-back on whole simulated days: verdicts on faults that were mended or were not, done said a minute after", Target: "wrong ≤ 0.10",
		Command: "EVENSTAND_VERIFY=long go test -count=1 -run CheckBackOnSimulated -v -timeout 60m ./cli",
	}
	out, err = goCommand(ctx, root, env, "test", "-count=1", "-run", "CheckBackOnSimulated", "-v", "-timeout", "60m", "./cli")
	right, wrong, open := 0.0, 0.0, 0.0
	for _, m := range ofDay.FindAllStringSubmatch(out, -1) {
		right, wrong, open = right+atof(m[1]), wrong+atof(m[2]), open+atof(m[3])
	}
	if right+wrong+open == 0 {
		return nil, fmt.Errorf("check-back on days gave no figure: %v\n%s", err, out)
	}
	d.Value = fmt.Sprintf("right %.0f, wrong %.0f, not yet known %.0f", right, wrong, open)
	d.Verdict = judge(err == nil)
	return []Figure{f, d}, nil
}

// checkBackSays sums up what the tests of core/verify print; empty: something of
// it is missing.
func checkBackSays(out string) string {
	rates, means, right, n := math.NaN(), math.NaN(), 0.0, 0.0
	for _, m := range onLine.FindAllStringSubmatch(out, -1) {
		switch {
		case strings.Contains(m[1], "as if by chance"): // what it would be without φ
		case m[3] != "":
			means = most(means, atof(m[2]))
		default:
			rates = most(rates, atof(m[2]))
		}
	}
	for _, m := range cured.FindAllStringSubmatch(out, -1) {
		right, n = right+atof(m[1]), n+atof(m[3])
	}
	still, cell := untouched.FindStringSubmatch(out), cleared.FindStringSubmatch(out)
	if still == nil || cell == nil || n == 0 || math.IsNaN(rates+means) {
		return ""
	}
	return fmt.Sprintf("rates %.3f and means %.3f at most; untouched rows %s of %s; the cell %s; cured or not right %.0f of %.0f", rates, means, still[1], still[2], cell[1], right, n)
}

// most is the larger of two of which the first may be none yet.
func most(a, b float64) float64 {
	if a > b {
		return a
	}
	return b
}
