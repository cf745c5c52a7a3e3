package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"sync"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
)

// MeasureInfo is a measure that rows and ground can be looked at by.
type MeasureInfo struct {
	ID    string `json:"id"`
	Label string `json:"label"`
	Of    string `json:"of" doc:"What it is a share or a mean of"`
	Axis  Axis   `json:"axis"`
	Worse int    `json:"worse" doc:"1 more is worse, -1 less is worse, 0 neither"`
	Limit Limit  `json:"limit" doc:"What the logbook's people do not want it to leave"`
}

// MeasureList is all of them.
type MeasureList struct {
	Measures []MeasureInfo `json:"measures"`
}

func (s *Server) measureInfo(m *group.Measure) MeasureInfo {
	return MeasureInfo{m.ID, m.Label, m.Of, axis(s.voice(), m.Unit), m.Worse, s.limit(m)}
}

func (s *Server) measureList(context.Context, *nothing) (MeasureList, error) {
	out := MeasureList{}
	for _, m := range group.Measures() {
		out.Measures = append(out.Measures, s.measureInfo(&m))
	}
	return out, nil
}

// Filter says which stretches are looked at.
type Filter struct {
	Planter string `query:"planter"`
	Field   string `query:"field"`
	From    string `query:"from" doc:"First day, 2026-05-02"`
	To      string `query:"to" doc:"Last day"`
	Rows    string `query:"rows" doc:"1-8,12"`
	Side    string `query:"side" doc:"Name of a vacuum group"`
	Section int    `query:"section" minimum:"0"`
	Part    string `query:"part" doc:"Label of an attachment: the rows that carry it, on the days that they do"`
}

type rowsIn struct {
	Measure string `query:"measure" doc:"Empty: skips, and where no box tells them seeds planted"`
	Filter
}

// RowFigure is one row's figure.
type RowFigure struct {
	Row   int              `json:"row"`
	Value evenstand.Number `json:"value"`
	Low   evenstand.Number `json:"low"`
	High  evenstand.Number `json:"high"`
	N     evenstand.Number `json:"n" doc:"What it rests on"`
	Few   bool             `json:"few" doc:"Too little to say"`
	Apart string           `json:"apart" enum:"with,perhaps,out"`
	None  bool             `json:"no_seed" doc:"It gave no seed while the others planted, and has no value of what is of seeds"`
	Says  string           `json:"says"`
	Side  string           `json:"side"`
	Track bool             `json:"wheel_track" doc:"It runs in a wheel track"`
	Parts []string         `json:"parts"`
}

// RowsView compares the rows by one measure.
type RowsView struct {
	Measure  MeasureInfo      `json:"measure"`
	Title    string           `json:"title" doc:"What stands out, as a sentence"`
	Rows     []RowFigure      `json:"rows" doc:"In planter order"`
	Band     evenstand.Range  `json:"band" doc:"The peers' middle 90 %"`
	Target   evenstand.Number `json:"target" doc:"What was asked for on the same ground, of seeds planted"`
	Planter  string           `json:"planter" doc:"Whose rows they are"`
	First    string           `json:"row_1" enum:"left,right" doc:"Where row 1 runs as one looks ahead"`
	Measures []MeasureInfo    `json:"measures" doc:"Those that the data tell"`
	Fields   []string         `json:"fields"`
	Days     []string         `json:"days"`
	Sides    []string         `json:"sides"`
	Sections []int            `json:"sections"`
	Parts    []string         `json:"parts"`
	Origin   string           `json:"origin" doc:"What the figures rest on, as a sentence"`
}

// picked are the stretches that a filter lets through, day by day.
func (s *Server) picked(ctx context.Context, f *Filter, each func(at int32, day evenstand.Day, card *evenstand.Card, ss []evenstand.Stretch)) ([]string, error) {
	days, err := s.allDays(ctx)
	if err != nil {
		return nil, err
	}
	var only evenstand.Rows
	if f.Rows != "" {
		if only, err = evenstand.ParseRows(f.Rows); err != nil {
			return nil, refuse("rows: " + err.Error())
		}
	}
	var seen []string
	for i, d := range days {
		day := string(d.Day)
		if f.Planter != "" && d.Planter != f.Planter || f.From != "" && day < f.From || f.To != "" && day > f.To {
			continue
		}
		if f.Field != "" && !slices.ContainsFunc(d.Planted, func(p book.Planted) bool { return p.Field == f.Field }) {
			continue
		}
		card, err := s.book.Card(d.Planter, d.Day)
		if err != nil {
			return nil, err
		}
		var inField []bool
		if f.Field != "" {
			ps, err := s.book.Passes(ctx, d.Planter, d.Day)
			if err != nil {
				return nil, err
			}
			inField = make([]bool, len(ps))
			for k := range ps {
				inField[k] = ps[k].Field == f.Field
			}
		}
		keep := rowsKept(f, &card, day, only)
		seen = append(seen, day)
		var part []evenstand.Stretch
		err = s.book.Stretches(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
			part = part[:0]
			for k := range ss {
				st := &ss[k]
				if inField != nil && (int(st.Pass) >= len(inField) || !inField[st.Pass]) || keep != nil && !keep.Has(int(st.Row)) {
					continue
				}
				part = append(part, *st)
			}
			each(int32(i), d.Day, &card, part)
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	return seen, nil
}

// rowsKept gives the rows that a filter leaves on a day, nil for all.
func rowsKept(f *Filter, card *evenstand.Card, day string, only evenstand.Rows) evenstand.Rows {
	keep := only
	narrow := func(rows evenstand.Rows) {
		if keep == nil {
			keep = append(evenstand.Rows{}, rows...)
			return
		}
		keep = slices.DeleteFunc(slices.Clone(keep), func(r int) bool { return !rows.Has(r) })
	}
	if f.Side != "" {
		narrow(card.Side(f.Side))
	}
	if f.Section > 0 {
		narrow(card.RowsOf(evenstand.Element{Scope: evenstand.ScopeSection, N: int16(f.Section)}))
	}
	if f.Part != "" {
		var rows evenstand.Rows
		for _, a := range card.Attachments {
			if a.Label == f.Part && a.Since <= day {
				rows = append(rows, a.Rows...)
			}
		}
		narrow(rows)
	}
	return keep
}

// rowsView keeps the last answers: going over the stretches of a season takes a
// second, and one goes back and forth between a few.
func (s *Server) rowsView(ctx context.Context, in *rowsIn) (RowsView, error) {
	rev := s.revision.Load()
	s.compared.mu.Lock()
	if s.compared.revision != rev || len(s.compared.views) >= mostCompared {
		s.compared.revision, s.compared.views = rev, nil
	}
	view, ok := s.compared.views[*in]
	s.compared.mu.Unlock()
	if ok {
		return view, nil
	}
	view, err := s.compareRows(ctx, in)
	if err != nil {
		return view, err
	}
	s.compared.mu.Lock()
	defer s.compared.mu.Unlock()
	if s.compared.revision == rev {
		if s.compared.views == nil {
			s.compared.views = map[rowsIn]RowsView{}
		}
		s.compared.views[*in] = view
	}
	return view, nil
}

// mostCompared is how many answers are kept.
const mostCompared = 64

// compared are the comparisons of rows that were asked for at a revision.
type compared struct {
	mu       sync.Mutex
	revision int64
	views    map[rowsIn]RowsView
}

func (s *Server) compareRows(ctx context.Context, in *rowsIn) (RowsView, error) {
	tells, err := s.tellings(ctx)
	if err != nil {
		return RowsView{}, err
	}
	one := *in
	if in = &one; in.Planter == "" { // rows of two planters are not the same rows
		days, err := s.allDays(ctx)
		if err != nil {
			return RowsView{}, err
		}
		if n := len(days); n > 0 {
			in.Planter = days[n-1].Planter
		}
	}
	if in.Measure == "" {
		if in.Measure, err = s.firstMeasure(ctx, &in.Filter, tells); err != nil {
			return RowsView{}, err
		}
	}
	m, ok := group.ByID(in.Measure)
	if !ok {
		return RowsView{}, refuse(fmt.Sprintf("there is no measure %q", in.Measure))
	}
	all := group.Measures()
	told := make([]bool, len(all))
	var sums []group.Sum
	var sown sownRows
	var card evenstand.Card
	var asked wanted
	seen, err := s.picked(ctx, &in.Filter, func(at int32, day evenstand.Day, c *evenstand.Card, ss []evenstand.Stretch) {
		card = *c
		t := tells(in.Planter, day)
		for i := range ss {
			asked.add(&ss[i], c.RowSpacing)
			sown.add(&ss[i])
			for int(ss[i].Row) > len(sums) {
				sums = append(sums, group.Sum{})
			}
			if ss[i].Row >= 1 && t.tells(&m, &ss[i]) {
				sums[ss[i].Row-1].Add(&m, &ss[i], at, c.RowSpacing)
			}
		}
		for k := range all {
			for i := 0; i < len(ss) && !told[k]; i += 1 + len(ss)/64 {
				_, told[k] = all[k].One(&ss[i], c.RowSpacing)
				told[k] = told[k] && t.tells(&all[k], &ss[i])
			}
		}
	})
	if err != nil {
		return RowsView{}, err
	}
	for len(sums) < card.Rows {
		sums = append(sums, group.Sum{})
	}
	figures := make([]group.Figure, len(sums))
	none := sown.none()
	if !ofSeeds(&m) {
		none = nil
	}
	for i := range sums {
		if none.Has(i + 1) {
			sums[i] = group.Sum{}
		}
		figures[i] = sums[i].Figure(&m)
	}
	band, apart := group.Peers(figures)
	out := RowsView{
		Target: asked.rate(&m), Planter: in.Planter, First: first(&card), Measure: s.measureInfo(&m), Rows: []RowFigure{}, Band: evenstand.Range{Low: evenstand.Number(band.Low), Mid: evenstand.Number(band.Mid), High: evenstand.Number(band.High)},
		Measures: []MeasureInfo{}, Sides: []string{}, Sections: []int{}, Parts: []string{}, Days: []string{}, Fields: []string{},
	}
	v := s.voice()
	last := ""
	if len(seen) > 0 {
		last = seen[len(seen)-1]
	}
	for i, f := range figures {
		row := i + 1
		r := RowFigure{
			Row: row, Value: evenstand.Number(f.Value), Low: evenstand.Number(f.Low), High: evenstand.Number(f.High), N: evenstand.Number(f.N),
			Few: f.Few, Apart: [...]string{"with", "perhaps", "out"}[apart[i]], Says: says(v, m.Unit, f), Parts: []string{},
		}
		switch {
		case none.Has(row):
			r.None, r.Few, r.Apart, r.Says = true, false, "out", "no seed"
		case math.IsNaN(f.Value) && sown.seeds(row) > 0 && ofSeeds(&m):
			r.Says = "not told"
		}
		for _, g := range card.Groups {
			switch {
			case g.Kind == "vacuum" && g.Rows.Has(row):
				r.Side = g.Name
			case g.Kind == "wheel_track" && g.Rows.Has(row):
				r.Track = true
			}
		}
		for _, a := range card.Attachments {
			if a.Rows.Has(row) && a.Since <= last {
				r.Parts = append(r.Parts, a.Label)
			}
		}
		out.Rows = append(out.Rows, r)
	}
	for k := range all {
		if told[k] {
			out.Measures = append(out.Measures, s.measureInfo(&all[k]))
		}
	}
	out.Title = title(&m, figures, band.Mid, apart, none)
	out.Origin = origin(v, &m, seen, none)
	for _, g := range card.Groups {
		if g.Kind == "vacuum" && !slices.Contains(out.Sides, g.Name) {
			out.Sides = append(out.Sides, g.Name)
		}
	}
	for _, x := range card.Sections {
		out.Sections = append(out.Sections, x.Number)
	}
	for _, a := range card.Attachments {
		if !slices.Contains(out.Parts, a.Label) {
			out.Parts = append(out.Parts, a.Label)
		}
	}
	days, err := s.allDays(ctx)
	if err != nil {
		return out, err
	}
	for _, d := range days {
		if !slices.Contains(out.Days, string(d.Day)) {
			out.Days = append(out.Days, string(d.Day))
		}
		for _, p := range d.Planted {
			if !slices.Contains(out.Fields, p.Field) {
				out.Fields = append(out.Fields, p.Field)
			}
		}
	}
	return out, nil
}

// says writes a figure with its interval.
func says(v advise.Voice, unit string, f group.Figure) string {
	if math.IsNaN(f.Value) {
		return "no data"
	}
	s := shown(v, unit, f.Value)
	if !math.IsNaN(f.Low) && !math.IsNaN(f.High) {
		if low, high := shown(v, unit, f.Low), shown(v, unit, f.High); low != s || high != s {
			s += ", " + low + " to " + high
		}
	}
	if f.Few {
		s += " (too little to say)"
	}
	return s
}

// shown writes a value by its axis.
func shown(v advise.Voice, unit string, x float64) string {
	switch unit {
	case "m3/m2", "kg/m2", "degC":
		a := v.Scale(unit)
		return advise.Digits((x-a.Offset)/a.Scale) + " " + a.Unit
	}
	return v.Value(x, unit)
}

// wanted sums up the seeds that were asked for.
type wanted struct{ seeds, area float64 }

func (w *wanted) add(s *evenstand.Stretch, spacing float64) {
	if gap, way := float64(s.Target), float64(s.Way)-float64(s.Off); gap > 0 && way > 0 && spacing > 0 {
		w.seeds += way / gap
		w.area += way * spacing
	}
}

// rate gives seeds per m2, unknown for any measure but those.
func (w *wanted) rate(m *group.Measure) evenstand.Number {
	if m.ID != "population" || w.area == 0 {
		return evenstand.Unknown
	}
	return evenstand.Number(w.seeds / w.area)
}

// title says which rows stand apart from the middle of the others, and which
// way: "Skips by row: row 7 more than the others, row 3 perhaps fewer."
func title(m *group.Measure, fs []group.Figure, mid float64, apart []group.Apart, none evenstand.Rows) string {
	var high, low, mayHigh, mayLow evenstand.Rows
	any := false
	for i, f := range fs {
		any = any || !math.IsNaN(f.Value)
		to := [...]*evenstand.Rows{&low, &high}
		switch apart[i] {
		case group.Perhaps:
			to = [...]*evenstand.Rows{&mayLow, &mayHigh}
		case group.With:
			continue
		}
		k := 0
		if f.Value > mid {
			k = 1
		}
		*to[k] = append(*to[k], i+1)
	}
	more, less := "higher", "lower"
	switch m.ID {
	case "skips", "doubles", "population":
		more, less = "more", "fewer"
	case "wheel-off", "trash", "liquid", "granular", "spacing":
		more, less = "more", "less"
	}
	var parts []string
	if len(none) > 0 {
		parts = append(parts, strings.ToLower(advise.Rows(none))+" gave no seed")
	}
	told := len(parts)
	say := func(rows evenstand.Rows, perhaps, word string) {
		if len(rows) == 0 {
			return
		}
		s := strings.ToLower(advise.Rows(rows)) + perhaps + " " + word
		if len(parts) == told {
			s += " than the others"
		}
		parts = append(parts, s)
	}
	say(high, "", more)
	say(low, "", less)
	say(mayHigh, " perhaps", more)
	say(mayLow, " perhaps", less)
	head := advise.Capital(m.Label) + " by row: "
	switch {
	case !any && len(parts) > 0:
		return head + parts[0] + "; of the others nothing is told."
	case !any:
		return head + "nothing was logged of it."
	case len(parts) == 0:
		return head + "no row stands apart."
	}
	return head + strings.Join(parts, ", ") + "."
}

func origin(v advise.Voice, m *group.Measure, days []string, none evenstand.Rows) string {
	s := "Measured: " + m.Label + ", " + m.Of + "; intervals 90%, from how parts of about " + partLength(v) + " differ."
	switch len(days) {
	case 0:
		return "Nothing fits the choice."
	case 1:
		s += " One day."
	default:
		s += fmt.Sprintf(" %d days.", len(days))
	}
	if len(none) > 0 {
		s += " No seed: none was seen of it while the others planted; whether the row or its sensor, the row itself shows."
	}
	return s
}

// firstMeasure is what rows are compared by when nobody says: skips, where a box
// tells them on a day that is looked at.
func (s *Server) firstMeasure(ctx context.Context, f *Filter, tells func(string, evenstand.Day) telling) (string, error) {
	days, err := s.allDays(ctx)
	if err != nil {
		return "", err
	}
	any := false
	for _, d := range days {
		if day := string(d.Day); d.Planter != f.Planter || f.From != "" && day < f.From || f.To != "" && day > f.To {
			continue
		}
		any = true
		if t := tells(d.Planter, d.Day); t.seeds || t.skips {
			return "skips", nil
		}
	}
	if !any {
		return "skips", nil
	}
	return "population", nil
}

// sownRows sums up the seeds of each row, and the way on which it was on.
type sownRows struct{ n, way []float64 }

func (w *sownRows) add(s *evenstand.Stretch) {
	if s.Row < 1 {
		return
	}
	for int(s.Row) > len(w.n) {
		w.n, w.way = append(w.n, 0), append(w.way, 0)
	}
	w.n[s.Row-1] += float64(s.Seeds)
	w.way[s.Row-1] += max(0, float64(s.Way)-float64(s.Off))
}

func (w *sownRows) seeds(row int) float64 {
	if row > len(w.n) {
		return 0
	}
	return w.n[row-1]
}

// leastSown is the way in m from which on a row without any seed is said to have
// given none. By judgement.
const leastSown = 100

// none gives the rows that gave no seed on the way while most others did.
func (w *sownRows) none() evenstand.Rows {
	var out evenstand.Rows
	for i, n := range w.n {
		if n == 0 && w.way[i] >= leastSown {
			out = append(out, i+1)
		}
	}
	if 2*len(out) >= len(w.n) {
		return nil
	}
	return out
}

// partLength is how long the parts are whose differences give the intervals,
// in round numbers.
func partLength(v advise.Voice) string {
	const m = group.Cluster * evenstand.StretchLength
	if v.Units == evenstand.Metric {
		return v.Length(m)
	}
	return v.Length(math.Round(m/evenstand.Foot/100) * 100 * evenstand.Foot)
}

// rowsCSV is the same as a table, in the units shown.
func (s *Server) rowsCSV(ctx context.Context, in *rowsIn) ([]byte, error) {
	view, err := s.rowsView(ctx, in)
	if err != nil {
		return nil, err
	}
	a := view.Measure.Axis
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"row", view.Measure.ID + " (" + a.Unit + ")", "low", "high", "n", "apart", "side", "wheel track", "parts"})
	for _, r := range view.Rows {
		_ = w.Write([]string{itoa(r.Row), a.cell(r.Value), a.cell(r.Low), a.cell(r.High), strconv.FormatFloat(float64(r.N), 'g', 6, 64), r.Apart, r.Side, strconv.FormatBool(r.Track), strings.Join(r.Parts, "; ")})
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
