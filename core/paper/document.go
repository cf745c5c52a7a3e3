package paper

import (
	"evenstand"
)

// NoAdvice stands on every paper.
const NoAdvice = "Not legal advice. State and local rules, the licensed applicator and the label govern; read the current text."

// Document is one paper in words, as the people of the logbook read numbers.
type Document struct {
	Schema   int       `json:"schema"`
	What     string    `json:"what"`
	Title    string    `json:"title"`
	Book     string    `json:"book"` // name of the logbook
	For      string    `json:"for"`  // who gets it, in words; empty: the logbook's own people
	AsOf     string    `json:"as_of"`
	Says     []string  `json:"says"`
	Sections []Section `json:"sections"`
	Notes    []string  `json:"notes"`    // how it is to be read, and where its rules stand
	LeftOut  []string  `json:"left_out"` // what does not go to whom it is for
	Cautions []string  `json:"cautions"`
	// At is the time of what it shows, which is not that of printing.
	At evenstand.Micros `json:"-"`
}

// Section is a part of a document.
type Section struct {
	Title   string    `json:"title"`
	Record  string    `json:"record"` // id of an application record; empty: it is none
	Says    []string  `json:"says"`
	Pairs   []Pair    `json:"pairs"`
	Tables  []Table   `json:"tables"`
	Missing []Missing `json:"missing"`
}

// Pair is an element of a record and its value.
type Pair struct {
	ID    string   `json:"id"`
	Label string   `json:"label"`
	Value string   `json:"value"` // empty: not written down
	From  string   `json:"from"`  // measured, computed, or who wrote it down and when
	Was   []string `json:"was"`   // what stood there before, with when and by whom; the last first
	Entry bool     `json:"entry"` // somebody wrote it down
}

// Missing is an element that is wanted and that nobody knows yet.
type Missing struct {
	ID    string   `json:"id"`
	Label string   `json:"label"`
	By    string   `json:"by"`   // by when it is wanted first; empty: nobody says
	Asks  []string `json:"asks"` // who asks for it, with the source
}

// Table is a table.
type Table struct {
	Title   string     `json:"title"`
	Columns []Column   `json:"columns"`
	Rows    [][]string `json:"rows"`
	Foot    []string   `json:"foot"` // a last row of sums; empty: none
	None    string     `json:"none"` // what is said where there are no rows
}

// Column is a column of one.
type Column struct {
	ID     string `json:"id"`
	Label  string `json:"label"`
	Number bool   `json:"number"` // set to the right
}

func newDocument(what, title string, c Context) Document {
	d := Document{
		Schema: 1, What: what, Title: title, Book: c.Book, Says: []string{}, Sections: []Section{}, Notes: []string{}, LeftOut: []string{}, Cautions: []string{NoAdvice}, At: c.AsOf,
	}
	if c.AsOf > 0 {
		d.AsOf = "As of " + c.Voice.Clock(c.AsOf) + ", " + c.Voice.Date(c.AsOf)
	}
	if c.For != nil {
		d.For = c.For.Title
	}
	return d
}

func newSection(title string) Section {
	return Section{Title: title, Says: []string{}, Pairs: []Pair{}, Tables: []Table{}, Missing: []Missing{}}
}

func newTable(title, none string, columns ...Column) Table {
	return Table{Title: title, None: none, Columns: columns, Rows: [][]string{}, Foot: []string{}}
}

// drop takes columns out of a table.
func (t *Table) drop(out map[string]bool) {
	keep := func(row []string) []string {
		if len(row) == 0 {
			return row
		}
		k := []string{}
		for i, c := range t.Columns {
			if !out[c.ID] {
				k = append(k, row[i])
			}
		}
		return k
	}
	for i := range t.Rows {
		t.Rows[i] = keep(t.Rows[i])
	}
	t.Foot = keep(t.Foot)
	columns := []Column{}
	for _, c := range t.Columns {
		if !out[c.ID] {
			columns = append(columns, c)
		}
	}
	t.Columns = columns
}
