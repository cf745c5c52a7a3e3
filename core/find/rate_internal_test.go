package find

import (
	"testing"

	"evenstand"
)

// A row's skips wait for more batches; meanwhile its whole side is found to have
// lost its vacuum, and the second look at when the skips began leaves them to the
// side.
func TestSecondLookLeavesRowToSide(t *testing.T) {
	side := evenstand.Rows{1, 2, 3, 4}
	e := New(Config{Rows: 8, Sides: []evenstand.Rows{side, {5, 6, 7, 8}}, Names: []string{"left", "right"}})
	at := func(i int) evenstand.Micros { return evenstand.Micros(i) * 5 * evenstand.Second }
	r, w := e.rows[0], &e.rows[0].rates[kindSkips]
	for _, o := range e.rows {
		for i := 1; i <= 40; i++ {
			e.peers[kindSkips].post(o.n, batch{t0: at(i - 1), t1: at(i), n: 100, y: [numKinds]float64{kindSkips: 1}}, kindSkips)
		}
	}
	for i := 1; i <= 40; i++ {
		y := 1.0
		if i > 10 {
			y = 6
		}
		w.ring[w.count%rateRing] = rateBatch{t0: at(i - 1), t1: at(i), y: y, n: 100, p: 0.01, rel: 1, end: int64(100 * i)}
		w.count++
	}
	c := e.add(&caseFile{kind: evenstand.KindRowSkips, rows: []int{1}, onset: at(10), onsetLow: at(9), onsetHigh: at(11), alarm: at(20), grade: evenstand.GradeA, weak: true, waiting: true})
	w.cse, w.refine = c, 1
	e.startSum(r, kindSkips, c)
	e.add(&caseFile{kind: evenstand.KindLowVacuum, rows: side, side: e.sides[0], onset: at(10), alarm: at(30), raised: true, vac: &vacCase{}})
	e.judgeKind(r, kindSkips, batch{t0: at(40), t1: at(41), n: 100, y: [numKinds]float64{kindSkips: 6}, end: 4100, grade: evenstand.GradeA})
	if w.cse != nil || !c.dropped {
		t.Errorf("the row's skips stand beside its side's vacuum: %+v", c)
	}
}

// A case that may be over since a while is looked at for its beginning once more,
// and then is over: what came after its end is not summed with it.
func TestSecondLookKeepsTheTail(t *testing.T) {
	e := New(Config{Rows: 4})
	at := func(i int) evenstand.Micros { return evenstand.Micros(i) * 5 * evenstand.Second }
	r, w := e.rows[0], &e.rows[0].rates[kindDoubles]
	for i := 1; i <= 60; i++ {
		y := 3.0
		if i <= 10 || i > 30 {
			y = 0.5
		}
		w.ring[w.count%rateRing] = rateBatch{t0: at(i - 1), t1: at(i), y: y, n: 100, p: 0.005, rel: 1, end: int64(100 * i)}
		w.count++
	}
	c := e.add(&caseFile{kind: evenstand.KindRowDoubles, rows: []int{1}, onset: at(10), alarm: at(15), grade: evenstand.GradeA})
	w.cse, w.heal, w.healT = c, 5, at(30)
	e.startSum(r, kindDoubles, c)
	c.over(w.healT)
	if c.sum.places != 2000 || c.sum.got != 60 {
		t.Errorf("summed %.0f of %.0f places, want 60 of the 2,000 between its beginning and its end", c.sum.got, c.sum.places)
	}
}
