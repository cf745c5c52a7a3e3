package web

import (
	"context"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/measure/group"
)

// Drawn is how a finding's chart is written out: its axis, and its marks and
// values as people read them.
type Drawn struct {
	Axis   Axis     `json:"axis"`
	At     []string `json:"at"`
	Values []string `json:"values"`
	Band   string   `json:"band" doc:"What the peers do, in words"`
}

func (s *Server) drawn(c *evenstand.Chart) *Drawn {
	if c == nil {
		return nil
	}
	v := s.voice()
	d := &Drawn{Axis: axis(v, c.Unit), At: []string{}, Values: []string{}}
	for i := range c.At {
		label := itoa(int(c.At[i]))
		switch x := float64(c.At[i]); {
		case c.X == "row" || c.X == "cell":
			label = c.X + " " + label
		case x != math.Trunc(x):
			label = v.Value(x, "")
		}
		d.At = append(d.At, label)
	}
	for _, x := range c.Value {
		d.Values = append(d.Values, shown(v, c.Unit, float64(x)))
	}
	if b := c.Band; b != nil && !math.IsNaN(float64(b.Low)) && !math.IsNaN(float64(b.High)) {
		d.Band = shown(v, c.Unit, float64(b.Low)) + " to " + shown(v, c.Unit, float64(b.High))
	}
	return d
}

// Course is a measure through the day of a finding: its rows, and the others.
type Course struct {
	Measure MeasureInfo      `json:"measure"`
	Title   string           `json:"title"`
	Rows    []CourseBin      `json:"rows" doc:"Those that the finding is about"`
	Peers   []CourseBin      `json:"peers" doc:"The others; empty when it is about all"`
	Since   evenstand.Micros `json:"since"`
	Until   evenstand.Micros `json:"until"`
	Ticks   []Tick           `json:"ticks"`
}

// CourseBin is the measure over some minutes.
type CourseBin struct {
	T     evenstand.Micros `json:"time" doc:"Middle"`
	Clock string           `json:"clock"`
	Value evenstand.Number `json:"value"`
	Low   evenstand.Number `json:"low"`
	High  evenstand.Number `json:"high"`
	Says  string           `json:"says"`
}

// Tick is a time on an axis.
type Tick struct {
	T     evenstand.Micros `json:"time"`
	Clock string           `json:"clock"`
}

// mostBins is how many points the course of a day has at most.
const mostBins = 60

// course gives the measure of a finding's rows and of the others, bin by bin.
func (s *Server) course(ctx context.Context, in *findingIn) (Course, error) {
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return Course{}, err
	}
	m, ok := group.ByID(measureOf[f.Kind])
	out := Course{Rows: []CourseBin{}, Peers: []CourseBin{}, Ticks: []Tick{}, Since: f.Since, Until: evenstand.NoTime}
	if !ok {
		return out, nil
	}
	out.Measure = s.measureInfo(&m)
	if f.Until != nil {
		out.Until = *f.Until
	}
	card, err := s.book.Card(f.Planter, f.Day)
	if err != nil {
		return out, err
	}
	ix, err := s.allPasses(ctx)
	if err != nil {
		return out, err
	}
	first, last := evenstand.NoTime, evenstand.NoTime
	for i := range ix.all {
		if p := &ix.all[i]; p.Planter == f.Planter && ix.day[i] == f.Day {
			if first == evenstand.NoTime {
				first = p.Start
			}
			last = max(last, p.End)
		}
	}
	if first == evenstand.NoTime {
		return out, nil
	}
	step := binStep(last - first)
	zero := first - first%step
	n := int((last-zero)/step) + 1
	mine, peers := make([]group.Sum, n), make([]group.Sum, n)
	others := false
	err = s.book.Stretches(ctx, f.Planter, f.Day, func(ss []evenstand.Stretch) error {
		for i := range ss {
			k := int((ss[i].T - zero) / step)
			switch {
			case k < 0 || k >= n: // of no pass
			case len(f.Rows) == 0 || slices.Contains(f.Rows, int(ss[i].Row)):
				mine[k].Add(&m, &ss[i], 0, card.RowSpacing)
			default:
				peers[k].Add(&m, &ss[i], 0, card.RowSpacing)
				others = true
			}
		}
		return nil
	})
	if err != nil {
		return out, err
	}
	v := s.voice()
	bins := func(sums []group.Sum) []CourseBin {
		out := []CourseBin{}
		for k := range sums {
			f := sums[k].Figure(&m)
			if math.IsNaN(f.Value) {
				continue
			}
			t := zero + evenstand.Micros(k)*step + step/2
			out = append(out, CourseBin{t, v.Clock(t), evenstand.Number(f.Value), evenstand.Number(f.Low), evenstand.Number(f.High), says(v, m.Unit, f)})
		}
		return out
	}
	out.Rows = bins(mine)
	if others {
		out.Peers = bins(peers)
	}
	out.Title = out.Measure.Label + " through the day"
	every := 3600 * evenstand.Second
	for (last-zero)/every > 8 {
		every *= 2
	}
	_, off := zero.Time().In(v.Zone).Zone() // full hours of the logbook's clock
	local := zero + evenstand.Micros(off)*evenstand.Second
	for t := zero + (every-local%every)%every; t <= last; t += every {
		out.Ticks = append(out.Ticks, Tick{t, v.Clock(t)})
	}
	return out, nil
}

// binStep is the width of the bins: whole minutes that divide an hour.
func binStep(span evenstand.Micros) evenstand.Micros {
	for _, m := range []evenstand.Micros{2, 5, 10, 15, 20, 30, 60} {
		if span/(m*60*evenstand.Second) < mostBins {
			return m * 60 * evenstand.Second
		}
	}
	return 3600 * evenstand.Second
}
