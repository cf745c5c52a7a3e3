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
	sp, err := s.findingView(ctx, in)
	if err != nil {
		return Course{}, err
	}
	m, ok := group.ByID(sp.Links.Measure)
	out := Course{Rows: []CourseBin{}, Peers: []CourseBin{}, Ticks: []Tick{}, Since: sp.Since, Until: evenstand.NoTime}
	if !ok {
		return out, nil
	}
	out.Measure = s.measureInfo(&m)
	if sp.Until != nil {
		out.Until = *sp.Until
	}
	card, err := s.book.Card(sp.Planter, sp.Day)
	if err != nil {
		return out, err
	}
	first, last := evenstand.NoTime, evenstand.NoTime
	var all []evenstand.Stretch
	err = s.book.Stretches(ctx, sp.Planter, sp.Day, func(ss []evenstand.Stretch) error {
		for i := range ss {
			if _, ok := m.One(&ss[i], card.RowSpacing); !ok {
				continue
			}
			if first == evenstand.NoTime || ss[i].T < first {
				first = ss[i].T
			}
			last = max(last, ss[i].T)
			all = append(all, ss[i])
		}
		return nil
	})
	if err != nil || len(all) == 0 {
		return out, err
	}
	step := binStep(last - first)
	zero := first - first%step
	n := int((last-zero)/step) + 1
	mine, peers := make([]group.Sum, n), make([]group.Sum, n)
	others := false
	for i := range all {
		k := int((all[i].T - zero) / step)
		if len(sp.Rows) == 0 || slices.Contains(sp.Rows, int(all[i].Row)) {
			mine[k].Add(&m, &all[i], 0, card.RowSpacing)
		} else {
			peers[k].Add(&m, &all[i], 0, card.RowSpacing)
			others = true
		}
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
	hour := 3600 * evenstand.Second
	for every := hour; ; every *= 2 {
		if int((last-zero)/every) > 8 {
			continue
		}
		for t := zero - zero%every; t <= last; t += every {
			if t >= zero {
				out.Ticks = append(out.Ticks, Tick{t, v.Clock(t)})
			}
		}
		break
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
