package pipeline

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/measure/seedspacing"
)

// stretch gives the row's stretch k of the open pass.
func (r *rowState) stretch(k int32) *evenstand.Stretch {
	k = max(0, k-r.strBase)
	for int(k) >= len(r.str) {
		nan := float32(math.NaN())
		r.str = append(r.str, evenstand.Stretch{Row: int16(r.n), K: r.strBase + int32(len(r.str)), Target: nan, LoadP5: nan, Liquid: nan, Granular: nan, PosError: nan})
	}
	return &r.str[k]
}

// stretchSeed counts a seed and its gap in the row's stretch k.
func (s *settler) stretchSeed(r *rowState, k, gap int32, class evenstand.Class, xref float64) {
	st := r.stretch(k)
	st.Seeds++
	st.Grade = evenstand.GradeA
	if xref > 0 {
		st.Target = float32(xref)
	}
	if gap < 0 || class == evenstand.NoClass {
		return
	}
	way := float64(gap) / 1000
	switch class {
	case evenstand.Multiple:
		st.Classes[0]++
	case evenstand.Single:
		st.Classes[1]++
		st.Singles.Add(way)
	default:
		st.Classes[min(4, 1+max(1, seedspacing.Missing(way, xref)))]++
	}
}

// endPass finishes the open pass.
func (s *settler) endPass() error {
	p := &s.passes[s.cur]
	s.begin(p)
	for _, r := range s.rows {
		s.breakRow(r)
	}
	if s.lowered && !s.goesOn(s.cur) {
		s.lowered = false
		s.engine.Lift(p.End)
	}
	if s.out != nil {
		if err := s.handOver(p); err != nil {
			return err
		}
	}
	if s.live == nil || s.live.whole(p) {
		s.strips(p, s.marks(p))
	}
	for _, r := range s.rows {
		r.ever = r.ever || r.hasSeeds || r.counted > 0
	}
	s.cur++
	s.open = false
	return nil
}

// handOver hands a finished pass over, with its seeds and stretches.
func (s *settler) handOver(p *evenstand.Pass) error {
	marks := s.marks(p)
	seeds, stretches := s.passOut[:0], s.strOut[:0]
	planted := 0.0
	total := 0.0
	sown := s.sown()
	told := s.told(marks)
	for _, r := range s.rows {
		seeds = append(seeds, r.seeds)
		total += float64(len(r.seeds))
		n := len(marks) - 1
		liquid, granular := holding{of: r.products.liquid, age: heldFor}, holding{of: r.products.granular, age: heldFor}
		for k := range n {
			st := *r.stretch(int32(k))
			a, b := marks[k], marks[k+1]
			st.Pass = p.Index
			st.Length = float32(b.S - a.S)
			st.Way = float32((b.S - a.S) - r.y*(b.Psi-a.Psi))
			st.T = (a.T + b.T) / 2
			v := st.Speed.Mean()
			if math.IsNaN(v) {
				v = a.V
			}
			if !s.path.Antenna { // else nobody knows where the seed line is
				st.PosError = float32(1.645 * math.Sqrt(a.SD*a.SD+r.y*r.y*a.PsiSD*a.PsiSD+s.posExtra(v)))
			}
			if sown {
				s.silentGround(r, &st, told[k])
			}
			seconds := (b.T - a.T).Seconds()
			st.Liquid = liquid.amount(k, &st, s.card.RowSpacing, seconds)
			st.Granular = granular.amount(k, &st, s.card.RowSpacing, seconds)
			stretches = append(stretches, st)
			if sown && !math.IsNaN(s.card.RowSpacing) {
				planted += math.Max(0, float64(st.Way)-float64(st.Off)) * s.card.RowSpacing
			}
			if st.Grade != evenstand.GradeA {
				total += float64(st.Seeds)
			}
		}
	}
	for i := range s.res.Planted {
		if s.res.Planted[i].Field == p.Field {
			s.res.Planted[i].Area += planted
			s.res.Planted[i].Seeds += total
			planted, total = 0, 0
		}
	}
	if planted > 0 || total > 0 {
		s.res.Planted = append(s.res.Planted, Planted{Field: p.Field, Area: planted, Seeds: total})
	}
	slices.SortFunc(s.res.Planted, func(a, b Planted) int {
		switch {
		case a.Field < b.Field:
			return -1
		case a.Field > b.Field:
			return 1
		}
		return 0
	})
	s.passOut, s.strOut = seeds, stretches
	return s.out.Pass(*p, seeds, stretches, s.worked(p))
}

// posExtra is the squared part of a place's error that speed brings in, m2:
// clocks are good to 30 ms where nothing better is known, the fall to 5 ms.
func (s *settler) posExtra(v float64) float64 {
	const clock, fall = 0.03, 0.005 // s; the first judged, the second of a seed's fall
	return v * v * (clock*clock + fall*fall)
}

// sown tells whether most rows gave seed in the open pass, by seed times or by
// counts. Without that the bar was only drawn through the ground, or a box was
// silent, and nothing can be said of any row.
func (s *settler) sown() bool {
	n := 0
	for _, r := range s.rows {
		if r.hasSeeds || r.counted > 0 {
			n++
		}
	}
	return n > 0 && 2*n >= len(s.rows)
}

// told gives for each stretch of a pass the share of it on which the best row
// shows that planting was logged. Where the receiver jumps or is silent, or the
// seed box is, all rows lack seeds at once, and of that ground nobody knows that
// a place was missed; boxes that count say so themselves when nothing falls.
func (s *settler) told(marks []mark) []float64 {
	const whole = 0.9 // what the best row misses by skips
	out := make([]float64, max(0, len(marks)-1))
	for k := range out {
		a, b := marks[k], marks[k+1]
		for _, r := range s.rows {
			st := r.stretch(int32(k))
			way := (b.S - a.S) - r.y*(b.Psi-a.Psi) - float64(st.Off)
			switch {
			case math.IsNaN(r.xref) || way <= 0:
			case st.Grade != evenstand.NoGrade && st.Grade != evenstand.GradeA:
				out[k] = 1
			default:
				out[k] = max(out[k], float64(st.Seeds)*r.xref/way)
			}
		}
		if out[k] > whole {
			out[k] = 1
		}
	}
	return out
}

// silentGround counts places that were due on ground where the row gave no
// seed although it was in the ground and switched on while the others planted;
// told is the share of the stretch of which that is known.
func (s *settler) silentGround(r *rowState, st *evenstand.Stretch, told float64) {
	if st.Way <= 0 || math.IsNaN(r.xref) || (!r.hasSeeds && !r.hasCount && !r.ever) {
		return
	}
	want := float32((float64(st.Way) - float64(st.Off)) / r.xref * told)
	fell := max(st.Due, st.Seeds) // seeds of which nobody knows the gap are no places due
	if fell < 0.5*want && want-fell > 20 {
		st.Skips += want - fell
		st.Due = want
		if math.IsNaN(float64(st.Target)) {
			st.Target = float32(r.xref)
		}
		if st.Grade == evenstand.NoGrade {
			st.Grade = r.grade()
		}
	}
}

type mark struct {
	align.Pose
	T evenstand.Micros
}

// marks gives the poses at the borders of the pass's stretches.
func (s *settler) marks(p *evenstand.Pass) []mark {
	c := s.path.Cursor()
	at := func(t evenstand.Micros) mark { return mark{c.At(t), t} }
	first, last := at(p.Start), at(p.End)
	out := []mark{first}
	next := p.S0 + evenstand.StretchLength
	i, _ := slices.BinarySearch(s.path.T, p.Start)
	for ; i < len(s.path.T) && s.path.T[i] <= p.End; i++ {
		for s.path.S[i] >= next && next < last.S-0.01 {
			t := s.path.T[i]
			if i > 0 && s.path.S[i] > s.path.S[i-1] {
				f := (s.path.S[i] - next) / (s.path.S[i] - s.path.S[i-1])
				t -= evenstand.FromSeconds(f * (s.path.T[i] - s.path.T[i-1]).Seconds())
			}
			m := mark{s.path.Cursor().At(t), t}
			m.S = next
			out = append(out, m)
			next += evenstand.StretchLength
		}
	}
	return append(out, last)
}
