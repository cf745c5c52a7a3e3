package rhythm

import "math"

// The constants of the decoder. They were chosen on simulated rows with skips
// of 1 to 4 per cent, scatter of 0.08 to 0.25 place and 10 to 60 seeds a
// second; nothing published fixes them.
const (
	maxHyp    = 6          // hypotheses kept
	lag       = 6          // seeds that must follow before one is settled
	wide      = 0.04       // share of seeds with the wide scatter
	wideSD    = 0.45       // places
	gain      = 0.03       // how far a seed pulls the phase towards itself
	behind    = 7.0        // nats behind the best at which a hypothesis is dropped
	histMask  = 7          // ring of eight, more than lag
	scaleGain = 1.0 / 300  // how far a gap pulls the scale while the rhythm is being found
	scaleHold = 1.0 / 4000 // and once it is held
	scalePull = 0.0004     // how far a seed's offset pulls the scale: without it a wrong scale leaves a standing offset of error/gain
	leanGain  = 1.0 / 50   // memory of the mean offset
	leanMax   = 0.12       // places of mean offset at which the rhythm counts as lost
)

// MaxStep is how many places one step may span; after a longer one the rhythm
// starts anew.
const MaxStep = 24

// Limits of the scatter in places: above Unreadable the rhythm cannot be
// read at all, above Single no word is said about a single seed.
const (
	Single     = 0.16
	Unreadable = 0.20
)

var (
	lnDouble = math.Log(0.01)
	lnSingle = math.Log(0.97)
	lnMiss   = math.Log(0.02)
	lnWide   = math.Log(wide / wideSD)
)

// lnPrior is the log probability of a step of m places.
func lnPrior(m int) float64 {
	switch m {
	case 0:
		return lnDouble
	case 1:
		return lnSingle
	}
	return lnMiss * (1 + 0.5*float64(m-2))
}

type hypothesis struct {
	k     int64   // place number of the last seed
	x     float64 // how far the last seed lay past the estimated phase, places
	score float64
	m     [histMask + 1]int8
	e     [histMask + 1]float32
}

// Decision is what is settled about one seed.
type Decision struct {
	Tag     int32   // as handed in
	K       int64   // place number, counted on through stops
	Missing int     // places before it that held no seed
	Double  bool    // it shares its place with the seed before
	First   bool    // first of a segment: nothing is known of what came before
	Off     float32 // places it lay after its own place
}

// Decoder reads the rhythm of one row. The zero value is not ready: use New.
type Decoder struct {
	hyp    [maxHyp]hypothesis
	n      int
	spare  [maxHyp * 3]hypothesis
	sigma2 float64
	scale  float64
	fixed  bool    // phase, scatter and scale do not learn (tests)
	seen   int     // gaps that the scale has learnt from
	lean   float64 // mean offset of late, places
	pos    int     // seeds in the segment
	done   int     // seeds of the segment settled
	tags   [histMask + 1]int32
	next   int64 // place number that the next segment starts with
	// settled is the place number of the seed that was settled last.
	settled int64
}

// New is a decoder for a row on which nothing has been seen.
func New() *Decoder {
	return &Decoder{sigma2: 0.12 * 0.12, scale: 1}
}

// Sigma is the present estimate of the scatter, in places.
func (d *Decoder) Sigma() float64 { return math.Sqrt(d.sigma2) }

// Scale is the row's place spacing over the one asked for: 0.95 says that
// places come 5 % closer than they should.
func (d *Decoder) Scale() float64 { return d.scale }

// Shift moves the place number of all seeds from the next decision on.
func (d *Decoder) Shift(by int64) {
	for i := range d.hyp[:d.n] {
		d.hyp[i].k += by
	}
	d.settled += by
	d.next += by
}

// Break ends the segment: everything pending is settled and appended to out.
// The place number goes on, since the disc stands where it stopped.
func (d *Decoder) Break(out []Decision) []Decision {
	if d.n == 0 {
		return out
	}
	best := d.best()
	for d.done < d.pos {
		out = append(out, Decision{})
		d.settle(&d.hyp[best], &out[len(out)-1])
	}
	d.next = d.hyp[best].k + 1
	d.n, d.pos, d.done = 0, 0, 0
	return out
}

// Seed takes the next seed: step is the way since the seed before in target
// spacings (ignored for the first of a segment), tag is handed back. Settled
// decisions are appended to out; each call settles one at most.
func (d *Decoder) Seed(step float64, tag int32, out []Decision) []Decision {
	d.tags[d.pos&histMask] = tag
	if d.n == 0 {
		d.n = 1
		d.hyp[0] = hypothesis{k: d.next}
		d.pos = 1
		return out
	}
	if !d.fixed && step > 0.6*d.scale && step < 1.4*d.scale {
		r := step/d.scale - 1
		if r > 0.2 {
			r = 0.2
		} else if r < -0.2 {
			r = -0.2
		}
		g := scaleHold
		if d.seen < 1500 || d.lean > leanMax || d.lean < -leanMax {
			g = scaleGain
		}
		d.scale *= 1 + r*g
		d.seen++
	}
	du := step / d.scale
	slot := d.pos & histMask
	pull := gain
	if d.pos < 32 { // the first seeds pull harder: their phase is all there is
		pull = 1 / float64(d.pos+1)
		if pull < gain {
			pull = gain
		}
	}
	if d.fixed {
		pull = 0
	}

	// Short path: one hypothesis, and the seed is where it should be.
	if d.n == 1 {
		h := &d.hyp[0]
		e := h.x + du - 1
		if e2 := e * e; e2 < 4*d.sigma2 && e2 < 0.09 {
			h.k++
			h.m[slot], h.e[slot] = 1, float32(e)
			if !d.fixed {
				h.x = e - pull*e
				d.learn(e, 1)
			} else {
				h.x = e
			}
			d.pos++
			if d.pos-d.done > lag {
				out = append(out, Decision{})
				d.settle(h, &out[len(out)-1])
			}
			return out
		}
	}

	// Full beam.
	inv := 1 / math.Sqrt(d.sigma2)
	lnNarrow := math.Log((1 - wide) * inv)
	next := d.spare[:0]
	bestScore, bestShare, bestE := math.Inf(-1), 0.0, 0.0
	for i := range d.hyp[:d.n] {
		h := &d.hyp[i]
		x := h.x + du
		m0 := int(math.Floor(x + 0.5))
		for _, m := range [3]int{m0, m0 - 1, m0 + 1} { // the likeliest first: it spares the others
			if m < 0 || m > MaxStep {
				continue
			}
			e := x - float64(m)
			lnAll, share := lnWide-0.5*e*e/(wideSD*wideSD), 0.0
			z := 0.5 * e * e * inv * inv
			// A sum is no more than twice its larger part.
			if h.score+lnPrior(m)+max(lnAll, lnNarrow-z)+math.Ln2 < bestScore-behind {
				continue // it would be dropped below
			}
			// Far from its place only the wide scatter counts: less than
			// exp(-25) of the narrow one is below a millionth of it.
			if z < 25 {
				narrow := (1 - wide) * inv * math.Exp(-z)
				all := narrow + math.Exp(lnAll)
				lnAll, share = math.Log(all), narrow/all
			}
			score := h.score + lnPrior(m) + lnAll
			if score > bestScore {
				bestScore, bestShare, bestE = score, share, e
			}
			k := h.k + int64(m)
			at := -1
			for j := range next {
				if next[j].k == k {
					at = j
					break
				}
			}
			if at >= 0 && next[at].score >= score {
				continue
			}
			if at < 0 {
				next = append(next, hypothesis{})
				at = len(next) - 1
			}
			t := &next[at]
			*t = *h
			t.k, t.score, t.x = k, score, e-pull*share*e
			t.m[slot], t.e[slot] = int8(m), float32(e)
		}
	}
	if len(next) == 0 { // a step longer than any hypothesis allows: start anew
		out = d.Break(out)
		return d.Seed(step, tag, out)
	}
	// Keep the best few, none too far behind.
	d.n = 0
	for d.n < maxHyp {
		best := -1
		for j := range next {
			if !math.IsInf(next[j].score, -1) && (best < 0 || next[j].score > next[best].score) {
				best = j
			}
		}
		if best < 0 || next[best].score < bestScore-behind {
			break
		}
		d.hyp[d.n] = next[best]
		d.hyp[d.n].score -= bestScore
		d.n++
		next[best].score = math.Inf(-1)
	}
	if !d.fixed {
		d.learn(bestE, bestShare)
	}
	d.pos++
	if d.pos-d.done > lag {
		out = append(out, Decision{})
		d.settle(&d.hyp[0], &out[len(out)-1])
	}
	return out
}

func (d *Decoder) learn(e, share float64) {
	d.lean += leanGain * share * (e - d.lean)
	d.scale *= 1 + scalePull*share*e
	d.sigma2 += 0.002 * share * (e*e - d.sigma2)
	if d.sigma2 < 0.05*0.05 {
		d.sigma2 = 0.05 * 0.05
	} else if d.sigma2 > 0.30*0.30 {
		d.sigma2 = 0.30 * 0.30
	}
}

func (d *Decoder) best() int {
	b := 0
	for i := 1; i < d.n; i++ {
		if d.hyp[i].score > d.hyp[b].score {
			b = i
		}
	}
	return b
}

// settle commits the oldest pending seed to what hypothesis h says and drops
// the hypotheses that say otherwise, so that place numbers never disagree
// with what was handed out. dec is empty.
func (d *Decoder) settle(h *hypothesis, dec *Decision) {
	slot := d.done & histMask
	dec.Tag = d.tags[slot]
	if d.done == 0 {
		dec.First = true
		dec.K = h.k
		for i := 1; i < d.pos; i++ {
			dec.K -= int64(h.m[i&histMask])
		}
	} else {
		m := h.m[slot]
		dec.K = d.settled + int64(m) // all that is left agrees on what was settled
		switch {
		case m == 0:
			dec.Double = true
		default:
			dec.Missing = int(m) - 1
		}
		dec.Off = h.e[slot]
		if d.n > 1 {
			keep := 0
			for i := 0; i < d.n; i++ {
				if &d.hyp[i] == h || d.hyp[i].m[slot] == m {
					if keep != i {
						d.hyp[keep] = d.hyp[i]
					}
					keep++
				}
			}
			d.n = keep
		}
	}
	d.settled = dec.K
	d.done++
}
