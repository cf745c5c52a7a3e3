package align_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"evenstand"
	"evenstand/core/align"
)

// toAndFro drives passes beside one another, turning on half circles, and
// lowers the planter where the seed line comes over the one edge of a field and
// lifts it where it leaves over the other. Edges lie across at a slope. late is
// added to the moments, and lag to those of the places.
type toAndFro struct {
	geo                evenstand.Geometry
	passes             int
	heading, slope     float64 // rad, and metres along by metre across
	v, late, lag       float64
	edge, length, turn float64 // m: of the first edge from the end of the turns, between edges, radius of turns
}

func (x toAndFro) log(seed uint64) (*align.Track, []align.Interval, *drive) {
	if x.turn == 0 {
		x.turn = 6.1
	}
	var plan []part
	for i := range x.passes {
		plan = append(plan, part{way: 2*x.edge + x.length, v: x.v}, part{way: math.Pi * x.turn, kappa: math.Pow(-1, float64(i)) / x.turn, v: x.v})
	}
	d := newDrive(seed, x.geo, 0, x.heading, 0.02, plan)
	s, c := math.Sincos(x.heading)
	inside := func(i int) bool {
		along, across := d.be[i]*s+d.bn[i]*c, d.be[i]*c-d.bn[i]*s
		along -= x.edge + x.slope*across
		return along >= 0 && along <= x.length
	}
	var down []align.Interval
	for i := 1; i < len(d.t); i++ {
		at := firstTime + evenstand.FromSeconds((d.t[i-1]+d.t[i])/2+x.late)
		switch a, b := inside(i-1), inside(i); {
		case b && !a:
			down = append(down, align.Interval{From: at})
		case a && !b && len(down) > 0:
			down[len(down)-1].To = at
		}
	}
	fixes := d.fixes(seed, 5, 0.02, evenstand.FixRTK)
	for i := range fixes {
		fixes[i].T += evenstand.FromSeconds(x.lag)
	}
	return align.Smooth(fixes, d.frame, align.DefaultSmooth()), down, d
}

var width = align.BehindOptions{Width: 12.2}

// The distance comes back whatever the coupling, the slope of the edges and the
// direction. By hand: a receiver that is 0.1 s late at 2 m/s makes it 0.20 m
// shorter, moments that are logged 0.3 s late make it 0.60 m longer, and the
// latter are taken off when they are told.
func TestFindBehind(t *testing.T) {
	short := evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 1.2, HitchToRowLine: 4.4, AntennaRight: 0}
	mounted := evenstand.Geometry{Hitch: evenstand.Mounted, AntennaToHitch: 1.5, HitchToRowLine: 2.6, AntennaRight: 0}
	for _, tt := range []struct {
		name string
		x    toAndFro
		told float64 // s, how late moments are said to be
		want float64 // m
	}{
		{"trailed", toAndFro{geo: trailed}, 0, 8.5},
		{"short, across a slope", toAndFro{geo: short, slope: 0.3, heading: 1}, 0, 5.6},
		{"mounted", toAndFro{geo: mounted, slope: -0.2, heading: 4}, 0, 4.1},
		{"a late receiver", toAndFro{geo: trailed, lag: 0.1}, 0, 8.3},
		{"late moments", toAndFro{geo: trailed, late: 0.3}, 0, 9.1},
		{"late moments, told", toAndFro{geo: trailed, late: 0.3}, 0.3, 8.5},
	} {
		t.Run(tt.name, func(t *testing.T) {
			tt.x.passes, tt.x.v, tt.x.edge, tt.x.length = 14, 2, 40, 60
			tr, down, _ := tt.x.log(11)
			opt := width
			opt.Late = tt.told
			b := align.FindBehind(tr, down, opt)
			if !(math.Abs(b.Distance-tt.want) < 0.04) || b.Ends < 20 {
				t.Errorf("%.3f m by %d ends, want %.3f", b.Distance, b.Ends, tt.want)
			}
			if b.SE < 0.3 || b.SE > 0.31 || math.Abs(b.Speed-2) > 0.1 || b.Scatter > 0.1 {
				t.Errorf("standard error %.3f m, speed %.2f, scatter %.3f", b.SE, b.Speed, b.Scatter)
			}
		})
	}
}

// Where the planter is lowered soon after a turn the bar has not quite come
// round. The closed form of the tractrix: the tangent of half the angle between
// tractor and bar falls by exp(-s/L) over s metres; ahead of it the receiver is
// then L cos of the angle, and the half sum over both ends comes back.
func TestFindBehindTractrix(t *testing.T) {
	const l = 9
	long := evenstand.Geometry{Hitch: evenstand.Trailed, AntennaToHitch: 0, HitchToRowLine: l, AntennaRight: 0}
	x := toAndFro{geo: long, passes: 14, v: 2, edge: 9.5, length: 60}
	tr, down, d := x.log(12)
	sum, n := 0.0, 0
	for i := 1; i < len(d.t); i++ {
		if d.leg[i] == d.leg[i-1] || d.leg[i]%2 == 1 {
			continue
		}
		// The turn has just ended; the way of the hitch from here to where the
		// seed line comes over the edge.
		course := math.Atan2(d.ae[i]-d.ae[i-1], d.an[i]-d.an[i-1])
		half := math.Tan(math.Abs(math.Remainder(course-d.psi[i], 2*math.Pi)) / 2)
		for _, iv := range down {
			at := (iv.From - firstTime).Seconds()
			if at < d.t[i] || at > d.t[i]+30 {
				continue
			}
			s := x.v * (at - d.t[i])
			sum += l * math.Cos(2*math.Atan(half*math.Exp(-s/l)))
			n++
			break
		}
	}
	want := (sum/float64(n) + l) / 2
	if b := align.FindBehind(tr, down, width); n < 10 || want > l-0.08 || !(math.Abs(b.Distance-want) < 0.05) {
		t.Errorf("%.3f m, want %.3f by %d turns", b.Distance, want, n)
	}
}

// Drivers lift and lower where they please: each end by itself half a metre off
// leaves a standard error of 0.5/√n beside that of the habit.
func TestFindBehindScatter(t *testing.T) {
	x := toAndFro{geo: trailed, passes: 30, v: 2, edge: 40, length: 60}
	tr, down, _ := x.log(13)
	g := rand.New(rand.NewPCG(13, 3))
	sq, runs := 0.0, 60
	var b align.Behind
	for range runs {
		moved := make([]align.Interval, len(down))
		for i, iv := range down {
			moved[i] = align.Interval{From: iv.From + evenstand.FromSeconds(0.25*g.NormFloat64()), To: iv.To + evenstand.FromSeconds(0.25*g.NormFloat64())}
		}
		b = align.FindBehind(tr, moved, width)
		sq += (b.Distance - 8.5) * (b.Distance - 8.5)
	}
	rms, said := math.Sqrt(sq/float64(runs)), math.Sqrt(b.SE*b.SE-0.3*0.3)
	if rms < 0.6*said || rms > 1.5*said || math.Abs(b.Scatter-0.5) > 0.15 {
		t.Errorf("rms %.3f m, said %.3f beside the habit; scatter %.2f m", rms, said, b.Scatter)
	}
}

// What does not tell gives nothing: too few passes, all driven one way, no
// width, no moments.
func TestFindBehindUnknown(t *testing.T) {
	x := toAndFro{geo: trailed, passes: 14, v: 2, edge: 40, length: 60}
	tr, down, _ := x.log(14)
	var oneWay []align.Interval
	for i := 0; i < len(down); i += 2 {
		oneWay = append(oneWay, down[i])
	}
	for name, b := range map[string]align.Behind{
		"few passes": align.FindBehind(tr, down[:6], width),
		"one way":    align.FindBehind(tr, oneWay, width),
		"no width":   align.FindBehind(tr, down, align.BehindOptions{Width: math.NaN()}),
		"no moments": align.FindBehind(tr, nil, width),
	} {
		if !math.IsNaN(b.Distance) || !math.IsNaN(b.SE) {
			t.Errorf("%s: %.2f m, want none", name, b.Distance)
		}
	}
}
