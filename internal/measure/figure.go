package main

import (
	"bytes"
	"fmt"
	"os"
	"strings"
)

// Figure is one line of the page.
type Figure struct {
	What    string
	Value   string
	Target  string // empty: for information
	Command string
	Verdict Verdict
}

// Verdict says whether a figure reaches its target.
type Verdict int

// The verdicts.
const (
	Told    Verdict = iota // no target
	Reached                // the target is reached
	Missed                 // it is not
	Untried                // it could not be measured here; Value says why
)

// String gives the word of the page.
func (v Verdict) String() string {
	return [...]string{"", "reached", "MISSED", "not measured"}[v]
}

// judge gives Reached or Missed.
func judge(ok bool) Verdict {
	if ok {
		return Reached
	}
	return Missed
}

const (
	begin = "<!-- measured: begin. make measure writes what stands between here and the end mark -->"
	end   = "<!-- measured: end -->"
)

// replace puts text between the markers of a page.
func replace(page []byte, text string) ([]byte, error) {
	head, rest, ok := bytes.Cut(page, []byte(begin))
	_, tail, ok2 := bytes.Cut(rest, []byte(end))
	if !ok || !ok2 {
		return nil, fmt.Errorf("the markers are missing: want a line %q and below it %q", begin, end)
	}
	return fmt.Appendf(nil, "%s%s\n\n%s\n%s%s", head, begin, text, end, tail), nil
}

// write rewrites the generated part of a page.
func write(name, text string) error {
	page, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	if page, err = replace(page, text); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	return os.WriteFile(name, page, 0o666)
}

// table writes the figures as the page shows them.
func table(fs []Figure) string {
	var b strings.Builder
	b.WriteString("| what | figure | target | | command |\n|---|---|---|---|---|\n")
	cell := strings.NewReplacer("|", "\\|", "\n", " ")
	for _, f := range fs {
		command := f.Command
		if command != "" {
			command = "`" + command + "`"
		}
		fmt.Fprintf(&b, "| %s | %s | %s | %s | %s |\n", cell.Replace(f.What), cell.Replace(f.Value), cell.Replace(f.Target), f.Verdict, cell.Replace(command))
	}
	return b.String()
}
