package pipeline

import (
	"strings"

	"evenstand"
)

// starters tells by row whether the card's tanks feed it a starter: the only
// product of which it is published what its absence costs.
func (s *settler) starters() []bool {
	out := make([]bool, s.card.Rows)
	for _, t := range s.card.Tanks {
		if !strings.Contains(strings.ToLower(t.Product), "starter") {
			continue
		}
		for _, n := range s.card.RowsOf(evenstand.Element{Scope: evenstand.ScopeTank, N: int16(t.Number)}) {
			out[n-1] = true
		}
	}
	return out
}

// logged notes which quantities rows log and which the whole machine.
func (v *surveyed) logged(r evenstand.Reading) {
	switch r.Element.Scope {
	case evenstand.ScopeRow:
		v.byRow |= 1 << r.Quantity
	case evenstand.ScopeMachine, evenstand.ScopeTank:
		v.whole |= 1 << r.Quantity
	}
}

// noteGround says what the logs of liquid lack.
func (s *settler) noteGround(planted bool) {
	has := func(set uint64, q evenstand.Quantity) bool { return set&(1<<q) != 0 }
	v := &s.survey_
	if !planted {
		return
	}
	s.noteGranules()
	rate, flow := has(v.whole, evenstand.LiquidRate), has(v.byRow, evenstand.LiquidFlow)
	switch {
	case flow:
	case has(v.byRow, evenstand.LiquidRate):
		s.note("Rows log a rate of liquid, but no flow: whether single rows get less cannot be said. Log the flow by row.")
	case rate:
		s.note("Liquid is logged for the whole machine only: whether single rows get less cannot be said. Log the flow by row.")
	}
	if has(v.byRow, evenstand.GaugeWheelLoad) && !has(v.byRow|v.whole, evenstand.AppliedForce) {
		s.note("The load on the gauge wheels is logged, but not the down force: zones of soil are told by the load alone, as if the force were the same everywhere. Log the down force too.")
	}
	if (rate || flow) && !has(v.whole, evenstand.LiquidRateTarget) {
		s.note("Liquid is logged, but not what is asked for: whether the whole machine puts on too much or too little cannot be said. Log the rate that is asked for.")
	}
}

// wheels hands what is logged of the load on the gauge wheels to the engine.
func (s *settler) wheels(x evenstand.Reading) {
	switch x.Quantity {
	case evenstand.GaugeWheelLoad, evenstand.AppliedForce, evenstand.WheelOffShare:
	case evenstand.SeedZoneMoisture:
		s.engine.Moisture(x.Value)
		return
	default:
		return
	}
	if x.Quantity != evenstand.AppliedForce && x.Element.Scope != evenstand.ScopeRow {
		return // a mean over rows says nothing of the ground under one
	}
	for _, n := range s.rowsOf(x.Element) {
		switch x.Quantity {
		case evenstand.GaugeWheelLoad:
			s.engine.Load(n, x.T, x.Value)
		case evenstand.AppliedForce:
			s.engine.Force(n, x.T, x.Value)
		case evenstand.WheelOffShare:
			s.engine.WheelOff(n, x.T, x.Value)
		}
	}
}
