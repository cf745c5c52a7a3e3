package find

import "evenstand"

// commonTrouble notices when many rows miss at the same moment: a fan that
// stops and starts again, a bump in the supply. Such seconds say nothing about
// single rows.
type commonTrouble struct {
	last  []evenstand.Micros // of a run of misses, by row
	n     int                // ticks that the trouble still counts
	spans [16]span
	k     int
}

type span struct{ from, to evenstand.Micros }

const commonWindow = 2 * evenstand.Second

func (c *commonTrouble) miss(row, n int, t evenstand.Micros) {
	for len(c.last) < row {
		c.last = append(c.last, evenstand.NoTime)
	}
	if n >= 2 {
		c.last[row-1] = t
	}
}

func (c *commonTrouble) tick(e *Engine, t evenstand.Micros) {
	if c.n > 0 {
		c.n--
	}
	hit := 0
	for _, l := range c.last {
		if l != evenstand.NoTime && t-l <= commonWindow {
			hit++
		}
	}
	if hit >= 4 && 2*hit >= len(e.rows) {
		c.n = 8
		c.mark(t-4*evenstand.Second, t+4*evenstand.Second)
	}
}

func (c *commonTrouble) mark(from, to evenstand.Micros) {
	if c.k > 0 {
		if s := &c.spans[(c.k-1)%len(c.spans)]; from <= s.to {
			s.to = to
			return
		}
	}
	c.spans[c.k%len(c.spans)] = span{from, to}
	c.k++
}

// covers tells whether a time overlaps trouble that all rows had.
func (c *commonTrouble) covers(from, to evenstand.Micros) bool {
	for i := range min(c.k, len(c.spans)) {
		if s := c.spans[i]; s.from < to && s.to > from {
			return true
		}
	}
	return false
}
