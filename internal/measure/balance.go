package main

import (
	"context"
	"fmt"
	"regexp"
	"strings"
)

var (
	seasonLine = regexp.MustCompile(`noise ([\d.]+), \d+ seasons: total ([\d.]+) ± [\d.]+, at the tenth ([\d.]+) .*?stay: total ([\d.]+) .*?hill climbing: total ([\d.]+) `)
	toldLine   = regexp.MustCompile(`noise ([\d.]+), told by differences: total ([\d.]+) ± [\d.]+, at the tenth ([\d.]+) `)
	limitLine  = regexp.MustCompile(`noise ([\d.]+), a limit, differences true: (\d+) of (\d+) moves`)
	usedLine   = regexp.MustCompile(`(\d+) seasons with a limit: total ([\d.]+) ± [\d.]+ \(left alone ([\d.]+)\), at the end ([\d.]+) .*; (\d+) of (\d+) tries over the limit`)
)

// balance runs seasons of tries of one setting whose best place is known.
func balance(ctx context.Context, root string) ([]Figure, error) {
	f := Figure{
		What:   "seasons of ten tries of a setting, 4,000 by the functions that the program decides by: regret in all and at the tenth try",
		Target: "no worse than the methods document's 1.77 and 0.019 at noise 0.15, 2.50 and 0.067 at 0.50, nor than leaving it alone or hill climbing; ≤ 0.10 of the moves over a limit, all give or take the count of seasons", Command: "EVENSTAND_SEASONS=4000 go test -count=1 -run Seasons -v -timeout 60m ./core/try/balance",
	}
	used := Figure{What: "the same from effects by curves to advice, 400 seasons with a limit: regret in all and at the end", Target: "less than left alone; ≤ 0.10 of the tries over the limit, give or take their count", Command: f.Command}
	out, err := goCommand(ctx, root, []string{"EVENSTAND_SEASONS=4000"}, "test", "-count=1", "-run", "Seasons", "-v", "-timeout", "60m", "./core/try/balance")
	f.Value, used.Value = balanceSays(out)
	if f.Value == "" || used.Value == "" {
		return nil, fmt.Errorf("the seasons gave no figure: %v\n%s", err, out)
	}
	passed := func(name string) bool { return strings.Contains(out, "--- PASS: "+name+" ") }
	f.Verdict, used.Verdict = judge(passed("TestSeasons")), judge(passed("TestSeasonsAsUsed"))
	return []Figure{f, used}, nil
}

// balanceSays sums up what the seasons print; empty: it is missing.
func balanceSays(out string) (decides, used string) {
	var says []string
	for _, m := range seasonLine.FindAllStringSubmatch(out, -1) {
		says = append(says, fmt.Sprintf("noise %s: %s and %s (left alone %s, hill climbing %s)", m[1], m[2], m[3], m[4], m[5]))
	}
	for _, m := range toldLine.FindAllStringSubmatch(out, -1) {
		says = append(says, fmt.Sprintf("told differences, noise %s: %s and %s", m[1], m[2], m[3]))
	}
	for _, m := range limitLine.FindAllStringSubmatch(out, -1) {
		says = append(says, fmt.Sprintf("over a limit, noise %s: %s of %s moves", m[1], m[2], m[3]))
	}
	if len(says) == 6 { // two noises
		decides = strings.Join(says, "; ")
	}
	if m := usedLine.FindStringSubmatch(out); m != nil {
		used = fmt.Sprintf("%s and %s (left alone %s in all); %s of %s tries over the limit", m[2], m[4], m[3], m[5], m[6])
	}
	return decides, used
}
