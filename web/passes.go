package web

import (
	"cmp"
	"context"
	"math"
	"slices"
	"sort"

	"github.com/danielgtaylor/huma/v2"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/record"
)

func notFound(text string) error { return huma.Error404NotFound(sentence(text)) }

// passIndex is every pass of the logbook, by key.
type passIndex struct {
	all []evenstand.Pass
	day []evenstand.Day
	at  map[string]int
}

func (s *Server) allPasses(ctx context.Context) (passIndex, error) {
	now := s.revision.Load() // before the days: what changes meanwhile is asked for again
	days, err := s.allDays(ctx)
	if err != nil {
		return passIndex{}, err
	}
	return s.passes.of(now, func() (passIndex, error) {
		ix := passIndex{at: map[string]int{}}
		for _, d := range days {
			ps, err := s.book.Passes(context.WithoutCancel(ctx), d.Planter, d.Day)
			if err != nil {
				return ix, err
			}
			for _, p := range ps {
				ix.at[p.Key] = len(ix.all)
				ix.all = append(ix.all, p)
				ix.day = append(ix.day, d.Day)
			}
		}
		return ix, nil
	})
}

// pass gives a pass by its key with its day.
func (s *Server) pass(ctx context.Context, key string) (evenstand.Pass, evenstand.Day, error) {
	ix, err := s.allPasses(ctx)
	if err != nil {
		return evenstand.Pass{}, "", err
	}
	i, ok := ix.at[key]
	if !ok {
		return evenstand.Pass{}, "", notFound("there is no pass " + key + "; it may have been made again with another start. Choose one from the list")
	}
	return ix.all[i], ix.day[i], nil
}

// PassInfo is one pass for a list.
type PassInfo struct {
	Key      string           `json:"key"`
	Number   int              `json:"number"`
	Planter  string           `json:"planter"`
	Day      evenstand.Day    `json:"day"`
	Field    string           `json:"field"`
	Start    evenstand.Micros `json:"start"`
	End      evenstand.Micros `json:"end"`
	Length   evenstand.Number `json:"length_m"`
	Heading  evenstand.Number `json:"heading_deg"`
	Headland bool             `json:"headland"`
	Label    string           `json:"label" doc:"Pass, field and time in words"`
}

func (s *Server) passInfo(p *evenstand.Pass, day evenstand.Day) PassInfo {
	v := s.voice()
	label := "Pass " + advise.Thousands(int64(p.Number))
	if p.Field != evenstand.Unassigned {
		label += ", " + p.Field
	}
	return PassInfo{
		Key: p.Key, Number: p.Number, Planter: p.Planter, Day: day, Field: p.Field, Start: p.Start, End: p.End,
		Length: evenstand.Number(p.S1 - p.S0), Heading: evenstand.Number(p.Heading), Headland: p.Headland,
		Label: label + ", " + v.Clock(p.Start),
	}
}

type passesIn struct {
	Planter string `query:"planter"`
	Day     string `query:"day" doc:"2026-05-02; empty: all days"`
}

// PassList is the passes of a day or of all days.
type PassList struct {
	Passes []PassInfo `json:"passes"`
}

func (s *Server) passList(ctx context.Context, in *passesIn) (PassList, error) {
	ix, err := s.allPasses(ctx)
	if err != nil {
		return PassList{}, err
	}
	out := PassList{Passes: []PassInfo{}}
	for i := range ix.all {
		if (in.Planter == "" || in.Planter == ix.all[i].Planter) && (in.Day == "" || in.Day == string(ix.day[i])) {
			out.Passes = append(out.Passes, s.passInfo(&ix.all[i], ix.day[i]))
		}
	}
	return out, nil
}

// Bracket is a finding as far as it lies on a pass.
type Bracket struct {
	ID       string           `json:"id"`
	Kind     string           `json:"kind"`
	Stage    string           `json:"stage"`
	Sentence string           `json:"sentence"`
	Rows     evenstand.Rows   `json:"rows"`
	Since    evenstand.Micros `json:"since"`
	From     float64          `json:"from_m"`
	To       float64          `json:"to_m"`
	Listed   bool             `json:"listed" doc:"The worklist has it; else it is suspected, over, set aside or passing trouble"`
}

// OnPass names a finding and the first pass that it lies on.
type OnPass struct {
	Pass    string           `json:"pass" doc:"Its key"`
	Finding string           `json:"finding"`
	Row     int              `json:"row" doc:"Where it is one row's; 0: of several"`
	Since   evenstand.Micros `json:"since"`
}

// PositionGap is ground over which nobody logged where the machine was.
type PositionGap struct {
	From    float64 `json:"from_m"`
	To      float64 `json:"to_m"`
	Seconds float64 `json:"seconds"`
}

// Point is a place of the bar's centre on a pass.
type Point struct {
	S   float64          `json:"s_m"`
	T   evenstand.Micros `json:"time"`
	Lat float64          `json:"lat"`
	Lon float64          `json:"lon"`
}

// PassView is what the ribbon shows beside seeds.
type PassView struct {
	PassInfo
	Rows     int               `json:"rows"`
	Spacing  evenstand.Number  `json:"row_spacing_m"`
	Sides    map[string]string `json:"sides" doc:"Row number to side or section, where the card says"`
	Grade    evenstand.Grade   `json:"grade" doc:"Of its seed measures; without A there are no single seeds"`
	Places   bool              `json:"places" doc:"Single places of the disc were read, so that the ribbon's tiles tell what went wrong; else its skips stand in tracks only"`
	Shares   bool              `json:"shares" doc:"A box told shares of skips; else the skips of stretches without single seeds are those of ground where nothing fell"`
	Track    []Point           `json:"track"`
	Gaps     []PositionGap     `json:"gaps" doc:"Where no position was logged for some seconds"`
	Findings []Bracket         `json:"findings"`
	Previous string            `json:"previous" doc:"Key of this planter's pass before, empty: none"`
	Next     string            `json:"next"`
	Steps    []OnPass          `json:"steps" doc:"The worklist's findings of this planter and day to step along, by since, then by id"`
	Tracks   []TrackView       `json:"tracks"`
}

// TrackView is one quantity along the pass, by stretches.
type TrackView struct {
	Measure string    `json:"measure"`
	Label   string    `json:"label"`
	Axis    Axis      `json:"axis"`
	ByRow   bool      `json:"by_row" doc:"Rows differ; else one line holds for all"`
	Low     float64   `json:"low" doc:"Of all rows, SI"`
	High    float64   `json:"high"`
	Limit   Limit     `json:"limit" doc:"What the logbook's people do not want it to leave"`
	S       []float64 `json:"s_m" doc:"Middle of each stretch"`
	// Values by row, one list a row with a value a stretch, null where there is
	// none; of a quantity that is the same for all rows one list only.
	Values [][]evenstand.Number `json:"values"`
}

type passIn struct {
	Pass string `query:"pass" required:"true" doc:"Key of the pass"`
}

func (s *Server) passView(ctx context.Context, in *passIn) (PassView, error) {
	p, day, err := s.pass(ctx, in.Pass)
	if err != nil {
		return PassView{}, err
	}
	ix, err := s.allPasses(ctx)
	if err != nil {
		return PassView{}, err
	}
	card, err := s.book.Card(p.Planter, day)
	if err != nil {
		return PassView{}, err
	}
	out := PassView{PassInfo: s.passInfo(&p, day), Rows: card.Rows, Spacing: evenstand.Number(card.RowSpacing), Sides: map[string]string{}, Track: []Point{}, Gaps: []PositionGap{}, Findings: []Bracket{}, Steps: []OnPass{}, Tracks: []TrackView{}}
	for _, g := range card.Groups {
		if g.Kind == "vacuum" {
			for _, r := range g.Rows {
				out.Sides[itoa(r)] = g.Name
			}
		}
	}
	tells, err := s.tellings(ctx)
	if err != nil {
		return out, err
	}
	out.Shares = tells(p.Planter, day).skips
	w, err := s.way(ctx, &p, day)
	if err != nil {
		return out, err
	}
	out.Track, out.Gaps = w.points(200), w.gaps()
	all, err := s.allFindings(ctx)
	if err != nil {
		return out, err
	}
	for k := range all.Findings {
		f := &all.Findings[k]
		if b, ok := w.bracket(f, &p); ok {
			out.Findings = append(out.Findings, b)
		}
	}
	ix.neighbours(&out, &p, all.Findings)
	return out, s.stretchTracks(ctx, &out, &p, day)
}

// neighbours fills the passes before and after of the same planter, in the order
// of time whatever else worked that day, and the day's findings to step along.
func (ix *passIndex) neighbours(out *PassView, p *evenstand.Pass, all []evenstand.Finding) {
	var own []int
	for i := range ix.all {
		if ix.all[i].Planter == p.Planter {
			own = append(own, i)
		}
	}
	slices.SortStableFunc(own, func(a, b int) int { return cmp.Compare(ix.all[a].Start, ix.all[b].Start) })
	here := slices.Index(own, ix.at[p.Key])
	if here > 0 {
		out.Previous = ix.all[own[here-1]].Key
	}
	if here+1 < len(own) {
		out.Next = ix.all[own[here+1]].Key
	}
	day := ix.day[own[here]]
	own = slices.DeleteFunc(own, func(i int) bool { return ix.day[i] != day })
	for k := range all {
		f := &all[k]
		if !listed(f) {
			continue
		}
		if i := slices.IndexFunc(own, func(i int) bool { return lies(f, &ix.all[i]) }); i >= 0 {
			o := OnPass{Pass: ix.all[own[i]].Key, Finding: f.ID, Since: f.Since}
			if len(f.Rows) == 1 {
				o.Row = f.Rows[0]
			}
			out.Steps = append(out.Steps, o)
		}
	}
	slices.SortFunc(out.Steps, func(a, b OnPass) int { return cmp.Or(cmp.Compare(a.Since, b.Since), cmp.Compare(a.Finding, b.Finding)) })
}

// listed tells whether one is led to a finding: the worklist has it and nobody
// has set it aside.
func listed(f *evenstand.Finding) bool {
	return record.IsListed(f) && f.Status != evenstand.SetAside
}

// way is the path of the bar's centre over a pass: metres from its start by
// time.
type way struct{ pts []evenstand.TrackPoint }

func (s *Server) way(ctx context.Context, p *evenstand.Pass, day evenstand.Day) (way, error) {
	var w way
	pts, err := s.book.PassTrack(ctx, p.Planter, day, p)
	if err != nil {
		return w, err
	}
	for i := range pts {
		pts[i].S -= p.S0
	}
	w.pts = pts
	return w, nil
}

// at gives the place along the pass at a time, held at its ends.
func (w *way) at(t evenstand.Micros) float64 {
	n := len(w.pts)
	if n == 0 {
		return math.NaN()
	}
	i := sort.Search(n, func(i int) bool { return w.pts[i].T >= t })
	switch {
	case i == 0:
		return w.pts[0].S
	case i == n:
		return w.pts[n-1].S
	}
	a, b := &w.pts[i-1], &w.pts[i]
	if b.T == a.T {
		return a.S
	}
	return a.S + (b.S-a.S)*float64(t-a.T)/float64(b.T-a.T)
}

// points gives at most n points of the way, evenly.
func (w *way) points(n int) []Point {
	out := []Point{}
	step := max(1, (len(w.pts)+n-1)/n)
	for i := 0; i < len(w.pts); i += step {
		out = append(out, point(&w.pts[i]))
	}
	if k := len(w.pts); k > 0 && (k-1)%step != 0 {
		out = append(out, point(&w.pts[k-1]))
	}
	return out
}

func point(p *evenstand.TrackPoint) Point { return Point{p.S, p.T, p.Lat, p.Lon} }

// positionGap is from how long on without a position one is told of it, s: what
// lies between is bridged, and shows as the same in all rows.
const positionGap = 3

func (w *way) gaps() []PositionGap {
	out := []PositionGap{}
	for i := 1; i < len(w.pts); i++ {
		a, b := &w.pts[i-1], &w.pts[i]
		if d := (b.T - a.T).Seconds(); d >= positionGap {
			out = append(out, PositionGap{a.S, b.S, d})
		}
	}
	return out
}

// lies tells whether a finding lies on a pass.
func lies(f *evenstand.Finding, p *evenstand.Pass) bool {
	if f.Planter != p.Planter || f.Since >= p.End {
		return false
	}
	if slices.ContainsFunc(f.Passes, func(r evenstand.PassRef) bool { return r.Key == p.Key }) {
		return true
	}
	until := p.End
	if f.Until != nil {
		until = min(until, *f.Until)
	}
	return len(f.Passes) == 0 && until > max(f.Since, p.Start)
}

// bracket tells where on the pass a finding lies, if it does.
func (w *way) bracket(f *evenstand.Finding, p *evenstand.Pass) (Bracket, bool) {
	if len(w.pts) == 0 || !lies(f, p) {
		return Bracket{}, false
	}
	until := p.End
	if f.Until != nil {
		until = min(until, *f.Until)
	}
	from := max(f.Since, p.Start)
	b := Bracket{ID: f.ID, Kind: f.Kind, Stage: string(f.Stage), Sentence: f.Sentence, Rows: f.Rows, Since: f.Since, From: w.at(from), To: w.at(max(until, from)), Listed: listed(f)}
	if b.Rows == nil {
		b.Rows = evenstand.Rows{}
	}
	return b, !math.IsNaN(b.From)
}

// links says where a finding can be seen: on the pass of its that it covers
// longest, and by which measure.
func (s *Server) links(ctx context.Context, f *evenstand.Finding) (Links, error) {
	l := Links{Planter: f.Planter, Day: f.Day, Measure: measureOf[f.Kind], Courses: some(coursesOf(f.Kind)), Strip: slices.Contains(stripKinds, f.Kind) && len(f.Rows) > 0, Ground: evenstand.OfField(f.Kind)}
	if len(f.Rows) == 1 {
		l.Row = f.Rows[0]
	}
	tells, err := s.tellings(ctx)
	if err != nil {
		return l, err
	}
	t := tells(f.Planter, f.Day)
	l.Measure = t.instead(l.Measure)
	l.Courses = slices.Clone(l.Courses)
	for i := range l.Courses {
		l.Courses[i] = t.instead(l.Courses[i])
	}
	ix, err := s.allPasses(ctx)
	if err != nil {
		return l, err
	}
	if f.Kind == evenstand.KindGuessRow || f.Kind == evenstand.KindOffsetDoubt { // no pass alone shows how far it lies from the others
		return l, nil
	}
	best := evenstand.Micros(-1)
	for _, r := range f.Passes {
		i, ok := ix.at[r.Key]
		if !ok {
			continue
		}
		p := &ix.all[i]
		until := p.End
		if f.Until != nil {
			until = min(until, *f.Until)
		}
		if long := until - max(p.Start, f.Since); long > best {
			best, l.Pass = long, p.Key
		}
	}
	return l, nil
}

// measureOf is the measure by which rows and ground show a kind of finding.
var measureOf = map[string]string{
	evenstand.KindRowStopped: "skips", evenstand.KindRowLeftOff: "switched-off", evenstand.KindBlockedCell: "skips", evenstand.KindWeakCell: "skips",
	evenstand.KindRowSkips: "skips", evenstand.KindRowDoubles: "doubles", evenstand.KindLowVacuum: "skips", evenstand.KindRateOff: "population",
	evenstand.KindStarvedRow: "skips", evenstand.KindRowBounce: "spacing", evenstand.KindSensorDoubt: "skips", evenstand.KindRowDrive: "spacing",
	evenstand.KindSpeedSpacing: "spacing", evenstand.KindTurnRate: "population", evenstand.KindUpset: "skips", evenstand.KindRecurringUpset: "skips",
	evenstand.KindContactLoss: "wheel-off", evenstand.KindOverload: "load",
	evenstand.KindDryFurrow: "moisture", evenstand.KindColdFurrow: "temperature", evenstand.KindDirtyFurrow: "trash", evenstand.KindCleanerUpset: "trash",
	evenstand.KindLiquidRowLow: "liquid", evenstand.KindLiquidRowHigh: "liquid", evenstand.KindLiquidRateOff: "liquid",
	evenstand.KindForceHunting: "force", evenstand.KindFlowHunting: "liquid", evenstand.KindPumpLimit: "liquid",
	evenstand.KindGranularRowOff: "granular", evenstand.KindGranularRateOff: "granular",
}
