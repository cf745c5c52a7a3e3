package find

import (
	"math"

	"evenstand"
)

// liquid is what is followed of it.
var liquid = product{low: evenstand.KindLiquidRowLow, high: evenstand.KindLiquidRowHigh, off: evenstand.KindLiquidRateOff}

// Flow takes a row's flow in m3/s while planting.
func (e *Engine) Flow(n int, t evenstand.Micros, flow float64) {
	e.liquid.take(n, flow)
	if flow >= 0 && e.liquid.settled >= flowSettle && n <= len(e.rows) && e.rows[n-1].enabled {
		e.pump.flow.add(flow)
		e.flowSwing.flow.add(flow)
	}
}

// LiquidRate takes what the machine's own meter says goes on, in m3/m2.
func (e *Engine) LiquidRate(t evenstand.Micros, rate float64) {
	e.liquid.takeRate(rate)
	if rate >= 0 && e.liquid.settled >= flowSettle {
		e.pump.rate.add(rate)
		e.flowSwing.rate.add(rate)
	}
}

// LiquidWhole takes the same where it is known to be all of the liquid that the
// planter puts on.
func (e *Engine) LiquidWhole(t evenstand.Micros, rate float64) {
	if rate >= 0 {
		e.liquid.said.say(t, rate)
	}
}

// LiquidTarget takes what is asked for, in m3/m2.
func (e *Engine) LiquidTarget(t evenstand.Micros, rate float64) { e.liquid.takeTarget(t, rate) }

// starter tells whether the card says that a row's liquid is a starter, the
// only product whose absence has a published price.
func (e *Engine) starter(n int) bool { return n-1 < len(e.cfg.Starter) && e.cfg.Starter[n-1] }

// starterRows are those of some rows whose liquid is a starter.
func (e *Engine) starterRows(rows []int) (out []int) {
	for _, n := range rows {
		if e.starter(n) {
			out = append(out, n)
		}
	}
	return out
}

// reportLiquid says what a row's flow rests on. m is the log of the flow over
// its peers', s the half-width of its 90 % interval.
func (e *Engine) reportLiquid(c *caseFile, f *evenstand.Finding, m, s float64) {
	x := c.flow
	// Prior odds of the trade (agronomy F53, F54, F59), weighed by when it
	// began. Judgement, no published odds.
	plug, size, hose, valve := 0.80, 0.03, 0.09, 0.06
	if c.kind == evenstand.KindLiquidRowHigh {
		plug, size, hose, valve = 0, 0.06, 0.78, 0.12
	}
	if x.fromStart {
		size = 3
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseOrificePlugged, Probability: plug}, evenstand.Cause{Cause: evenstand.CauseOrificeSize, Probability: size},
		evenstand.Cause{Cause: evenstand.CauseLiquidHose, Probability: hose}, evenstand.Cause{Cause: evenstand.CauseCheckValve, Probability: valve})
	if rows := e.starterRows(c.rows); c.kind == evenstand.KindLiquidRowLow && len(rows) > 0 {
		f.Harm = []evenstand.Harm{e.shortOf(rows, math.Exp(m), s, x.area)}
	}
}

// shortOf is the starter that is missing: part doses added up to whole ones.
// ratio is what came of what is due, with a half-width of 90 % in its log.
func (e *Engine) shortOf(rows []int, ratio, half, area float64) evenstand.Harm {
	const z90 = 1.2815515655446004 // normal quantile of 0.9
	short := math.Max(0, 1-ratio)
	sd := area * math.Hypot(0.03*short, ratio*half/1.645) // the ground is known to 3 % (judgement)
	a := amount(area*short, sd)
	a.High = evenstand.Number(math.Min(float64(a.High), math.Max(area, z90)))
	return evenstand.Harm{
		Kind: evenstand.MissedStarter, Amount: a, Area: num(area), Target: num(e.target(rows)), Ratio: num(ratio), Share: num(short), Crop: e.cropOf(rows),
	}
}

// reportLiquidWhole says what the finding about the machine's liquid rests on. m
// is the liquid over its target, se the standard error.
func (e *Engine) reportLiquidWhole(c *caseFile, f *evenstand.Finding, m, se float64) {
	x := c.whole
	// Prior odds of the trade (agronomy F55, F57), weighed by which meter shows
	// it. Judgement, no published odds.
	pump, meter, control := 0.72, 0.06, 0.18
	switch {
	case x.meterRight():
		pump, meter, control = 0.03, 0.90, 0.03
	case m > 1:
		pump, meter, control = 0, 0.10, 0.85
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CausePump, Probability: pump}, evenstand.Cause{Cause: evenstand.CauseFlowMeter, Probability: meter},
		evenstand.Cause{Cause: evenstand.CauseLiquidControl, Probability: control})
	if rows := e.starterRows(c.rows); m < 1 && len(rows) > 0 {
		f.Harm = []evenstand.Harm{e.shortOf(rows, m, 1.645*se+0.01, x.area)}
	}
}
