package pipeline

import (
	"math"

	"evenstand"
)

// Limits of the lag between speed and seeds. The seeds of a row follow the
// ground speed late: the drive takes its time, the seed falls to the sensor,
// and the two clocks may differ. The rhythm needs the sum of these, known to
// a tenth of a second; a lag outside of what drives and falls explain is a
// clock that nobody has set right.
const (
	lagLow, lagHigh = -1.5, 2.5 // s looked at
	lagStep         = 0.05
	lagPlausibleLow = -0.3
	lagPlausible    = 1.3
	lagErrorMost    = 0.1  // s, half-width of the 90 % interval
	lagLeast        = 40   // quarter seconds in which the speed changes
	lagMoves        = 0.08 // m/s by which it does within two seconds
)

// judgeClocks estimates by how much the seeds of each stream follow the speed
// and decides whether their rhythm may be read. Declared clocks are believed;
// without them the logs themselves must show that they agree. The lag holds the
// drive and what is left of the clock together, which is what the rhythm needs.
func (s *settler) judgeClocks() {
	s.clocks = make([]seedClock, len(s.day.Streams))
	if s.survey_.track < 0 {
		return // nothing is placed
	}
	for i := range s.clocks {
		if s.survey_.seeds[i].used() {
			s.clocks[i] = s.judgeClock(i)
		}
	}
}

func (s *settler) judgeClock(i int) (c seedClock) {
	lag, half, ok := s.seedLag(i)
	src := s.day.Streams[i].Source.Name
	switch {
	case ok && half <= lagErrorMost && lag > lagPlausibleLow && lag < lagPlausible:
		c.lag = lag
	case !math.IsNaN(s.declared(i)):
		if ok && half <= lagErrorMost {
			c.refuse = "the seed times and the speed do not fit together although their clocks are said to"
			s.note("Seeds of %s follow the speed by %.2f s, which no drive explains: the clocks said to be one are not. Single skips and cells cannot be said before it is known how far its clock is off.", src, lag)
		} else if s.timings[i].against != 0 {
			c.refuse = "the seed times and the speed do not fit together although their clocks are said to"
		}
	case ok && half <= lagErrorMost:
		c.refuse = "clocks not aligned"
		s.note("The clock of %s is %.1f s off the receiver's, or the drive is that late: nobody has said which. Single skips and cells cannot be said before it is known how far its clock is off.", src, lag)
	default:
		c.refuse = "clocks not aligned"
		s.note("The clocks of %s and of the receiver cannot be compared: the speed changed too little while planting, or the logs are too far apart. Single skips and cells cannot be said before it is known how far its clock is off.", src)
	}
	return c
}

// estimateLag slides the seed counts along the speed and takes the lag at
// which they fit best, over the seconds in which the speed changes. It gives
// the half-width of the 90 % interval, and false when there was nothing to
// compare.
func (s *settler) estimateLag(v *seedsSeen) (lag, half float64, ok bool) {
	type bin struct{ t, n float64 }
	var bins []bin
	t0 := v.from
	cur := s.path.Cursor()
	for _, p := range s.passes {
		from := int((p.Start + 3*evenstand.Second/2 - v.from) / binWidth)
		to := int((p.End - 2*evenstand.Second - v.from) / binWidth)
		for i := max(0, from); i < to && i < len(v.bins); i++ {
			t := v.from + evenstand.Micros(i)*binWidth
			a := cur.At(t - evenstand.Second)
			b := cur.At(t + evenstand.Second)
			if a.OK && b.OK && math.Abs(b.V-a.V) > lagMoves {
				bins = append(bins, bin{(t - t0).Seconds(), float64(v.bins[i])})
			}
		}
	}
	if len(bins) < lagLeast {
		return 0, math.Inf(1), false
	}
	if len(bins) > 40000 {
		thin := bins[:0]
		k := len(bins)/40000 + 1
		for i := 0; i < len(bins); i += k {
			thin = append(thin, bins[i])
		}
		bins = thin
	}
	w := binWidth.Seconds()
	n := int(math.Round((lagHigh - lagLow) / lagStep))
	sse := make([]float64, n+1)
	for j := range sse {
		l := lagLow + float64(j)*lagStep
		c1, c2 := s.path.Cursor(), s.path.Cursor()
		var xx, xy, yy float64
		for _, b := range bins {
			t := t0 + evenstand.FromSeconds(b.t)
			p := c1.AtSeconds(t, -l)
			q := c2.AtSeconds(t, w-l)
			x := q.S - p.S
			xx += x * x
			xy += x * b.n
			yy += b.n * b.n
		}
		if xx == 0 {
			return 0, math.Inf(1), false
		}
		sse[j] = yy - xy*xy/xx
	}
	return bestLag(sse, len(bins))
}

// bestLag gives the lag with the least squared error over n quarter seconds.
func bestLag(sse []float64, n int) (lag, half float64, ok bool) {
	at, last := 0, len(sse)-1
	for j := range sse {
		if sse[j] < sse[at] {
			at = j
		}
	}
	if at == 0 || at == last {
		return lagLow + float64(at)*lagStep, math.Inf(1), false
	}
	curve := (sse[at-1] - 2*sse[at] + sse[at+1]) / (lagStep * lagStep)
	shift := 0.0
	if curve > 0 {
		shift = (sse[at-1] - sse[at+1]) / (2 * curve * lagStep)
	}
	sigma2 := sse[at] / float64(n)
	// Counts of neighbouring quarter seconds are not independent: 2 for that.
	se := math.Sqrt(2 * 2 * sigma2 / math.Max(curve, 1e-9))
	return lagLow + float64(at)*lagStep + shift, 1.645 * se, true
}
