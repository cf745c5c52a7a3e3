package relation_test

import (
	"math"
	"strings"
	"testing"

	"evenstand/core/relation"
)

// Every relation is put into words, with a figure for every place in them.
func TestEveryRelationIsSaid(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range relation.All() {
		if seen[l.ID] {
			continue
		}
		seen[l.ID] = true
		s, ok := relation.Say(l.ID)
		if !ok || s.Title == "" || len(s.Text) < 40 {
			t.Errorf("%s is not put into words: %+v", l.ID, s)
		}
		if strings.ContainsAny(s.Text, "{}") || strings.Contains(s.Text, "NaN") {
			t.Errorf("%s: %s", l.ID, s.Text)
		}
	}
	if _, ok := relation.Say("R99-none"); ok {
		t.Error("a relation that there is not is said")
	}
}

// The words carry the figures of the lines.
func TestSaidFigures(t *testing.T) {
	if x := relation.Must("R2-skip", "net loss per skip").Likely; math.IsNaN(x) || x != 0.8 {
		t.Fatalf("%g", x)
	}
	for id, want := range map[string]string{
		"R2-skip":             "make up 47% of it at 18,000 plants an acre and 19% at 30,000. What is left, about 0.8 of a plant",
		"R14-planting-date":   "0.5% of yield from May 1 to 10, 0.7% from May 11 to 20 and 0.9% from",
		"R19-seed-arithmetic": "6,272,640 over row width times population; a unit is 80,000 kernels",
		"R7-depth":            "cost 12% of the yield of those plants (5 to 29%)",
	} {
		if s, _ := relation.Say(id); !strings.Contains(s.Text, want) {
			t.Errorf("%s: %s", id, s.Text)
		}
	}
}

// A figure that is judged or from memory is said to be so in its own sentence.
func TestWhatIsJudgedIsSaidSo(t *testing.T) {
	for id, text := range relation.Templates() {
		for _, sentence := range strings.Split(text, ". ") {
			for _, name := range relation.SlotsOf(sentence) {
				word := map[relation.Status]string{relation.Judged: "judged", relation.Memory: "memory"}[relation.Must(id, name).Status]
				if word != "" && !strings.Contains(sentence, word) {
					t.Errorf("%s: %q is %s: %s", id, name, word, sentence)
				}
			}
		}
	}
}
