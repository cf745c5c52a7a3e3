package pdf

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"

	"evenstand/core/paper"
)

// Size is that of the paper.
type Size string

// The sizes.
const (
	A4     Size = "a4"
	Letter Size = "letter"
)

// Lengths in mm, sizes of type in points.
const (
	margin   = 16.0
	foot     = 20.0 // below the text
	small    = 8.0
	usual    = 9.5
	large    = 12.0
	title    = 16.0
	indent   = 4.0
	gap      = 2.4 // between columns
	labelMax = 46.0
)

// point is a point of type in mm.
const point = 25.4 / 72

// leading is the distance of lines over the size of the type.
const leading = 1.32

const face = "go"

// writer lays papers out from the top of a page to its foot.
type writer struct {
	f       *fpdf.Fpdf
	w, h    float64 // of the page
	y       float64 // top of the next line
	bold    bool
	size    float64
	grey    bool
	doc     *paper.Document
	pages   int // in all; 0 while they are counted
	running func()
}

// Write writes papers, each from a new page on.
func Write(out io.Writer, docs []paper.Document, size Size) error {
	if len(docs) == 0 {
		return fmt.Errorf("there is no paper to write")
	}
	// Once to count the pages, once to write their numbers.
	n := 0
	for range 2 {
		w := newWriter(docs, size, n)
		for i := range docs {
			w.document(&docs[i])
		}
		if err := w.f.Error(); err != nil {
			return err
		}
		if n = w.f.PageCount(); w.pages > 0 {
			return w.f.Output(out)
		}
	}
	return nil
}

func newWriter(docs []paper.Document, size Size, pages int) *writer {
	format := "Letter"
	if size == A4 {
		format = "A4"
	}
	f := fpdf.New("P", "mm", format, "")
	f.AddUTF8FontFromBytes(face, "", goregular.TTF)
	f.AddUTF8FontFromBytes(face, "B", gobold.TTF)
	f.SetCatalogSort(true)
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(margin, margin, margin)
	f.SetCellMargin(0)
	at := time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC) // nothing has a date
	for i := range docs {
		if t := docs[i].At.Time(); docs[i].At > 0 && t.After(at) {
			at = t
		}
	}
	f.SetCreationDate(at.UTC())
	f.SetModificationDate(at.UTC())
	f.SetProducer("Evenstand", true)
	f.SetTitle(clean(docs[0].Title), true)
	f.SetSubject(clean(docs[0].Book), true)
	f.SetLang("en")
	w := &writer{f: f, pages: pages}
	w.w, w.h = f.GetPageSize()
	w.font(usual, false, false)
	return w
}

// clean gives a text that can be drawn: one line, and no signs beyond the basic
// plane, of which the face has none.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case r > 0xFFFF || r == 0xFEFF:
			return '?'
		case r < ' ' || r == 0x7F || r == 0xA0:
			return ' '
		}
		return r
	}, strings.ToValidUTF8(s, "?"))
	return strings.Join(strings.Fields(s), " ")
}

func (w *writer) font(size float64, bold, grey bool) {
	w.size, w.bold, w.grey = size, bold, grey
	style := ""
	if bold {
		style = "B"
	}
	w.f.SetFont(face, style, size)
	w.tint()
}

func (w *writer) tint() {
	if w.grey {
		w.f.SetTextColor(85, 85, 85)
	} else {
		w.f.SetTextColor(0, 0, 0)
	}
}

func (w *writer) line() float64 { return w.size * point * leading }

func (w *writer) bottom() float64 { return w.h - foot }

// page begins a page, with its foot.
func (w *writer) page() {
	w.f.AddPage()
	size, bold, grey := w.size, w.bold, w.grey
	w.font(small, false, true)
	y := w.h - foot + 6
	w.f.SetDrawColor(190, 190, 190)
	w.f.SetLineWidth(0.2)
	w.f.Line(margin, y-2, w.w-margin, y-2)
	num := fmt.Sprintf("Page %d of %d", w.f.PageNo(), max(w.pages, w.f.PageNo()))
	wide := w.f.GetStringWidth(num)
	left := w.w - 2*margin - wide - 6
	names := strings.Join(slices.DeleteFunc([]string{w.doc.Title, w.doc.Book}, func(s string) bool { return s == "" }), " · ")
	w.f.Text(margin, y+small*point, w.fit(clean(names), left))
	w.f.Text(w.w-margin-wide, y+small*point, num)
	for i, l := range w.wrap(paper.NoAdvice, w.w-2*margin) {
		w.f.Text(margin, y+small*point+float64(i+1)*w.line(), l)
	}
	w.font(size, bold, grey)
	w.y = margin
	if w.running != nil {
		w.running()
	}
}

// fit cuts a text to a width, with dots where it was cut.
func (w *writer) fit(s string, width float64) string {
	if w.f.GetStringWidth(s) <= width {
		return s
	}
	rs := []rune(s)
	for len(rs) > 0 && w.f.GetStringWidth(string(rs)+"…") > width {
		rs = rs[:len(rs)-1]
	}
	return strings.TrimRight(string(rs), " ") + "…"
}

// wrap breaks a text into lines of a width; a word that is wider is broken too.
func (w *writer) wrap(s string, width float64) (lines []string) {
	line := ""
	for _, word := range strings.Fields(clean(s)) {
		try := word
		if line != "" {
			try = line + " " + word
		}
		if w.f.GetStringWidth(try) <= width {
			line = try
			continue
		}
		if line != "" {
			lines = append(lines, line)
		}
		for line = word; w.f.GetStringWidth(line) > width; {
			rs := []rune(line)
			n := len(rs) - 1
			for n > 1 && w.f.GetStringWidth(string(rs[:n])) > width {
				n--
			}
			if n = max(n, 1); n == len(rs) {
				break
			}
			lines, line = append(lines, string(rs[:n])), string(rs[n:])
		}
	}
	if line != "" {
		lines = append(lines, line)
	}
	return lines
}

// room begins a page where less than a height is left.
func (w *writer) room(height float64) {
	if w.y+height > w.bottom() {
		w.page()
	}
}

// text writes a text over the width that an indent leaves.
func (w *writer) text(x float64, s string) {
	for _, l := range w.wrap(s, w.w-margin-x) {
		w.room(w.line())
		w.f.Text(x, w.y+w.size*point, l)
		w.y += w.line()
	}
}

func (w *writer) document(d *paper.Document) {
	w.doc, w.running = d, nil
	w.page()
	w.font(title, true, false)
	w.text(margin, d.Title)
	w.font(usual, false, true)
	for _, s := range []string{strings.Join(slices.DeleteFunc([]string{d.Book, d.AsOf}, func(s string) bool { return s == "" }), " · ")} {
		w.text(margin, s)
	}
	if d.For != "" {
		w.text(margin, "For: "+d.For)
	}
	w.font(usual, false, false)
	w.y += 1.5
	for _, s := range d.Says {
		w.text(margin, s)
		w.y += 0.8
	}
	for i := range d.Sections {
		w.section(&d.Sections[i])
	}
	w.y += 4
	w.font(small, false, false)
	for _, s := range d.Cautions {
		w.text(margin, s)
		w.y += 0.8
	}
	w.font(small, false, true)
	for _, s := range slices.Concat(d.Notes, d.LeftOut) {
		w.text(margin, s)
		w.y += 0.8
	}
	w.font(usual, false, false)
}

func (w *writer) section(s *paper.Section) {
	w.y += 4
	w.room(26)
	w.font(large, true, false)
	w.text(margin, s.Title)
	w.f.SetDrawColor(120, 120, 120)
	w.f.SetLineWidth(0.25)
	w.f.Line(margin, w.y+0.4, w.w-margin, w.y+0.4)
	w.y += 1.8
	if s.Record != "" {
		w.font(small, false, true)
		w.text(margin, "Record "+s.Record)
	}
	w.font(usual, false, false)
	for _, t := range s.Says {
		w.text(margin, t)
		w.y += 0.8
	}
	w.pairs(s.Pairs)
	for i := range s.Tables {
		w.table(&s.Tables[i])
	}
	if len(s.Missing) == 0 {
		return
	}
	w.y += 1.5
	w.room(3 * w.line())
	w.font(usual, true, false)
	w.text(margin, "Missing")
	w.font(usual, false, false)
	t := paper.Table{Columns: []paper.Column{{ID: "what", Label: "What"}, {ID: "by", Label: "Wanted"}, {ID: "asks", Label: "Who asks for it"}}}
	for _, m := range s.Missing {
		t.Rows = append(t.Rows, []string{m.Label, m.By, strings.Join(m.Asks, "; ")})
	}
	w.table(&t)
}

// pairs writes elements and their values in two columns.
func (w *writer) pairs(ps []paper.Pair) {
	if len(ps) == 0 {
		return
	}
	label := 0.0
	for _, p := range ps {
		label = max(label, w.f.GetStringWidth(clean(p.Label)))
	}
	label = min(label, labelMax)
	x := margin + label + gap
	for i := range ps {
		p := &ps[i]
		w.font(usual, false, false)
		value := p.Value
		if value == "" {
			value = paper.NotWritten
		}
		left, right := w.wrap(p.Label, label), w.wrap(value, w.w-margin-x)
		w.room(float64(max(len(left), min(len(right), 3))) * w.line())
		for k := range max(len(left), len(right)) {
			w.room(w.line())
			w.font(usual, false, true)
			if k < len(left) {
				w.f.Text(margin, w.y+w.size*point, left[k])
			}
			w.font(usual, p.Value != "", p.Value == "")
			if k < len(right) {
				w.f.Text(x, w.y+w.size*point, w.fit(right[k], w.w-margin-x))
			}
			w.y += w.line()
		}
		w.font(small, false, true)
		if p.From != "" {
			w.text(x, p.From)
		}
		for _, s := range p.Was {
			w.text(x, s)
		}
		w.y += 0.5
	}
	w.font(usual, false, false)
	w.y += 1
}

// table writes a table; its head comes again on each page.
func (w *writer) table(t *paper.Table) {
	w.font(usual, false, false)
	if t.Title != "" {
		w.y += 1.5
		w.room(4 * w.line())
		w.font(usual, true, false)
		w.text(margin, t.Title)
		w.font(usual, false, false)
	}
	if len(t.Rows) == 0 {
		w.text(margin, t.None)
		w.y += 1
		return
	}
	w.font(small+0.5, false, false)
	rows := t.Rows
	if len(t.Foot) > 0 {
		rows = append(slices.Clone(rows), t.Foot)
	}
	wide := w.columns(t, rows)
	head := func() {
		w.font(small, true, true)
		w.row(t, labels(t), wide, false)
		w.f.SetDrawColor(120, 120, 120)
		w.f.SetLineWidth(0.2)
		w.f.Line(margin, w.y+0.2, w.w-margin, w.y+0.2)
		w.y += 1
		w.font(small+0.5, false, false)
	}
	w.room(4 * w.line())
	head()
	before := w.running
	w.running = head
	for i, r := range rows {
		w.font(small+0.5, len(t.Foot) > 0 && i == len(rows)-1, false)
		w.row(t, r, wide, true)
		w.f.SetDrawColor(215, 215, 215)
		w.f.SetLineWidth(0.1)
		w.f.Line(margin, w.y+0.3, w.w-margin, w.y+0.3)
		w.y += 0.9
	}
	w.running = before
	w.y += 1.5
	w.font(usual, false, false)
}

func labels(t *paper.Table) (out []string) {
	for _, c := range t.Columns {
		out = append(out, c.Label)
	}
	return out
}

// columns gives the widths of the columns: each as wide as its widest text where
// there is room, else at least its longest word, and of the rest by what it has.
func (w *writer) columns(t *paper.Table, rows [][]string) []float64 {
	n := len(t.Columns)
	least, most := make([]float64, n), make([]float64, n)
	room := w.w - 2*margin - gap*float64(n-1)
	for i := range n {
		see := func(s string, bold bool) {
			w.font(w.size, bold, false)
			s = clean(s)
			most[i] = max(most[i], w.f.GetStringWidth(s))
			for word := range strings.FieldsSeq(s) {
				least[i] = max(least[i], w.f.GetStringWidth(word))
			}
			w.font(w.size, false, false)
		}
		see(t.Columns[i].Label, true)
		for _, r := range rows {
			see(r[i], false)
		}
		least[i] = min(least[i]+0.1, room/float64(n)) // a word that is wider is broken
		most[i] = max(most[i]+0.1, least[i])
	}
	sum := func(x []float64) (s float64) {
		for _, v := range x {
			s += v
		}
		return s
	}
	if sum(most) <= room {
		return most
	}
	rest, more := room-sum(least), sum(most)-sum(least)
	for i := range least {
		least[i] += rest * (most[i] - least[i]) / more
	}
	return least
}

// row writes a row, over pages where it is longer than what is left.
func (w *writer) row(t *paper.Table, cells []string, wide []float64, breaks bool) {
	lines := make([][]string, len(cells))
	high := 0
	for i, c := range cells {
		lines[i] = w.wrap(c, wide[i])
		high = max(high, len(lines[i]))
	}
	size, bold, grey := w.size, w.bold, w.grey
	if breaks {
		w.room(min(float64(high)*w.line(), (w.bottom()-margin)/3))
		w.font(size, bold, grey)
	}
	for k := range high {
		if breaks {
			w.room(w.line())
			w.font(size, bold, grey)
		}
		x := margin
		for i := range cells {
			if k < len(lines[i]) {
				at := x
				if t.Columns[i].Number {
					at += wide[i] - w.f.GetStringWidth(lines[i][k])
				}
				w.f.Text(at, w.y+w.size*point, lines[i][k])
			}
			x += wide[i] + gap
		}
		w.y += w.line()
	}
}
