package find

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
	geo "evenstand/core/ground"
	"evenstand/core/measure/cover"
	"evenstand/core/stat"
)

// Field is a field with the ground that was worked of it.
type Field struct {
	Planter  string
	Name     string
	Boundary *geo.Region   // nil: none is known
	Swaths   []cover.Swath // of seed, in order of time
	Passes   []FieldPass   // by the swaths' number of the pass
	Ground   cover.Field   // of these swaths
	Spacing  float64       // m between rows
	RowY     []float64     // m right of the bar's centre, rising
	RowN     []int         // the rows' numbers beside them; nil: 1 and up
	Target   float64       // seeds per m2; NaN unknown
	Crop     string
	Grade    evenstand.Grade // of the swaths' ends
	Left     bool            // the planter has planted elsewhere since
	Doubt    map[int]bool    // passes, by number, whose places were in doubt for a while
}

// FieldPass is a pass of a field.
type FieldPass struct {
	Ref        evenstand.PassRef
	Planter    string
	Day        evenstand.Day
	Start, End evenstand.Micros
	Headland   bool
}

// What counts as trouble of the ground (judged; the errors of places are carried
// beside).
const (
	stripLong    = 18.0 // m: a row and 20 m, less what its ends may be off by
	stripWide    = 0.6  // of a row's width, under the rows of a pass
	stripBetween = 0.9  // the same between two passes
	endWide      = 5.0  // m: gaps at the ends of passes are narrower
	endShare     = 0.3  // of their outline, ends of swaths
	borderShare  = 0.15 // of an outline along the boundary: the gap lies at the field's edge
	mostlyDone   = 0.9  // of a field planted from which on what is left at its edge was left
	halfDone     = 0.5  // the same once the planter has gone elsewhere
	restPart     = 0.02 // of a field: more in one piece is what is still to plant, or was left for later
	seedUnseen   = 0.15 // chance that a row without seed planted, and only its sensor saw none
	lateLeast    = 2.5  // m by which rows go in or come out late or early
	lateCounts   = 8.0  // m: the same where rows are counted by the second, which is some metres
	lateShare    = 0.25 // of the bar that an end is of at least
	lateEnds     = 8    // ends that it takes
	lateSide     = 0.35 // rad to which an end meets the other ground squarely
	guessLeast   = 0.15 // m by which passes lie too far apart or too close
	guessPairs   = 6    // pairs of passes that it takes
	guessScatter = 0.20 // m from pair to pair
	againWide    = 0.5  // of the bar, on another day: planted again
	overlapLeast = 0.015
	gapLeastPart = 0.01
)

// FieldFindings gives the findings about the ground of a field: what was left,
// done twice, late at the ends, and passes too far apart or too close. They are
// without id, words and money, in order of their time. strips are the pieces of
// the ground that was left, the largest first.
func FieldFindings(f *Field) (out []evenstand.Finding, strips []cover.Patch) {
	if len(f.Swaths) == 0 || !(f.Spacing > 0) {
		return nil, nil
	}
	ends := cover.Ends(f.Swaths)
	in, early := f.lateSection(ends, true)
	un, late := f.lateSection(ends, false)
	guess, aside := f.guessRow()
	twice := f.overlap(aside)
	if twice != nil && early < -lateLeast && late > lateLeast { // rows that run on at both ends are not late, but not switched off
		in, un = nil, nil
		twice.Causes = normalise(
			evenstand.Cause{Cause: evenstand.CauseNoSections, Probability: 0.9},
			evenstand.Cause{Cause: evenstand.CauseSectionDelay, Probability: 0.05},
		)
	}
	var small *evenstand.Finding
	if guess == nil { // else that is what the small gaps are
		small = f.coverGap(in != nil || un != nil)
	}
	left, ss := f.unplanted(aside)
	for _, x := range ss {
		strips = append(strips, x.Patch)
	}
	slices.SortStableFunc(strips, func(a, b cover.Patch) int { return cmp.Compare(b.Area, a.Area) })
	for _, one := range []*evenstand.Finding{left, in, un, guess, twice, small} {
		if one != nil {
			out = append(out, *one)
		}
	}
	slices.SortStableFunc(out, func(a, b evenstand.Finding) int { return cmp.Compare(a.Alarm, b.Alarm) })
	return out, strips
}

// finding begins one that rests on some passes.
func (f *Field) finding(kind string, passes []int, rows evenstand.Rows) *evenstand.Finding {
	slices.Sort(passes)
	passes = slices.Compact(passes)
	x := &evenstand.Finding{
		Kind: kind, Family: evenstand.Family(kind), Stage: evenstand.Raised, Status: evenstand.Open, Grade: f.Grade,
		Rows: rows, Field: f.Name,
	}
	if len(passes) == 0 { // beside none of them: known when the last was done
		passes = []int{len(f.Passes) - 1}
	}
	// It belongs to the day on which it began, whatever comes later.
	first := f.Passes[passes[0]]
	x.Since, x.SinceLow, x.SinceHigh, x.Alarm, x.Day, x.Planter = first.Start, first.Start, first.End, first.End, first.Day, first.Planter
	for _, p := range passes {
		x.Passes = append(x.Passes, f.Passes[p].Ref)
	}
	return x
}

// strip is a gap that a row or more should have planted.
type strip struct {
	cover.Patch
	pass int              // that went by or over it
	rows evenstand.Rows   // of that pass, that would have planted it; empty: beside the bar
	at   evenstand.Micros // when the bar was there
	near float64          // m from the bar's edge
}

// strips gives the gaps that are ground to plant: under the bar of a pass whose
// rows did not, and between passes, where those lie aside metres too far apart
// and too close a gap of so much is no strip.
func (f *Field) strips(aside float64) []strip {
	done := f.Ground.Inside / f.Ground.Area
	under, err := cover.Inside(f.Boundary, f.Swaths, f.RowY[0], f.RowY[len(f.RowY)-1], f.Spacing, lateLeast)
	if err != nil {
		under = nil
	}
	var out []strip
	for _, g := range under {
		g.Length += 2 * lateLeast // the rows' own ends were put off
		g.Area = g.Length * g.Width
		if g.Length < stripLong || g.Width < stripWide*f.Spacing {
			continue
		}
		if s := f.beside(g); s.near == 0 {
			if len(s.rows) == 1 { // the outermost row's edge is left to the seam
				s.Width, s.Area = f.Spacing, s.Length*f.Spacing
			}
			out = append(out, s)
		}
	}
	// What rows left by coming in late joins what lies apart, and so do the seams
	// of passes that lie too far apart.
	all, err := cover.Gaps(f.Boundary, f.Swaths, math.Abs(aside)+f.Ground.See, lateLeast)
	if err != nil {
		all = f.Ground.Gaps
	}
	for _, g := range all {
		if g.Length < stripLong || g.Width < max(stripBetween*f.Spacing, 1.5*f.Ground.See)+math.Abs(aside) || f.atEnds(g) {
			continue
		}
		if edge := g.Border > borderShare; edge && !(done >= mostlyDone || f.Left && done >= halfDone) {
			continue // still to be planted
		}
		// What is left of a field is planted in time, wherever it lies: only what the
		// passes went around is a strip while the field goes on.
		if !f.Left && (f.rest(g) || f.front(g)) || f.doubted(g) {
			continue
		}
		if s := f.beside(g); s.near > 0 { // else it is one of those above
			out = append(out, s)
		}
	}
	return out
}

// rest tells whether a gap is what is still to plant, or was left for later: a
// good part of the field, wider than two passes.
func (f *Field) rest(g cover.Patch) bool {
	return g.Area > restPart*f.Ground.Area && g.Width > 2*f.bar()
}

// bar is how wide the planter is, m.
func (f *Field) bar() float64 { return f.RowY[len(f.RowY)-1] - f.RowY[0] + f.Spacing }

// front tells whether a gap lies beside the last pass and is wide enough for the
// next.
func (f *Field) front(g cover.Patch) bool {
	last := -1
	for i := range f.Swaths {
		if !f.Passes[f.Swaths[i].Pass].Headland {
			last = max(last, f.Swaths[i].Pass)
		}
	}
	if last < 0 || g.Width < 0.8*f.bar() {
		return false
	}
	for i := range f.Swaths {
		s := &f.Swaths[i]
		if s.Pass != last {
			continue
		}
		for k := 0; k < len(s.At); k += max(1, len(s.At)/50) {
			for _, y := range []float64{s.Left - f.Ground.See - 0.3, s.Right + f.Ground.See + 0.3} {
				if g.Polygon.Contains(s.At[k].Right(y)) {
					return true
				}
			}
		}
	}
	return false
}

// atEnds tells whether a gap lies between the ends of passes and ground across.
func (f *Field) atEnds(g cover.Patch) bool {
	wide := endWide
	if f.Grade != evenstand.GradeA {
		wide *= 2 // a reading more at either end
	}
	if g.Width > wide {
		return false
	}
	near, all := 0.0, 0.0
	for _, r := range g.Polygon {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			l := math.Hypot(b[0]-a[0], b[1]-a[1])
			// a long side may hold the ends of several passes
			n := max(1, int(l/2))
			for k := range n {
				u := (float64(k) + 0.5) / float64(n)
				all += l / float64(n)
				if f.nearEnd(geo.Point{a[0] + u*(b[0]-a[0]), a[1] + u*(b[1]-a[1])}, f.Ground.See+0.3) {
					near += l / float64(n)
				}
			}
		}
	}
	return near > endShare*all
}

// nearEnd tells whether a place lies within d metres of the line on which some
// swath begins or ends.
func (f *Field) nearEnd(p geo.Point, d float64) bool {
	for i := range f.Swaths {
		s := &f.Swaths[i]
		for _, q := range []cover.Pose{s.At[0], s.At[len(s.At)-1]} {
			if math.Abs(q.E-p[0]) > 60 || math.Abs(q.N-p[1]) > 60 {
				continue
			}
			sn, cs := math.Sincos(q.Psi)
			e, n := p[0]-q.E, p[1]-q.N
			along, across := e*sn+n*cs, e*cs-n*sn
			if math.Abs(along) <= d && across >= s.Left-d && across <= s.Right+d {
				return true
			}
		}
	}
	return false
}

// beside tells which pass went over or by a gap last, with which rows over it.
func (f *Field) beside(g cover.Patch) strip {
	best := f.besideWithin(g, 100)
	if best.pass < 0 { // a large piece: from its outline
		best = f.besideWithin(g, math.Inf(1))
	}
	return best
}

func (f *Field) besideWithin(g cover.Patch, reach float64) strip {
	c := g.Polygon.Within()
	best := strip{Patch: g, pass: -1, near: math.Inf(1)}
	for i := range f.Swaths {
		s := &f.Swaths[i]
		for k := 1; k < len(s.At); k++ {
			a, b := s.At[k-1], s.At[k]
			if math.Abs(a.E-c[0]) > reach || math.Abs(a.N-c[1]) > reach {
				continue
			}
			sn, cs := math.Sincos(a.Psi)
			e, n := c[0]-a.E, c[1]-a.N
			along, y := e*sn+n*cs, e*cs-n*sn
			step := math.Hypot(b.E-a.E, b.N-a.N)
			if along < -0.5*step || along > 1.5*step {
				continue
			}
			lo, hi := f.RowY[0]-f.Spacing/2, f.RowY[len(f.RowY)-1]+f.Spacing/2
			off := max(0, lo-y, y-hi)
			if off < best.near-0.05 {
				best.near, best.pass, best.at = off, s.Pass, a.T
				best.rows = nil
				if off == 0 {
					best.rows = f.rowsAt(y, g.Width)
				}
			}
		}
	}
	return best
}

// broken tells whether a gap lies between two pieces of one pass: the bar went
// over it, and nothing fell.
func (f *Field) broken(g cover.Patch) bool {
	const before, behind = 1, 2
	sides := map[int]int{}
	for i := range f.Swaths {
		s := &f.Swaths[i]
		y := (s.Left + s.Right) / 2
		for _, d := range []float64{1, 3, 6} {
			if g.Polygon.Contains(s.At[len(s.At)-1].Ahead(d).Right(y)) {
				sides[s.Pass] |= before
			}
			if g.Polygon.Contains(s.At[0].Ahead(-d).Right(y)) {
				sides[s.Pass] |= behind
			}
		}
		if sides[s.Pass] == before|behind {
			return true
		}
	}
	return false
}

// doubted tells whether a pass whose places are in doubt runs along a gap, or
// breaks off before it or begins behind it: then the gap may be none.
func (f *Field) doubted(g cover.Patch) bool {
	for i := range f.Swaths {
		s := &f.Swaths[i]
		if !f.Doubt[s.Pass] {
			continue
		}
		for _, p := range s.At {
			for _, y := range []float64{s.Left - f.Ground.See - 0.3, s.Right + f.Ground.See + 0.3} {
				if g.Polygon.Contains(p.Right(y)) {
					return true
				}
			}
		}
		for _, d := range []float64{1, 3, 6} {
			first, last := s.At[0].Ahead(-d), s.At[len(s.At)-1].Ahead(d)
			if y := (s.Left + s.Right) / 2; g.Polygon.Contains(first.Right(y)) || g.Polygon.Contains(last.Right(y)) {
				return true
			}
		}
	}
	return false
}

// rowsAt gives the rows about y over a width.
func (f *Field) rowsAt(y, width float64) evenstand.Rows {
	var out evenstand.Rows
	for i, r := range f.RowY {
		if math.Abs(r-y) <= max(width, f.Spacing)/2+0.1*f.Spacing {
			n := i + 1
			if f.RowN != nil {
				n = f.RowN[i]
			}
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}

// unplanted is ground inside the boundary that a row or more should have planted.
func (f *Field) unplanted(aside float64) (x *evenstand.Finding, ss []strip) {
	if f.Boundary == nil {
		return nil, nil
	}
	ss = f.strips(aside)
	if len(ss) == 0 {
		return nil, nil
	}
	area := 0.0
	var passes []int
	rows := map[int]bool{}
	byPass := true
	for _, s := range ss {
		area += s.Area
		if s.pass >= 0 {
			passes = append(passes, s.pass)
		}
		byPass = byPass && len(s.rows) > 0
		for _, r := range s.rows {
			rows[r] = true
		}
	}
	var own evenstand.Rows
	if byPass {
		for r := range rows {
			own = append(own, r)
		}
		slices.Sort(own)
	}
	x = f.finding(evenstand.KindUnplantedLeft, passes, own)
	// the first strip tells when it began
	slices.SortStableFunc(ss, func(a, b strip) int { return cmp.Compare(a.at, b.at) })
	if at := ss[0].at; at != 0 {
		x.Since, x.SinceLow, x.SinceHigh = at, at, at
		x.Alarm = max(at, x.Alarm)
	}
	long, wide := ss[0].Length, ss[0].Width
	for _, s := range ss {
		if s.Area > long*wide {
			long, wide = s.Length, s.Width
		}
	}
	sd := f.areaError(ss)
	x.Evidence = []evenstand.Evidence{
		ev("ground not planted", area, max(0, area-1.645*sd), area+1.645*sd, float64(len(ss)), "m2"),
		ev("longest strip", long, nan, nan, nan, "m"),
		ev("its width", wide, nan, nan, nan, "m"),
	}
	// What is left for later, or for good, is said and not priced.
	off, went, edge, rest := 0.0, 0.0, 0.0, 0.0
	for _, s := range ss {
		switch {
		case f.rest(s.Patch):
			rest += s.Area
		case s.Border > borderShare:
			edge += s.Area
		case len(s.rows) > 0 && len(s.rows) < len(f.RowY), f.broken(s.Patch):
			off += s.Area
		default:
			went += s.Area
		}
	}
	x.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseRowsOff, Probability: (1 - seedUnseen) * off},
		evenstand.Cause{Cause: evenstand.CauseSensor, Probability: seedUnseen * off},
		evenstand.Cause{Cause: evenstand.CauseStripMissed, Probability: went},
		evenstand.Cause{Cause: evenstand.CauseCornerLeft, Probability: edge},
		evenstand.Cause{Cause: evenstand.CauseLeftForLater, Probability: rest},
	)
	x.Harm = []evenstand.Harm{{
		Kind: evenstand.EmptyGround, Amount: amount(area-rest, sd), Area: num(area - rest), Target: num(f.Target), Ratio: evenstand.Unknown, Share: 1, Crop: f.Crop,
	}}
	if area-rest < 1 {
		x.Harm = nil
	}
	return x, ss
}

// areaError is one standard deviation of the area of gaps: their length times
// the error of an edge, each by itself.
func (f *Field) areaError(ss []strip) float64 {
	v := 0.0
	for _, s := range ss {
		e := f.Ground.See / 2 / 1.645 * s.Length
		v += e * e
	}
	return math.Sqrt(v)
}

// lateSection tells whether rows go in, or come out, late or early at ground
// that was worked before. By time or by distance: the slope over speed.
func (f *Field) lateSection(ends []cover.End, entry bool) (x *evenstand.Finding, late float64) {
	var by, lag []float64
	ground := 0.0 // m2 left or done twice at the ends, with its sign
	var passes []int
	for _, e := range ends {
		// At the corners of headlands the bar is lowered and lifted by hand.
		if s := &f.Swaths[e.Swath]; s.Width() < lateShare*(f.RowY[len(f.RowY)-1]-f.RowY[0]) { // a row or two by themselves
			continue
		}
		if e.Entry != entry || e.Oblique > lateSide || math.IsInf(e.Gap, 0) || !(e.Pose.V > 0.3) || f.Passes[e.Pass].Headland {
			continue
		}
		l := e.Gap // entering late leaves a gap
		if !entry {
			l = -l // coming out late plants twice
		}
		by, lag, passes = append(by, l), append(lag, math.Abs(e.Lag)), append(passes, e.Pass)
		ground += l * f.Swaths[e.Swath].Width()
	}
	n := len(by)
	if n < lateEnds {
		return nil, 0
	}
	med := stat.Median(by)
	sd := 1.4826 * stat.Median(deviations(by, med))
	se := max(sd, 0.1) * 1.2533 / math.Sqrt(float64(n)) // of a median
	least := lateLeast
	if f.Grade != evenstand.GradeA {
		least = lateCounts
	}
	if math.Abs(med) < least || math.Abs(med)-1.645*se < least/2 {
		return nil, med
	}
	delay, length := timeOrLength(by, lag)
	x = f.finding(evenstand.KindLateSection, passes, nil)
	name := "rows go in late by"
	if !entry {
		name = "rows come out late by"
	}
	x.Evidence = []evenstand.Evidence{
		ev(name, med, med-1.645*se, med+1.645*se, float64(n), "m"),
		ev("which took the bar", stat.Median(lag), nan, nan, nan, "s"),
	}
	x.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseSectionDelay, Probability: delay},
		evenstand.Cause{Cause: evenstand.CauseSectionOffset, Probability: length},
	)
	if math.Min(delay, length) > 0.2 {
		x.Say = append(x.Say, "Whether it is a time or a distance: cannot say, the ends were met at about one speed; to find out: go in slowly at a few ends and at planting speed at others.")
	}
	area := math.Abs(ground)
	h := evenstand.Harm{Kind: evenstand.EmptyGround, Amount: amount(area, area*se/math.Abs(med)), Area: num(f.Ground.Worked), Target: num(f.Target), Ratio: evenstand.Unknown, Share: num(area / f.Ground.Worked), Crop: f.Crop}
	if (med > 0) != entry { // ground done twice
		h.Kind = evenstand.ExtraSeeds
		h.Amount = amount(area*f.Target, area*f.Target*se/math.Abs(med))
	}
	x.Harm = []evenstand.Harm{h}
	return x, med
}

// timeOrLength gives the chances that lateness is one time or one length: which
// of the two is the more alike from end to end, by the spread of its logarithm;
// 1 to 1 where the speed at the ends did not vary.
func timeOrLength(late, lag []float64) (delay, length float64) {
	spread := func(xs []float64) float64 {
		var logs []float64
		for _, x := range xs {
			if x = math.Abs(x); x > 0.05 {
				logs = append(logs, math.Log(x))
			}
		}
		return max(0.01, 1.4826*stat.Median(deviations(logs, stat.Median(logs))))
	}
	// Normal errors whose spread is not known; of ends beside one another a
	// quarter counts (judged).
	nats := float64(len(late)) / 4 * math.Log(spread(late)/spread(lag))
	p := 1 / (1 + math.Exp(-max(-4, min(4, nats))))
	return p, 1 - p
}

// guessRow tells whether passes lie too far apart or too close: all alike, by
// turns with the direction of travel, or at random. aside is how far in the
// middle, 0 where nothing is found.
func (f *Field) guessRow() (x *evenstand.Finding, aside float64) {
	type pair struct{ pass, other int }
	sums := map[pair]*evenstand.Moments{}
	hand := map[pair]float64{} // +1 left hands face each other, -1 right hands
	var order []pair
	for _, b := range cover.Besides(f.Swaths) {
		if f.Passes[b.Pass].Headland || f.Passes[b.Other].Headland || math.Abs(b.Off) > 3 {
			continue
		}
		p := pair{b.Pass, b.Other}
		if sums[p] == nil {
			sums[p] = new(evenstand.Moments)
			order = append(order, p)
		}
		sums[p].Add(b.Off)
		switch {
		case b.Right && b.OtherRight:
			hand[p] = -1
		case !b.Right && !b.OtherRight:
			hand[p] = 1
		}
	}
	var off, z []float64
	var passes []int
	for _, p := range order {
		if sums[p].N < 3 {
			continue
		}
		off, z, passes = append(off, sums[p].Mean()), append(z, hand[p]), append(passes, p.pass, p.other)
	}
	if len(off) < guessPairs {
		return nil, 0
	}
	se := func(xs []float64) float64 {
		return max(1.4826*stat.Median(deviations(xs, stat.Median(xs))), 0.01) * 1.2533 / math.Sqrt(float64(len(xs)))
	}
	// What lies to one side makes the pairs that face each other with their right
	// hands narrow and those with their left hands wide, or the other way round.
	var left, right []float64
	for i := range off {
		switch {
		case z[i] > 0:
			left = append(left, off[i])
		case z[i] < 0:
			right = append(right, off[i])
		}
	}
	all, allSE := stat.Median(off), se(off)
	swing, swingSE := 0.0, math.Inf(1)
	if min(len(left), len(right)) >= guessPairs/2 {
		l, r := stat.Median(left), stat.Median(right)
		swing, swingSE = (l-r)/2, math.Hypot(se(left), se(right))/2
		all, allSE = (l+r)/2, swingSE
		for i := range off { // what is left of each beside its hand
			off[i] -= z[i] * swing
		}
	}
	spread := 1.4826 * stat.Median(deviations(off, all))
	// What the receiver wanders by from pass to pass is no distance of rows.
	var errs []float64
	for i := range f.Swaths {
		if e := f.Swaths[i].Error; !math.IsNaN(e) {
			errs = append(errs, e/1.645)
		}
	}
	if len(errs) == 0 {
		return nil, 0
	}
	own := stat.Median(errs)
	spread = math.Sqrt(math.Max(0, spread*spread-2*own*own))
	beyond := func(v, se float64) bool { return math.Abs(v) >= guessLeast && math.Abs(v)-1.645*se > guessLeast/2 }
	steady, alternate := beyond(all, allSE), beyond(swing, swingSE)
	switch {
	case alternate && math.Abs(swing) >= math.Abs(all):
		x = f.finding(evenstand.KindOffsetDoubt, passes, nil)
		e := swingSE
		x.Evidence = []evenstand.Evidence{
			ev("passes too far apart and too close by turns", math.Abs(swing), math.Abs(swing)-1.645*e, math.Abs(swing)+1.645*e, float64(len(left)+len(right)), "m"),
			ev("which is to the side", swing/2, swing/2-1.645*e/2, swing/2+1.645*e/2, nan, "m"),
		}
		x.Causes = normalise(
			evenstand.Cause{Cause: evenstand.CauseCardOffset, Probability: 0.55},
			evenstand.Cause{Cause: evenstand.CauseGuidanceOffset, Probability: 0.45},
		)
		x.Say = append(x.Say, "Whether the card or the ground is off: cannot say, the logs know the receiver alone; to find out: tape three guess rows of each kind.")
		return x, swing
	case steady, spread >= guessScatter:
		x = f.finding(evenstand.KindGuessRow, passes, nil)
		e := allSE
		x.Evidence = []evenstand.Evidence{
			ev("guess rows too wide by", all, all-1.645*e, all+1.645*e, float64(len(off)), "m"),
			ev("from pass to pass they scatter by", spread, nan, nan, float64(len(off)), "m"),
		}
		if steady {
			x.Causes = normalise(
				evenstand.Cause{Cause: evenstand.CauseWidthSetting, Probability: 0.8},
				evenstand.Cause{Cause: evenstand.CauseCorrection, Probability: 0.1},
			)
		} else {
			x.Causes = normalise(
				evenstand.Cause{Cause: evenstand.CauseCorrection, Probability: 0.7},
				evenstand.Cause{Cause: evenstand.CauseDrift, Probability: 0.25},
			)
		}
		return x, all
	}
	return nil, 0
}

// overlap is ground planted twice, beyond the seams of passes that lie aside
// metres too close.
func (f *Field) overlap(aside float64) *evenstand.Finding {
	var passes []int
	wide, again := 0.0, 0.0
	for _, o := range f.Ground.Overlap {
		if f.Passes[o.Passes[0]].Day != f.Passes[o.Passes[1]].Day && o.Width > againWide*f.bar() {
			again += o.Area // planted again on another day, not run over
			continue
		}
		if o.Width < math.Abs(aside)+2*f.Ground.See { // seams of passes that lie too close
			continue
		}
		wide += o.Area
		passes = append(passes, o.Passes[1])
	}
	two := f.Ground.Twice - again
	if two < overlapLeast*f.Ground.Worked || two-f.Ground.Error < overlapLeast/2*f.Ground.Worked || wide < overlapLeast/2*f.Ground.Worked { // many seams, nothing to see
		return nil
	}
	x := f.finding(evenstand.KindOverlap, passes, nil)
	sd := f.Ground.Error / 1.645
	x.Evidence = []evenstand.Evidence{
		ev("ground planted twice", two, max(0, two-f.Ground.Error), two+f.Ground.Error, float64(len(f.Ground.Overlap)), "m2"),
		ev("of what was planted", two/f.Ground.Worked, nan, nan, nan, "fraction"),
	}
	x.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseNoSections, Probability: 0.6},
		evenstand.Cause{Cause: evenstand.CauseSectionDelay, Probability: 0.2},
		evenstand.Cause{Cause: evenstand.CauseSectionOffset, Probability: 0.15},
	)
	x.Harm = []evenstand.Harm{{
		Kind: evenstand.ExtraSeeds, Amount: amount(two*f.Target, sd*f.Target), Area: num(f.Ground.Worked), Target: num(f.Target), Ratio: evenstand.Unknown,
		Share: num(two / f.Ground.Worked), Crop: f.Crop,
	}}
	return x
}

// coverGap is ground that was missed here and there, too little at any place to
// plant it again; that at the ends of passes counts where nothing else tells of
// it.
func (f *Field) coverGap(told bool) *evenstand.Finding {
	if f.Boundary == nil {
		return nil
	}
	area, n := 0.0, 0
	var passes []int
	for _, g := range f.Ground.Gaps {
		ends := f.atEnds(g)
		if g.Border > borderShare || f.rest(g) || g.Length >= stripLong && g.Width >= stripWide*f.Spacing && !ends || ends && told {
			continue
		}
		s := f.beside(g)
		area, n = area+g.Area, n+1
		if s.pass >= 0 {
			passes = append(passes, s.pass)
		}
	}
	if area < gapLeastPart*f.Ground.Worked || area < f.Ground.Error || len(passes) == 0 {
		return nil
	}
	x := f.finding(evenstand.KindCoverGap, passes, nil)
	x.Evidence = []evenstand.Evidence{
		ev("ground missed in small pieces", area, max(0, area-f.Ground.Error), area+f.Ground.Error, float64(n), "m2"),
		ev("of what was planted", area/f.Ground.Worked, nan, nan, nan, "fraction"),
	}
	x.Causes = normalise(
		evenstand.Cause{Cause: evenstand.CauseSectionDelay, Probability: 0.5},
		evenstand.Cause{Cause: evenstand.CauseSectionOffset, Probability: 0.2},
		evenstand.Cause{Cause: evenstand.CauseGuidanceOffset, Probability: 0.2},
	)
	x.Harm = []evenstand.Harm{{
		Kind: evenstand.EmptyGround, Amount: amount(area, f.Ground.Error/1.645), Area: num(f.Ground.Worked), Target: num(f.Target), Ratio: evenstand.Unknown,
		Share: num(area / f.Ground.Worked), Crop: f.Crop,
	}}
	return x
}

func deviations(xs []float64, m float64) []float64 {
	out := make([]float64, len(xs))
	for i, x := range xs {
		out[i] = math.Abs(x - m)
	}
	return out
}
