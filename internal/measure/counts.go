package main

import (
	"context"
	"fmt"
	"regexp"
	"strings"
)

var countLine = regexp.MustCompile(`(before the counts|after them|after them, with what could not be priced before): mean error \$(\d+), bias \$([+-]\d+), 80 % range held ([\d.]+) of (\d+)`)

// counts runs made-up seasons whose fields are partly counted.
func counts(ctx context.Context, root string) ([]Figure, error) {
	f := Figure{
		What:   "a season's money before and after plants were counted, 400 made-up seasons: mean error and how often the 80 % range held",
		Target: "a smaller error after the counts; held in 0.75 to 0.85", Command: "EVENSTAND_SEASONS=400 EVENSTAND_STREAM=20261211 go test -count=1 -run TestSeason -v ./core/stand",
	}
	out, err := goCommand(ctx, root, []string{"EVENSTAND_SEASONS=400", "EVENSTAND_STREAM=20261211"}, "test", "-count=1", "-run", "TestSeason", "-v", "./core/stand")
	if f.Value = countsSay(out); f.Value == "" {
		return nil, fmt.Errorf("the seasons gave no figure: %v\n%s", err, out)
	}
	f.Verdict = judge(strings.Contains(out, "--- PASS: TestSeason "))
	return []Figure{f}, nil
}

// countsSay sums up what the seasons print; empty: it is missing.
func countsSay(out string) string {
	var says []string
	for _, m := range countLine.FindAllStringSubmatch(out, -1) {
		says = append(says, fmt.Sprintf("%s: $%s, %s of %s", m[1], m[2], m[4], m[5]))
	}
	if len(says) != 3 {
		return ""
	}
	return strings.Join(says, "; ")
}
