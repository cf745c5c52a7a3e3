package pipeline

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/find"
)

// strips hands the stretches of a pass that is over to the engine, all rows of
// a stretch together.
func (s *settler) strips(p *evenstand.Pass, marks []mark) {
	n := len(marks) - 1
	xs, rows := s.xs[:0], s.xsRows[:0]
	if n > 0 { // rows is not moved once strips point into it
		rows = slices.Grow(rows, n*len(s.rows))
	}
	for k := range n {
		a, b := marks[k], marks[k+1]
		x := find.Strip{
			T: (a.T + b.T) / 2, E: a.E, N: a.N, Length: b.S - a.S, Turn: b.Psi - a.Psi,
			Speed: math.NaN(), SpeedSD: math.NaN(), End: k < 2 || k >= n-2,
		}
		if x.Length < evenstand.StretchLength/2 {
			continue
		}
		var speed, sd evenstand.Moments
		from := len(rows)
		for _, r := range s.rows {
			st := r.stretch(int32(k))
			speed.Add(st.Speed.Mean())
			if v := st.Speed.SD(); !math.IsNaN(v) {
				sd.Add(v)
			}
			row := find.StripRow{
				Way: x.Length - r.y*x.Turn, Seeds: float64(st.Seeds), Target: float64(st.Target),
				CV: st.Singles.SD() / st.Singles.Mean(), Gaps: st.Singles.N, Off: float64(st.Off),
			}
			if math.IsNaN(row.Target) {
				row.Target = r.xref
			}
			rows = append(rows, row)
		}
		x.Rows = rows[from:]
		x.Speed, x.SpeedSD = speed.Mean(), sd.Mean()
		xs = append(xs, x)
	}
	s.engine.Strips(xs, p.End)
	s.xs, s.xsRows = xs, rows
}

// noteSpeed says why nothing is said of speed where it was looked for.
func (s *settler) noteSpeed() {
	why := s.engine.SpeedRefused()
	if why == "" || why == "needs seed times" || len(s.passes) < 8 {
		return
	}
	s.note("What speed does to spacing is not said: %s. A test of four passes, half a mile an hour (0.2 m/s) slower and faster by turns, would tell.", why)
}
