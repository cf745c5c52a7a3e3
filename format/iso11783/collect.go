package iso11783

import "slices"

// Collector turns records into raw values by column, as a planter's controller
// gives them. The writer of task data and that of a bus share it.
type Collector struct {
	dev   *planterDevice
	tanks int
	cols  []Column
	last  []int32
	known []bool
	now   []Value32
}

// NewCollector describes the planter of the options.
func NewCollector(opt *WriterOptions) *Collector {
	dev := describe(opt)
	return &Collector{
		dev: dev, tanks: len(opt.Card.Tanks), cols: dev.columns,
		last: make([]int32, len(dev.columns)), known: make([]bool, len(dev.columns)),
	}
}

// Columns lists what is given.
func (c *Collector) Columns() []Column { return c.cols }

// Restart makes the next record give all its values again.
func (c *Collector) Restart() { clear(c.known) }

// Devices gives the tractor and the planter as the columns refer to them.
func (c *Collector) Devices() []*Device {
	s := NewSet()
	for _, n := range c.dev.devices {
		s.device(n)
	}
	return s.Devices
}

// put notes a raw value when it differs from the one before.
func (c *Collector) put(k int, raw int32) {
	if k < 0 || c.known[k] && c.last[k] == raw {
		return
	}
	c.known[k], c.last[k] = true, raw
	c.now = append(c.now, Value32{k, raw})
}

func (c *Collector) value(k int, v, resolution float64) {
	if raw, ok := rawOf(v, resolution); ok {
		c.put(k, raw)
	}
}

func (c *Collector) rows(first int, vs []float64, resolution float64) {
	if first < 0 {
		return
	}
	for i, v := range vs[:min(len(vs), c.dev.rows)] {
		c.value(first+i, v, resolution)
	}
}

// Collect gives the values of a record that changed, in column order. They are
// lent until the next call.
func (c *Collector) Collect(r *Record) []Value32 {
	c.now = c.now[:0]
	d := c.dev
	for _, v := range d.constants {
		c.put(v.Column, v.Raw)
	}
	if r.WorkState != NotLogged {
		c.put(d.at.workState, int32(r.WorkState-Off))
	}
	c.condensed(d.at.working, r.Working)
	c.condensed(d.at.enabled, r.Enabled)
	c.value(d.at.boomTarget, r.BoomTarget, 1e-3)
	c.value(d.at.speed, r.Speed, 1e-3)
	heading := r.Heading
	if heading > 180 { // the dictionary's range is -180 to 180
		heading -= 360
	}
	c.value(d.at.heading, heading, 1e-3)
	c.value(d.at.hitchAngle, r.HitchAngle, 1e-3)
	c.value(d.at.liquid, r.LiquidRate, 1e-11) // 0.01 mm3/m2
	if d.at.tanks >= 0 {
		for i, v := range r.Tanks[:min(len(r.Tanks), c.tanks)] {
			c.value(d.at.tanks+i, v, 1e-6)
		}
	}
	c.rows(d.at.rate, r.SeedRate, 1e-3)
	c.rows(d.at.target, r.SeedRateTarget, 1e-3)
	c.rows(d.at.count, r.SeedCount, 1)
	c.rows(d.at.flow, r.SeedFlow, 1e-3)
	c.rows(d.at.skips, r.Skips, 1e-6)
	c.rows(d.at.doubles, r.Doubles, 1e-6)
	c.rows(d.at.singulation, r.Singulation, 1e-6)
	c.rows(d.at.force, r.Force, 1)
	slices.SortFunc(c.now, func(a, b Value32) int { return a.Column - b.Column })
	return c.now
}

// condensed packs a bit pair a row, the leftmost row in the lowest bits; rows
// that do not exist are 3.
func (c *Collector) condensed(first int, on []bool) {
	if first < 0 || on == nil {
		return
	}
	for k := 0; k*16 < c.dev.rows; k++ {
		var bits uint32
		for i := range 16 {
			pair := uint32(3)
			if row := k*16 + i; row < len(on) && row < c.dev.rows {
				pair = 0
				if on[row] {
					pair = 1
				}
			}
			bits |= pair << (2 * i)
		}
		c.put(first+k, int32(bits))
	}
}
