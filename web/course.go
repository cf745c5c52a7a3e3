package web

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
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
	Of      string           `json:"of" doc:"Who the rows are: row 7, the left side"`
	Others  string           `json:"others" doc:"Who the others are: the other rows, the right side"`
	Beside  bool             `json:"beside" doc:"The others are one thing to be compared with, such as the other side, rather than many"`
	Target  []TargetBin      `json:"target" doc:"What was asked for, of seeds planted"`
	Over    bool             `json:"over" doc:"It does not last any more"`
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

// TargetBin is what was asked for over the minutes of a bin.
type TargetBin struct {
	T     evenstand.Micros `json:"time"`
	Value evenstand.Number `json:"value"`
}

// Tick is a time on an axis.
type Tick struct {
	T     evenstand.Micros `json:"time"`
	Clock string           `json:"clock"`
}

// mostBins is how many points the course of a day has at most.
const mostBins = 60

type courseIn struct {
	ID      string `path:"id" doc:"Or its begin, at least three characters"`
	Measure string `query:"measure" doc:"One of the finding's courses; empty: the first"`
}

// coursesOf are the measures whose course shows a finding: the main one, and
// what speaks for its cause.
func coursesOf(kind string) []string {
	switch kind {
	case evenstand.KindLowVacuum:
		return []string{"vacuum", "skips"}
	case evenstand.KindContactLoss:
		return []string{"wheel-off", "load", "force"}
	case evenstand.KindOverload:
		return []string{"load", "force"}
	case evenstand.KindForceHunting:
		return []string{"force", "load"}
	case evenstand.KindPumpLimit:
		return []string{"liquid", "speed"}
	case evenstand.KindDryFurrow:
		return []string{"moisture", "trash"}
	case evenstand.KindColdFurrow:
		return []string{"temperature", "trash"}
	case evenstand.KindCleanerUpset:
		return []string{"trash", "load"}
	case evenstand.KindSpeedSpacing:
		return []string{"spacing", "speed"}
	case evenstand.KindRowLeftOff: // what was switched off is not planted thinly: its strip shows it
		return nil
	}
	if m := measureOf[kind]; m != "" {
		return []string{m}
	}
	return nil
}

// parties names the rows of a finding and those that it compares them with.
func parties(f *evenstand.Finding, card *evenstand.Card) (of, others string, beside bool) {
	of, others = "all rows", ""
	if len(f.Rows) == 0 || len(f.Rows) == card.Rows {
		return of, others, false
	}
	of, others = strings.ToLower(advise.Rows(f.Rows)), "the other rows"
	left := []string{}
	for _, g := range card.Groups {
		switch {
		case g.Kind != "vacuum":
		case slices.Equal(g.Rows, f.Rows):
			of = "the " + g.Name + " side"
		default:
			left = append(left, g.Name)
		}
	}
	if of == strings.ToLower(advise.Rows(f.Rows)) || len(left) != 1 {
		return of, others, false
	}
	return of, "the " + left[0] + " side", true
}

// course gives the measure of a finding's rows and of the others, bin by bin.
func (s *Server) course(ctx context.Context, in *courseIn) (Course, error) {
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return Course{}, err
	}
	if in.Measure == "" {
		tells, err := s.tellings(ctx)
		if err != nil {
			return Course{}, err
		}
		t := tells(f.Planter, f.Day)
		in.Measure = t.instead(measureOf[f.Kind])
	}
	m, ok := group.ByID(in.Measure)
	out := Course{Rows: []CourseBin{}, Peers: []CourseBin{}, Ticks: []Tick{}, Target: []TargetBin{}, Since: f.Since, Until: evenstand.NoTime, Over: f.Until != nil}
	if !ok && in.Measure != "" {
		return out, refuse(fmt.Sprintf("there is no measure %q", in.Measure))
	}
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
	out.Of, out.Others, out.Beside = parties(&f, &card)
	mine, peers, asked := make([]group.Sum, n), make([]group.Sum, n), make([]wanted, n)
	others := false
	err = s.book.Stretches(ctx, f.Planter, f.Day, func(ss []evenstand.Stretch) error {
		for i := range ss {
			k := int((ss[i].T - zero) / step)
			switch {
			case k < 0 || k >= n: // of no pass
			case len(f.Rows) == 0 || slices.Contains(f.Rows, int(ss[i].Row)):
				mine[k].Add(&m, &ss[i], 0, card.RowSpacing)
				asked[k].add(&ss[i], card.RowSpacing)
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
	for k := range asked {
		if x := asked[k].rate(&m); !math.IsNaN(float64(x)) {
			out.Target = append(out.Target, TargetBin{zero + evenstand.Micros(k)*step + step/2, x})
		}
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
