package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// On a curve the outer rows go further than the inner ones. A planter whose
// rows all drop at the speed of the middle plants target/(1 - y κ) there
// (R20): too thick inside, too thin outside, and right on the straight. So the
// error of a row's rate, ln, is held against how much less ground it covers
// than the middle, ln: a slope of 0 is compensated, 1 is not compensated, 2 is
// compensated the wrong way round, -2 says that the card's rows are mirrored.
const (
	turnPhi   = 4.0 // over-dispersion of stretches: judgement
	turnNoise = 0.02
	turnAlarm = 20.0 // nats
	turnHeal  = 12.0
	turnFar   = 0.25 // of ln rate from the middle row: trouble of its own
	turnShift = 0.004
)

// turnSlopes are what is tried.
var turnSlopes = [...]float64{1, 2, -2}

type turnSums struct {
	a, b, aa, ab, bb, passes float64
	area                     float64    // m2 planted
	part, over               [2]float64 // m2 too thick and too thin, and their mean ratio's sum
	tight                    float64    // rad a metre, most
}

func (s *turnSums) add(o *turnSums) {
	s.a, s.b = s.a+o.a, s.b+o.b
	s.aa, s.ab, s.bb = s.aa+o.a*o.a, s.ab+o.a*o.b, s.bb+o.b*o.b
	if o.a > 0 {
		s.passes++
	}
	s.area += o.area
	for i := range s.part {
		s.part[i] += o.part[i]
		s.over[i] += o.over[i]
	}
	s.tight = math.Max(s.tight, o.tight)
}

// turnWatch follows the rate on curves.
type turnWatch struct {
	noise float64 // variance of ln rate between rows on the straight
	c     [len(turnSlopes)]float64
	sums  [len(turnSlopes)]turnSums
	from  [len(turnSlopes)]evenstand.Micros
	heal  float64
	healT evenstand.Micros
	kept  turnSums
	cse   *caseFile
}

type turnCase struct {
	turnSums
	slope float64 // of those tried
}

func (e *Engine) turnPass(xs []Strip, t evenstand.Micros) {
	w := &e.turn
	if w.noise == 0 {
		w.noise = turnNoise * turnNoise
	}
	var p turnSums
	var x, y, way []float64
	for i := range xs {
		s := &xs[i]
		x, y, way = x[:0], y[:0], way[:0]
		for _, r := range s.Rows {
			if r.Off == 0 && r.Way > 1 && r.Seeds > 0 && r.Target > 0 {
				x = append(x, -math.Log(r.Way/s.Length))
				y = append(y, math.Log(r.Seeds*r.Target/r.Way))
				way = append(way, r.Way)
			}
		}
		if len(y) < bouncePeers || 2*len(y) < len(s.Rows) || s.End {
			continue
		}
		mx, my, n := 0.0, 0.0, 0.0
		mid := stat.Median(y)
		for j := range y {
			if math.Abs(y[j]-mid) < turnFar {
				mx, my, n = mx+x[j], my+y[j], n+1
			}
		}
		if n < bouncePeers {
			continue
		}
		mx, my = mx/n, my/n
		var a, b, v float64
		for j := range y {
			if math.Abs(y[j]-mid) >= turnFar {
				continue
			}
			a += (x[j] - mx) * (x[j] - mx)
			b += (x[j] - mx) * (y[j] - my)
			v += (y[j] - my) * (y[j] - my)
			area := way[j] * e.cfg.Spacing
			p.area += area
			if d := x[j] - mx; math.Abs(d) > turnShift {
				k := 0
				if d < 0 {
					k = 1
				}
				p.part[k] += area
				p.over[k] += area * d
			}
		}
		if math.Abs(s.Turn) < 0.01 {
			w.noise += (v/(n-1) - w.noise) / 500
			continue
		}
		p.a, p.b = p.a+a, p.b+b
		p.tight = math.Max(p.tight, math.Abs(s.Turn)/s.Length)
	}
	if len(xs) == 0 {
		return
	}
	nats := func(slope float64) float64 { return (slope*p.b - slope*slope/2*p.a) / (w.noise * turnPhi) }
	if c := w.cse; c != nil && c.open() {
		if w.heal == 0 {
			w.healT, w.kept = xs[0].T, c.turn.turnSums
		}
		e.dropLost(c)
		w.heal = math.Max(0, w.heal-nats(c.turn.slope))
		c.turn.add(&p)
		if w.heal >= turnHeal {
			c.turn.turnSums = w.kept
			c.over(w.healT)
			w.heal, w.cse = 0, nil
			clear(w.c[:])
		}
		return
	}
	best := 0
	for i, s := range turnSlopes {
		if w.c[i] == 0 {
			w.sums[i], w.from[i] = turnSums{}, xs[0].T
		}
		w.c[i] = math.Max(0, w.c[i]+nats(s))
		if w.c[i] > 0 {
			w.sums[i].add(&p)
		}
		if w.c[i] > w.c[best] {
			best = i
		}
	}
	if w.c[best] < turnAlarm {
		return
	}
	var rows []int
	for _, r := range e.rows {
		rows = append(rows, r.n)
	}
	grade := evenstand.GradeA
	for _, r := range e.rows {
		grade = max(grade, r.grade)
	}
	on := w.from[best]
	w.heal = 0
	w.cse = e.add(&caseFile{
		kind: evenstand.KindTurnRate, rows: rows, onset: on, onsetLow: on, onsetHigh: t, alarm: t, grade: grade,
		turn: &turnCase{turnSums: w.sums[best], slope: turnSlopes[best]},
	})
	e.raise(w.cse)
	e.dropLost(w.cse)
}

// dropLost drops what was said of single rows' tubes and sensors while rows ran
// at another rate than their own ground asked for: the rhythm of the outer ones
// is lost there, and that is all it was.
func (e *Engine) dropLost(c *caseFile) {
	for _, o := range e.cases {
		if o.dropped || o.onset < c.onset-turnBefore || o.kind != evenstand.KindSensorDoubt && o.kind != evenstand.KindRowBounce {
			continue
		}
		o.dropped = true
		e.release(o)
		for _, n := range o.rows {
			if b := &e.row(n).bounce; b.cse == o {
				b.cse, b.c = nil, 0
			}
		}
	}
}

// turnBefore is by how much the beginning of a row's trouble may be early.
const turnBefore = 60 * evenstand.Second

func (e *Engine) reportTurn(c *caseFile, f *evenstand.Finding) {
	s := c.turn
	b := s.b / s.a
	// By passes, and no better than the stretches' own noise.
	v := e.turn.noise * turnPhi / s.a
	if s.passes > 1 {
		v = math.Max(v, (s.bb-2*b*s.ab+b*b*s.aa)/(s.a*s.a)*s.passes/(s.passes-1))
	}
	half := 1.645 * math.Sqrt(v)
	f.Evidence = []evenstand.Evidence{
		ev("share of the curve's error that is left", b, b-half, b+half, s.passes, ""),
		ev("radius of the tightest curve", 1/s.tight, nan, nan, nan, "m"),
	}
	names := [2]string{"too thick inside", "too thin outside"}
	for k, a := range s.part {
		if a <= 0 {
			continue
		}
		ratio := math.Exp(b * s.over[k] / a)
		i := k
		if b < 0 {
			i = 1 - k
		}
		f.Evidence = append(f.Evidence, ev(names[i], ratio, math.Exp((b-half)*s.over[k]/a), math.Exp((b+half)*s.over[k]/a), nan, ""))
		f.Harm = append(f.Harm, evenstand.Harm{
			Kind: evenstand.RateError, Amount: amount(a, 0.03*a), Area: num(s.area), Target: num(e.target(c.rows)),
			Ratio: num(ratio), Share: num(a / s.area), Crop: e.cropOf(c.rows),
		})
	}
	off, box, card := 0.93, 0.04, 0.01
	switch {
	case b < 0:
		off, box, card = 0.02, 0.10, 0.85
	case b > 1.5:
		off, box, card = 0.05, 0.90, 0.02
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseTurnOff, Probability: off}, evenstand.Cause{Cause: evenstand.CauseRowOrder, Probability: box}, evenstand.Cause{Cause: evenstand.CauseCard, Probability: card})
}
