package pdf_test

import (
	"bytes"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"evenstand/core/paper"
	"evenstand/give/pdf"
)

// long is a document with names that are longer than their columns, in other
// alphabets' letters, and more rows than a page holds.
func long() paper.Document {
	name := "Großer Schlag hinter der Mühle an der Straße nach Übersee, südlicher Teil, mit der Erweiterung von 2019"
	d := paper.Document{Schema: 1, What: "acres", Title: "Acres of " + name, Book: name, For: "grower", AsOf: "As of 3:03 pm, May 2, 2026", Says: []string{"122 ac worked. " + strings.Repeat(name+". ", 3)}, Cautions: []string{paper.NoAdvice}, Notes: []string{name}}
	s := paper.Section{Title: name, Pairs: []paper.Pair{{ID: "a", Label: "A label that is long enough to need its line", Value: name, From: "written down by " + name, Was: []string{name}}}, Missing: []paper.Missing{{ID: "b", Label: name, By: "by May 16, 2026", Asks: []string{name}}}}
	t := paper.Table{Title: "Fields", Columns: []paper.Column{{ID: "f", Label: "Field"}, {ID: "w", Label: "Unbreakable"}, {ID: "a", Label: "Area", Number: true}}, Foot: []string{"All", "", "1,234,567.8 ac"}}
	for i := range 120 {
		t.Rows = append(t.Rows, []string{fmt.Sprintf("%d %s", i+1, name), strings.Repeat("x", 90), "1,234.5 ac"})
	}
	s.Tables = []paper.Table{t}
	d.Sections = []paper.Section{s}
	return d
}

var word = regexp.MustCompile(`<word xMin="([\d.]+)" yMin="([\d.]+)" xMax="([\d.]+)" yMax="([\d.]+)">`)

// No word stands beyond the margins of A4 or US Letter, however long it is; the text
// can be copied; the same document gives the same bytes.
func TestNothingRunsOver(t *testing.T) {
	if _, err := exec.LookPath("pdftotext"); err != nil {
		t.Skip("no pdftotext here (Debian's poppler-utils): the pages are not looked at")
	}
	for size, page := range map[pdf.Size][2]float64{pdf.A4: {595.28, 841.89}, pdf.Letter: {612, 792}} {
		data, err := pdf.Bytes([]paper.Document{long()}, "pdf", size)
		if err != nil {
			t.Fatal(err)
		}
		again, err := pdf.Bytes([]paper.Document{long()}, "pdf", size)
		if err != nil || !bytes.Equal(data, again) {
			t.Errorf("%s: the same document gives other bytes (%v)", size, err)
		}
		file := filepath.Join(t.TempDir(), "long.pdf")
		if err := os.WriteFile(file, data, 0o644); err != nil {
			t.Fatal(err)
		}
		boxes, err := exec.Command("pdftotext", "-bbox", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(boxes), fmt.Sprintf(`width="%.6f"`, page[0])) && !strings.Contains(string(boxes), fmt.Sprintf(`width="%.2f`, page[0])) {
			t.Errorf("%s: another size: %.200s", size, boxes)
		}
		words := word.FindAllStringSubmatch(string(boxes), -1)
		if len(words) < 500 {
			t.Errorf("%s: %d words", size, len(words))
		}
		for _, w := range words {
			at := func(i int) float64 { x, _ := strconv.ParseFloat(w[i], 64); return x }
			if at(1) < 28 || at(2) < 20 || at(3) > page[0]-28 || at(4) > page[1]-14 {
				t.Fatalf("%s: a word lies at %s", size, w[0])
			}
		}
		text, err := exec.Command("pdftotext", "-layout", file, "-").Output()
		if err != nil {
			t.Fatal(err)
		}
		for _, want := range []string{"Großer Schlag", "Mühle", "Übersee", "120 Großer", "1,234,567.8", "Not legal advice", "Page 1 of "} {
			if !strings.Contains(string(text), want) {
				t.Errorf("%s: %q cannot be copied", size, want)
			}
		}
	}
}
