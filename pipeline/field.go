package pipeline

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/find"
	"evenstand/core/ground"
	"evenstand/core/measure/cover"
)

// FieldDay is what one planter did in one field on one day.
type FieldDay struct {
	Date    evenstand.Day
	Planter string
	Card    evenstand.Card
	Passes  []evenstand.Pass       // those in the field, in order of time
	Worked  []evenstand.Worked     // of those passes
	Track   []evenstand.TrackPoint // of those passes, in order of time
	Lots    []evenstand.Entry      // what was filled into the boxes up to its end, in order of time
	Doubt   []evenstand.PassRef    // passes on which places were found to be in doubt
	Left    bool                   // the planter ended the day elsewhere
	Doses   []Dose                 // of those passes, where a product has a limit
}

// trip is a pass of a field among all of its days.
type trip struct {
	day  *FieldDay
	pass *evenstand.Pass
}

// trips gives the passes of all days in order of time, whichever planter's.
func trips(days []FieldDay) []trip {
	var out []trip
	for i := range days {
		for j := range days[i].Passes {
			out = append(out, trip{&days[i], &days[i].Passes[j]})
		}
	}
	slices.SortStableFunc(out, func(a, b trip) int { return cmp.Compare(a.pass.Start, b.pass.Start) })
	return out
}

// PassKeys gives the keys of the passes of all days, by their number among them.
func PassKeys(days []FieldDay) []string {
	var out []string
	for _, t := range trips(days) {
		out = append(out, t.pass.Key)
	}
	return out
}

// Swaths puts the ground that was worked into a frame. The number of a swath's
// pass is that of the pass among all of the days by time, from 0. A row without
// a place on the card has no ground.
func Swaths(f ground.Frame, days []FieldDay, what evenstand.Applied) []cover.Swath {
	var out []cover.Swath
	for n, tr := range trips(days) {
		d, p := tr.day, tr.pass
		half := d.Card.RowSpacing / 2
		track := passTrack(d.Track, p.Index)
		poses := make([]cover.Pose, len(track))
		for k, t := range track {
			poses[k] = poseOf(f, t)
		}
		for _, w := range d.Worked {
			if w.Pass != p.Index || w.Applied != what {
				continue
			}
			a, b := d.Card.Y(int(w.From)), d.Card.Y(int(w.To)) // rows may be numbered from the right
			s := cover.Swath{Pass: n, Left: min(a, b) - half, Right: max(a, b) + half, Error: p.PosError}
			if !(s.Right > s.Left) {
				continue
			}
			s0 := p.S0 + float64(w.S0)/1000
			if s.At = along(poses, track, s0, p.S0+float64(w.S1)/1000); len(s.At) >= 2 {
				for k, t := range track {
					if t.S > s0-leadWay && t.S < s0-0.05 {
						s.Lead = append(s.Lead, poses[k])
					}
				}
				out = append(out, s)
			}
		}
	}
	return out
}

// leadWay is how much of the way before a piece of ground is kept with it, m.
const leadWay = 16.0

// passTrack gives the points of one pass out of a day's track.
func passTrack(track []evenstand.TrackPoint, pass int32) []evenstand.TrackPoint {
	from := slices.IndexFunc(track, func(t evenstand.TrackPoint) bool { return t.Pass == pass })
	if from < 0 {
		return nil
	}
	to := from
	for to < len(track) && (track[to].Pass == pass) {
		to++
	}
	return track[from:to]
}

func poseOf(f ground.Frame, t evenstand.TrackPoint) cover.Pose {
	e, n := f.ToLocal(t.Lat, t.Lon)
	return cover.Pose{E: e, N: n, Psi: t.Heading*math.Pi/180 - f.ConvergenceAt(t.Lat, t.Lon), T: t.T, V: t.Speed}
}

// along gives the poses between two places of the path; beyond its ends the bar
// is taken to go on straight, for a reading's way at most.
func along(poses []cover.Pose, track []evenstand.TrackPoint, s0, s1 float64) []cover.Pose {
	n := len(track)
	if n < 2 || s1 <= s0 {
		return nil
	}
	at := func(s float64) cover.Pose {
		i, _ := slices.BinarySearchFunc(track, s, func(t evenstand.TrackPoint, s float64) int {
			if t.S < s {
				return -1
			}
			return 1
		})
		i = min(max(i, 1), n-1)
		a, b := track[i-1], track[i]
		if b.S <= a.S {
			return poses[i]
		}
		u := (s - a.S) / (b.S - a.S)
		p, q := poses[i-1], poses[i]
		return cover.Pose{
			E: p.E + u*(q.E-p.E), N: p.N + u*(q.N-p.N), Psi: p.Psi + min(1, max(0, u))*math.Remainder(q.Psi-p.Psi, 2*math.Pi),
			T: p.T + evenstand.Micros(u*float64(q.T-p.T)), V: p.V + min(1, max(0, u))*(q.V-p.V),
		}
	}
	out := []cover.Pose{at(s0)}
	for i, t := range track {
		if t.S > s0+0.05 && t.S < s1-0.05 {
			p := poses[i]
			p.Psi = out[len(out)-1].Psi + math.Remainder(p.Psi-out[len(out)-1].Psi, 2*math.Pi)
			out = append(out, p)
		}
	}
	p := at(s1)
	p.Psi = out[len(out)-1].Psi + math.Remainder(p.Psi-out[len(out)-1].Psi, 2*math.Pi)
	return append(out, p)
}

// FieldWork is one field with all that was planted in it.
type FieldWork struct {
	Field evenstand.Field // without polygons where no boundary is known
	Days  []FieldDay      // in order of time
	Rate  float64         // seeds per m2, as planted; NaN unknown
	Left  bool            // the planter has planted elsewhere since
	Caps  []evenstand.ProductLimit
}

// FieldResult is what the ground of a field shows.
type FieldResult struct {
	Frame    ground.Frame
	Ground   cover.Field
	Acres    []Acres // by day, planter and what was applied, in their order
	Findings []evenstand.Finding
	Strips   []cover.Patch // the pieces of unplanted-left, the largest first
}

// Acres is ground that was worked with something on a day.
type Acres struct {
	Day     evenstand.Day
	Planter string
	Applied evenstand.Applied
	Lot     string  // of seed, as it was written down; empty: nobody did
	Area    float64 // m2, what was worked twice on the day counted once
	First   float64 // m2 of it for the first time
	Error   float64 // m2, half-width of the 90 % interval
}

// SettleField measures the ground of a field and finds what is off about it.
func SettleField(w FieldWork) (FieldResult, error) {
	var res FieldResult
	var ok bool
	if res.Frame, ok = ground.FrameOf(w.Field); !ok {
		for i := range w.Days {
			if t := w.Days[i].Track; len(t) > 0 && !ok {
				res.Frame, ok = ground.NewFrame(t[0].Lat, t[0].Lon), true
			}
		}
		if !ok {
			return res, nil
		}
	}
	var boundary *ground.Region
	if len(w.Field.Polygons) > 0 {
		boundary = ground.NewRegion(res.Frame, w.Field)
	}
	swaths := Swaths(res.Frame, w.Days, evenstand.AppliedSeed)
	var err error
	if res.Ground, err = cover.Measure(boundary, swaths); err != nil {
		return res, err
	}
	for _, what := range []evenstand.Applied{evenstand.AppliedSeed, evenstand.AppliedLiquid, evenstand.AppliedGranular} {
		before := 0.0
		for i := range w.Days {
			own := Swaths(res.Frame, w.Days[i:i+1], what)
			if len(own) == 0 {
				continue
			}
			day := cover.Scan(own, scanEvery).Worked
			total := cover.Scan(Swaths(res.Frame, w.Days[:i+1], what), scanEvery).Worked
			a := Acres{Day: w.Days[i].Date, Planter: w.Days[i].Planter, Applied: what, Error: cover.EdgeError(own)}
			for _, l := range lotShares(&w.Days[i], what) {
				a.Lot, a.Area, a.First = l.lot, l.share*day, l.share*max(0, total-before)
				res.Acres = append(res.Acres, a)
			}
			before = total
		}
	}
	f := fieldOf(w, boundary, swaths, res.Ground)
	res.Findings, res.Strips = find.FieldFindings(f)
	for _, limit := range w.Caps {
		for _, year := range seasons(w.Days) {
			if x := f.LabelCap(capOf(res.Frame, w.Days, year, limit)); x != nil {
				res.Findings = append(res.Findings, *x)
			}
		}
	}
	over, err := plantedSince(w, res.Findings)
	res.Findings = append(res.Findings, over...)
	slices.SortStableFunc(res.Findings, func(a, b evenstand.Finding) int { return cmp.Compare(a.Alarm, b.Alarm) })
	return res, err
}

// plantedSince gives the findings about ground that was left as it stood before
// the last day and is not any more: it was planted then. They are over, and say
// so.
func plantedSince(w FieldWork, now []evenstand.Finding) (out []evenstand.Finding, err error) {
	n := len(w.Days)
	if n == 0 {
		return nil, nil
	}
	last := w.Days[n-1].Date
	before := slices.IndexFunc(w.Days, func(d FieldDay) bool { return d.Date == last })
	if before == 0 {
		return nil, nil
	}
	again := evenstand.NoTime
	for _, t := range trips(w.Days[before:]) {
		again = t.pass.Start
		break
	}
	if again == evenstand.NoTime {
		return nil, nil
	}
	w.Days, w.Left, w.Caps = w.Days[:before], w.Days[before-1].Left, nil
	then, err := SettleField(w)
	if err != nil {
		return nil, err
	}
	for _, f := range then.Findings {
		if f.Kind != evenstand.KindUnplantedLeft || slices.ContainsFunc(now, func(x evenstand.Finding) bool {
			return x.Kind == f.Kind && x.Planter == f.Planter && x.Day == f.Day
		}) {
			continue
		}
		if f.Status == evenstand.Open {
			f.Status, f.Until = evenstand.Ended, &again
			f.Say = append(slices.Clone(f.Say), "It was planted on "+string(last)+".")
		}
		out = append(out, f)
	}
	return out, nil
}

// scanEvery is how far the lines of a scan of a day lie apart, m: within some m2.
const scanEvery = 0.25

// lotShare is the part of a day's ground that one lot planted.
type lotShare struct {
	lot   string
	share float64
}

// lotShares parts a day's ground by the lots that its rows had in their boxes,
// by the way that they planted, in order of the names.
func lotShares(d *FieldDay, what evenstand.Applied) []lotShare {
	if what != evenstand.AppliedSeed || len(d.Lots) == 0 {
		return []lotShare{{"", 1}}
	}
	starts := map[int32]evenstand.Micros{}
	for _, p := range d.Passes {
		starts[p.Index] = p.Start
	}
	by := map[string]float64{}
	all := 0.0
	for _, w := range d.Worked {
		if w.Applied != what {
			continue
		}
		for r := w.From; r <= w.To; r++ {
			way := float64(w.S1 - w.S0)
			by[lotOf(d.Lots, int(r), starts[w.Pass])] += way
			all += way
		}
	}
	var out []lotShare
	for lot, way := range by {
		out = append(out, lotShare{lot, way / all})
	}
	slices.SortFunc(out, func(a, b lotShare) int { return cmp.Compare(a.lot, b.lot) })
	return out
}

// lotOf gives the lot that a row had in its box: the last one written down for
// it before.
func lotOf(lots []evenstand.Entry, row int, t evenstand.Micros) string {
	lot := ""
	for i := range lots {
		if e := &lots[i]; e.T <= t && (len(e.Rows) == 0 || e.Rows.Has(row)) {
			lot = e.Note
		}
	}
	return lot
}

// fieldOf makes what the detectors take. Rows are those of the planter that did
// the most; passes stand in order of time.
func fieldOf(w FieldWork, boundary *ground.Region, swaths []cover.Swath, g cover.Field) *find.Field {
	f := &find.Field{Name: w.Field.Name, Boundary: boundary, Swaths: swaths, Ground: g, Target: w.Rate, Left: w.Left, Grade: evenstand.GradeD, Doubt: map[int]bool{}, Spacing: math.NaN()}
	for n, tr := range trips(w.Days) {
		if slices.ContainsFunc(tr.day.Doubt, func(r evenstand.PassRef) bool { return r.Key == tr.pass.Key }) {
			f.Doubt[n] = true
		}
		f.Passes = append(f.Passes, find.FieldPass{
			Ref: evenstand.PassRef{Key: tr.pass.Key, Number: tr.pass.Number}, Planter: tr.day.Planter, Day: tr.day.Date, Start: tr.pass.Start, End: tr.pass.End, Headland: tr.pass.Headland,
		})
	}
	most := 0
	var card *evenstand.Card
	for i := range w.Days {
		d := &w.Days[i]
		if len(d.Passes) > most {
			most, card = len(d.Passes), &d.Card
		}
		for _, x := range d.Worked {
			if x.Applied == evenstand.AppliedSeed {
				f.Grade = f.Grade.Better(x.Grade)
			}
		}
	}
	if card == nil {
		return f
	}
	for r := 1; r <= card.Rows; r++ {
		f.RowN = append(f.RowN, r)
	}
	slices.SortStableFunc(f.RowN, func(a, b int) int { return cmp.Compare(card.Y(a), card.Y(b)) })
	for _, r := range f.RowN {
		f.RowY = append(f.RowY, card.Y(r))
	}
	if len(f.RowY) > 0 && !math.IsNaN(f.RowY[0]) {
		f.Spacing, f.Crop = card.RowSpacing, card.Crop(1)
	}
	return f
}
