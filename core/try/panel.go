package try

import (
	"cmp"
	"math"
	"slices"

	"evenstand"
	"evenstand/core/ground"
	"evenstand/core/measure/group"
)

// Step is one stretch of the bar: 15 m of a pass, all rows.
type Step struct {
	T        evenstand.Micros // middle of the time on it
	Pass     int32            // index within the machine-day
	K        int32            // stretch within the pass
	Field    string
	Headland bool
	Speed    float64 // m/s, mean over the rows; NaN unknown
	// East and North are the place of its middle in m about the panel's first
	// place; NaN unknown.
	East, North float64
}

// Panel is what the rows of a planter did on one machine-day, stretch by
// stretch, by the measures asked for.
type Panel struct {
	Planter  string
	Day      evenstand.Day
	Rows     int
	Spacing  float64 // of the rows, m; NaN unknown
	Measures []group.Measure
	Steps    []Step // in order of pass and stretch, which is that of time

	parts [][]group.Part // by measure; step*Rows + row-1
	base  []int          // first step of each pass
	next  int            // first step that has no place yet
	frame ground.Frame
	first bool // a place came: frame is set
}

// NewPanel gives an empty panel for the measures. Stretches come in by Add, in
// the order of passes.
func NewPanel(planter string, day evenstand.Day, rows int, spacing float64, ms []group.Measure) *Panel {
	return &Panel{Planter: planter, Day: day, Rows: rows, Spacing: spacing, Measures: ms, parts: make([][]group.Part, len(ms))}
}

// Add takes in the stretches of a pass, all its rows.
func (p *Panel) Add(pass *evenstand.Pass, ss []evenstand.Stretch) {
	last := int32(-1)
	for i := range ss {
		last = max(last, ss[i].K)
	}
	for len(p.base) <= int(pass.Index) {
		p.base = append(p.base, len(p.Steps))
	}
	from := len(p.Steps)
	n := int(last) + 1
	p.Steps = append(p.Steps, make([]Step, n)...)
	for m := range p.parts {
		p.parts[m] = append(p.parts[m], make([]group.Part, n*p.Rows)...)
	}
	type sum struct {
		t, n    int64
		speed   float64
		moments float64
	}
	sums := make([]sum, n)
	for i := range ss {
		s := &ss[i]
		if s.Row < 1 || int(s.Row) > p.Rows || s.K < 0 {
			continue
		}
		x := &sums[s.K]
		x.t += int64(s.T - pass.Start)
		x.n++
		if s.Speed.N > 0 {
			x.speed += s.Speed.Mean()
			x.moments++
		}
		for m := range p.Measures {
			if part, ok := p.Measures[m].Part(s, p.Spacing); ok {
				p.parts[m][(from+int(s.K))*p.Rows+int(s.Row)-1] = part
			}
		}
	}
	before := pass.Start
	for k := range sums {
		x := &sums[k]
		st := Step{T: before, Pass: pass.Index, K: int32(k), Field: pass.Field, Headland: pass.Headland, Speed: math.NaN(), East: math.NaN(), North: math.NaN()}
		if x.n > 0 {
			st.T = pass.Start + evenstand.Micros(x.t/x.n)
			before = st.T
		}
		if x.moments > 0 {
			st.Speed = x.speed / x.moments
		}
		p.Steps[from+k] = st
	}
}

// Locate tells where steps lie, by points of the bar's track in order of time; it
// is called with one batch after the other, once all passes are in.
func (p *Panel) Locate(points []evenstand.TrackPoint) {
	for i := range points {
		at := &points[i]
		if math.IsNaN(at.Lat) || math.IsNaN(at.Lon) {
			continue
		}
		if !p.first {
			p.frame, p.first = ground.NewFrame(at.Lat, at.Lon), true
		}
		for ; p.next < len(p.Steps) && p.Steps[p.next].T <= at.T; p.next++ {
			if st := &p.Steps[p.next]; at.T-st.T <= nearby {
				st.East, st.North = p.frame.ToLocal(at.Lat, at.Lon)
			}
		}
	}
}

// nearby is how long after a step a point of the track still tells where it was:
// a second is 2 to 4 m of its 15.
const nearby = evenstand.Second

// Part gives what a row's stretch adds to a measure; N is 0 where it does not
// tell.
func (p *Panel) Part(measure, step, row int) group.Part { return p.parts[measure][step*p.Rows+row-1] }

// Value gives a measure of one row's stretch and its weight, 0 where it does not
// tell.
func (p *Panel) Value(measure, step, row int) (v, weight float64) {
	part := p.Part(measure, step, row)
	if !(part.N > 0) {
		return math.NaN(), 0
	}
	v, ok := p.Measures[measure].Value(part)
	if !ok {
		return math.NaN(), 0
	}
	return v, part.N
}

// Index gives where a measure stands in Measures, false when it was not asked
// for.
func (p *Panel) Index(id string) (int, bool) {
	i := slices.IndexFunc(p.Measures, func(m group.Measure) bool { return m.ID == id })
	return i, i >= 0
}

// At gives the first step whose time is t or later. A step on which no row told
// anything has the time of the one before.
func (p *Panel) At(t evenstand.Micros) int {
	i, _ := slices.BinarySearchFunc(p.Steps, t, func(s Step, t evenstand.Micros) int {
		return cmp.Compare(s.T, t)
	})
	return i
}

// Pass gives the steps of a pass as a range.
func (p *Panel) Pass(index int32) (from, to int) {
	if int(index) >= len(p.base) || index < 0 {
		return len(p.Steps), len(p.Steps)
	}
	from, to = p.base[index], len(p.Steps)
	if int(index)+1 < len(p.base) {
		to = p.base[index+1]
	}
	return from, to
}
