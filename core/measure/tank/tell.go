package tank

import "math"

// Scale reconciles what a tank lost with what the meter showed: the meter's
// scale, true over shown, and one standard deviation, from a prior of 1 within
// ScaleError and the tank's own error (methods, section m).
func Scale(shown, lost, sd float64) (scale, scaleSD float64) {
	prior := 1 / (ScaleError * ScaleError)
	own := shown / sd * (shown / sd)
	if !(shown > 0) {
		return 1, ScaleError
	}
	return (prior + own*lost/shown) / (prior + own), 1 / math.Sqrt(prior+own)
}

// Disagrees tells whether a scale says that tank and meter disagree: 2.5
// standard deviations and 2 % (methods, section m).
func Disagrees(scale, sd float64) bool {
	off := math.Abs(scale - 1)
	return off > 2.5*sd && off > 0.02
}

// Point is a reading of the level and what stood beside it.
type Point struct {
	Hours float64 // since the first fill, stops among them
	Shown float64 // by the meter since the first fill
	Level float64
	SD    float64 // of the level's reading
	// Filled is what was put in since the reading before, with one standard
	// deviation; of a fill that nobody wrote down the deviation is the tank's size.
	Filled, FilledSD float64
}

// Verdict is what a tank's levels say of its meter and of a leak.
type Verdict struct {
	Scale, ScaleSD float64 // if nothing leaks
	Lost, LostSD   float64 // if the meter is right, what leaked in all, by the likeliest span
	From, To       float64 // hours of the span, on average over the likely ones
	FromSD         float64 // of its beginning, one standard deviation
	Right          float64 // chance that the meter is right and nothing leaks
	OffScale       float64 // that the meter's scale is off
	Leaks          float64 // that the tank leaks
}

// Priors of the three tales (judged): a meter that is off is so by 8 % or so, a
// tank that leaks loses a tenth of its fill or so; nine times in ten all is well.
const (
	offScale   = 0.08
	leakShare  = 0.1
	priorOff   = 0.05
	priorLeak  = 0.05
	tightScale = 0.01 // of a meter that is right: what is not worth a word
	mostSpans  = 48   // readings between which a leak may begin and end
)

// Tell weighs three tales of the levels since a fill, and over the fills since: all is well, the meter's
// scale is off, the tank leaks over some span of time. A scale grows with what
// was used, a leak with time, whatever is used: a leak that stands as long as
// the work, at its pace, cannot be told from a scale, and the two share the
// chance.
func Tell(filled, fillSD float64, points []Point) Verdict {
	var v Verdict
	exposed := make([]float64, len(points))
	well, _ := fit(filled, fillSD, points, exposed, tightScale, 0)
	off, o := fit(filled, fillSD, points, exposed, offScale, 0)
	v.Scale, v.ScaleSD = o.x[1], math.Sqrt(o.p[1][1])
	// The leak's evidence is the mean over the spans in which it may have run.
	step := max(1, (len(points)+mostSpans-1)/mostSpans)
	var leaks []float64
	var spans [][2]float64
	best := math.Inf(-1)
	for a := -step; a < len(points)-1; a += step {
		from := 0.0
		if a >= 0 {
			from = points[a].Hours
		}
		for b := a + step; b < len(points); b += step {
			to := points[b].Hours
			if to <= from {
				continue
			}
			for i, q := range points {
				exposed[i] = min(1, max(0, (q.Hours-from)/(to-from)))
			}
			e, k := fit(filled, fillSD, points, exposed, tightScale, leakShare*filled)
			if k.x[2] < 0 { // nothing flows in
				e = math.Inf(-1)
			}
			leaks, spans = append(leaks, e), append(spans, [2]float64{from, to})
			if e > best {
				best = e
				v.Lost, v.LostSD = k.x[2], math.Sqrt(k.p[2][2])
			}
		}
	}
	if len(leaks) == 0 {
		return Verdict{Scale: v.Scale, ScaleSD: v.ScaleSD, Right: 1 - priorOff - priorLeak, OffScale: priorOff, Leaks: priorLeak}
	}
	top := math.Max(well, math.Max(off, best))
	a := (1 - priorOff - priorLeak) * math.Exp(well-top)
	b := priorOff * math.Exp(off-top)
	c, all, square := 0.0, 0.0, 0.0
	for i, e := range leaks {
		c += priorLeak * math.Exp(e-top) / float64(len(leaks))
		w := math.Exp(e - best)
		if math.IsNaN(w) {
			continue
		}
		all += w
		v.From, v.To, square = v.From+w*spans[i][0], v.To+w*spans[i][1], square+w*spans[i][0]*spans[i][0]
	}
	if all > 0 {
		v.From, v.To = v.From/all, v.To/all
		v.FromSD = math.Sqrt(math.Max(0, square/all-v.From*v.From))
	}
	v.Right, v.OffScale, v.Leaks = a/(a+b+c), b/(a+b+c), c/(a+b+c)
	return v
}

// filter is a Gaussian over the level at the fill, the scale, and what leaks in
// all.
type filter struct {
	x [3]float64
	p [3][3]float64
}

// fit gives the log evidence of the levels with these standard deviations of
// scale and leak, and what they say of the three; exposed is the share of the
// leak that had run by each reading.
func fit(filled, fillSD float64, points []Point, exposed []float64, scaleSD, leakSD float64) (evidence float64, f filter) {
	f.x = [3]float64{filled, 1, 0}
	f.p = [3][3]float64{{fillSD * fillSD}, {0, scaleSD * scaleSD}, {0, 0, leakSD * leakSD}}
	for k, q := range points {
		f.x[0] += q.Filled
		f.p[0][0] += q.FilledSD * q.FilledSD
		h := [3]float64{1, -q.Shown, -exposed[k]}
		var ph [3]float64
		for i := range ph {
			for j, g := range h {
				ph[i] += f.p[i][j] * g
			}
		}
		s, d := q.SD*q.SD, q.Level
		for i, g := range h {
			s += g * ph[i]
			d -= g * f.x[i]
		}
		evidence -= (math.Log(2*math.Pi*s) + d*d/s) / 2
		for i := range f.x {
			f.x[i] += ph[i] / s * d
			for j := range ph {
				f.p[i][j] -= ph[i] * ph[j] / s
			}
		}
	}
	return evidence, f
}
