package sim

import (
	"maps"
	"math"

	"evenstand"
)

// clock turns true seconds of the day into what a box writes.
type clock struct {
	t0               evenstand.Micros
	offset           float64 // s
	drift            float64 // s/s
	setAt, setBy     float64 // s of the day, s
	quietAt, quietTo float64 // s of the day
}

// boxClock gives the clock of a box.
func (s *Scenario) boxClock(b Box) clock {
	c := clock{t0: s.t0, offset: b.Offset, drift: b.Drift * 1e-6}
	if b.SetBy != 0 {
		c.setAt, c.setBy = b.SetAt*3600, b.SetBy
	}
	if b.Quiet > 0 {
		c.quietAt, c.quietTo = b.QuietAt*3600, b.QuietAt*3600+b.Quiet*60
	}
	if b.Local {
		_, zone := s.t0.Time().In(s.zone).Zone()
		c.offset += float64(zone)
	}
	return c
}

// off gives the offset in s at a second of the day, logged minus true.
func (c *clock) off(t float64) float64 {
	o := c.offset + c.drift*t
	if c.setBy != 0 && t >= c.setAt {
		o += c.setBy
	}
	return o
}

// logs gives the logged instant of true microseconds of the day.
func (c *clock) logs(us int64) evenstand.Micros {
	if c.offset == 0 && c.drift == 0 && c.setBy == 0 {
		return c.t0 + evenstand.Micros(us)
	}
	return c.t0 + evenstand.Micros(us) + evenstand.Micros(math.Round(c.off(float64(us)*1e-6)*1e6))
}

// held is the clock as it is set at a second of the day: a box that sorts what
// it logs of a leg takes note of a setting with the next leg.
func (c *clock) held(t float64) clock {
	h := *c
	if h.setBy != 0 && t >= h.setAt {
		h.offset += h.setBy
	}
	h.setBy = 0
	return h
}

// quiet tells whether the box is silent at a second of the day.
func (c *clock) quiet(t float64) bool { return t >= c.quietAt && t < c.quietTo }

// drawClocks draws the clocks and the fall that the scenario leaves to chance.
// Ranges are judged: a box somewhat off and adrift is the rule, half a minute
// and more, local time, a clock that is set and a silence are one day in five
// each.
func (s *Scenario) drawClocks() {
	if w := s.Tube.FallWithin; w > 0 {
		s.Tube.FallMS = round(between(stream(s.Seed, "fall", -1, 0), s.Tube.FallMS-w, s.Tube.FallMS+w), 1)
	}
	s.Boxes = maps.Clone(s.Boxes)
	for _, name := range BoxNames {
		b, ok := s.Boxes[name]
		if !ok || !b.Chance {
			continue
		}
		g := stream(s.Seed, "clock of "+name, -1, 0)
		sign := func() float64 {
			if uniform(g) < 0.5 {
				return -1
			}
			return 1
		}
		b.Offset, b.Drift = round(between(g, -5, 5), 3), round(between(g, -50, 50), 1)
		at := between(g, 0.35, 0.65) * s.Hours
		switch int(5 * uniform(g)) {
		case 0:
			b.Offset = round(sign()*between(g, 30, 100), 3)
		case 1:
			b.Drift = round(sign()*between(g, 80, 100), 1)
		case 2:
			b.Local = true
		case 3:
			b.SetAt, b.SetBy = at, round(sign()*between(g, 1, 60), 3)
		case 4:
			b.QuietAt, b.Quiet = at, round(between(g, 10, 25), 1)
		}
		s.Boxes[name] = b
	}
}

// ClockTruth is what a box's clock truly was.
type ClockTruth struct {
	Box      string  `json:"box"`       // as its source.toml names it
	Offset   float64 `json:"offset_s"`  // at the start of the day, logged minus true
	Drift    float64 `json:"drift_ppm"` // by which it grows
	SetAt    float64 `json:"set_at_s"`  // s of the day at which it was set by
	SetBy    float64 `json:"set_by_s"`  // so much; 0 never
	Quiet    float64 `json:"quiet_s"`   // that it was silent
	Latency  float64 `json:"latency_s"` // by which its places are late
	Declared bool    `json:"declared"`
}

// Off gives the offset in s at a second of the day, logged minus true.
func (c ClockTruth) Off(t float64) float64 {
	k := clock{offset: c.Offset, drift: c.Drift * 1e-6, setAt: c.SetAt, setBy: c.SetBy}
	return k.off(t)
}

// boxTitles are the names that the boxes of the plain layout go by.
var boxTitles = map[string]string{"seed": "seed monitor", "guidance": "receiver", "machine": "planter controller", "rows": "row monitor", "force": "row force", "liquid": "liquid monitor", "granules": "granule monitor"}

// clockTruths gives the clocks of the boxes of the plain layout that log.
func (s *Scenario) clockTruths(boxes []string) (out []ClockTruth) {
	for _, name := range boxes {
		title := boxTitles[name]
		if title == "" || s.oneBox() {
			continue
		}
		b := s.box(name)
		c := s.boxClock(b)
		out = append(out, ClockTruth{
			Box: title, Offset: c.offset, Drift: b.Drift, SetAt: c.setAt, SetBy: c.setBy, Quiet: c.quietTo - c.quietAt, Latency: b.Latency, Declared: b.declared(),
		})
	}
	return out
}

// countStops counts the stands of five seconds and more, which is where clocks
// show.
func (w *world) countStops(lg *leg) {
	const least = 5.0
	if lg.stand || !lg.logged {
		return
	}
	stood := 0
	for _, v := range lg.va {
		if v > 0.01 {
			stood = 0
			continue
		}
		if stood++; stood == int(least/tick) {
			w.tot.Stops++
		}
	}
}

// clockFault is what a reader should make of the boxes' clocks: nil when those
// that nobody declared are right, or hardly off.
func (w *world) clockFault() *Fault {
	const least, sure = 0.3, 0.6 // s
	hours := w.tot.End - w.s.t0
	worst, where := 0.0, ""
	from := w.tot.End // since when any was off
	for _, c := range w.tot.Clocks {
		if c.Declared || c.Box == "receiver" || c.Box == "row force" || c.Box == "liquid monitor" || c.Box == "granule monitor" {
			continue
		}
		o := math.Abs(c.Off(hours.Seconds()))
		if o > worst {
			worst, where = o, c.Box
		}
		switch {
		case o < least:
		case math.Abs(c.Off(0)) >= least || c.SetBy == 0:
			from = w.s.t0
		default:
			from = min(from, w.s.t0+evenstand.FromSeconds(c.SetAt))
		}
	}
	if worst < least {
		return nil
	}
	return &Fault{
		ID: "clock", Kind: evenstand.KindClockOff, Variant: where, Rows: evenstand.Rows{}, From: from, To: w.tot.End,
		Params: map[string]float64{"offset_s": round(worst, 3)}, Cause: evenstand.CauseClock, Causes: []string{evenstand.CauseClock},
		Expected: evenstand.KindClockOff, Ratio: 1, Happened: true, Grade: w.s.Output.Grade,
		// Four stops in the hour (methods document, Detectable).
		Detectable: worst >= sure && hours >= 3600*evenstand.Second && float64(w.tot.Stops) >= 4*math.Max(1, hours.Seconds()/3600),
	}
}

// hush is a box that the scenario lets fall silent.
type hush struct {
	box     string
	clock   clock
	planted float64 // s that the planter planted meanwhile
}

func (s *Scenario) quietBoxes() (out []hush) {
	for _, name := range BoxNames {
		if c := s.boxClock(s.box(name)); c.quietTo > c.quietAt {
			out = append(out, hush{box: name, clock: c})
		}
	}
	return out
}

// quietFaults are the silences of boxes that log all along, as a reader should
// find them.
func (w *world) quietFaults() (out []Fault) {
	const least = 5.0 // s of planting (methods document, Detectable)
	var rows evenstand.Rows
	for i := range w.rows {
		rows = append(rows, i+1)
	}
	for _, h := range w.hushed {
		if h.planted < least {
			continue
		}
		out = append(out, Fault{
			ID: "quiet " + h.box, Kind: evenstand.KindSourceSilent, Variant: h.box, Rows: rows,
			From: w.s.t0 + evenstand.FromSeconds(h.clock.quietAt), To: w.s.t0 + evenstand.FromSeconds(h.clock.quietTo),
			Cause: evenstand.CausePlug, Causes: []string{evenstand.CausePlug, evenstand.CauseLogOff},
			Expected: evenstand.KindSourceSilent, Ratio: 1, Happened: true, Grade: w.s.Output.Grade,
			Detectable: w.s.Output.Layout == "plain",
		})
	}
	return out
}
