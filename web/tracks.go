package web

import (
	"context"
	"math"

	"evenstand"
	"evenstand/core/measure/group"
)

// tracked are the measures given along a pass, in order; the page draws those of
// the ground, and the first ones where there are no single seeds.
var tracked = []string{"skips", "doubles", "population", "spacing", "load", "wheel-off", "force", "moisture", "temperature", "trash", "speed", "vacuum", "liquid", "granular"}

// stretchTracks fills the quantities along a pass, from its stretches.
func (s *Server) stretchTracks(ctx context.Context, out *PassView, p *evenstand.Pass, day evenstand.Day) error {
	ss, err := s.book.PassStretches(ctx, p.Planter, day, p.Index)
	if err != nil {
		return err
	}
	last, rows := int32(-1), out.Rows
	for i := range ss {
		last = max(last, ss[i].K)
		rows = max(rows, int(ss[i].Row))
		out.Grade = out.Grade.Better(ss[i].Grade)
		out.Places = out.Places || ss[i].Metered
	}
	out.Rows = rows
	n := int(last) + 1
	mids := make([]float64, n)
	for k := range mids {
		from := float64(k) * evenstand.StretchLength
		mids[k] = (from + max(from+0.1, min(from+evenstand.StretchLength, p.S1-p.S0))) / 2 // the last one may be short
	}
	for _, id := range tracked {
		m, _ := group.ByID(id)
		values := make([][]evenstand.Number, rows)
		for r := range values {
			values[r] = make([]evenstand.Number, n)
			for k := range values[r] {
				values[r][k] = evenstand.Unknown
			}
		}
		lo, hi, any := math.Inf(1), math.Inf(-1), false
		for i := range ss {
			x, ok := m.One(&ss[i], float64(out.Spacing))
			if !ok || ss[i].Row < 1 {
				continue
			}
			values[ss[i].Row-1][ss[i].K] = evenstand.Number(x)
			lo, hi, any = min(lo, x), max(hi, x), true
		}
		if !any {
			continue
		}
		t := TrackView{Measure: id, Label: m.Label, Axis: axis(s.voice(), m.Unit), ByRow: !same(values), Low: lo, High: hi, Limit: s.limit(&m), S: mids, Values: values}
		if !t.ByRow {
			t.Values = values[:1]
		}
		out.Tracks = append(out.Tracks, t)
	}
	return nil
}

// same tells whether all rows have the same values, as those of the machine.
func same(values [][]evenstand.Number) bool {
	for _, row := range values[1:] {
		for k, x := range row {
			y := values[0][k]
			if x != y && !(math.IsNaN(float64(x)) && math.IsNaN(float64(y))) {
				return false
			}
		}
	}
	return true
}
