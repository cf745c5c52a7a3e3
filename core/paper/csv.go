package paper

import (
	"bytes"
	"encoding/csv"
	"slices"
	"strings"
)

// CSV writes documents as one table: records a row each where all of them are
// records, tables of the same columns below each other, and else a line a value.
func CSV(docs []Document) ([]byte, error) {
	rows := flat(docs)
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.UseCRLF = true
	for _, r := range rows {
		for i := range r {
			r[i] = plainCell(r[i])
		}
		if err := w.Write(r); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}

// plainCell keeps a spreadsheet from taking a text for a formula: what people typed
// may begin like one. A number keeps its sign.
func plainCell(s string) string {
	if s == "" || !strings.ContainsRune("=+-@\t\r", rune(s[0])) {
		return s
	}
	if len(s) > 1 && (s[0] == '-' || s[0] == '+') && strings.Trim(s[1:], "0123456789.,") == "" {
		return s
	}
	return "'" + s
}

func flat(docs []Document) [][]string {
	if len(docs) == 1 {
		if rows := records(&docs[0]); rows != nil {
			return rows
		}
		if rows := stacked(&docs[0]); rows != nil {
			return rows
		}
	}
	rows := [][]string{{"paper", "part", "table", "line", "what", "value", "from"}}
	for i := range docs {
		d := &docs[i]
		add := func(part, table, line, what, value, from string) {
			rows = append(rows, []string{d.Title, part, table, line, what, value, from})
		}
		for _, s := range d.Says {
			add("", "", "", "", s, "")
		}
		for _, s := range d.Sections {
			for _, t := range s.Says {
				add(s.Title, "", "", "", t, "")
			}
			for _, p := range s.Pairs {
				add(s.Title, "", "", p.Label, p.Value, from(&p))
			}
			for _, m := range s.Missing {
				add(s.Title, "", "missing", m.Label, m.By, strings.Join(m.Asks, "; "))
			}
			for _, t := range s.Tables {
				lines := t.Rows
				if len(t.Foot) > 0 {
					lines = append(slices.Clone(lines), t.Foot)
				}
				for n, r := range lines {
					for k, cell := range r {
						if cell != "" {
							add(s.Title, t.Title, itoa(n+1), t.Columns[k].Label, cell, "")
						}
					}
				}
			}
		}
		for _, s := range slices.Concat(d.Notes, d.LeftOut, d.Cautions) {
			add("", "", "", "note", s, "")
		}
	}
	return rows
}

func from(p *Pair) string { return strings.Join(slices.Concat(nonempty(p.From), p.Was), "; ") }

// records gives a row for each record with a column for each element, nil where
// the document is of something else.
func records(d *Document) [][]string {
	var ids []string
	label := map[string]string{}
	for _, s := range d.Sections {
		if s.Record == "" {
			return nil
		}
		for _, p := range s.Pairs {
			if label[p.ID] == "" {
				ids, label[p.ID] = append(ids, p.ID), p.Label
			}
		}
	}
	if len(ids) == 0 {
		return nil
	}
	head := []string{"record"}
	for _, id := range ids {
		head = append(head, label[id])
	}
	rows := [][]string{append(head, "missing", "changed", "note")}
	for _, s := range d.Sections {
		row := []string{s.Record}
		var was, miss []string
		for _, id := range ids {
			i := slices.IndexFunc(s.Pairs, func(p Pair) bool { return p.ID == id })
			if i < 0 {
				row = append(row, "")
				continue
			}
			p := &s.Pairs[i]
			row = append(row, p.Value)
			for _, w := range p.Was {
				was = append(was, p.Label+": "+w)
			}
		}
		for _, m := range s.Missing {
			miss = append(miss, strings.Join(nonempty(m.Label, m.By), ", "))
		}
		rows = append(rows, append(row, strings.Join(miss, "; "), strings.Join(was, "; "), NoAdvice))
	}
	return rows
}

// stacked puts tables of the same columns below each other, nil where they are not
// the same or other things stand beside them.
func stacked(d *Document) [][]string {
	var columns []Column
	var rows [][]string
	several := len(d.Sections) > 1
	for _, s := range d.Sections {
		if len(s.Pairs) > 0 || len(s.Missing) > 0 {
			return nil
		}
		for _, t := range s.Tables {
			if columns == nil {
				columns = t.Columns
				head := []string{}
				if several {
					head = append(head, "part")
				}
				for _, c := range columns {
					head = append(head, c.Label)
				}
				rows = append(rows, head)
			}
			if !slices.Equal(columns, t.Columns) {
				return nil
			}
			for _, r := range t.Rows {
				if several {
					r = append([]string{s.Title}, r...)
				}
				rows = append(rows, slices.Clone(r))
			}
		}
	}
	return rows
}
