package find

import (
	"math"

	"evenstand"
	"evenstand/core/stat"
)

// Once an hour of planting the rows are compared with each other: is one worse
// than healthy rows are from each other (level), and has one changed against
// its own earlier hours (change)? Both tables hold the false discovery rate
// (Benjamini and Hochberg 1995, JRSS B 57:289-300) at 5 %.
const (
	hourOfPlanting = 3600 // s
	hourFDR        = 0.05
	changeRatio    = 1.4  // shown at once when the row changed by this much
	changeTwice    = 1.2  // and by this much when two hours in a row say so
	hourOnce       = 0.02 // false discovery rate asked of one hour alone
	levelRatio     = 2.0  // a level shift smaller than this needs two hours
	hourForget     = 8.0
	healthySD      = 0.2 // of ln rate between healthy rows, at least: they differ by 0.1 to 0.2 for ever
)

type hourly struct {
	sec  int
	from evenstand.Micros
	hrs  int
	tab  [numKinds][]hourRow
}

type hourRow struct {
	y, n     float64
	sumW     float64 // of earlier hours: weights and weighted differences
	sumWD    float64
	flagged  int // hours in a row that a test spoke
	seen     int
	past     int // earlier hours in the sums
	lastFrom evenstand.Micros
}

func (h *hourly) init() { h.from = evenstand.NoTime }

func (h *hourly) add(e *Engine, r *row, b batch) {
	if h.from == evenstand.NoTime {
		h.from = b.t0
	}
	if e.common.covers(b.t0, b.t1) {
		return
	}
	for k := range h.tab {
		for len(h.tab[k]) < len(e.rows) {
			h.tab[k] = append(h.tab[k], hourRow{})
		}
		t := &h.tab[k][r.n-1]
		t.y += b.y[k]
		t.n += b.n
	}
}

func (h *hourly) planting(e *Engine, t evenstand.Micros) {
	h.sec++
	if h.sec >= hourOfPlanting {
		h.close(e, t)
	}
}

func (h *hourly) finish(e *Engine, t evenstand.Micros) {
	if h.sec >= hourOfPlanting/2 {
		h.close(e, t)
	}
}

func (h *hourly) close(e *Engine, t evenstand.Micros) {
	for kind := range h.tab {
		h.closeKind(e, kind, t)
	}
	h.sec = 0
	h.from = t
	h.hrs++
}

// family gives the rows that may be compared, and their logs.
func (h *hourly) closeKind(e *Engine, kind int, t evenstand.Micros) {
	tab := h.tab[kind]
	if len(tab) == 0 {
		return
	}
	kinds := []string{evenstand.KindRowSkips, evenstand.KindStarvedRow, evenstand.KindLowVacuum, evenstand.KindRowStopped, evenstand.KindSensorDoubt, evenstand.KindRecurringUpset}
	if kind == kindDoubles {
		kinds = []string{evenstand.KindRowDoubles, evenstand.KindSensorDoubt}
	}
	var rows []*row
	var counts []stat.RowCount
	for i := range tab {
		r := e.rows[i]
		if tab[i].n < 20*batchA || e.anyDuring(r.n, h.from, t, kinds...) || r.rates[kind].busy() || r.rates[kind].spoilt > h.from {
			continue
		}
		g := 0
		if e.ownSide(r, kind) != nil {
			for s := range e.sides {
				if e.sides[s].rows.Has(r.n) {
					g = s + 1
				}
			}
		}
		rows = append(rows, r)
		counts = append(counts, stat.RowCount{Y: tab[i].y, N: tab[i].n, Phi: phi, Group: g})
	}
	defer func() {
		for i := range tab {
			tab[i].y, tab[i].n = 0, 0
		}
	}()
	if len(rows) < 6 {
		return
	}
	logs := make([]float64, len(rows))
	for i, c := range counts {
		logs[i] = math.Log((c.Y + 0.5) / c.N)
	}
	mid := stat.Median(logs)

	level, tau2 := stat.RowLevel(counts)
	tau2 = math.Max(tau2, healthySD*healthySD)
	pl := make([]float64, len(rows))
	pc := make([]float64, len(rows))
	ref := make([]float64, len(rows))
	hasRef := false
	for i, r := range rows {
		z := level[i].D / math.Sqrt(tau2+level[i].S2*(1+1/float64(len(rows))))
		pl[i], pc[i] = stat.StudentTail(z, float64(len(rows)-3)), 1
		hr := &tab[r.n-1]
		if hr.sumW > 0 {
			hasRef = true
			ref[i] = hr.sumWD / hr.sumW
			s2 := phi/(counts[i].Y+0.5) + 1/hr.sumW
			pc[i] = stat.StudentTail((logs[i]-mid-ref[i])/math.Sqrt(s2), float64(max(1, len(rows)-3)))
		}
	}
	qc := stat.BenjaminiHochberg(pc)
	ql := stat.BenjaminiHochberg(pl)
	for i, r := range rows {
		hr := &tab[r.n-1]
		d := logs[i] - mid
		change := hasRef && hr.sumW > 0 && qc[i] < hourFDR && d-ref[i] > 0
		lvl := ql[i] < hourFDR && d > 0
		said := false
		if change {
			hr.flagged++
			if hr.flagged == 1 {
				hr.lastFrom = h.from
			}
			if (hr.flagged >= 2 && d-ref[i] >= math.Log(changeTwice)) || (qc[i] < hourOnce && d-ref[i] >= math.Log(changeRatio) && (hr.past >= 2 || d-ref[i] >= math.Log(levelRatio))) {
				e.hourCase(r, kind, h.from, hr, t, counts[i], logs[i]-(d-ref[i]), ref[i], false)
				said = true
			}
		} else if lvl {
			hr.seen++
			if hr.seen >= 2 && d >= math.Log(1.5) || d >= math.Log(levelRatio) {
				e.hourCase(r, kind, h.from, hr, t, counts[i], mid, 0, true)
				said = true
			}
		} else {
			hr.flagged, hr.seen = 0, 0
		}
		if !said && !change { // the hour joins the row's own past
			w := (counts[i].Y + 0.5) / phi
			hr.sumW = hr.sumW*math.Exp(-1/hourForget) + w
			hr.past++
			hr.sumWD = hr.sumWD*math.Exp(-1/hourForget) + w*d
		}
	}
}

// hourCase opens a case that an hourly table spoke for.
func (e *Engine) hourCase(r *row, kind int, from evenstand.Micros, hr *hourRow, t evenstand.Micros, c stat.RowCount, lnExp, ref float64, level bool) {
	id := evenstand.KindRowSkips
	if kind == kindDoubles {
		id = evenstand.KindRowDoubles
		if e.dusty(r) {
			return
		}
	}
	onset := from
	if hr.flagged > 1 {
		onset = hr.lastFrom
	}
	w := &r.rates[kind]
	f := e.add(&caseFile{
		kind: id, rows: []int{r.n}, onset: onset, onsetLow: onset - 1800*evenstand.Second, onsetHigh: t,
		alarm: t, grade: r.grade, hourly: true, level: level, fromStart: level && e.hour.hrs == 0,
	})
	w.cse = f
	w.heal = 0
	w.rel = math.Min(4, math.Max(0.25, math.Exp(ref)))
	f.sum = excess{places: c.N, got: c.Y, expected: math.Exp(lnExp) * c.N, varExp: 0.15 * 0.15}
	f.was = c.Y / math.Max(1, c.N)
	hr.flagged, hr.seen = 0, 0
	// An hour is long: when in it the rate changed the batches tell, as far as
	// they reach back.
	if !level {
		if at := w.shifted(kind, onset); at >= 0 && at < min(w.count, rateRing)-2 {
			if on := e.afterHalt(w.began(at), w.doubtOf()); on > onset && on < t {
				f.onset = on
				e.startSum(r, kind, f)
			}
		}
	}
	e.raiseRate(r, kind, f)
}
