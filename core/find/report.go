package find

import (
	"fmt"
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// report turns a case into a finding without id, money and words.
func (e *Engine) report(c *caseFile, end evenstand.Micros) (evenstand.Finding, bool) {
	c = c.together()
	f := evenstand.Finding{
		Kind: c.kind, Stage: evenstand.Suspected, Status: evenstand.Open, Grade: c.grade,
		Rows: append(evenstand.Rows(nil), c.rows...), Since: c.onset, SinceLow: min(c.onsetLow, c.onset), SinceHigh: max(c.onsetHigh, c.onset),
		Alarm: c.alarm, Planter: e.cfg.Planter,
	}
	if c.raised {
		f.Stage = evenstand.Raised
	}
	if c.until != evenstand.NoTime {
		u := c.until
		f.Until, f.Status = &u, evenstand.Ended
	}
	switch {
	case c.doubt != nil:
		e.reportDoubt(c, &f)
	case c.silent != nil:
		e.reportSilent(c, &f)
	case c.position != nil:
		e.reportPosition(c, &f)
	case c.cell != nil:
		e.reportCell(c, &f)
	case c.stop != nil:
		e.reportStop(c, &f)
	case c.off != nil:
		e.reportOff(c, &f)
	case c.rate != nil:
		e.reportRate(c, &f)
	case c.vac != nil:
		e.reportVacuum(c, &f)
	case c.runs != nil:
		e.reportRuns(c, &f)
	case c.spread != nil:
		e.reportBounce(c, &f)
	case c.flow != nil:
		e.reportFlow(c, &f)
	case c.alone != nil:
		e.reportAlone(c, &f)
	case c.tank != nil:
		e.reportTank(c, &f)
	case c.lot != nil:
		e.reportLot(c, &f)
	case c.whole != nil:
		e.reportWhole(c, &f)
	case c.pump != nil:
		e.reportPump(c, &f)
	case c.swing != nil && c.kind == evenstand.KindForceHunting:
		e.reportForce(c, &f)
	case c.swing != nil:
		e.reportFlowSwing(c, &f)
	case c.drive != nil:
		e.reportDrive(c, &f)
	case c.contact != nil:
		e.reportContact(c, &f)
	case c.press != nil:
		e.reportPress(c, &f)
	case c.furrow != nil:
		e.reportFurrow(c, &f)
	case c.trouble != nil:
		e.reportFurrowRow(c, &f)
	case c.slot != nil:
		e.reportSlot(c, &f)
	case c.speed != nil:
		e.reportSpeed(c, &f)
	case c.turn != nil:
		e.reportTurn(c, &f)
	case c.recur != nil:
		e.reportRecur(c, &f)
	default:
		e.reportRow(c, &f)
	}
	f.Family = evenstand.Family(f.Kind)
	return f, true
}

func num(v float64) evenstand.Number { return evenstand.Number(v) }

func ev(name string, v, lo, hi, n float64, unit string) evenstand.Evidence {
	return evenstand.Evidence{Name: name, Value: num(v), Low: num(lo), High: num(hi), N: num(n), Unit: unit}
}

var nan = math.NaN()

// normalise turns weights into probabilities; what is left of one is "other".
func normalise(cs ...evenstand.Cause) []evenstand.Cause {
	sum := 0.0
	for _, c := range cs {
		sum += c.Probability
	}
	if sum <= 0 {
		return nil
	}
	const other = 0.03
	var out []evenstand.Cause
	for _, c := range cs {
		c.Probability *= (1 - other) / sum
		if c.Probability >= 0.005 {
			out = append(out, c)
		}
	}
	for i := 1; i < len(out); i++ {
		for j := i; j > 0 && out[j].Probability > out[j-1].Probability; j-- {
			out[j], out[j-1] = out[j-1], out[j]
		}
	}
	return out
}

// amount is a normal estimate as 10th, 50th and 90th percentile, never below
// nothing.
func amount(mean, sd float64) evenstand.Range {
	const z90 = 1.2815515655446004 // normal quantile of 0.9
	pos := func(v float64) evenstand.Number { return num(math.Max(0, v)) }
	return evenstand.Range{Low: pos(mean - z90*sd), Mid: pos(mean), High: pos(mean + z90*sd)}
}

func (e *Engine) target(rows []int) float64 {
	for _, n := range rows {
		if n <= len(e.rows) && !math.IsNaN(e.rows[n-1].target) {
			return e.rows[n-1].target
		}
	}
	return nan
}

func (e *Engine) cropOf(rows []int) string {
	for _, n := range rows {
		if n <= len(e.rows) {
			if c := e.crop(e.rows[n-1]); c != "" {
				return c
			}
		}
	}
	return ""
}

func (e *Engine) harm(c *caseFile, kind evenstand.HarmKind, mean, sd, places float64) evenstand.Harm {
	target := e.target(c.rows)
	return evenstand.Harm{
		Kind: kind, Amount: amount(mean, sd), Area: num(places / target), Target: num(target),
		Ratio: evenstand.Unknown, Share: num(math.Max(0, mean) / math.Max(1, places)), Crop: e.cropOf(c.rows),
	}
}

func (e *Engine) reportCell(c *caseFile, f *evenstand.Finding) {
	cc := c.cell
	q := cc.misses / math.Max(1, cc.turns)
	lo, hi := stat.Jeffreys(cc.misses, cc.turns, 0.90)
	f.Kind = cc.kind()
	f.Evidence = []evenstand.Evidence{
		ev(fmt.Sprintf("odds for a rhythm of %d", cc.n), math.Exp(math.Min(cc.odds, 690)), nan, nan, cc.turns*float64(cc.n), ""),
		ev("cells on the disc", float64(cc.n), nan, nan, nan, ""),
		ev("share of turns missed", q, lo, hi, cc.turns, ""),
	}
	if cc.card > 0 {
		f.Evidence = append(f.Evidence, ev("cells on the card", float64(cc.card), nan, nan, nan, ""))
	}
	if cc.second || cc.slips > 0 && q < 0.7 {
		f.Evidence = append(f.Evidence, ev("slips of the place number", float64(cc.slips), nan, nan, nan, ""))
	}
	// A hole that is blocked misses every turn; one that is chipped, or has a
	// seed stuck at its edge, part of them (agronomy: F01 and F02).
	if f.Kind == evenstand.KindBlockedCell {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCell, Probability: 0.95}, evenstand.Cause{Cause: evenstand.CauseWeakCell, Probability: 0.03}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: 0.01})
	} else if hi > 0.93 {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCell, Probability: 0.70}, evenstand.Cause{Cause: evenstand.CauseWeakCell, Probability: 0.27})
	} else {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseWeakCell, Probability: 0.92}, evenstand.Cause{Cause: evenstand.CauseCell, Probability: 0.05}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: 0.01})
	}
	got := math.Max(0, cc.seen) / cellRecall
	sd := math.Sqrt(math.Max(1, got) * 0.1)
	h := e.harm(c, evenstand.MissingSeeds, got, sd+0.03*got, e.placesSince(c))
	f.Harm = []evenstand.Harm{h}
	f.Chart = e.chart(c)
}

// kind tells a cell that misses every turn from one that misses part of them.
func (cc *cellCase) kind() string {
	if lo, _ := stat.Jeffreys(cc.misses, cc.turns, 0.90); lo > 0.9 {
		return evenstand.KindBlockedCell
	}
	return evenstand.KindWeakCell
}

// cellRecall is the share of missed places that the decoder names as such:
// 0.94 to 0.97 where cells are watched (methods a, table by scatter). Rates need
// no such factor, since there what is missed and what is wrongly named balance.
const cellRecall = 0.96

// apart gives the share of second seeds in a place that a sensor can tell from
// the first, with 10th and 90th percentile: a second seed follows at 0.15 place
// on average, exponentially (methods e), and of the seeds within 4 ms of
// another 60 % are counted as one with it (methods, world of the measurements);
// 30 to 90 % is a judgement, since makers publish nothing. place is in seconds.
func apart(place float64) evenstand.Range {
	near := 1 - math.Exp(-0.004/(0.15*place))
	return evenstand.Range{Low: num(1 - 0.9*near), Mid: num(1 - 0.6*near), High: num(1 - 0.3*near)}
}

// placeTime is how long a place of the row takes, in seconds: the median of the
// batches that are remembered; NaN without any.
func (r *row) placeTime() float64 {
	w := &r.rates[kindDoubles]
	var ts []float64
	for j := range min(w.count, rateRing) {
		if b := w.back(j); b.n > 0 {
			ts = append(ts, (b.t1-b.t0).Seconds()/b.n)
		}
	}
	return stat.Median(ts)
}

// chart draws the evidence of a case; of one that has ended, as it was when it
// ended.
func (e *Engine) chart(c *caseFile) *evenstand.Chart {
	switch {
	case !c.open() && c.drawn:
		return c.chart
	case c.flow != nil:
		return e.flowChart(c)
	case c.contact != nil:
		return e.loadChart(c)
	case c.trouble != nil:
		return e.furrowChart(c)
	case c.cell != nil:
		return e.cellChart(c)
	case c.spread != nil:
		return e.bounceChart(c)
	case c.drive != nil:
		return e.driveChart(c)
	case c.kind == evenstand.KindRowDoubles:
		return e.rowChart(kindDoubles, c)
	}
	return e.rowChart(kindSkips, c)
}

// keepCharts draws what ended since the last tick, while the batches of that
// time are remembered. What opens again is drawn anew.
func (e *Engine) keepCharts() {
	for _, c := range e.cases {
		switch {
		case c.dropped || c.stop != nil || c.off != nil || c.rate != nil || c.whole != nil || c.press != nil || c.doubt != nil || c.speed != nil || c.silent != nil || c.turn != nil || c.position != nil || c.recur != nil || c.alone != nil || c.tank != nil || c.pump != nil || c.swing != nil || c.furrow != nil || c.slot != nil || c.lot != nil: // none, or its own
		case c.open():
			c.chart, c.drawn = nil, false
		case !c.drawn:
			c.chart, c.drawn = e.chart(c), true
		}
	}
}

// cellChart draws what each place of the disc missed, the named cell first.
func (e *Engine) cellChart(c *caseFile) *evenstand.Chart {
	d := c.cell.disc
	if len(d.turns) == 0 {
		return nil
	}
	ch := &evenstand.Chart{
		Title: "turns missed by each cell of the disc, counted from the bad one",
		X:     "cell", Y: "share of turns missed", Unit: "fraction", Mark: []int{0},
	}
	for i := range d.turns {
		ch.At = append(ch.At, num(float64(i+1)))
		ch.Value = append(ch.Value, num(d.misses[i]/math.Max(1, d.turns[i])))
	}
	return ch
}

// placesSince is about how many places of the row were due since the onset.
func (e *Engine) placesSince(c *caseFile) float64 {
	return math.Max(1, c.cell.turns*float64(c.cell.n))
}

func (c *caseFile) excess() (mean, sd float64) {
	x := c.sum
	mean = x.got - x.expected
	sd = math.Sqrt(phi*math.Max(x.got, 1) + x.varExp*x.expected*x.expected)
	return mean, sd
}

// rowRates gives the rate, what was expected and their ratio as evidence. Of one
// row that is what its peers do at the time, times what the row usually does
// beside them; of a side, what the other sides do; of all rows, what they usually do.
func (e *Engine) rowRates(c *caseFile, name string) (rate, peer, ratio float64, evs []evenstand.Evidence) {
	x := c.sum
	n := math.Max(1, x.places)
	y, m := stat.Effective(x.got, n, phi)
	lo, hi := stat.Jeffreys(y, m, 0.90)
	rate, peer = x.got/n, x.expected/n
	ratio = (x.got + 0.5) / (x.expected + 0.5)
	s := math.Sqrt(phi/(x.got+0.5) + x.varExp)
	beside, times := name+" usual for it", "times the usual"
	if c.side != nil && len(c.rows) < len(e.rows) {
		beside, times = name+" of its peers", "times its peers"
	}
	evs = []evenstand.Evidence{
		ev(name, rate, lo, hi, n, ""),
		ev(beside, peer, nan, nan, n, ""),
		ev(times, ratio, ratio*math.Exp(-1.645*s), ratio*math.Exp(1.645*s), nan, ""),
	}
	return
}

func (e *Engine) reportRow(c *caseFile, f *evenstand.Finding) {
	name, kind := "skips", evenstand.MissingSeeds
	if c.kind == evenstand.KindRowDoubles {
		name, kind = "doubles", evenstand.ExtraSeeds
	}
	rate, peer, ratio, evs := e.rowRates(c, name)
	f.Evidence = evs
	if c.kind == evenstand.KindRowSkips {
		seal, fit, single := 0.80, 0.06, 0.10
		if ratio > 6 {
			seal, single = 0.72, 0.16
		}
		r := e.row(c.rows[0])
		if n := r.cells.n; c.grade != evenstand.GradeA {
			if n == 0 && c.rows[0]-1 < len(e.cfg.Cells) {
				n = e.cfg.Cells[c.rows[0]-1]
			}
			if n > 0 { // steady skips near one in N
				if one := 1 / float64(n); rate-peer > 0.75*one && rate-peer < 1.25*one {
					f.Causes = normalise(orSensor(evenstand.Cause{Cause: evenstand.CauseSeal, Probability: 0.48}, evenstand.Cause{Cause: evenstand.CauseCell, Probability: 0.42}, evenstand.Cause{Cause: evenstand.CauseSingulator, Probability: 0.05})...)
				}
			}
		}
		if f.Causes == nil {
			f.Causes = normalise(orSensor(evenstand.Cause{Cause: evenstand.CauseSeal, Probability: seal}, evenstand.Cause{Cause: evenstand.CauseSingulator, Probability: single}, evenstand.Cause{Cause: evenstand.CauseSeedFit, Probability: fit})...)
		}
	} else {
		f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseSingulator, Probability: 0.85}, evenstand.Cause{Cause: evenstand.CauseSeedFit, Probability: 0.08}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: 0.06})
	}
	e.withLot(c, f)
	mean, sd := c.excess()
	if kind == evenstand.ExtraSeeds {
		if place := e.row(c.rows[0]).placeTime(); place > 0 {
			s := apart(place)
			v, lo, hi := float64(s.Mid), float64(s.Low), float64(s.High)
			f.Evidence = append(f.Evidence, ev("share of doubles that the sensor tells apart", v, lo, hi, nan, ""))
			const z90 = 1.2815515655446004 // normal quantile of 0.9
			mean /= v
			sd = math.Hypot(sd/v, mean*(hi-lo)/(2*z90*v))
		}
	}
	f.Harm = []evenstand.Harm{e.harm(c, kind, mean, sd, c.sum.places)}
	f.Chart = e.chart(c)
}

// orSensor adds to the causes of skips that are real the sensor that overlooks
// seeds at random. No seed time tells the two apart: doubles that are thinned as
// well want 207,000 places for odds of 20 to 1 (methods e), so the odds stay
// what they were beforehand.
func orSensor(metering ...evenstand.Cause) []evenstand.Cause {
	sum := 0.0
	for _, c := range metering {
		sum += c.Probability
	}
	return append(metering, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: sum / realToSensor})
}

func (e *Engine) reportRuns(c *caseFile, f *evenstand.Finding) {
	_, _, _, evs := e.rowRates(c, "skips")
	f.Evidence = append([]evenstand.Evidence{
		ev("runs of three and more", float64(c.runs.runs), nan, nan, c.sum.places, ""),
		ev("longest run", float64(c.runs.longest), nan, nan, nan, ""),
	}, evs...)
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseBridging, Probability: 0.78}, evenstand.Cause{Cause: evenstand.CauseDelivery, Probability: 0.17}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: 0.04})
	mean, sd := c.excess()
	f.Harm = []evenstand.Harm{e.harm(c, evenstand.MissingSeeds, mean, sd, c.sum.places)}
	f.Chart = e.chart(c)
}

// rowChart draws each row's rate with its interval: of the last half hour, and
// of a case that has ended as long as it lasted.
func (e *Engine) rowChart(kind int, c *caseFile) *evenstand.Chart {
	names := [numKinds]string{"skips", "doubles"}
	mark, when := c.rows, "last half hour"
	if !c.open() {
		when = "while it lasted"
	}
	ch := &evenstand.Chart{Title: names[kind] + " by row, " + when, X: "row", Y: "share of places due", Unit: "fraction"}
	var vals []float64
	for _, r := range e.rows {
		w := &r.rates[kind]
		var y, n float64
	batches:
		for j := range min(w.count, rateRing) {
			b := w.back(j)
			switch {
			case c.open() && e.now-b.t1 > 1800*evenstand.Second && n > 20*batchA:
				break batches
			case c.open():
			case b.t0 > c.until:
				continue
			case b.t1 < c.onset:
				break batches
			}
			y += b.y
			n += b.n
		}
		v, lo, hi := nan, nan, nan
		if n > 0 {
			v = y / n
			ye, ne := stat.Effective(y, n, phi)
			lo, hi = stat.Jeffreys(ye, ne, 0.90)
			if !inList(mark, r.n) {
				vals = append(vals, v)
			}
		}
		ch.At = append(ch.At, num(float64(r.n)))
		ch.Value = append(ch.Value, num(v))
		ch.Low = append(ch.Low, num(lo))
		ch.High = append(ch.High, num(hi))
		if inList(mark, r.n) {
			ch.Mark = append(ch.Mark, r.n-1)
		}
	}
	ch.Band = band(vals)
	return ch
}

// band is the range of the healthy rows' values that a chart shades; nil for
// less than three.
func band(vals []float64) *evenstand.Range {
	if len(vals) < 3 {
		return nil
	}
	return &evenstand.Range{Low: num(stat.Quantile(vals, 0.1)), Mid: num(stat.Median(vals)), High: num(stat.Quantile(vals, 0.9))}
}

func inList(l []int, n int) bool {
	for _, v := range l {
		if v == n {
			return true
		}
	}
	return false
}

func (e *Engine) reportVacuum(c *caseFile, f *evenstand.Finding) {
	_, _, _, evs := e.rowRates(c, "skips")
	v := c.vac
	before := v.before.mean()
	after := v.after.mean()
	if v.byGauge && c.side.vacuum.after.n > 0 && c.side.vacuum.seen > 0 {
		after = c.side.vacuum.after.mean()
	}
	if !math.IsNaN(before) {
		f.Evidence = append(f.Evidence, ev("vacuum before", before, nan, nan, nan, "Pa"), ev("vacuum after", after, nan, nan, nan, "Pa"))
	}
	f.Evidence = append(f.Evidence, evs...)
	hose, fan := 0.85, 0.10
	if v.machine {
		hose, fan = 0.25, 0.70
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseHose, Probability: hose}, evenstand.Cause{Cause: evenstand.CauseFan, Probability: fan}, evenstand.Cause{Cause: evenstand.CauseSeedFit, Probability: 0.03})
	e.withLot(c, f)
	mean, sd := c.excess()
	f.Harm = []evenstand.Harm{e.harm(c, evenstand.MissingSeeds, mean, sd, c.sum.places)}
	f.Chart = e.chart(c)
}

func (e *Engine) reportStop(c *caseFile, f *evenstand.Finding) {
	s := c.stop
	f.Evidence = []evenstand.Evidence{
		ev("metres without seed", s.way, s.way*0.98, s.way*1.02, s.seconds, "m"),
		ev("stops", float64(s.stops), nan, nan, nan, ""),
	}
	if s.missing > 0 { // unknown without a target
		f.Evidence = append(f.Evidence, ev("seeds due", s.missing, nan, nan, nan, ""))
	}
	// Prior odds of the trade, weighed by how it began and by what the drive
	// said (agronomy: F11, F12, F19, F26, F27). Judgement, no published odds.
	drive, tube, empty, sensor := 0.34, 0.22, 0.22, 0.19
	switch {
	case s.working == 0:
		drive *= 20
	case s.working == 1:
		drive *= 0.05
	}
	switch {
	case s.atLowering:
		tube *= 10
		empty *= 0.5
		sensor *= 0.3
	case s.taper:
		empty *= 12
	default:
		tube *= 0.25
		empty *= 0.4 // an empty box fades out
	}
	off := 0.0
	if s.working == 0 && !s.commanded {
		// The drive says that it stands, and nobody logs whether it was told to:
		// then a switch is as likely as a fault.
		drive, off, tube, empty, sensor = 0.34, 0.34, 0.12, 0.12, 0.05
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseDrive, Probability: drive}, evenstand.Cause{Cause: evenstand.CauseSwitchedOff, Probability: off}, evenstand.Cause{Cause: evenstand.CauseTube, Probability: tube}, evenstand.Cause{Cause: evenstand.CauseEmpty, Probability: empty}, evenstand.Cause{Cause: evenstand.CauseSensor, Probability: sensor})
	target := e.target(c.rows)
	area := s.area
	if area == 0 {
		area = nan
	}
	// A reading a second tells the ends of each stop to a second and a half, and
	// the start of a pass, where counts come late, no better than to 4 % of the
	// way (judgement).
	rel := 0.02
	if c.grade != evenstand.GradeA {
		rel = math.Min(0.9, math.Hypot(0.04, 1.5*math.Sqrt(float64(s.stops))/math.Max(1, s.seconds)))
	}
	f.Harm = []evenstand.Harm{{
		Kind: evenstand.EmptyGround, Amount: evenstand.Range{Low: num(area * (1 - rel)), Mid: num(area), High: num(area * (1 + rel))},
		Area: num(area), Target: num(target), Ratio: evenstand.Unknown, Share: 1, Crop: e.cropOf(c.rows),
	}}
}

func (e *Engine) reportOff(c *caseFile, f *evenstand.Finding) {
	o := c.off
	f.Evidence = []evenstand.Evidence{ev("metres without seed", o.way, o.way*0.98, o.way*1.02, nan, "m")}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseSwitchedOff, Probability: 0.85}, evenstand.Cause{Cause: evenstand.CauseSectionCtl, Probability: 0.12})
	area := o.area
	if area == 0 {
		area = nan
	}
	f.Harm = []evenstand.Harm{{
		Kind: evenstand.EmptyGround, Amount: evenstand.Range{Low: num(area * 0.98), Mid: num(area), High: num(area * 1.02)},
		Area: num(area), Target: num(e.target(c.rows)), Ratio: evenstand.Unknown, Share: 1, Crop: e.cropOf(c.rows),
	}}
}

func (e *Engine) reportRate(c *caseFile, f *evenstand.Finding) {
	rc := c.rate
	m := rc.ratio.Mean()
	se := rc.ratio.SD() / math.Sqrt(math.Max(1, rc.ratio.N/6))
	if math.IsNaN(se) {
		se = 0.005
	}
	f.Evidence = []evenstand.Evidence{ev("actual over target", m, m-1.645*se-0.002, m+1.645*se+0.002, rc.ratio.N, "")}
	cells, speed, setting := 0.12, 0.30, 0.25
	// A machine that logs its own speed off by as much says where it comes from.
	if !math.IsNaN(rc.speed) {
		f.Evidence = append(f.Evidence, ev("logged speed over the receiver's", rc.speed, nan, nan, nan, ""))
		d := math.Abs(rc.speed-m) / 0.006
		if math.Abs(rc.speed-1) > 0.01 && d < 3 {
			speed *= 30 * math.Exp(-d*d/2)
		} else if math.Abs(rc.speed-1) < 0.01 {
			speed *= 0.1
		}
	}
	// A simple ratio of cell counts: 42 for 40 is 1.05 from the first foot on.
	if n := e.cells(); n > 0 {
		best, at := math.Inf(1), 0
		for k := n - 12; k <= n+12; k++ {
			if k > 0 && k != n {
				if d := math.Abs(float64(k)/float64(n) - m); d < best {
					best, at = d, k
				}
			}
		}
		step := 1 / float64(n)
		if best < 0.18*step {
			cells *= 4
			if (at-n)%2 == 0 {
				cells *= 2
			}
			if at > 0 {
				f.Evidence = append(f.Evidence, ev("cells that would explain it", float64(at), nan, nan, nan, ""))
			}
		} else {
			cells *= 0.3
		}
	}
	if !rc.fromStart {
		cells *= 0.5
		setting *= 1.5
	}
	f.Causes = normalise(evenstand.Cause{Cause: evenstand.CauseCellCount, Probability: cells}, evenstand.Cause{Cause: evenstand.CauseSpeedSource, Probability: speed}, evenstand.Cause{Cause: evenstand.CauseSetting, Probability: setting})
	area := rc.area
	// The ground is known to 2 %, the ratio to 0.3 %, or to 0.8 % where seeds are
	// counted instead of places: sensors miss some, and two that fall as one are
	// one (judgement). Of what is too much or too little that is the more the
	// smaller it is.
	sd := 0.003
	if c.grade != evenstand.GradeA {
		sd = 0.008
	}
	rel := math.Hypot(0.02, sd/math.Max(0.01, math.Abs(m-1)))
	f.Harm = []evenstand.Harm{{
		Kind: evenstand.RateError, Amount: amount(area, rel*area),
		Area: num(area), Target: num(e.target(c.rows)), Ratio: num(m), Share: 1, Crop: e.cropOf(c.rows),
	}}
}

func (e *Engine) cells() int {
	for _, n := range e.cfg.Cells {
		if n > 0 {
			return n
		}
	}
	return 0
}

// reportUpset keeps passing trouble aside.
func (e *Engine) reportUpset(u upset) evenstand.Finding {
	to := u.to
	return evenstand.Finding{
		Kind: evenstand.KindUpset, Family: evenstand.KindUpset, Stage: evenstand.Suspected, Status: evenstand.Ended,
		Grade: u.grade, Rows: evenstand.Rows{u.row}, Since: u.from, SinceLow: u.from, SinceHigh: u.from + 10*evenstand.Second,
		Until: &to, When: evenstand.Never, Alarm: u.to, Planter: e.cfg.Planter,
		Evidence: []evenstand.Evidence{ev("seeds missed", u.misses, nan, nan, u.places, "")},
		Causes:   []evenstand.Cause{{Cause: evenstand.CauseRock, Probability: 0.9}},
		Harm:     []evenstand.Harm{e.harm(&caseFile{rows: []int{u.row}}, evenstand.MissingSeeds, u.misses, math.Sqrt(u.misses+1), u.places)},
	}
}
