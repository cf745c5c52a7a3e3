package web

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/format/archive"
	"evenstand/format/plain"
	"evenstand/format/recipe"
	"evenstand/format/table"
)

// UnknownTable is a table that was brought and that no recipe reads. What was
// brought with it is kept until it is read or given up.
type UnknownTable struct {
	Upload string   `json:"upload" doc:"What it was brought with"`
	Path   string   `json:"path" doc:"Of the file within that; of several zips, with the zip's name in front"`
	Inside string   `json:"inside" doc:"Of the table in a zip that lies in it; empty elsewhere"`
	Sheet  string   `json:"sheet" doc:"Of a workbook; empty elsewhere"`
	Name   string   `json:"name" doc:"The three for people"`
	Why    string   `json:"why" doc:"Why none reads it"`
	Lines  []string `json:"lines" doc:"Its first lines"`

	input int // of those that the upload is read as
	ref   table.Ref
}

// UnknownTables are those that wait to be explained, and what waits to be read
// again.
type UnknownTables struct {
	Tables []UnknownTable `json:"tables"`
	Unread []UnreadUpload `json:"unread" doc:"What was brought and not read to the end"`
}

// UnreadUpload is what was brought and not read to the end: its reading was
// stopped, or failed.
type UnreadUpload struct {
	Upload string   `json:"upload"`
	Names  []string `json:"names" doc:"The first of what it holds"`
	Files  int      `json:"files"`
	Why    string   `json:"why"`
}

// Bounds of what is shown of a table, however wide and long it is.
const (
	shownLines   = 5
	shownColumns = 400
	shownCell    = 60 // characters
	shownMoments = 3
	shownFew     = 3 // values of one quantity, of a moment
	mostAnswers  = 2000
)

// recipes gives the reader of tables as the recipes are now, and all readers.
func (s *Server) recipes() (recipe.Format, error) {
	fs, err := s.opt.Formats()
	if err != nil {
		return recipe.Format{}, err
	}
	for _, f := range fs {
		if r, ok := f.(recipe.Format); ok {
			return r, nil
		}
	}
	return recipe.Format{}, nil
}

// openBrought opens one of what an upload is read as, as the book does: a folder,
// a zip or a file.
func openBrought(p string) (in fs.FS, done func() error, err error) {
	info, err := os.Stat(p)
	switch {
	case err != nil:
		return nil, nil, err
	case info.IsDir():
		return os.DirFS(p), func() error { return nil }, nil
	case strings.EqualFold(filepath.Ext(p), ".zip"):
		f, err := os.Open(p)
		if err != nil {
			return nil, nil, err
		}
		z, err := archive.Open(f, info.Size(), archive.Usual())
		if err != nil {
			return nil, nil, errors.Join(fmt.Errorf("%s cannot be opened: %w. Copy it again; it may have been cut off", filepath.Base(p), err), f.Close())
		}
		return z, f.Close, nil
	}
	return os.DirFS(filepath.Dir(p)), func() error { return nil }, nil
}

// unknown lists the tables of an upload that were not read since no recipe
// reads them. What another reader takes is none of them.
func (s *Server) unknown(ctx context.Context, id, dir string, rep *book.Report) []UnknownTable {
	left := map[string]bool{}
	for _, u := range rep.Unused {
		left[u.File] = left[u.File] || u.Of == "files"
	}
	f, err := s.recipes()
	if err != nil {
		return nil
	}
	var out []UnknownTable
	inputs := brought(dir)
	for i, p := range inputs {
		for _, t := range unknownIn(ctx, f, p, left) {
			t.Upload, t.input = id, i
			if len(inputs) > 1 {
				t.Path = filepath.Base(p) + "/" + t.Path
				t.Name = filepath.Base(p) + ", " + t.Name
			}
			out = append(out, t)
		}
	}
	return out
}

// unknownIn lists them for one of what an upload is read as.
func unknownIn(ctx context.Context, f recipe.Format, p string, left map[string]bool) []UnknownTable {
	in, done, err := openBrought(p)
	if err != nil {
		return nil
	}
	defer done()
	kept := table.Keep(in)
	defer kept.Close()
	refs, _, _, err := table.List(ctx, kept)
	if err != nil {
		return nil
	}
	var out []UnknownTable
	for _, ref := range refs {
		if !left[ref.Files[0]] || misnamed(kept, ref) != "" {
			continue
		}
		_, err := f.Match(ctx, kept, ref)
		if !recipe.Unexplained(err) {
			continue
		}
		t := UnknownTable{Path: ref.Files[0], Inside: ref.Inside, Sheet: ref.Sheet, Name: ref.String(), Why: sentence(err.Error()), Lines: []string{}, ref: ref}
		if sample, err := recipe.Take(ctx, kept, ref, table.Dialect{}); err == nil {
			var head []string
			for _, c := range sample.Columns[:min(len(sample.Columns), 12)] {
				head = append(head, clip(c.Name))
			}
			t.Lines = append(t.Lines, strings.Join(head, " | "))
			for _, r := range sample.Rows[:min(len(sample.Rows), 2)] {
				var cells []string
				for i := range r[:min(len(r), 12)] {
					cells = append(cells, clip(recipe.Cell(&r[i])))
				}
				t.Lines = append(t.Lines, strings.Join(cells, " | "))
			}
		}
		out = append(out, t)
	}
	return out
}

// misnamed gives the file of the plain layout that a table has the header of.
func misnamed(in fs.FS, ref table.Ref) string {
	if ref.Kind != table.Text || len(ref.Files) != 1 || ref.Inside != "" {
		return ""
	}
	if to := plain.Misnamed(in, ref.Files[0]); to == plain.ReadingsFile || to == plain.JournalFile {
		return to
	}
	return ""
}

// clip shortens a cell, and keeps out what is no text.
func clip(text string) string {
	text = strings.Map(func(r rune) rune {
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	if r := []rune(text); len(r) > shownCell {
		return string(r[:shownCell]) + "…"
	}
	return text
}

func (s *Server) unknownTables(context.Context, *nothing) (UnknownTables, error) {
	out := UnknownTables{Tables: []UnknownTable{}, Unread: []UnreadUpload{}}
	u := &s.uploads
	u.mu.Lock()
	defer u.mu.Unlock()
	for _, id := range slices.Sorted(maps.Keys(u.byID)) {
		x := u.byID[id]
		switch {
		case x.taken:
		case x.unread != "":
			out.Unread = append(out.Unread, UnreadUpload{id, broughtNames(x.dir), x.files, x.unread})
		default:
			out.Tables = append(out.Tables, x.tables...)
		}
	}
	return out, nil
}

// broughtNames gives the first names of what an upload brought.
func broughtNames(dir string) []string {
	const few = 3
	out := []string{}
	entries, _ := os.ReadDir(filepath.Join(dir, whole)) // sorted; what cannot be listed has no names
	for _, e := range entries[:min(few, len(entries))] {
		out = append(out, e.Name())
	}
	return out
}

// TableName says which table of which upload is meant, and what was answered.
type TableName struct {
	Upload  string            `json:"upload" maxLength:"64"`
	Path    string            `json:"path" maxLength:"400"`
	Inside  string            `json:"inside,omitempty" maxLength:"400"`
	Sheet   string            `json:"sheet,omitempty" maxLength:"400"`
	Answers map[string]string `json:"answers,omitempty" doc:"By question: the key of an option, or about a column QUANTITY, PART, WAY"`
	Box     string            `json:"box,omitempty" maxLength:"60" doc:"What the box is called"`
}

type proposeIn struct{ Body TableName }

// ProposalView is what a table is taken for, and what is open.
type ProposalView struct {
	Name       string         `json:"name" doc:"The table for people"`
	Box        string         `json:"box" doc:"What the box is called, or would be"`
	Written    string         `json:"written" doc:"How the file is written, in words"`
	Columns    []TableColumn  `json:"columns"`
	Lines      [][]string     `json:"lines" doc:"Its first lines as they are"`
	Hidden     int            `json:"hidden" doc:"Columns beyond those that are shown"`
	Offers     []ColumnView   `json:"offers" doc:"What the columns are taken for"`
	Words      []WordView     `json:"words" doc:"Of a table with a line for each value: what its names are taken for"`
	Questions  []QuestionView `json:"questions" doc:"What is open"`
	Answered   []AnswerView   `json:"answered" doc:"What was answered, but about columns"`
	Supposed   []string       `json:"supposed"`
	Preview    []MomentView   `json:"preview" doc:"The first lines as they would be read"`
	Unused     []string       `json:"unused" doc:"What of them would not be used"`
	Error      string         `json:"error" doc:"Why nothing can be made of it so; empty: something can"`
	NoRow      string         `json:"no_row" doc:"Why no row can be judged by it; empty: rows can"`
	Ready      bool           `json:"ready" doc:"Nothing is open, and it can be kept"`
	Quantities []QuantityView `json:"quantities" doc:"What a column can be"`
	Parts      []OptionView   `json:"parts" doc:"Of what part of the planter"`
	Recipe     string         `json:"recipe" doc:"The text as it would be kept"`
}

// TableColumn is a column of the table.
type TableColumn struct {
	Name  string `json:"name"`
	Unit  string `json:"unit" doc:"From a line of units under the header"`
	Offer int    `json:"offer" doc:"Of which offer it is a part"`
}

// ColumnView is a column, or all of one pattern, and what it is taken for.
type ColumnView struct {
	Column   string       `json:"column" doc:"As answers name it, behind the word column"`
	Count    int          `json:"count" doc:"How many columns it is"`
	State    recipe.State `json:"state" enum:",certain,said,asked,unread"`
	Sure     string       `json:"sure" doc:"How sure, in words"`
	Means    string       `json:"means"`
	Quantity string       `json:"quantity" doc:"Name of a quantity, none, or empty: open"`
	Part     string       `json:"part"`
	Way      string       `json:"way"`
	ByRow    bool         `json:"by_row"`
	Units    []string     `json:"units" doc:"Ways that its name speaks of"`
	Ways     []OptionView `json:"ways" doc:"Those of its quantity"`
	Values   []string     `json:"values" doc:"Its first values as they would be read"`
}

// WordView is a word in the column of names.
type WordView struct {
	Word  string `json:"word"`
	Means string `json:"means"`
	Read  bool   `json:"read"`
}

// QuestionView is what is open.
type QuestionView struct {
	ID       string       `json:"id"`
	Text     string       `json:"text"`
	Options  []OptionView `json:"options" doc:"None: a free text"`
	Proposed string       `json:"proposed" doc:"Key of the likeliest; empty: none"`
}

// AnswerView is what was answered.
type AnswerView struct {
	ID   string `json:"id"`
	Text string `json:"text" doc:"The question"`
	Says string `json:"says" doc:"The answer"`
}

// OptionView is one of several to choose from.
type OptionView struct {
	Key  string `json:"key"`
	Text string `json:"text"`
}

// QuantityView is what a column can be, with the units it can be in.
type QuantityView struct {
	Key  string       `json:"key"`
	Text string       `json:"text"`
	Ways []OptionView `json:"ways" doc:"None: it has no part and no unit"`
}

// MomentView is what is read of one time.
type MomentView struct {
	Time string   `json:"time"`
	Day  string   `json:"day"`
	Says []string `json:"says"`
	More int      `json:"more" doc:"Values beyond those"`
}

// roles are what a column can be beside a quantity of the registry.
var roles = []OptionView{
	{"time", "date and time"},
	{"date", "date"},
	{"clock", "time of day"},
	{"row", "number of the row"},
	{"name", "name of the value"},
	{"value", "value of that name"},
	{"latitude", "latitude"},
	{"longitude", "longitude"},
	{"altitude", "altitude"},
	{"hdop", "HDOP of the receiver"},
	{"satellites", "satellites"},
}

func options(of []recipe.Option) []OptionView {
	out := []OptionView{}
	for _, o := range of {
		out = append(out, OptionView(o))
	}
	return out
}

// asked is a table that is being explained.
type asked struct {
	in      fs.FS
	ref     table.Ref
	sample  recipe.Sample
	about   recipe.About
	answers map[string]string
	close   func()
}

// table opens the table that is meant. Its upload is not given up meanwhile.
func (s *Server) table(ctx context.Context, t *TableName) (*asked, error) {
	u := &s.uploads
	u.mu.Lock()
	x := u.byID[t.Upload]
	if x == nil || x.taken || len(x.tables) == 0 {
		u.mu.Unlock()
		return nil, notFound("that table is no longer there: it was read, or given up. Drop the file again")
	}
	i := slices.IndexFunc(x.tables, func(k UnknownTable) bool {
		return k.Path == t.Path && k.Inside == t.Inside && k.Sheet == t.Sheet
	})
	if i < 0 {
		u.mu.Unlock()
		return nil, notFound("no table of that name waits to be explained")
	}
	x.busy++
	x.last = time.Now()
	dir, ref, input := x.dir, x.tables[i].ref, x.tables[i].input
	u.mu.Unlock()
	closers := []func(){func() { // last, when nothing of it is open any more
		u.mu.Lock()
		x.release()
		u.mu.Unlock()
	}}
	a := &asked{ref: ref, close: func() {
		for _, f := range slices.Backward(closers) {
			f()
		}
	}}
	fail := func(err error) (*asked, error) {
		a.close()
		return nil, err
	}
	inputs := brought(dir)
	if input >= len(inputs) {
		return fail(notFound("that table is no longer there. Drop the file again"))
	}
	in, done, err := openBrought(inputs[input])
	if err != nil {
		return fail(err)
	}
	kept := table.Keep(in)
	closers = append(closers, func() { _ = done() }, func() { _ = kept.Close() })
	a.in = kept
	if a.sample, err = recipe.Take(ctx, kept, a.ref, table.Dialect{}); err != nil {
		return fail(refuse(err.Error()))
	}
	named := path.Base(t.Path)
	if t.Inside != "" {
		named = path.Base(t.Inside)
	}
	a.about = recipe.About{Zone: s.book.Settings().Zone, Box: strings.TrimSpace(t.Box), File: named, Tell: above}
	if strings.ContainsFunc(a.about.Box, func(r rune) bool { return r < ' ' || r == 0x7f }) {
		return fail(refuse("the name of the box has signs that cannot be seen. Type it again"))
	}
	if a.about.Rows, err = s.mostRows(ctx); err != nil {
		return fail(err)
	}
	if len(t.Answers) > mostAnswers {
		return fail(refuse("there are more answers than columns"))
	}
	a.answers = map[string]string{}
	for k, v := range t.Answers {
		if v = strings.TrimSpace(v); v != "" {
			a.answers[k] = v
		}
	}
	return a, nil
}

// mostRows is the number of rows of the widest card.
func (s *Server) mostRows(ctx context.Context) (int, error) {
	names, err := s.book.Planters(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for _, p := range names {
		if card, err := s.book.Card(p, "9999-12-31"); err == nil {
			n = max(n, card.Rows)
		}
	}
	return n, nil
}

// guess proposes a recipe, and refuses answers that are none.
func (a *asked) guess() (recipe.Proposal, error) {
	p := recipe.Guess(a.sample, a.about, a.answers)
	for _, q := range p.Questions {
		if given, ok := a.answers[q.ID]; ok {
			return p, refuse(fmt.Sprintf("%s is none of the answers to %q. Choose one of those that are listed", strconv.Quote(clip(given)), q.Text))
		}
	}
	for _, id := range slices.Sorted(maps.Keys(a.answers)) {
		name, column := recipe.IsColumn(id)
		switch {
		case column && !a.has(name):
			return p, refuse(fmt.Sprintf("the table has no column %s", strconv.Quote(clip(name))))
		case !column && id != "box" && !slices.ContainsFunc([]string{"zone", "time column", "time written", "sides", "seeds", "rows"}, func(k string) bool { return k == id }) && !strings.HasPrefix(id, "file ") && !strings.HasPrefix(id, "one "):
			return p, refuse(fmt.Sprintf("there is no question %s. Reload the page", strconv.Quote(clip(id))))
		}
	}
	return p, nil
}

// has tells whether a table has a column, a pattern of columns or a word of
// that name.
func (a *asked) has(name string) bool {
	if strings.Contains(name, "{n}") || slices.ContainsFunc(a.sample.Columns, func(c table.Column) bool { return c.Name == name }) {
		return true
	}
	return slices.ContainsFunc(a.sample.Rows, func(r []table.Cell) bool {
		return slices.ContainsFunc(r, func(c table.Cell) bool { return c.Type == table.Words && string(c.Text) == name })
	})
}

// above words how one says on the page what a column is.
func above(string, string) string { return "by the choice above it" }

// cannotRead says what keeps a table from being read, in the page's words.
func cannotRead(err error) string {
	var answer *recipe.AnswerError
	if !errors.As(err, &answer) {
		return sentence(err.Error())
	}
	why := answer.Err.Error()
	var unknown *recipe.UnknownQuantity
	if errors.As(err, &unknown) {
		why = unknown.Known() + ". Choose one of those that are listed above the column"
	}
	return sentence(strconv.Quote(answer.Column) + ": " + why)
}

func (s *Server) propose(ctx context.Context, in *proposeIn) (ProposalView, error) {
	a, err := s.table(ctx, &in.Body)
	if err != nil {
		return ProposalView{}, err
	}
	defer a.close()
	p, err := a.guess()
	if err != nil {
		return ProposalView{}, err
	}
	v := s.voice()
	out := ProposalView{
		Name: a.ref.String(), Box: p.Recipe.Box, Written: written(&a.sample), Columns: []TableColumn{}, Lines: [][]string{}, Offers: []ColumnView{}, Words: []WordView{},
		Questions: []QuestionView{}, Answered: []AnswerView{}, Supposed: []string{}, Preview: []MomentView{}, Unused: []string{},
		Quantities: quantities(), Parts: s.parts(a.about.Rows),
	}
	h, err := a.head(ctx, &p, v.Units)
	if err != nil {
		out.Error = sentence(err.Error())
	}
	s.columns(&out, a, &p, &h)
	for _, q := range p.Questions {
		if q.ID == "box" {
			continue // it has a field of its own, and a name is proposed
		}
		out.Questions = append(out.Questions, QuestionView{q.ID, q.Text, options(q.Options), q.Proposed})
	}
	out.Answered = a.answered()
	for _, l := range h.Lines {
		out.Preview = append(out.Preview, momentView(l, v))
	}
	for _, u := range h.Unused {
		out.Unused = append(out.Unused, book.SayUnused(u, v))
	}
	switch {
	case p.Err != nil:
		out.Error = cannotRead(p.Err)
	case out.Error == "" && len(out.Questions) == 0 && len(h.Lines) == 0:
		out.Error = "No line of it can be read so. Change what a column is taken for."
	}
	out.NoRow = noRow(&p.Recipe, out.Offers)
	out.Ready = out.Error == "" && len(out.Questions) == 0
	if p.Err == nil {
		out.Recipe = string(p.Recipe.Marshal())
	}
	return out, nil
}

// head reads the first lines by what is known by now; nothing while that does
// not suffice.
func (a *asked) head(ctx context.Context, p *recipe.Proposal, units evenstand.Units) (recipe.Head, error) {
	r := &p.Recipe
	if p.Err != nil || r.Time.Column == "" || r.Time.Written == "" || len(r.Values) == 0 && r.Place.Latitude == "" && r.Seeds.Row == "" {
		return recipe.Head{}, nil
	}
	return r.First(ctx, a.in, a.ref, shownMoments, units)
}

// answered lists what was answered, with the questions: those that are asked
// while nothing is answered and, but about columns, those that come of that.
func (a *asked) answered() []AnswerView {
	out := []AnswerView{}
	first := recipe.Guess(a.sample, a.about, nil).Questions
	for _, id := range slices.Sorted(maps.Keys(a.answers)) {
		is := func(q recipe.Question) bool { return q.ID == id }
		all := first
		if _, column := recipe.IsColumn(id); !column && !slices.ContainsFunc(all, is) {
			without := maps.Clone(a.answers)
			delete(without, id)
			all = recipe.Guess(a.sample, a.about, without).Questions
		}
		i := slices.IndexFunc(all, is)
		if i < 0 {
			continue // a column that was certain, or of no use any more
		}
		says := a.answers[id]
		for _, o := range all[i].Options {
			if o.Key == says {
				says = o.Text
			}
		}
		out = append(out, AnswerView{id, all[i].Text, says})
	}
	return out
}

// columns puts the table and what is taken for what into the proposal.
func (s *Server) columns(out *ProposalView, a *asked, p *recipe.Proposal, h *recipe.Head) {
	cols := a.sample.Columns
	n := min(len(cols), shownColumns)
	out.Hidden = len(cols) - n
	for _, c := range cols[:n] {
		out.Columns = append(out.Columns, TableColumn{Name: clip(c.Name), Unit: clip(c.Unit), Offer: -1})
	}
	for _, r := range a.sample.Rows[:min(len(a.sample.Rows), shownLines)] {
		line := make([]string, n)
		for i := range r[:min(len(r), n)] {
			line[i] = clip(recipe.Cell(&r[i]))
		}
		out.Lines = append(out.Lines, line)
	}
	known := map[string]bool{}
	for _, o := range recipe.Offers(a.sample, a.answers, *p) {
		for _, at := range o.At {
			if at < n {
				out.Columns[at].Offer = len(out.Offers)
			}
		}
		known[o.Column] = true
		c := ColumnView{
			Column: o.Column, Count: len(o.At), State: o.State, Means: o.Means, Quantity: o.Quantity, Part: o.Part, Way: o.Way, ByRow: o.ByRow,
			Units: some(o.Units), Ways: []OptionView{}, Values: s.values(&o, p, h),
			Sure: map[recipe.State]string{recipe.Certain: "certain", recipe.Said: "you said so", recipe.Asked: "open: answer below", recipe.Unread: "not read"}[o.State],
		}
		if q, ok := evenstand.ParseQuantity(o.Quantity); ok && o.Part != "" {
			if c.Ways = options(recipe.Ways(q)); !slices.ContainsFunc(c.Ways, func(w OptionView) bool { return w.Key == o.Way }) {
				c.Ways = append(c.Ways, OptionView{o.Way, o.Way})
			}
		}
		out.Offers = append(out.Offers, c)
	}
	for _, l := range p.Reads {
		if !known[l.Column] {
			out.Words = append(out.Words, WordView{clip(l.Column), l.Means, true})
		}
	}
	for _, l := range p.Left {
		if !known[l.Column] {
			out.Words = append(out.Words, WordView{clip(l.Column), l.Means, false})
		}
	}
}

// values gives the first values of a column as they would be read.
func (s *Server) values(o *recipe.Offer, p *recipe.Proposal, h *recipe.Head) []string {
	const few = 3
	out := []string{}
	v := s.voice()
	for _, l := range h.Lines {
		if o.Column == p.Recipe.Time.Column || o.Column == p.Recipe.Time.Clock {
			out = append(out, v.Second(l.T))
			continue
		}
		for _, g := range l.Gives {
			if slices.Contains(o.At, g.Column) {
				out = append(out, g.Text)
			}
		}
	}
	return out[:min(few, len(out))]
}

// shownValues is how many values of one time are shown.
const shownValues = 12

// momentView puts what is read of one time into words.
func momentView(l recipe.Line, v advise.Voice) MomentView {
	out := MomentView{Time: v.Second(l.T), Day: v.Date(l.T), Says: []string{}}
	for _, g := range l.Gives {
		if len(out.Says) < shownValues {
			out.Says = append(out.Says, g.Text)
		} else {
			out.More++
		}
	}
	return out
}

// quantities lists what a column can be.
func quantities() []QuantityView {
	out := []QuantityView{}
	for _, r := range roles {
		out = append(out, QuantityView{r.Key, r.Text, []OptionView{}})
	}
	for _, q := range evenstand.Quantities() {
		if q != evenstand.Raw {
			out = append(out, QuantityView{q.String(), q.Info().Label, options(recipe.Ways(q))})
		}
	}
	return out
}

// parts lists the parts of a planter of which a column can speak.
func (s *Server) parts(rows int) []OptionView {
	out := []OptionView{{"machine", "whole planter"}, {"left", "left side"}, {"right", "right side"}}
	for i := 1; i <= 6; i++ {
		n := strconv.Itoa(i)
		out = append(out, OptionView{"section " + n, "section " + n})
	}
	for i := 1; i <= 4; i++ {
		n := strconv.Itoa(i)
		out = append(out, OptionView{"tank " + n, "tank " + n})
	}
	if rows == 0 {
		rows = 24
	}
	for i := 1; i <= rows; i++ {
		n := strconv.Itoa(i)
		out = append(out, OptionView{"row " + n, "row " + n + " alone"})
	}
	return out
}

// written says how a file is written.
func written(s *recipe.Sample) string {
	d := s.Dialect
	switch s.Kind {
	case table.Workbook:
		return "A workbook, sheet " + s.Sheet + "."
	case table.Parquet:
		return "A Parquet file."
	case table.GeoJSON:
		return "Points of GeoJSON."
	case table.Shapefile:
		return "Points of a shapefile."
	}
	out := "Text, " + separated(d.Separator)
	switch d.Decimal {
	case ',':
		out += ", decimal comma"
	case '.':
		out += ", decimal point"
	}
	if d.Encoding != "" {
		out += ", " + d.Encoding
	}
	switch {
	case d.Header < 0:
		out += ", without a header"
	case d.Header > 1:
		out += fmt.Sprintf(", header in line %d", d.Header)
	}
	if d.Units > 0 {
		out += fmt.Sprintf(", units in line %d", d.Units)
	}
	return out + "."
}

// separated says what stands between the columns of a text.
func separated(by byte) string {
	switch by {
	case 0:
		return "one column"
	case ',':
		return "columns parted by a comma"
	case ';':
		return "columns parted by a semicolon"
	case '\t':
		return "columns parted by a tab"
	case ' ':
		return "columns parted by spaces"
	case '|':
		return "columns parted by a bar"
	}
	return "columns parted by " + strconv.QuoteRune(rune(by))
}

// noRow says why no row can be judged by what a recipe reads; empty: rows can, or
// it is the log of a receiver. Offers are what its columns are taken for while
// something is open.
func noRow(r *recipe.Recipe, offers []ColumnView) string {
	judges := func(q evenstand.Quantity) bool { return q != evenstand.Raw && q != evenstand.SpacingCV } // a scatter of spacings alone is of no row's use
	if r.Seeds.Row != "" || r.Place.Latitude != "" {
		return ""
	}
	for i := range r.Values {
		if v := &r.Values[i]; strings.HasPrefix(v.Element, "row") && judges(v.Quantity) {
			return ""
		}
	}
	singulation := false
	for i := range offers {
		o := &offers[i]
		if q, ok := evenstand.ParseQuantity(o.Quantity); o.ByRow && o.State != recipe.Unread && (!ok || judges(q)) {
			return ""
		}
		singulation = singulation || o.State == recipe.Unread && strings.HasPrefix(o.Means, recipe.PartsNot)
	}
	if singulation {
		return "No row can be judged by this table: " + recipe.PartsNot + ". Export the seeds, skips or doubles of each row too."
	}
	return "No row can be judged by this table: nothing of seeds in it is by row. Export a column or a line for each row."
}

// Kept is a recipe that was kept, and the reading that it makes possible.
type Kept struct {
	Name string `json:"name" doc:"Of the recipe"`
	Says string `json:"says"`
	Jobs []Job  `json:"jobs" doc:"What is read by it now"`
}

// keepRecipe writes the recipe and reads what was brought by it.
func (s *Server) keepRecipe(ctx context.Context, in *proposeIn) (Kept, error) {
	if strings.TrimSpace(in.Body.Box) == "" {
		return Kept{}, refuse("give the box a name, such as row monitor")
	}
	a, err := s.table(ctx, &in.Body)
	if err != nil {
		return Kept{}, err
	}
	name, err := s.keepOf(ctx, a)
	a.close()
	if err != nil {
		return Kept{}, err
	}
	s.changed("recipes")
	return Kept{Name: name, Says: "Kept. Tables of " + a.about.Box + " are read by it from now on.", Jobs: s.readAgain(ctx)}, nil
}

// keepOf keeps the recipe of a table and gives its name.
func (s *Server) keepOf(ctx context.Context, a *asked) (string, error) {
	p, err := a.guess()
	switch {
	case err != nil:
		return "", err
	case p.Err != nil:
		return "", refuse(cannotRead(p.Err))
	case len(p.Questions) > 0:
		return "", refuse("something is still open: " + p.Questions[0].Text)
	}
	if h, err := a.head(ctx, &p, s.voice().Units); err != nil || len(h.Lines) == 0 {
		return "", refuse("nothing was kept: no line of it can be read so. Change what a column is taken for")
	}
	f, err := s.recipes()
	if err != nil {
		return "", err
	}
	data := p.Recipe.Marshal()
	name := recipe.FileName(p.Recipe.Box)
	for i, stem := 2, name; s.otherRecipe(name+".toml", data) != ""; i++ { // the same box writes several tables
		name = stem + "-" + strconv.Itoa(i)
	}
	if _, err := recipe.Parse(name, data); err != nil {
		return "", refuse("nothing was kept: " + err.Error())
	}
	r := p.Recipe
	r.Name = name
	var rival *recipe.Rival
	switch err := f.Reads(ctx, a.in, a.ref, r); {
	case errors.As(err, &rival):
		return "", refuse("nothing was kept: " + rival.Error() + ". Forget that one under Logbook, Recipes, or answer otherwise")
	case err != nil:
		return "", refuse("nothing was kept, since the table would not be read by it: " + err.Error())
	}
	return name, s.addRecipe(ctx, name+".toml", data)
}

// otherRecipe gives the name of another recipe that lies under a name.
func (s *Server) otherRecipe(name string, data []byte) string {
	for _, f := range s.book.Recipes() {
		if strings.EqualFold(f.Name, name) && string(f.Data) != string(data) {
			return f.Name
		}
	}
	return ""
}

func (s *Server) addRecipe(ctx context.Context, name string, data []byte) error {
	err := s.book.AddRecipe(ctx, name, data)
	var be *book.Error
	if errors.As(err, &be) {
		return refuse(err.Error())
	}
	return err
}

// readAgain starts reading what waits and can be read by now.
func (s *Server) readAgain(ctx context.Context) []Job {
	out := []Job{}
	f, err := s.recipes()
	if err != nil {
		return out
	}
	u := &s.uploads
	u.mu.Lock()
	waiting := map[string][]UnknownTable{}
	dirs := map[string]string{}
	for id, x := range u.byID {
		if !x.taken && x.busy == 0 && len(x.tables) > 0 {
			waiting[id], dirs[id] = x.tables, x.dir
		}
	}
	u.mu.Unlock()
	for _, id := range slices.Sorted(maps.Keys(waiting)) {
		if !s.anyRead(ctx, f, dirs[id], waiting[id]) {
			continue
		}
		if j, err := s.readUpload(ctx, &uploadIn{id}); err == nil {
			out = append(out, j)
		}
	}
	return out
}

// anyRead tells whether a recipe reads one of an upload's tables by now.
func (s *Server) anyRead(ctx context.Context, f recipe.Format, dir string, tables []UnknownTable) bool {
	for i, p := range brought(dir) {
		of := slices.DeleteFunc(slices.Clone(tables), func(t UnknownTable) bool { return t.input != i })
		if len(of) > 0 && readsAny(ctx, f, p, of) {
			return true
		}
	}
	return false
}

func readsAny(ctx context.Context, f recipe.Format, p string, tables []UnknownTable) bool {
	in, done, err := openBrought(p)
	if err != nil {
		return false
	}
	defer done()
	kept := table.Keep(in)
	defer kept.Close()
	return slices.ContainsFunc(tables, func(t UnknownTable) bool {
		r, err := f.Match(ctx, kept, t.ref)
		return err == nil && r != nil
	})
}

// RecipeView is a recipe of the logbook.
type RecipeView struct {
	Name  string   `json:"name"`
	Box   string   `json:"box" doc:"The box that writes such tables"`
	Kind  string   `json:"kind" doc:"What file it is, in words"`
	Reads []string `json:"reads" doc:"What it reads, in words"`
	NoRow string   `json:"no_row" doc:"Why no row can be judged by its tables; empty: rows can"`
	Note  string   `json:"note" doc:"Of whoever made it"`
	Text  string   `json:"text"`
	Error string   `json:"error" doc:"Why it cannot be used; empty: it can"`
}

// RecipeList is all of them.
type RecipeList struct {
	Recipes []RecipeView `json:"recipes"`
}

func (s *Server) recipeList(context.Context, *nothing) (RecipeList, error) {
	out := RecipeList{Recipes: []RecipeView{}}
	for _, f := range s.book.Recipes() {
		x := RecipeView{Name: stem(f.Name), Reads: []string{}, Text: string(f.Data)}
		r, err := recipe.Parse(f.Name, f.Data)
		if err != nil {
			x.Error = sentence(err.Error())
		} else {
			x.Box, x.Note, x.Reads, x.NoRow = r.Box, r.Note, r.Tells(), noRow(&r, nil)
			x.Kind = written(&recipe.Sample{Kind: r.File.Kind, Sheet: r.File.Sheet, Dialect: r.File.Dialect})
		}
		out.Recipes = append(out.Recipes, x)
	}
	return out, nil
}

func stem(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }

type recipeIn struct {
	Name string `path:"name" maxLength:"200"`
}

// recipeText gives a recipe as a file to pass on.
func (s *Server) recipeText(_ context.Context, in *recipeIn) ([]byte, error) {
	for _, f := range s.book.Recipes() {
		if stem(f.Name) == in.Name {
			return f.Data, nil
		}
	}
	return nil, notFound("there is no recipe " + printable(in.Name))
}

func (s *Server) forgetRecipe(ctx context.Context, in *recipeIn) (RecipeList, error) {
	for _, f := range s.book.Recipes() {
		if stem(f.Name) != in.Name {
			continue
		}
		if err := s.book.RemoveRecipe(ctx, f.Name); err != nil {
			return RecipeList{}, err
		}
		s.changed("recipes")
		return s.recipeList(ctx, nil)
	}
	return RecipeList{}, notFound("there is no recipe " + printable(in.Name))
}

type bringRecipeIn struct {
	Body struct {
		Name string `json:"name" minLength:"1" maxLength:"120" doc:"Of the file"`
		Text string `json:"text" minLength:"1" maxLength:"262144"`
	}
}

// bringRecipe takes in a recipe that somebody gave.
func (s *Server) bringRecipe(ctx context.Context, in *bringRecipeIn) (Kept, error) {
	name, err := safePath(in.Body.Name)
	if err != nil {
		return Kept{}, refuse(err.Error())
	}
	if filepath.Ext(name) == "" {
		name += ".toml"
	}
	data := []byte(in.Body.Text)
	r, err := recipe.Parse(name, data)
	if err != nil {
		return Kept{}, refuse(err.Error())
	}
	if other := s.otherRecipe(name, data); other != "" {
		return Kept{}, refuse(fmt.Sprintf("the logbook has another recipe %s. Forget that one first, or give the file another name", stem(other)))
	}
	f, err := s.recipes()
	if err != nil {
		return Kept{}, err
	}
	for i := range f.Recipes {
		if o := &f.Recipes[i]; !strings.EqualFold(o.Name, stem(name)) && recipe.Alike(o, &r) {
			return Kept{}, refuse(fmt.Sprintf("the recipe %s reads the same tables, and of two alike neither would read them. Forget that one first", o.Name))
		}
	}
	if err := s.addRecipe(ctx, name, data); err != nil {
		return Kept{}, err
	}
	s.changed("recipes")
	return Kept{Name: stem(name), Says: "Kept. Tables of " + r.Box + " are read by it from now on.", Jobs: s.readAgain(ctx)}, nil
}
