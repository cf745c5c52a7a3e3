package paper

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
	"evenstand/core/try/trial"
)

// AcresLine is ground planted on a field on a day from one lot.
type AcresLine struct {
	Field   string
	Day     evenstand.Day
	Planter string
	Lot     string  // as it was written down; empty: nobody did
	Area    float64 // m2
	Again   float64 // m2 of it planted on a day before; NaN: not seen
}

// FieldSum is the ground of a field over all days. What is not known is NaN.
type FieldSum struct {
	Name    string
	Of      float64 // inside the boundary
	Planted float64
	Left    float64
	Twice   float64
	Rows    int     // of the planter that did most of it
	Spacing float64 // m
	Heading float64 // degrees, that most passes ran along
	Planter string
	Places  int // counted or dug
}

func fieldSays(name string) string {
	if name == evenstand.Unassigned || name == "" {
		return "field not named"
	}
	return name
}

func areaSays(m2 float64, v advise.Voice) string {
	if math.IsNaN(m2) {
		return ""
	}
	return v.Area(m2)
}

// lotSays gives the lot, or that nobody wrote one down.
func lotSays(lot string) string {
	if lot == "" {
		return NotWritten
	}
	return lot
}

// Acres makes the acres by field, date and hybrid or lot.
func Acres(lines []AcresLine, c Context) Document {
	d := newDocument("acres", "Acres by field, date and hybrid or lot", c)
	v := c.Voice
	t := newTable("", "No ground was planted.", Column{"field", "Field", false}, Column{"date", "Planted", false}, Column{"planter", "Planter", false}, Column{"lot", "Hybrid or lot", false}, Column{"area", "Area", true}, Column{"twice", "Planted before", true})
	lots, fields := map[string]float64{}, map[string]bool{}
	sum, none := 0.0, 0
	slices.SortStableFunc(lines, func(x, y AcresLine) int {
		return cmp.Or(cmp.Compare(x.Field, y.Field), cmp.Compare(x.Day, y.Day), cmp.Compare(x.Planter, y.Planter), cmp.Compare(x.Lot, y.Lot))
	})
	for _, l := range lines {
		again := ""
		if l.Again > 0.01*l.Area {
			again = v.Area(l.Again)
		}
		t.Rows = append(t.Rows, []string{fieldSays(l.Field), v.Day(l.Day), l.Planter, lotSays(l.Lot), areaSays(l.Area, v), again})
		fields[l.Field] = true
		if !math.IsNaN(l.Area) {
			sum += l.Area
			lots[l.Lot] += l.Area
		}
		if l.Lot == "" {
			none++
		}
	}
	if len(t.Rows) > 1 {
		t.Foot = []string{"All", "", "", "", v.Area(sum), ""}
	}
	s := newSection("By field and date")
	s.Tables = append(s.Tables, t)
	d.Sections = append(d.Sections, s)
	if len(lots) > 1 || none == 0 && len(lots) > 0 {
		t := newTable("", "", Column{"lot", "Hybrid or lot", false}, Column{"area", "Area", true})
		for _, l := range sorted(lots) {
			t.Rows = append(t.Rows, []string{lotSays(l), v.Area(lots[l])})
		}
		s := newSection("By hybrid or lot")
		s.Tables = append(s.Tables, t)
		d.Sections = append(d.Sections, s)
	}
	if len(lines) > 0 {
		d.Says = append(d.Says, v.Area(sum)+" worked in "+advise.Plural(int64(len(fields)), "field", "fields")+". Ground that was planted twice counts twice.")
	}
	if none > 0 {
		d.Notes = append(d.Notes, "Hybrid and lot come from the journal, as in “lot A123 rows 1-8”. Where none was written down, none is said.")
	}
	d.Cautions = append(d.Cautions, "Treated seed: keep the tag of each lot with this paper; its text on spilled seed, protective clothing and later crops governs.")
	cut(&d, c)
	return d
}

func sorted(m map[string]float64) []string {
	var out []string
	for k := range m {
		out = append(out, k)
	}
	slices.Sort(out)
	return out
}

// NoteLine is a line of the journal in words.
type NoteLine struct {
	T       evenstand.Micros
	Planter string
	What    string
	Says    string
	Edits   int
}

// calibrating are the words by which a note tells of a calibration or a check.
var calibrating = []string{"calibrat", "caught", "catch", "weigh", "scale", "pulses", "zeroed", "zero load", "drop test", "test stand", "flow test", "drove 300", "taped", "meter check", "checked meter"}

// IsCalibration tells whether a note tells of a calibration.
func IsCalibration(words string) bool {
	words = strings.ToLower(words)
	return slices.ContainsFunc(calibrating, func(w string) bool { return strings.Contains(words, w) })
}

// Calibration makes the sheets of calibrations and checks; products are those that
// were applied.
func Calibration(lines []NoteLine, products []string, c Context) Document {
	d := newDocument("calibration", "Calibrations and checks", c)
	v := c.Voice
	cal, checks := newSection("Calibrations"), newSection("Digs and counts")
	of := func(none string) Table {
		return newTable("", none, Column{"date", "When", false}, Column{"planter", "Planter", false}, Column{"what", "What was written down", false}, Column{"changed", "Corrected", false})
	}
	a, b := of("No calibration is written down in the journal."), of("No dig and no count is written down in the journal.")
	about := ""
	slices.SortStableFunc(lines, func(x, y NoteLine) int { return cmp.Compare(x.T, y.T) })
	for _, l := range lines {
		edits := ""
		if l.Edits > 0 {
			edits = times(l.Edits)
		}
		row := []string{v.Date(l.T) + ", " + v.Clock(l.T), l.Planter, l.Says, edits}
		switch {
		case IsCalibration(l.Says):
			a.Rows = append(a.Rows, row)
			about += strings.ToLower(l.Says) + "\n"
		case l.What == "dig" || l.What == "count":
			b.Rows = append(b.Rows, row)
		}
	}
	cal.Tables, checks.Tables = append(cal.Tables, a), append(checks.Tables, b)
	for _, p := range products {
		if p != "" && !strings.Contains(about, strings.ToLower(p)) {
			cal.Missing = append(cal.Missing, Missing{"calibration", "Calibration of " + p, "", []string{"good practice (calibrate every product before the field; judgement)"}})
		}
	}
	d.Sections = append(d.Sections, cal, checks)
	d.Notes = append(d.Notes, "From the journal: a note that says calibrated, caught, weighed or zeroed is taken for a calibration. What a note said before it was corrected stays in the journal.")
	d.Cautions = append(d.Cautions, "Before any test at a standstill: level ground, tractor in park, brake set; planter down, or lift locked and blocked; fans stopped and standing, pressure released; second person clear.")
	cut(&d, c)
	return d
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

// Day makes the hand-over of the last day; ok says that there is one.
func Day(h record.HandOver, ok bool, c Context) Document {
	d := newDocument("day", "Day hand-over", c)
	if !ok {
		d.Says = append(d.Says, "Nothing to hand over: no day with a pass has been read yet.")
		return d
	}
	d.Title = h.Title
	d.Says = append(d.Says, nonempty(h.Planter, h.Where)...)
	if len(h.Off) == 0 {
		d.Says = append(d.Says, "Nothing is off that waits for somebody.")
	}
	for _, p := range h.Parts() {
		s := newSection(p.Title)
		t := newTable("", "", Column{"when", "When", false}, Column{"what", "What", false}, Column{"do", "To do", false}, Column{"finding", "Finding", false})
		for _, l := range p.Lines {
			t.Rows = append(t.Rows, []string{l.When, l.Says, l.Do, l.Finding})
		}
		t.dropEmpty()
		s.Tables = append(s.Tables, t)
		if p.More > 0 {
			s.Says = append(s.Says, fmt.Sprintf("And %d more.", p.More))
		}
		d.Sections = append(d.Sections, s)
	}
	d.Cautions = append(d.Cautions, h.Cautions...)
	cut(&d, c)
	return d
}

// dropEmpty takes out columns in which nothing stands.
func (t *Table) dropEmpty() {
	out := map[string]bool{}
	for i, c := range t.Columns {
		out[c.ID] = !slices.ContainsFunc(t.Rows, func(r []string) bool { return r[i] != "" })
	}
	t.drop(out)
}

// stateOf says where a finding stands.
func stateOf(f *evenstand.Finding) string {
	switch {
	case f.CheckBack != nil && f.CheckBack.Says != "":
		return f.CheckBack.Says
	case f.Status == evenstand.Acted || f.Status == evenstand.Checked:
		return "done"
	case f.Status == evenstand.SetAside:
		return "set aside"
	case f.Status == evenstand.Ended:
		return "over"
	}
	return "open"
}

// findings makes a table of findings, with money where it goes along.
func findings(fs []evenstand.Finding, none string, o record.Options, c Context) Table {
	t := newTable("", none, Column{"date", "Day", false}, Column{"what", "What", false}, Column{"state", "Where it stands", false}, Column{"cost", "Cost", false}, Column{"finding", "Finding", false})
	for i := range fs {
		f := &fs[i]
		cost := ""
		if c.Money() && (c.speed() || !ofSpeed(f.Kind)) {
			if cost = c.Voice.Money(f.Money.SoFar, f.Money.Unit); cost == "" {
				cost = "cannot say"
			}
		}
		t.Rows = append(t.Rows, []string{c.Voice.Day(f.Day), f.Sentence, stateOf(f), cost, f.ID})
	}
	if !c.Money() {
		t.drop(map[string]bool{"cost": true})
	}
	return t
}

// ofSpeed are the kinds that put a price on how fast somebody drove.
func ofSpeed(kind string) bool { return kind == evenstand.KindSpeedSpacing }

// heading writes the direction of passes.
func heading(deg float64) string {
	if math.IsNaN(deg) {
		return ""
	}
	to := math.Mod(math.Round(deg)+360, 180)
	return fmt.Sprintf("%.0f° and back %.0f°, clockwise from north", to, to+180)
}

// Fields makes the hand-over of fields.
func Fields(sums []FieldSum, lines []AcresLine, rs []Record, fs []evenstand.Finding, o record.Options, c Context) Document {
	d := newDocument("field", "Field hand-over", c)
	v := c.Voice
	for _, f := range sums {
		s := newSection(fieldSays(f.Name))
		add := func(id, label, value, from string) {
			if value != "" {
				s.Pairs = append(s.Pairs, Pair{ID: id, Label: label, Value: value, From: from, Was: []string{}})
			}
		}
		var days, lots []string
		for _, l := range lines {
			if l.Field != f.Name {
				continue
			}
			if day := v.Day(l.Day); !slices.Contains(days, day) {
				days = append(days, day)
			}
			if l.Lot != "" && !slices.Contains(lots, l.Lot) {
				lots = append(lots, l.Lot)
			}
		}
		add("date", "Planted", strings.Join(days, "; "), "")
		add("area", "Inside the boundary", areaSays(f.Of, v), "computed from the boundary")
		add("planted", "Planted at least once", areaSays(f.Planted, v), "computed "+fromLogs)
		if f.Left > 0 {
			add("left", "Not planted", areaSays(f.Left, v), "computed")
		}
		if f.Twice > 0 {
			add("twice", "Planted twice", areaSays(f.Twice, v), "computed "+fromLogs)
		}
		add("lot", "Hybrid or lot", strings.Join(lots, "; "), "")
		if f.Rows > 0 && f.Spacing > 0 {
			add("rows", "Rows", fmt.Sprintf("%d, %s apart", f.Rows, v.Length(f.Spacing)), fromCard)
		}
		add("heading", "Passes run along", heading(f.Heading), "computed "+fromLogs)
		t := newTable("What was applied", "Nothing was logged beside seed.", Column{"date", "Date", false}, Column{"product", "Product", false}, Column{"rate", "Rate", true}, Column{"total", "Total", true}, Column{"area", "Area", true})
		for i := range rs {
			if r := &rs[i]; r.Logged.Field == f.Name {
				name := r.Value("product")
				if name == "" {
					name = r.Logged.Applied.String() + ", not named"
				}
				t.Rows = append(t.Rows, []string{r.Value("date"), name, r.Value("rate"), r.Value("total"), r.Value("area")})
			}
		}
		var of []evenstand.Finding
		for i := range fs {
			if fs[i].Field == f.Name {
				of = append(of, fs[i])
			}
		}
		w := findings(of, "Nothing stood out.", o, c)
		w.Title = "What went wrong here"
		s.Tables = append(s.Tables, t, w)
		d.Sections = append(d.Sections, s)
	}
	if len(sums) == 0 {
		d.Says = append(d.Says, "No field was planted.")
	}
	cut(&d, c)
	return d
}

// Mounted is what rows of a planter carry.
type Mounted struct {
	Planter string
	Part    evenstand.Attachment
	Now     bool // it is on the card of the last day
}

// Parts makes the parts list by row: what each carries, and what was found on it.
func Parts(cards []evenstand.Card, fs []evenstand.Finding, o record.Options, c Context) Document {
	d := newDocument("parts", "Parts list by row", c)
	v := c.Voice
	for i := range cards {
		card := &cards[i]
		s := newSection(card.Name)
		t := newTable("What is off, by row", "Nothing is off that a part or a hand at the row would mend.", Column{"row", "Row", false}, Column{"what", "Evidence", false}, Column{"do", "To do", false}, Column{"state", "Where it stands", false}, Column{"finding", "Finding", false})
		type at struct {
			row int
			f   *evenstand.Finding
		}
		var all []at
		for k := range fs {
			f := &fs[k]
			if f.Planter != card.Name || len(f.Rows) == 0 || f.Stage != evenstand.Raised || evenstand.OfField(f.Kind) || f.Kind == evenstand.KindUpset || ofSpeed(f.Kind) || f.Healed() || f.Status == evenstand.SetAside {
				continue
			}
			all = append(all, at{f.Rows[0], f})
		}
		slices.SortStableFunc(all, func(x, y at) int { return cmp.Compare(x.row, y.row) })
		for _, x := range all {
			w := record.SayFinding(x.f, o)
			evidence := x.f.Sentence
			for _, e := range w.Evidence[:min(2, len(w.Evidence))] {
				evidence += " " + advise.Capital(e.What) + ": " + e.Says + "."
			}
			state := stateOf(x.f)
			if len(w.Decisions) > 0 && state == "done" {
				state = strings.Join(w.Decisions, " ")
			}
			t.Rows = append(t.Rows, []string{x.f.Rows.String(), v.Day(x.f.Day) + ": " + evidence, w.Step, state, x.f.ID})
		}
		m := newTable("What the rows carry", "The planter card names no parts.", Column{"row", "Rows", false}, Column{"part", "Part", false}, Column{"since", "Since", false}, Column{"found", "Found on these rows", false})
		parts := slices.Clone(card.Attachments)
		slices.SortStableFunc(parts, func(x, y evenstand.Attachment) int {
			return cmp.Or(cmp.Compare(x.Kind, y.Kind), cmp.Compare(first(x.Rows), first(y.Rows)), cmp.Compare(x.Since, y.Since))
		})
		for _, p := range parts {
			var on []string
			for _, x := range all {
				since := evenstand.Day(p.Since)
				if len(x.f.Rows) < 4 && x.f.Day >= since && slices.ContainsFunc(x.f.Rows, p.Rows.Has) {
					on = append(on, x.f.ID)
				}
			}
			since := "always"
			if p.Since != "" {
				since = v.Day(evenstand.Day(p.Since))
			}
			m.Rows = append(m.Rows, []string{p.Rows.String(), strings.Join(nonempty(p.Kind, p.Label), ": "), since, strings.Join(on, ", ")})
		}
		s.Tables = append(s.Tables, t, m)
		d.Sections = append(d.Sections, s)
	}
	if len(cards) == 0 {
		d.Says = append(d.Says, "No planter is known yet.")
	}
	d.Notes = append(d.Notes, "A finding on a row is no proof that the part on it is worn: the causes stand with their odds under its number.")
	d.Cautions = append(d.Cautions, advise.CautionShort)
	cut(&d, c)
	return d
}

func first(r evenstand.Rows) int {
	if len(r) == 0 {
		return 0
	}
	return r[0]
}

// SeasonInput is what the season report is made of.
type SeasonInput struct {
	Year     string // empty: nothing was read
	Days     int
	Planters []string
	Seeds    int64
	Sums     []FieldSum
	Acres    []AcresLine
	Records  []Record
	Findings []evenstand.Finding
	Cost     record.CostSheet
	Trials   []trial.Report
}

// Season makes the season report.
func Season(in SeasonInput, o record.Options, c Context) Document {
	d := newDocument("season", "Season report "+in.Year, c)
	v := c.Voice
	if in.Year == "" {
		d.Title = "Season report"
		d.Says = append(d.Says, "Nothing was read yet.")
		return d
	}
	var planted, of float64
	for _, f := range in.Sums {
		if !math.IsNaN(f.Planted) {
			planted += f.Planted
		}
		if !math.IsNaN(f.Of) {
			of += f.Of
		}
	}
	all := newSection("In all")
	add := func(id, label, value string) {
		if value != "" {
			all.Pairs = append(all.Pairs, Pair{ID: id, Label: label, Value: value, Was: []string{}})
		}
	}
	add("planted", "Planted", fmt.Sprintf("%s in %s on %s", v.Area(planted), advise.Plural(int64(len(in.Sums)), "field", "fields"), advise.Plural(int64(in.Days), "day", "days")))
	if of > 0 {
		add("area", "Inside the boundaries", v.Area(of))
	}
	if in.Seeds > 0 {
		add("seeds", "Seeds logged", advise.Thousands(in.Seeds))
	}
	add("planter", "Planters", strings.Join(in.Planters, "; "))
	done, open, worked := 0, 0, 0
	for i := range in.Findings {
		switch f := &in.Findings[i]; {
		case f.Healed():
			worked++
		case f.Status == evenstand.Acted || f.Status == evenstand.Checked:
			done++
		case f.Waits() && f.Stage == evenstand.Raised:
			open++
		}
	}
	add("found", "Found", fmt.Sprintf("%s: %d still open, %d acted on and not known yet, %d worked", advise.Plural(int64(len(in.Findings)), "finding", "findings"), open, done, worked))
	d.Sections = append(d.Sections, all)

	s := newSection("By field")
	t := newTable("", "No field was planted.", Column{"field", "Field", false}, Column{"date", "Planted", false}, Column{"area", "Area", true}, Column{"twice", "Twice", true}, Column{"left", "Left", true}, Column{"lot", "Hybrid or lot", false})
	for _, f := range in.Sums {
		var first, last evenstand.Day
		var lots []string
		for _, l := range in.Acres {
			if l.Field != f.Name {
				continue
			}
			if first == "" || l.Day < first {
				first = l.Day
			}
			last = max(last, l.Day)
			if l.Lot != "" && !slices.Contains(lots, l.Lot) {
				lots = append(lots, l.Lot)
			}
		}
		when := v.Day(first)
		if first == "" {
			when = ""
		} else if last != first {
			when += " to " + v.Day(last)
		}
		t.Rows = append(t.Rows, []string{fieldSays(f.Name), when, areaSays(f.Planted, v), areaSays(f.Twice, v), areaSays(f.Left, v), strings.Join(lots, "; ")})
	}
	t.dropEmpty()
	s.Tables = append(s.Tables, t)
	d.Sections = append(d.Sections, s)

	s = newSection("What was applied")
	t = newTable("", "Nothing was logged beside seed.", Column{"product", "Product", false}, Column{"field", "Field", false}, Column{"date", "Date", false}, Column{"rate", "Rate", true}, Column{"total", "Total", true})
	for i := range in.Records {
		r := &in.Records[i]
		name := r.Value("product")
		if name == "" {
			name = r.Logged.Applied.String() + ", not named"
		}
		t.Rows = append(t.Rows, []string{name, fieldSays(r.Value("field")), r.Value("date"), r.Value("rate"), r.Value("total")})
	}
	s.Tables = append(s.Tables, t)
	d.Sections = append(d.Sections, s)

	if c.Money() {
		s = newSection("What unevenness cost")
		s.Says = append(s.Says, in.Cost.Says...)
		for _, w := range in.Cost.Ways {
			if w.By == "day" && !c.speed() {
				continue
			}
			t := newTable(w.Title, "Nothing.", Column{"what", "What", false}, Column{"sum", "Cost", true}, Column{"range", "Range", false})
			for _, l := range w.Lines {
				if !c.speed() && speedLine(&l, in.Findings) {
					continue
				}
				t.Rows = append(t.Rows, []string{advise.Capital(l.Name), l.Sum, l.Range})
			}
			if len(t.Rows) > 0 {
				s.Tables = append(s.Tables, t)
			}
		}
		s.Says = append(s.Says, in.Cost.Notes...)
		d.Sections = append(d.Sections, s)
	}
	if len(in.Trials) > 0 {
		s = newSection("Row trials")
		for i := range in.Trials {
			s.Says = append(s.Says, in.Trials[i].Sentence)
		}
		d.Sections = append(d.Sections, s)
	}
	s = newSection("What stood out")
	s.Tables = append(s.Tables, findings(in.Findings, "Nothing stood out.", o, c))
	d.Sections = append(d.Sections, s)
	if c.For == nil && !c.speed() {
		d.LeftOut = append(d.LeftOut, "Left out unless chosen: what speed and hours cost, and who decided what.")
	}
	cut(&d, c)
	return d
}

// speedLine tells whether all findings behind a line of the cost sheet are of how
// fast somebody drove.
func speedLine(l *record.CostLine, fs []evenstand.Finding) bool {
	if len(l.Findings) == 0 {
		return false
	}
	for _, p := range l.Findings {
		i := slices.IndexFunc(fs, func(f evenstand.Finding) bool { return f.ID == p.Finding })
		if i < 0 || !ofSpeed(fs[i].Kind) {
			return false
		}
	}
	return true
}
