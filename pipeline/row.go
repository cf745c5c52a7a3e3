package pipeline

import (
	"math"

	"evenstand"
	"evenstand/core/measure/rhythm"
)

// rowState is what the walk keeps of one row.
type rowState struct {
	n       int
	y       float64 // m right of the bar's centre; 0 when unknown
	cells   int
	dec     *rhythm.Decoder
	out     []rhythm.Decision
	target  float64 // seeds per m2; NaN unknown
	xref    float64 // m; NaN unknown
	lastT   evenstand.Micros
	lastD   float64          // way of the row at the last seed, m
	lastU   float64          // the same at the moment that drove it
	stream  int              // that its seeds come from; -1 none yet
	clock   seedClock        // of that stream
	lagT    evenstand.Micros // its lag
	inSeg   bool
	hole    int // places before the first seed of the segment
	enabled bool

	seeds    []evenstand.PlacedSeed // of the open pass; the live pass keeps the last ones only
	str      []evenstand.Stretch
	products products
	sown     spans // ground by counts
	wet, dry spans // ground by product
	spans    []span
	states   []switched // of the open pass
	wasOn    bool       // before those
	seedBase int32      // seeds and stretches of the pass before those
	strBase  int32

	// Grade B: the last count or rate and the shares that came with it.
	countT   evenstand.Micros
	rate     float64
	rateT    evenstand.Micros
	skip     float64
	double   float64
	shareT   evenstand.Micros
	pend     []count
	workT    evenstand.Micros
	working  int8
	seedAt   evenstand.Micros // last seed of the day; NoTime none
	hasSeeds bool             // in the open pass
	hasCount bool
	ratio    float64 // places due over target, smoothed over some twenty readings
	ratioN   int
	counted  float64 // seeds by counts in the open pass
	every    float64 // s between counts, of late
	ever     bool    // the row gave seed in an earlier pass of the day

	own ownSpacing // large, so last: what every seed touches stands close together
}

type count struct {
	t evenstand.Micros
	n float64
}

func newRowState(n int, card *evenstand.Card) *rowState {
	y := card.Y(n)
	if math.IsNaN(y) {
		y = 0
	}
	nan := math.NaN()
	return &rowState{
		n: n, y: y, cells: card.Cells(n), dec: rhythm.New(), target: nan, xref: nan, enabled: true, wasOn: true, stream: -1,
		lastT: evenstand.NoTime, countT: evenstand.NoTime, rateT: evenstand.NoTime, shareT: evenstand.NoTime, seedAt: evenstand.NoTime, rate: nan, skip: nan, double: nan, working: -1,
	}
}

// setClock takes over what is known of the clock of the row's seeds.
func (r *rowState) setClock(c seedClock) {
	r.clock, r.lagT = c, evenstand.FromSeconds(c.lag)
}

// trim keeps the last seeds only, more than the decoder looks back, and the
// stretches of passes of usual length.
func (r *rowState) trim() {
	if n := len(r.seeds); n >= 512 {
		const keep = 64
		r.seedBase += int32(n - keep)
		r.seeds = r.seeds[:copy(r.seeds, r.seeds[n-keep:])]
	}
	if n := len(r.str); n >= 320 { // 4.8 km
		const keep = 16
		r.strBase += int32(n - keep)
		r.str = r.str[:copy(r.str, r.str[n-keep:])]
	}
}

// grade is that of what the row logs by.
func (r *rowState) grade() evenstand.Grade {
	switch {
	case r.hasSeeds || (r.seedAt != evenstand.NoTime && !r.hasCount):
		return evenstand.GradeA
	case r.every > 2.5:
		return evenstand.GradeC
	}
	return evenstand.GradeB
}

// spacing gives the target spacing in m, from the target or from the row
// itself, and whether it is the row's own.
func (r *rowState) spacing() (x float64, own bool) {
	if !math.IsNaN(r.xref) {
		return r.xref, false
	}
	return r.own.mode(), true
}

// ownSpacing is the row's own most frequent gap over the last 2,000 seeds.
type ownSpacing struct {
	hist [200]int32 // 5 mm each
	ring [2000]uint8
	n    int
	best float64
}

func (o *ownSpacing) add(gap float64) {
	b := int(gap / 0.005)
	if b < 4 || b >= len(o.hist) {
		return
	}
	if o.n >= len(o.ring) {
		o.hist[o.ring[o.n%len(o.ring)]]--
	}
	o.ring[o.n%len(o.ring)] = uint8(b)
	o.hist[b]++
	o.n++
	if o.n%200 == 0 || o.n == 60 {
		top, at := int32(0), 0
		for i := 1; i < len(o.hist)-1; i++ {
			if v := o.hist[i-1] + o.hist[i] + o.hist[i+1]; v > top {
				top, at = v, i
			}
		}
		// The mean of the gaps near the top is finer than a bin.
		var n, sum float64
		for i := max(1, at-3); i <= min(len(o.hist)-1, at+3); i++ {
			n += float64(o.hist[i])
			sum += float64(o.hist[i]) * (float64(i) + 0.5) * 0.005
		}
		if n > 0 {
			o.best = sum / n
		}
	}
}

func (o *ownSpacing) mode() float64 {
	if o.best == 0 {
		return math.NaN()
	}
	return o.best
}
