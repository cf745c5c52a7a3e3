package sim

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"evenstand"
	"evenstand/core/relation"
	"evenstand/format/plain"
)

// Summary says what a run made.
type Summary struct {
	Day     DayTruth
	Faults  []Fault
	Boxes   []string // folders under boxes/
	Written int64    // lines of seeds.csv
}

// Run makes the day of a scenario in outDir, which must be new or empty.
// progress, when not nil, gets the share done from 0 to 1. A run that is
// stopped leaves an unfinished folder and says so.
func Run(ctx context.Context, s Scenario, outDir string, progress func(done float64)) (Summary, error) {
	var sum Summary
	if err := s.check(); err != nil {
		return sum, err
	}
	if ents, err := os.ReadDir(outDir); err == nil && len(ents) > 0 {
		return sum, fmt.Errorf("%s is not empty. Name a new folder, or delete this one first", outDir)
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return sum, err
	}
	w, err := newWorld(&s, outDir)
	if err != nil {
		return sum, err
	}
	err = w.day(ctx, progress)
	for _, b := range w.boxes {
		err = errors.Join(err, b.close())
	}
	err = errors.Join(err, w.passes.close(), w.stretches.close(), w.seeds.close())
	if err != nil {
		return sum, err
	}
	return w.finish(outDir)
}

// world is the day in the making.
type world struct {
	s      *Scenario
	fields []*field
	rows   []*row
	faults []*fault
	boxes  []box
	names  []string
	seedLn *seedBox
	load   *loadBox
	tanks  *tanks
	furrow *furrowBox
	board  *board // nil: nothing is set or mounted
	noted  *journalBox

	counted []evenstand.Entry
	tr      *tractor

	minute, hour wander
	vacuum       [2]wander
	now          int64 // tick of the day
	pass         int
	inField      int
	leg          int
	sinceRefill  float64 // m2
	lunched      bool
	bFrom, bTo   float64

	passes, stretches, seeds *lines
	tot                      DayTruth
	hushed                   []hush

	spans    map[*field]fieldSpan
	missed   map[*field]float64 // m2 left out so far
	missedAt map[*field]evenstand.Micros
}

func newWorld(s *Scenario, outDir string) (*world, error) {
	w := &world{s: s, spans: map[*field]fieldSpan{}, missed: map[*field]float64{}, missedAt: map[*field]evenstand.Micros{}}
	if err := s.draw(); err != nil {
		return nil, err
	}
	s.drawClocks()
	w.hushed = s.quietBoxes()
	var err error
	if w.board, err = s.newBoard(); err != nil {
		return nil, err
	}
	w.rows = s.newRows(w.board)
	for i, p := range s.Faults {
		f, err := s.newFault(i, p)
		if err != nil {
			return nil, fmt.Errorf("fault %d: %w", i+1, err)
		}
		if f.Cell > 0 {
			f.Cell--
		} else {
			f.Cell = int(uniform(stream(s.Seed, "cell "+f.ID, -1, 0)) * float64(s.Planter.Cells))
		}
		w.faults = append(w.faults, f)
	}
	for i := range s.Fields {
		f := s.newField(s.Fields[i])
		w.fields = append(w.fields, f)
		if err := f.write(filepath.Join(outDir, "fields")); err != nil {
			return nil, err
		}
	}
	w.tr = s.newTractor()
	w.tr.board = w.board
	g := stream(s.Seed, "day", -1, 0)
	w.minute, w.hour = newWander(minuteTau, slowTick, normal(g)), newWander(hourTau, slowTick, normal(g))
	for i := range w.vacuum {
		w.vacuum[i] = newWander(vacuumTau, slowTick, normal(g))
	}
	w.bFrom, w.bTo = math.Inf(1), math.Inf(1)
	switch {
	case s.Output.Grade == "B":
		w.bFrom = math.Inf(-1)
	case s.Output.BFrom != "":
		w.bFrom, w.bTo = s.seconds(s.Output.BFrom), s.seconds(s.Output.BTo)
	}
	w.tot = DayTruth{
		Schema: 1, Scenario: s.Name, Seed: s.Seed, Planter: s.Planter.Name, Rows: s.Planter.Rows, Cells: s.Planter.Cells,
		Date: s.Date, Zone: s.Zone, Start: s.t0, Speed: s.Drive.Speed, Grade: s.Output.Grade, Coefficients: s.coefficients(),
	}
	if err := writeCard(filepath.Join(outDir, "card.toml"), s); err != nil {
		return nil, err
	}
	if text := s.settingsToml(); text != "" {
		if err := os.MkdirAll(outDir, 0o777); err != nil {
			return nil, err
		}
		if err := os.WriteFile(filepath.Join(outDir, settingsName), []byte(text), 0o666); err != nil {
			return nil, err
		}
	}
	if err := writeReadme(filepath.Join(outDir, "README.txt"), s); err != nil {
		return nil, err
	}
	if err := w.openBoxes(outDir); err != nil {
		return nil, err
	}
	w.tot.Clocks = s.clockTruths(w.names)
	truth := filepath.Join(outDir, "truth")
	if w.passes, err = newLines(filepath.Join(truth, "passes.csv"), "pass,field,start,end,headland,way_m,places,curve_1_m"); err != nil {
		return nil, err
	}
	if w.stretches, err = newLines(filepath.Join(truth, "stretches.csv"), "pass,row,k,places,skips,doubles,seen,unseen,doubles_seen,dust"); err != nil {
		return nil, err
	}
	if w.seeds, err = newLines(filepath.Join(truth, "seeds.csv"), "pass,row,t_us,latitude,longitude"); err != nil {
		return nil, err
	}
	return w, nil
}

// openBoxes makes the boxes that the scenario asks for.
func (w *world) openBoxes(outDir string) error {
	s := w.s
	add := func(name string, b box, err error) error {
		if err == nil {
			w.boxes = append(w.boxes, b)
			w.names = append(w.names, name)
		}
		return err
	}
	dir := func(name string) string { return filepath.Join(outDir, "boxes", name) }
	// A day of task data has one box that logs all it has in one set.
	if !s.oneBox() {
		g, err := newGuidanceBox(s, dir("guidance"))
		if err := add("guidance", g, err); err != nil {
			return err
		}
		m, err := newMachineBox(s, dir("machine"))
		if err := add("machine", m, err); err != nil {
			return err
		}
	}
	if s.Output.Grade == "A" {
		var err error
		w.seedLn, err = newSeedBox(s, dir("seed"))
		if err := add("seed", w.seedLn, err); err != nil {
			return err
		}
	}
	if s.Output.Grade == "B" || s.Output.BFrom != "" {
		b, err := newRowsBox(s, dir("rows"))
		if err := add("rows", b, err); err != nil {
			return err
		}
	}
	if s.Output.ForceHz > 0 && s.Output.WheelLoad == "" {
		b, err := newForceBox(s, dir("force"))
		if err := add("force", b, err); err != nil {
			return err
		}
	}
	if s.Output.WheelLoad != "" {
		var err error
		w.load, err = newLoadBox(s, dir("load"))
		if err := add("load", w.load, err); err != nil {
			return err
		}
	}
	if s.Output.Furrow {
		var err error
		w.furrow, err = newFurrowBox(s, dir("furrow"))
		if err := add("furrow", w.furrow, err); err != nil {
			return err
		}
	}
	if s.Output.Liquid > 0 {
		b, err := newLiquidBox(s, dir("liquid"))
		if s.Output.Tanks > 0 {
			w.tanks = newTanks(s)
			b.tanks = w.tanks
		}
		if err := add("liquid", b, err); err != nil {
			return err
		}
	}
	if s.Output.Granular > 0 {
		b, err := newGranuleBox(s, dir("granules"))
		if err := add("granules", b, err); err != nil {
			return err
		}
	}
	w.noted = newJournalBox(s, dir("journal"), w.tanks)
	return add("journal", w.noted, nil)
}

func (w *world) gradeB(t float64) bool { return t >= w.bFrom && t < w.bTo }

// day runs the timetable.
func (w *world) day(ctx context.Context, progress func(float64)) error {
	s := w.s
	end := s.Hours * 3600
	lunch := math.Inf(1)
	if s.Timetable.Lunch != "" && s.Timetable.LunchMin > 0 {
		lunch = s.seconds(s.Timetable.Lunch)
	}
	if lunch < 0 {
		lunch = math.Inf(1)
	}
	// The tractor stands a moment before it starts, boxes on.
	for i, f := range w.fields {
		w.inField = 0
		if i > 0 {
			// Over the road: boxes off.
			if err := w.do(ctx, w.tr.standing(w.fields[i-1], w.now, s.Timetable.RoadMin*60, false), false); err != nil {
				return err
			}
			w.tr.move()
		}
		for k := range f.lines {
			t := float64(w.now) * tick
			if t >= end {
				w.tot.End = s.t0 + evenstand.FromSeconds(t)
				return nil
			}
			if progress != nil {
				progress(min(t/end, 1))
			}
			if w.tr.placed && t >= lunch && !w.lunched {
				w.lunched = true
				if err := w.do(ctx, w.tr.standing(f, w.now, s.Timetable.LunchMin*60, false), false); err != nil {
					return err
				}
			}
			if w.tr.placed && s.Timetable.RefillHa > 0 && w.sinceRefill >= s.Timetable.RefillHa*evenstand.Hectare {
				w.sinceRefill = 0
				if err := w.do(ctx, w.tr.standing(f, w.now, s.Timetable.RefillMin*60, true), true); err != nil {
					return err
				}
				for _, x := range w.faults {
					x.refilled(float64(w.now) * tick)
				}
			}
			for _, m := range f.missed {
				if m.before == k {
					w.missed[f] += m.area
					if w.missedAt[f] == 0 {
						w.missedAt[f] = s.t0 + evenstand.FromSeconds(float64(w.now)*tick)
					}
				}
			}
			w.pass++
			w.inField++
			if w.board != nil {
				w.board.due(float64(w.now)*tick, f, w.inField, true)
			}
			if err := w.do(ctx, w.tr.drivePass(w.pass, f, &f.lines[k], w.now), false); err != nil {
				return err
			}
		}
	}
	w.tot.End = s.t0 + evenstand.FromSeconds(float64(w.now)*tick)
	if progress != nil {
		progress(1)
	}
	return nil
}

// do lives through one leg: air, rows, boxes, truth.
func (w *world) do(ctx context.Context, lg *leg, refill bool) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s := w.s
	w.leg++
	w.now += int64(lg.n)
	for _, f := range w.faults {
		f.window(s, lg, w.inField)
	}
	w.countStops(lg)
	if w.board != nil && !lg.works() {
		w.board.due(lg.start(), lg.field, 0, false)
	}
	a := w.breathe(lg)
	// Rows share nothing but what was made above, and boxes only look: both may
	// run side by side without a draw changing its place.
	sideBySide(len(w.rows), func(i int) { w.rows[i].plant(s, lg, a, w.faults) })
	if refill && w.tanks != nil {
		w.tanks.plan(w)
	}
	m := &moment{s: s, board: w.board, leg: lg, rows: w.rows, air: a, faults: w.faults, gradeB: w.gradeB, allA: math.IsInf(w.bFrom, 1), refill: refill}
	errs := make([]error, len(w.boxes)+1)
	sideBySide(len(errs), func(i int) {
		if i == len(w.boxes) {
			w.record(lg)
		} else {
			errs[i] = w.boxes[i].see(m)
		}
	})
	if w.tanks != nil {
		w.tanks.after(w, lg)
	}
	if lg.works() {
		w.count(lg)
	}
	return errors.Join(errs...)
}

// sideBySide does n things on the machine's cores.
func sideBySide(n int, do func(i int)) {
	var next atomic.Int64
	var wait sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), n) {
		wait.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= n {
					return
				}
				do(i)
			}
		})
	}
	wait.Wait()
}

// breathe makes what all rows share on a leg.
func (w *world) breathe(lg *leg) *air {
	s, m := w.s, &w.s.Meter
	g := stream(s.Seed, "air", -1, w.leg)
	n := lg.n / slow
	a := &air{common: make([]float64, n)}
	for side := range a.kpa {
		a.kpa[side], a.lost[side], a.off[side] = make([]float64, n), make([]float64, n), make([]bool, n)
	}
	for j := range n {
		x, y := g.Uint64(), g.Uint64()
		rate := max(lg.cv[lg.index(j*slow)]/s.spacing(), 0.5)
		a.common[j] = m.RateTerm*math.Log(rate/25) + m.MinuteSD*w.minute.step(quantile32(uint32(x>>32))) + m.HourSD*w.hour.step(quantile32(uint32(x)))
		for side := range a.kpa {
			a.kpa[side][j] = m.VacuumKPa + vacuumSD*w.vacuum[side].step(quantile32(uint32(y>>(32*side))))
			if b := w.board; b != nil && b.used[leverVacuum] {
				a.kpa[side][j] += b.at(leverVacuum, w.firstOf(side), lg.seconds(j*slow))/1000 - m.VacuumKPa
			}
		}
	}
	for _, f := range w.faults {
		switch f.Kind {
		case evenstand.KindLowVacuum:
			if !f.begun {
				continue
			}
			for side := range a.lost {
				if !w.touches(f, side) {
					continue
				}
				for j := range n {
					t := lg.seconds(j * slow)
					// The fan does not mend itself at the headland.
					if t >= f.t0 && (!f.over || t < f.w1) {
						a.lost[side][j] += f.Strength * f.grown(t)
					}
				}
			}
		case KindFanRestart:
			if f.w1 > f.w0 && f.t0 >= lg.start() && f.t0 < lg.end() {
				for j := range n {
					if lg.seconds(j*slow) < f.t0-fanRise {
						a.off[0][j], a.off[1][j] = true, true
					}
				}
			}
		}
	}
	return a
}

// firstOf gives the first row of a side.
func (w *world) firstOf(side int) int {
	for _, r := range w.rows {
		if r.side == side {
			return r.n
		}
	}
	return 1
}

func (w *world) touches(f *fault, side int) bool {
	for _, r := range w.rows {
		if r.side == side && f.has[r.n] {
			return true
		}
	}
	return false
}

// record keeps the truth of a leg.
func (w *world) record(lg *leg) {
	if !lg.works() {
		return
	}
	s := w.s
	way := lg.way[lg.up-1] - lg.way[lg.down]
	due, dropped, seen := 0.0, 0.0, 0
	for _, r := range w.rows {
		due += r.due
		dropped += r.dropped
		for k, c := range r.counts {
			if c.places == 0 && c.dust == 0 {
				continue
			}
			seen += int(c.seen)
			o := w.stretches
			for i, v := range [...]int{lg.pass, r.n, k, int(c.places), int(c.skips), int(c.doubles), int(c.seen), int(c.unseen), int(c.doubleSeen), int(c.dust)} {
				if i > 0 {
					o.comma()
				}
				o.int(v)
			}
			o.end()
		}
		for _, t := range r.truth {
			w.seeds.int(t.Pass).comma().int(t.Row).comma().int(int(t.T)).comma().fixed(t.Lat, 9).comma().fixed(t.Lon, 9).end()
		}
	}
	w.tot.Places += due
	w.tot.Dropped += dropped
	w.tot.Seen += float64(seen)
	area := way * s.width()
	w.tot.Area += area
	w.sinceRefill += area
	for i := lg.down; i < lg.up; i++ {
		if lg.v[i] > 0.3 {
			w.tot.Planting += tick
			for k := range w.hushed {
				if h := &w.hushed[k]; h.clock.quiet(lg.seconds(i)) {
					h.planted += tick
				}
			}
		}
	}
	head := 0
	t := w.spans[lg.field]
	now := span2{from: s.t0 + evenstand.FromSeconds(lg.seconds(lg.down)), to: s.t0 + evenstand.FromSeconds(lg.seconds(lg.up)), way: way}
	now.planting = float64(lg.up-lg.down) * tick
	t.join(now)
	if lg.line.headland {
		head = 1
	} else {
		t.inner.join(now)
	}
	w.spans[lg.field] = t
	at := func(i int) string { return (s.t0 + evenstand.FromSeconds(lg.seconds(i))).String() }
	w.passes.int(lg.pass).comma().text(lg.field.plan.Name).comma().text(at(lg.down)).comma().text(at(lg.up)).comma()
	w.passes.int(head).comma().fixed(way, 2).comma().fixed(due/float64(len(w.rows)), 1).comma().fixed(lg.line.curve, 6).end()
}

// finish puts the faults together and writes the rest of the truth.
func (w *world) finish(outDir string) (Summary, error) {
	w.tot.Hours = (w.tot.End - w.tot.Start).Seconds() / 3600
	sum := Summary{Boxes: w.names}
	if w.seedLn != nil {
		sum.Written = w.seedLn.total
	}
	var text []byte
	var faults []Fault
	for _, f := range w.faults {
		faults = append(faults, w.settle(f))
	}
	if f := w.clockFault(); f != nil {
		faults = append(faults, *f)
	}
	faults = append(faults, w.quietFaults()...)
	faults = append(faults, w.groundFaults()...)
	faults = append(faults, w.tankFaults()...)
	if w.furrow != nil {
		faults = append(faults, w.furrow.naturals()...)
	}
	for _, t := range faults {
		sum.Faults = append(sum.Faults, t)
		b, err := json.Marshal(t)
		if err != nil {
			return sum, err
		}
		text = append(append(text, b...), '\n')
	}
	for _, v := range []*float64{&w.tot.Hours, &w.tot.Planting, &w.tot.Area} {
		*v = round(*v, 4)
	}
	sum.Day = w.tot
	if err := w.writeCounts(outDir); err != nil {
		return sum, err
	}
	if w.board != nil {
		if err := w.board.writeTruth(filepath.Join(outDir, "truth"), w.noted.changes, float64(w.now)*tick); err != nil {
			return sum, err
		}
	}
	b, err := json.MarshalIndent(w.tot, "", " ")
	if err != nil {
		return sum, err
	}
	if err := os.WriteFile(filepath.Join(outDir, "truth", "day.json"), append(b, '\n'), 0o666); err != nil {
		return sum, err
	}
	return sum, os.WriteFile(filepath.Join(outDir, "truth.jsonl"), text, 0o666)
}

// settle turns what a fault did into its line of truth.
func (w *world) settle(f *fault) Fault {
	s, c := w.s, w.tot.Coefficients
	cause, causes := f.causes()
	t := Fault{
		ID: f.ID, Kind: f.Kind, Variant: f.Variant, Rows: f.rows, Cause: cause, Causes: causes,
		Expected: f.kind.expected, Excused: f.kind.excused, Distract: f.kind.distractor, Params: map[string]float64{}, Ratio: 1,
	}
	if f.kind.unit != "" {
		t.Params[f.kind.unit] = f.Strength
	}
	if f.Ramp > 0 {
		t.Params["ramp_min"] = f.Ramp
	}
	if f.Kind == evenstand.KindRateOff {
		t.Params["ratio"] = round(f.mult, 6)
	}
	cells := s.Planter.Cells
	if f.Kind == evenstand.KindBlockedCell || f.Kind == evenstand.KindWeakCell {
		t.Params["cell"], t.Params["cells"] = float64(f.Cell), float64(cells)
	}
	t.From, t.To = s.t0, s.t0
	n := f.total()
	if n.places > 0 {
		t.Happened = true
		t.From, t.To = s.t0+evenstand.FromSeconds(n.first), s.t0+evenstand.FromSeconds(n.last)
	}
	if f.Kind == evenstand.KindPuddle || f.Kind == evenstand.KindLiquidWithoutSeed {
		if t.Happened = f.ran > 0; t.Happened {
			t.From = s.t0 + evenstand.FromSeconds(f.ran)
		}
	}
	f.settleSwing(s, &t)
	t.Places = round(n.places/float64(len(f.rows)), 1)
	t.Turns = round(t.Places/float64(cells), 2)
	t.Planting, t.Way = round(f.planting, 1), round(f.metres, 1)
	switch {
	case n.doubles > 0 && n.dbl0 > 0 && f.Kind == evenstand.KindRowDoubles:
		t.Ratio = round(n.doubles/n.dbl0, 3)
	case n.skips0 > 0:
		t.Ratio = round(n.skips/n.skips0, 3)
	}
	t.Grade = "A"
	if w.gradeB(n.first) {
		t.Grade = "B"
	}
	if t.Grade == "B" && !strings.Contains(f.kind.grades, "B") && !f.kind.distractor {
		// Cells and runs cannot be told from other skips then: that the row skips
		// more is true, and all that can be said.
		t.Excused = append(slices.Clone(t.Excused), evenstand.KindRowSkips)
	}
	t.Detectable = t.Happened && f.detectable(s, t.Turns, t.Grade)
	f.settleDoubt(&t)
	if loadKind(f.Kind) && w.load != nil {
		w.load.settle(f, &t)
	}
	if furrowKind(f.Kind) && w.furrow != nil {
		w.furrow.settle(f, &t)
	}
	// Money: true places lost and seeds too many, the true coefficients.
	perPlace := s.spacing() * s.Planter.RowSpacing
	bushels := s.Money.Yield / evenstand.Acre * perPlace
	seed := s.Money.SeedUnit / 80000 // a unit of corn: R19
	t.Lost, t.Extra = n.lost, n.extra
	if f.Kind == evenstand.KindRowStopped || f.Kind == evenstand.KindRowLeftOff {
		t.Extra = 0
	}
	t.Bushels = t.Lost*bushels*c.SkipPlants + t.Extra*bushels*c.DoublePlants
	t.Loss.Seed = t.Extra * seed
	if f.Kind == evenstand.KindRateOff {
		area := f.metres * s.width()
		t.Bushels = area * s.Money.Yield / evenstand.Acre * c.loss(s.perM2(), f.mult)
		t.Extra = area * s.perM2() * (f.mult - 1)
		t.Loss.Seed = max(t.Extra, 0) * seed
	}
	t.Missed = round(1000*f.missed, 3)
	if liquidKind(f.Kind) {
		t.Bushels, _ = w.starterLost(f)
	}
	if f.Kind == evenstand.KindPumpLimit {
		t.Bushels = f.lacks * s.Money.Yield / evenstand.Acre * c.Starter
	}
	t.Bushels += n.places * bushels * c.spaced(f.uneven(s), s.Money.Yield)
	t.Loss.Yield = round(t.Bushels*s.Money.Price, 4)
	t.Loss.Seed, t.Bushels, t.Extra = round(t.Loss.Seed, 4), round(t.Bushels, 4), round(t.Extra, 1)
	return t
}

// loss gives the share of yield lost when ratio times the target came: R1's
// curve near the best stand. A rate better than the target is no gain.
func (c *Coefficients) loss(perM2, ratio float64) float64 {
	p := relation.Thousand(perM2) * c.Emergence
	return max(0, relation.NearOptimum(p, c.BestStand, c.Curvature)-relation.NearOptimum(p*ratio, c.BestStand, c.Curvature)) / 100
}

// coefficients draws the day's true relations, as triangles over what the
// relations give as low, likely and high.
func (s *Scenario) coefficients() Coefficients {
	g := stream(s.Seed, "relations", -1, 0)
	draw := func(low, likely, high float64) float64 {
		return round(relation.Triangular(low, likely, high, uniform(g)), 6)
	}
	_, emerge, _ := relation.Emergence()
	indiana, iowa := relation.Must("R1-population", "best stand, Indiana"), relation.Must("R1-population", "best stand, Iowa")
	var starter float64
	if s.Output.Liquid > 0 {
		starter = s.starter()
	}
	return Coefficients{
		Starter:      starter,
		SkipPlants:   draw(relation.SkipLoss(relation.Thousand(s.perM2()) * emerge)),
		DoublePlants: draw(relation.Must("R3-double", "default price of a double").Range()),
		Curvature:    draw(relation.Must("R1-population", "curvature below p*").Range()),
		BestStand:    draw(indiana.Low, indiana.Likely, iowa.Low),
		Emergence:    draw(relation.Emergence()),
		Spacing:      round(uniform(g), 6),
	}
}

// writeCard writes the planter card.
func writeCard(name string, s *Scenario) error {
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return err
	}
	c := s.card()
	c.Geometry.AntennaRight, c.Attachments = s.Planter.CardRight, s.attachments()
	return os.WriteFile(name, plain.WriteCard(c), 0o666)
}

// settingsName is the file of lines for book.toml.
const settingsName = "settings.toml"

// writeReadme says what lies in the folder.
func writeReadme(name string, s *Scenario) error {
	var fields, seed string
	for i := range s.Fields {
		fields += " --field fields/" + s.Fields[i].fileName()
	}
	if s.Money.SeedUnit > 0 {
		seed = fmt.Sprintf(" --seed-price %g/80000", s.Money.SeedUnit)
	}
	said := ""
	if s.settingsToml() != "" {
		said = "\n" + settingsName + "  what the people enter: its lines go to the end of BOOK/book.toml before reading"
	}
	text := fmt.Sprintf(`A simulated planting day: scenario %q, seed %d. No real farm, no real machine.

boxes/    what each box in the cab logged
card.toml the planter card
fields/   the field boundaries
truth*    what really happened; for scoring only%s

To read it:
  evenstand new BOOK --planter card.toml --zone %s%s \
    --price %.2f/bu --yield %gbu/ac%s
  evenstand read BOOK boxes
  evenstand worklist BOOK
  evenstand score BOOK .
`, s.Name, s.Seed, said, s.Zone, fields, s.Money.Price, s.Money.Yield, seed)
	return os.WriteFile(name, []byte(text), 0o666)
}
