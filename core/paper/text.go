package paper

import (
	"bytes"
	"encoding/json"
	"slices"
	"strconv"
	"strings"

	"evenstand/core/record"
)

func itoa(n int) string { return strconv.Itoa(n) }

func nonempty(parts ...string) []string {
	return slices.DeleteFunc(parts, func(s string) bool { return s == "" })
}

// NotWritten is what stands in the place of a value that nobody knows.
const NotWritten = "not written down"

// Render writes a document as text.
func Render(d *Document, o record.Options) string {
	var b strings.Builder
	width := o.Width
	if width < 40 {
		width = 80
	}
	text := func(first, s string) {
		for _, l := range record.Wrap(first, s, width) {
			b.WriteString(strings.TrimRight(l, " ") + "\n")
		}
	}
	head := func(s string) {
		b.WriteString("\n")
		if o.Colour {
			s = "\x1b[1m" + s + "\x1b[0m"
		}
		b.WriteString(s + "\n")
	}
	title := d.Title
	if o.Colour {
		title = "\x1b[1m" + title + "\x1b[0m"
	}
	b.WriteString(title + "\n")
	for _, s := range nonempty(strings.Join(nonempty(d.Book, d.AsOf), " · ")) {
		text("", s)
	}
	if d.For != "" {
		text("", "For: "+d.For)
	}
	for _, s := range d.Says {
		text("", s)
	}
	for i := range d.Sections {
		s := &d.Sections[i]
		t := s.Title
		if s.Record != "" {
			t += "  [" + s.Record + "]"
		}
		head(t)
		for _, l := range s.Says {
			text("  ", l)
		}
		for _, p := range s.Pairs {
			text("  "+p.Label+": ", valueOf(&p))
			for _, w := range p.Was {
				text("      ", w)
			}
		}
		for _, t := range s.Tables {
			if t.Title != "" {
				text("  ", t.Title)
			}
			if len(t.Rows) == 0 {
				text("  ", t.None)
			}
			lines := t.Rows
			if len(t.Foot) > 0 {
				lines = append(slices.Clone(lines), t.Foot)
			}
			for _, r := range lines {
				text("  - ", tableLine(t.Columns, r))
			}
		}
		if len(s.Missing) > 0 {
			text("  ", "Missing:")
		}
		for _, m := range s.Missing {
			text("  - ", missingLine(&m))
		}
	}
	if len(d.Notes)+len(d.LeftOut)+len(d.Cautions) > 0 {
		b.WriteString("\n")
	}
	for _, s := range slices.Concat(d.Notes, d.LeftOut) {
		text("", s)
	}
	for _, s := range d.Cautions {
		text("! ", s)
	}
	return b.String()
}

func valueOf(p *Pair) string {
	if p.Value == "" {
		return NotWritten
	}
	if p.From == "" {
		return p.Value
	}
	return p.Value + " (" + p.From + ")"
}

func missingLine(m *Missing) string {
	s := m.Label
	if m.By != "" {
		s += ", " + m.By
	}
	if len(m.Asks) > 0 {
		s += ": " + strings.Join(m.Asks, "; ")
	}
	return s
}

// tableLine writes a row in one line: the first cell, then the others with what
// they are.
func tableLine(columns []Column, row []string) string {
	out := ""
	for i, cell := range row {
		switch {
		case cell == "":
		case out == "":
			out = cell
		default:
			out += "; " + columns[i].Label + ": " + cell
		}
	}
	return out
}

// Bundle is papers that go out together.
type Bundle struct {
	Schema    int        `json:"schema"`
	Documents []Document `json:"documents"`
}

// JSON writes documents as JSON.
func JSON(docs []Document) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	e.SetIndent("", "  ")
	err := e.Encode(Bundle{1, docs})
	return b.Bytes(), err
}
