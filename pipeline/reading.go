package pipeline

import (
	"math"

	"evenstand"
)

// seedsBeat is how long after a row's last seed its counts are left aside:
// where sources overlap, seeds beat counts.
const seedsBeat = 60 * evenstand.Second

// countSlowest is the longest time in s that one count may stand for.
const countSlowest = 60

// strayShare is the share of the seeds due below which a count is no sign that
// the row plants: dust makes a pulse or two a second. Common practice, no source.
const strayShare = 0.15

// rowsOf gives the card's rows of an element, only lent.
func (s *settler) rowsOf(e evenstand.Element) evenstand.Rows {
	rows, ok := s.rowLists[e]
	if !ok {
		if s.rowLists == nil {
			s.rowLists = map[evenstand.Element]evenstand.Rows{}
		}
		rows = s.card.RowsOf(e)
		s.rowLists[e] = rows
	}
	return rows
}

// reading takes one reading on the one clock.
func (s *settler) reading(x evenstand.Reading) error {
	switch x.Quantity {
	case evenstand.Raw:
		return nil
	case evenstand.RowEnabled:
		for _, n := range s.rowsOf(x.Element) {
			s.rows[n-1].enabled = x.Value >= 0.5
			s.rows[n-1].switchRow(x.T)
			s.engine.Enabled(n, x.Value >= 0.5, x.T)
		}
		return nil
	case evenstand.RowWorking:
		for _, n := range s.rowsOf(x.Element) {
			r := s.rows[n-1]
			r.working, r.workT = int8(math.Round(math.Min(1, math.Max(0, x.Value)))), x.T
			r.switchRow(x.T)
			s.engine.Working(n, x.Value >= 0.5, x.T)
		}
		return nil
	case evenstand.SeedRateTarget:
		if s.live != nil && x.Element.Scope == evenstand.ScopeMachine {
			s.live.target = x
		}
		for _, n := range s.rowsOf(x.Element) {
			s.setTarget(s.rows[n-1], x.Value, x.T)
		}
		return nil
	case evenstand.LiquidRateTarget:
		if x.Element.Scope == evenstand.ScopeMachine || x.Element.Scope == evenstand.ScopeTank {
			s.engine.LiquidTarget(x.T, x.Value)
		}
		return nil
	case evenstand.GranularRateTarget:
		s.engine.GranularTarget(x.T, x.Value)
		return nil
	case evenstand.SeedCount, evenstand.SeedRate, evenstand.SkipFraction, evenstand.DoubleFraction:
		if x.Element.Scope == evenstand.ScopeRow && int(x.Element.N) <= len(s.rows) && x.Element.N >= 1 {
			s.share(s.rows[x.Element.N-1], x)
		}
		return nil
	}
	p := s.passAt(x.T)
	if x.Quantity == evenstand.TankContent {
		switch x.Element.Scope {
		case evenstand.ScopeTank, evenstand.ScopeMachine:
			s.engine.TankLevel(int(x.Element.N), x.Value)
		}
		return nil
	}
	if x.Quantity == evenstand.LiquidFlow {
		switch n := int(x.Element.N); {
		case x.Element.Scope == evenstand.ScopeMachine:
			s.engine.FlowEver(0, x.T, x.Value, s.pose.V)
		case x.Element.Scope == evenstand.ScopeRow && n >= 1 && n <= len(s.rows):
			s.engine.FlowEver(n, x.T, x.Value, s.pose.V)
		}
	}
	if p == nil || !s.planting {
		return nil
	}
	s.begin(p)
	if x.Quantity == evenstand.Vacuum {
		s.vacuum(x)
	}
	k := int32(math.Max(0, s.pose.S-p.S0) / evenstand.StretchLength)
	switch x.Quantity {
	case evenstand.LiquidFlow, evenstand.LiquidRate, evenstand.GranularRate:
		s.product(x, k)
		if s.out != nil {
			s.flowed(x, p)
		}
	}
	switch {
	case x.Quantity == evenstand.LiquidFlow && x.Element.Scope == evenstand.ScopeRow:
		if n := int(x.Element.N); n >= 1 && n <= len(s.rows) {
			s.engine.Flow(n, x.T, x.Value)
		}
		return nil
	case x.Quantity == evenstand.LiquidRate && (x.Element.Scope == evenstand.ScopeMachine || x.Element.Scope == evenstand.ScopeTank):
		s.engine.LiquidRate(x.T, x.Value)
		if x.Element.Scope == evenstand.ScopeMachine || len(s.card.Tanks) <= 1 {
			s.engine.LiquidWhole(x.T, x.Value)
		}
		return nil
	case x.Quantity == evenstand.GranularRate:
		s.granules(x)
		return nil
	}
	s.wheels(x)
	if x.Quantity == evenstand.GroundSpeed && x.Element.Scope == evenstand.ScopeMachine && s.pose.V > 1 && math.Abs(s.pose.V-x.Value) < 0.3*s.pose.V {
		s.engine.SpeedRatio(x.Value / s.pose.V)
	}
	for _, n := range s.rowsOf(x.Element) {
		st := s.rows[n-1].stretch(k)
		switch x.Quantity {
		case evenstand.SeedZoneMoisture, evenstand.SeedZoneTemperature, evenstand.SlotTrash, evenstand.CleanerPressure:
			s.engine.Furrow(n, x.Quantity, x.Value, x.Element.Scope == evenstand.ScopeRow)
		}
		switch x.Quantity {
		case evenstand.GaugeWheelLoad:
			st.Load.Add(x.Value)
		case evenstand.AppliedForce:
			st.Force.Add(x.Value)
		case evenstand.SeedZoneMoisture:
			st.Moisture.Add(x.Value)
		case evenstand.SeedZoneTemperature:
			st.Temperature.Add(x.Value)
		case evenstand.SlotTrash:
			st.Trash.Add(x.Value)
		case evenstand.WheelOffShare:
			st.OffShare.Add(x.Value)
		case evenstand.Vacuum:
			st.Vacuum.Add(x.Value)
		}
	}
	return nil
}

// vacuum hands a reading to the side it belongs to. Rows and sections count
// for the side that they lie in.
func (s *settler) vacuum(x evenstand.Reading) {
	switch x.Element.Scope {
	case evenstand.ScopeMachine:
		s.engine.Vacuum("machine", x.T, x.Value)
	case evenstand.ScopeLeft:
		s.engine.Vacuum("left", x.T, x.Value)
	case evenstand.ScopeRight:
		s.engine.Vacuum("right", x.T, x.Value)
	default:
		rows := s.rowsOf(x.Element)
		if len(rows) > 0 && s.sideOf[rows[0]] >= 0 {
			s.engine.Vacuum(s.names[s.sideOf[rows[0]]], x.T, x.Value)
		}
	}
}

func (s *settler) setTarget(r *rowState, perM2 float64, t evenstand.Micros) {
	if !(perM2 > 0) || math.IsNaN(s.card.RowSpacing) {
		return
	}
	r.target = perM2
	x := 1 / (perM2 * s.card.RowSpacing)
	if !(math.Abs(x-r.xref) < 1e-6) {
		r.xref = x
	}
	s.engine.Target(r.n, perM2, t)
}

// share takes a row's count, rate or share (grade B).
func (s *settler) share(r *rowState, x evenstand.Reading) {
	switch x.Quantity {
	case evenstand.SeedCount:
		r.hasCount = true
		r.pend = append(r.pend, count{x.T, x.Value})
	case evenstand.SeedRate:
		r.rate, r.rateT = x.Value, x.T
		if !r.hasCount {
			r.pend = append(r.pend, count{x.T, -1})
		}
	case evenstand.SkipFraction:
		r.skip, r.shareT = x.Value, x.T
	case evenstand.DoubleFraction:
		r.double = x.Value
		r.shareT = x.T
	}
}

// counts settles what rows counted since the last tick: places due, missed and
// doubled, for the stretches and the engine. Seeds beat counts.
func (s *settler) counts() {
	for _, r := range s.rows {
		for _, c := range r.pend {
			s.countRow(r, c)
		}
		r.pend = r.pend[:0]
	}
}

// firstCount tells by the first count of a pass where the row began to sow.
func (s *settler) firstCount(r *rowState, c count, p *evenstand.Pass) {
	if s.out == nil || r.hasSeeds {
		return
	}
	s.begin(p)
	a, b := s.counted.At(p.Start), s.counted.At(c.t)
	way := b.S - a.S
	seeds := c.n
	if seeds < 0 {
		seeds = r.rate * s.card.RowSpacing * way
	}
	want := way * s.card.RowSpacing * r.target
	if !(way > 0.05) || !(seeds >= 0.5) || want > 0 && seeds < strayShare*want {
		return
	}
	part := 1.0
	if want > 0 {
		part = min(1, seeds/want)
	}
	r.sown.add(int32(math.Round(math.Max(0, a.S-p.S0)*1000)), int32(math.Round(math.Max(0, b.S-p.S0)*1000)), part)
}

func (s *settler) countRow(r *rowState, c count) {
	from := r.countT
	r.countT = c.t
	if c.n >= 0 || !math.IsNaN(r.rate) {
		s.engine.Counted(r.n, c.t)
	}
	if from == evenstand.NoTime || c.t <= from || s.cur >= len(s.passes) {
		return
	}
	gap := (c.t - from).Seconds()
	if gap > countSlowest {
		return
	}
	p := &s.passes[s.cur]
	begins := p.Start
	if s.goesOn(s.cur - 1) { // a count that a turn cut in two is the later pass's
		begins = s.passes[s.cur-1].Start
	}
	if from < begins && c.t > p.Start && c.t <= p.End+passTail && gap <= stateStale.Seconds() {
		s.firstCount(r, c, p) // of the pass: what was counted fell after the lowering
	}
	if from < begins || c.t < p.Start || c.t > p.End+passTail {
		return
	}
	// A box that counts by ten seconds is slow, not silent; a hole in one that
	// counts by the second is a hole.
	if r.every == 0 {
		r.every = gap
	}
	if gap > math.Max(stateStale.Seconds(), 2*r.every) {
		r.every += 0.2 * (gap - r.every)
		return
	}
	r.every += 0.2 * (gap - r.every)
	s.begin(p)
	a, b := s.counted.At(from), s.counted.At(c.t)
	way := (b.S - a.S) - r.y*(b.Psi-a.Psi)
	if way <= 0.05 {
		return
	}
	seeds := c.n
	if seeds < 0 {
		seeds = r.rate * s.card.RowSpacing * way
	}
	if math.IsNaN(seeds) || seeds < 0 {
		return
	}
	if r.hasSeeds || (r.seedAt != evenstand.NoTime && c.t-r.seedAt < seedsBeat) {
		return
	}
	if due := way * s.card.RowSpacing * r.target; seeds > 0.5 && !(seeds < strayShare*due) {
		s.engine.Seed(r.n, c.t)
	}
	skip, double := r.skip, r.double
	known := !math.IsNaN(skip) && (c.t-r.shareT).Seconds() <= math.Max(stateStale.Seconds(), 2*r.every)
	if math.IsNaN(double) {
		double = 0
	}
	if !known {
		skip, double = 0, 0
	}
	if seeds == 0 { // shares mean nothing while nothing falls
		skip, double = 0, 0
	}
	due := seeds / math.Max(0.2, 1-skip+double)
	r.counted += seeds
	// What a box averages still holds the ground from before the bar was down: of
	// the first seconds of a pass nobody knows which places were missed.
	since := p.Start
	if s.goesOn(s.cur - 1) {
		since = begins
	}
	told := !known || !((c.t - since).Seconds() <= s.averaged)
	// The count is spread over the stretches that it was made on.
	s0, s1 := math.Max(0, a.S-p.S0), math.Max(0, b.S-p.S0)
	if s.out != nil {
		part := 1.0
		switch want := way * s.card.RowSpacing * r.target; {
		case seeds < 0.5 || want > 0 && seeds < strayShare*want:
			part = 0
		case want > 0 && seeds < 0.9*want:
			part = seeds / want
		}
		r.sown.add(int32(math.Round(s0*1000)), int32(math.Round(s1*1000)), part)
	}
	for k := int32(s0 / evenstand.StretchLength); ; k++ {
		from, to := float64(k)*evenstand.StretchLength, float64(k+1)*evenstand.StretchLength
		part := 1.0
		if s1 > s0 {
			part = (math.Min(s1, to) - math.Max(s0, from)) / (s1 - s0)
		}
		if part > 0 {
			st := r.stretch(k)
			st.Grade = r.grade()
			st.Seeds += float32(part * seeds)
			if told {
				st.Due += float32(part * due)
				st.Skips += float32(part * skip * due)
				st.Doubles += float32(part * double * due)
			}
			if !math.IsNaN(r.xref) {
				st.Target = float32(r.xref)
			}
		}
		if to >= s1 {
			break
		}
	}
	if known {
		s.engine.Counts(r.n, from, c.t, due, skip*due, double*due)
	} else {
		s.engine.Counts(r.n, from, c.t, due, math.NaN(), math.NaN())
	}
	if !math.IsNaN(r.target) && due > 0 && !math.IsNaN(s.card.RowSpacing) {
		x := due / (r.target * s.card.RowSpacing * way)
		if c.n < 0 {
			x = r.rate / r.target
		}
		r.ratio += 0.05 * (x - r.ratio)
		if r.ratioN++; r.ratioN < 20 {
			r.ratio += (x - r.ratio) / float64(r.ratioN)
		}
		if s.live != nil || !math.IsNaN(a.SD) && !math.IsNaN(b.SD) {
			s.engine.Ratio(r.n, r.ratio)
		}
	}
}
