package advise

import (
	"regexp"
	"strings"
)

// sentence is where a sentence ends and another begins; "; " parts steps.
var sentence = regexp.MustCompile(`[.?!] (?:[A-Z])|; `)

// unseenFirst is why a dig or a swap comes first.
const unseenFirst = "The log cannot tell seeds that are missing from seeds that are not seen, so first "

// notCured says why there is advice again.
const notCured = "What was done did not cure it. "

// FirstStep gives the first thing that a piece of advice asks for, where there
// is room for one line, without the reason. How a thing ended asks for nothing;
// an advice that says no more is given whole.
func FirstStep(do string) string {
	do = strings.TrimPrefix(do, notCured)
	rest := do
	if after, ok := strings.CutPrefix(do, unseenFirst); ok {
		rest = Capital(after)
	}
	for {
		at := sentence.FindStringIndex(rest)
		if at == nil {
			return rest
		}
		step := strings.TrimRight(rest[:at[0]], ".") + "."
		if c := rest[at[0]]; c == '?' || c == '!' {
			step = rest[:at[0]+1]
		}
		after := rest[at[0]+2:]
		if !ending(step) {
			return step
		}
		rest = after
	}
}

func ending(step string) bool {
	return strings.HasPrefix(step, "It ended ") || strings.HasPrefix(step, "It has ended ") || strings.HasPrefix(step, "It is counted ")
}
