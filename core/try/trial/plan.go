package trial

import (
	"fmt"
	"math"
	"slices"
	"time"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/stat"
)

// Spread is how rows differ: variances, in the unit of a measure squared.
type Spread struct {
	Row     float64 // of a row beside the others, over both times
	Drift   float64 // of a row's difference from one time to a later one, its passes taken out
	Pass    float64 // of one pass of a row
	Level   float64 // what rows do
	Assumed string  // empty: all of it from these rows
	Passes  int     // that it rests on
}

// Usual spread where nothing was planted yet, as shares of what rows do (methods,
// c: rows differ for ever by 10 to 20 %; and j: of the rows' own, three tenths
// drift from one time to the next, and a pass adds eight tenths).
const (
	usualRow   = 0.15
	usualDrift = 0.3
	usualPass  = 0.8
)

// SpreadOf measures how rows differ by themselves on passes of two times, earlier
// and later ones, of which Period says 0 and 1: a mixed model, each pass with a
// mean of its own and rows and rows within a time drawn by chance, by restricted
// maximum likelihood. Rows that count are those of the list, the passes' means
// too.
func SpreadOf(blocks []Block, rows []int, n int) Spread {
	nan := math.NaN()
	s := Spread{Row: nan, Drift: nan, Pass: nan, Level: nan, Passes: len(blocks)}
	var y, w []float64
	var pass, row, cell []int
	var in [2][]bool // by row, what each time tells of
	var sum, weight [2]float64
	for k := range in {
		in[k] = make([]bool, n)
	}
	for i := range blocks {
		b := &blocks[i]
		for _, r := range rows {
			if r--; !ok(b, r) {
				continue
			}
			y, w = append(y, b.Y[r]), append(w, b.W[r])
			pass, row, cell = append(pass, i), append(row, r), append(cell, 2*r+b.Period)
			in[b.Period][r] = true
			sum[b.Period] += b.W[r] * b.Y[r]
			weight[b.Period] += b.W[r]
		}
	}
	switch a, b := sum[0]/weight[0], sum[1]/weight[1]; {
	case weight[1] == 0:
		s.Level = a
	case weight[0] == 0:
		s.Level = b
	default:
		s.Level = (a + b) / 2
	}
	one, both := 0, 0
	for r := range n {
		if in[0][r] || in[1][r] {
			one++
		}
		if in[0][r] && in[1][r] {
			both++
		}
	}
	if one < 3 || len(y) <= len(blocks)+one+both { // nothing left to tell a pass by
		return s
	}
	for i := range w { // of a usual one
		w[i] *= float64(len(w)) / (weight[0] + weight[1])
	}
	d := stat.Design{Within: dense(pass), Weight: w, Random: []stat.Random{{Group: dense(row)}}}
	if both >= 3 {
		d.Random = append(d.Random, stat.Random{Group: dense(cell)})
	}
	f, err := stat.FitMixed(d, y, true)
	if err != nil {
		return s
	}
	s.Row, s.Pass = f.Vars[0].Intercept, f.Resid
	if both >= 3 {
		s.Drift = 2 * f.Vars[1].Intercept
		s.Row += s.Drift / 4 // the mean of both times
	}
	return s
}

// dense numbers what there is from 0.
func dense(of []int) []int {
	seen := map[int]int{}
	out := make([]int, len(of))
	for i, x := range of {
		k, ok := seen[x]
		if !ok {
			k = len(seen)
			seen[x] = k
		}
		out[i] = k
	}
	return out
}

// Fill puts what is usual in place of what is not known, and says so.
func (s Spread) Fill() Spread {
	switch {
	case math.IsNaN(s.Row) || math.IsNaN(s.Pass) || math.IsNaN(s.Level):
		level := s.Level
		if math.IsNaN(level) {
			level = 1
			s.Level = math.NaN()
		}
		s.Row = math.Pow(usualRow*level, 2)
		s.Drift, s.Pass = s.Row*usualDrift*usualDrift, s.Row*usualPass*usualPass
		s.Assumed = "Assumed: rows differ by 15% of what they do, three tenths of that from one time to the next. One day of planting tells it for these rows."
	case math.IsNaN(s.Drift):
		s.Drift = s.Row * usualDrift * usualDrift
		s.Assumed = "How much rows drift from one time to the next is assumed, three tenths of what they differ: more passes of these rows tell it."
	}
	return s
}

// Expect is the smallest difference that a design shows, by the number of rows
// that get the part, those in all that count, and the passes of each time.
func (s Spread) Expect(how How, with, rows, passes int) float64 {
	m, r, p := float64(with), float64(rows), float64(passes)
	switch how {
	case Swap: // m rows have it first, m others later
		if rows < 2*with || rows < 3 {
			return math.NaN()
		}
		groups := 3.0
		if rows == 2*with {
			groups = 2
		}
		return Smallest(math.Sqrt((s.Drift+2*s.Pass/p)/(2*m)), r-groups)
	case Fitted:
		if rows <= with || rows < 3 {
			return math.NaN()
		}
		return Smallest(math.Sqrt((s.Drift+2*s.Pass/p)*(1/m+1/(r-m))), r-2)
	}
	if rows <= with || rows < 3 {
		return math.NaN()
	}
	return Smallest(math.Sqrt((s.Row+s.Pass/p)*(1/m+1/(r-m))), r-2)
}

// Enough is how many passes of each time leave a tenth of the variance to the
// passes: beyond them more acres no longer help.
func (s Spread) Enough(how How) int {
	own, pass := s.Drift, 2*s.Pass
	if how == Beside {
		own, pass = s.Row, s.Pass
	}
	if !(own > 0) {
		return 0
	}
	return int(math.Ceil(9 * pass / own))
}

// Plan is a proposal: which rows, when to swap, and what it will see.
type Plan struct {
	Name     string           `json:"name"`
	How      How              `json:"how"`
	First    evenstand.Rows   `json:"first" doc:"Rows that carry the part in the first time; empty: none, it is a before"`
	Then     evenstand.Rows   `json:"then" doc:"Rows that carry it in the second time; empty: there is one time only"`
	Passes   int              `json:"passes" doc:"Of each time"`
	SwapOn   evenstand.Day    `json:"swap_on,omitempty"`
	Area     evenstand.Number `json:"area_m2" doc:"That each time takes; null unknown"`
	Parts    int              `json:"parts" doc:"Rows of parts that are needed"`
	Smallest evenstand.Number `json:"smallest" doc:"The smallest difference that it shows four times in five"`
	Relative evenstand.Number `json:"relative" doc:"The same as a share of what rows do now"`
	Enough   int              `json:"enough" doc:"Passes of each time beyond which more hardly help; 0 unknown"`
	Says     string           `json:"says"`
}

// PlanInput is what a plan is made from.
type PlanInput struct {
	Kind, Label string
	Measure     string
	Name, Unit  string // of the measure, for people
	Class       []Class
	Carry       evenstand.Rows // rows that carry the part already
	Rows        int            // rows of parts at hand; 0: two
	Passes      int            // of each time; 0: as many as help
	PassArea    float64        // m2 of a pass of the whole bar; NaN unknown
	PassesADay  float64        // NaN unknown
	Start       evenstand.Day
	Spread      Spread
	Seed        uint64
}

// Plans is what is proposed, the best first.
type Plans struct {
	Measure string         `json:"measure"`
	Unit    string         `json:"unit"`
	Seed    uint64         `json:"seed" doc:"Of the draw of the rows"`
	Plans   []Plan         `json:"plans"`
	Out     evenstand.Rows `json:"out" doc:"Rows that get no part: wheel tracks and the ends of the bar"`
	Assumed string         `json:"assumed"`
	Says    string         `json:"says"`
}

// How many passes of each time are proposed at the least and at most: fewer stand
// on a part of a day, and more than two days nobody waits (judgement).
const (
	leastPasses = 20
	mostPasses  = 60
)

// Propose plans a trial: rows without a wheel track and off the ends of the bar,
// as many on the left as on the right, drawn by lot; with a swap, without, and
// beside only, and with twice the parts.
func Propose(in PlanInput, v advise.Voice) Plans {
	out := Plans{Measure: in.Measure, Unit: in.Unit, Seed: in.Seed, Plans: []Plan{}, Out: evenstand.Rows{}}
	var plain []int
	for i, c := range in.Class {
		if c == Plain {
			plain = append(plain, i+1)
		} else {
			out.Out = append(out.Out, i+1)
		}
	}
	s := in.Spread.Fill()
	out.Assumed = s.Assumed
	m := in.Rows
	if m <= 0 {
		m = 2
	}
	order := drawRows(plain, in.Carry, len(in.Class), in.Seed)
	type try struct {
		how  How
		with int
	}
	tries := []try{{Swap, m}, {Fitted, m}, {Beside, m}}
	if 4*m <= len(plain) {
		tries = append(tries, try{Swap, 2 * m})
	}
	for _, t := range tries {
		enough := s.Enough(t.how)
		passes := in.Passes
		if passes <= 0 {
			if passes = s.Enough(Swap); passes == 0 {
				passes = mostPasses
			}
			passes = min(max(passes, leastPasses), mostPasses)
		}
		if t.how == Beside { // as much ground as both times of the others
			passes *= 2
		}
		x := s.Expect(t.how, t.with, len(plain), passes)
		if math.IsNaN(x) {
			continue
		}
		p := Plan{How: t.how, Passes: passes, Parts: t.with, Smallest: num(x), Relative: num(x / in.Spread.Level), Enough: enough, First: evenstand.Rows{}, Then: evenstand.Rows{}}
		if math.IsNaN(in.Spread.Level) {
			p.Smallest, p.Relative = evenstand.Unknown, num(x)
		}
		a := slices.Clone(order[:t.with])
		slices.Sort(a)
		switch t.how {
		case Swap:
			b := slices.Clone(order[t.with : 2*t.with])
			slices.Sort(b)
			p.First, p.Then = a, b
		case Fitted:
			p.Then = a
		default:
			p.First = a
		}
		p.Area = num(in.PassArea * float64(passes))
		if d := float64(passes) / in.PassesADay; t.how != Beside && in.Start != "" && d > 0 && d < 60 {
			p.SwapOn = after(in.Start, int(math.Max(1, math.Ceil(d))))
		}
		p.say(&in, v)
		out.Plans = append(out.Plans, p)
	}
	slices.SortStableFunc(out.Plans, func(a, b Plan) int {
		if a.Parts != b.Parts { // what the parts at hand allow first
			return a.Parts - b.Parts
		}
		switch x, y := float64(a.Relative)+float64(a.Smallest), float64(b.Relative)+float64(b.Smallest); {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	if len(out.Plans) == 0 {
		out.Says = "Too few rows are neither in a wheel track nor at the end of the bar: a trial wants three and more, and as many again with a swap."
		return out
	}
	out.Says = out.Plans[0].Says
	return out
}

// drawRows gives rows in the order in which they get the part: those that carry
// it already, then by lot, one from each side in turn.
func drawRows(plain []int, carry evenstand.Rows, rows int, seed uint64) []int {
	rng := stat.NewRand(seed, "rows of a trial")
	sides := [2][]int{}
	var out []int
	for _, r := range plain {
		if carry.Has(r) {
			out = append(out, r)
			continue
		}
		side := 0
		if 2*r > rows {
			side = 1
		}
		sides[side] = append(sides[side], r)
	}
	for i := range sides {
		rng.Shuffle(len(sides[i]), func(a, b int) { sides[i][a], sides[i][b] = sides[i][b], sides[i][a] })
	}
	at := rng.IntN(2)
	for _, r := range out { // what is mounted already weighs on its side
		if 2*r > rows {
			at--
		} else {
			at++
		}
	}
	side := 0
	if at > 0 {
		side = 1
	}
	for len(sides[0])+len(sides[1]) > 0 {
		if len(sides[side]) == 0 {
			side = 1 - side
		}
		out = append(out, sides[side][0])
		sides[side] = sides[side][1:]
		side = 1 - side
	}
	return out
}

func (p *Plan) say(in *PlanInput, v advise.Voice) {
	what := in.Label
	if what == "" {
		what = KindSays(in.Kind)
	}
	if what == "" {
		what = "the part"
	}
	low := func(r evenstand.Rows) string { return advise.Lower(advise.Rows(r)) }
	sees := fmt.Sprintf("a real difference in %s of %s of what the rows do now shows in four such trials of five", in.Name, v.Percent(float64(p.Relative)))
	if !math.IsNaN(float64(p.Smallest)) {
		sees = fmt.Sprintf("a real difference of %s in %s (%s of what the rows do now) shows in four such trials of five", Diff(v, float64(p.Smallest), in.Unit), in.Name, v.Percent(float64(p.Relative)))
	}
	if p.Relative >= 1 && (in.Measure == "skips" || in.Measure == "doubles") { // a share cannot fall by more than itself
		sees = fmt.Sprintf("this cannot show that %s fall: even none at all would not stand out from chance; only %s more of them would", in.Name, Diff(v, float64(p.Smallest), in.Unit))
	}
	ground := advise.Plural(int64(p.Passes), "pass", "passes")
	if !math.IsNaN(float64(p.Area)) {
		ground += ", " + v.Area(float64(p.Area))
	}
	day := ""
	if p.SwapOn != "" {
		day = " on about " + v.Day(p.SwapOn)
	}
	if more := p.Parts - max(in.Rows, 0); in.Rows > 0 && more > 0 {
		defer func() {
			p.Says = fmt.Sprintf("With parts for %s more: %s", advise.Plural(int64(more), "row", "rows"), advise.Lower(p.Says))
		}()
	}
	switch p.How {
	case Swap:
		p.Name = fmt.Sprintf("swap, %s", advise.Plural(int64(p.Parts), "row", "rows"))
		p.Says = fmt.Sprintf("Put %s on %s for %s. Move it to %s%s and plant as many again: %s.", what, low(p.First), ground, low(p.Then), day, sees)
	case Fitted:
		p.Name = fmt.Sprintf("before and after, %s", advise.Plural(int64(p.Parts), "row", "rows"))
		p.Says = fmt.Sprintf("Plant %s without it. Fit %s to %s%s and plant as many again: %s.", ground, what, low(p.Then), day, sees)
	default:
		p.Name = fmt.Sprintf("beside, %s", advise.Plural(int64(p.Parts), "row", "rows"))
		p.Says = fmt.Sprintf("Put %s on %s and leave it there for %s, as much ground as a swap takes in all: %s.", what, low(p.First), ground, sees)
		if p.Parts == 1 {
			p.Says += " One row cannot tell the part from the row, so that it gives no verdict."
		}
	}
}

// Settle is a way to know more, and what it would show.
type Settle struct {
	Do       string           `json:"do"`
	Smallest evenstand.Number `json:"smallest"`
	Helps    bool             `json:"helps" doc:"It would show a difference of the size that the trial has found"`
}

// settle says what would settle a trial.
func (in *Input) settle(f *Told, v advise.Voice) []Settle {
	out := []Settle{}
	r := &f.result
	if f.Verdict == Better || f.Verdict == Worse || f.Verdict == More || f.Verdict == Less {
		return out
	}
	if len(r.Mixed) > 0 {
		return append(out, Settle{"Change one thing at a time: leave the rest as it is on all rows, and plant on.", evenstand.Unknown, false})
	}
	found := math.Abs(r.Value)
	add := func(do string, x float64) {
		if !(x > 0) {
			return
		}
		out = append(out, Settle{do + ": shows " + Diff(v, x, f.Unit) + ".", num(x), found >= x})
	}
	if in.ByPasses {
		n := r.Passes
		if r.Known() {
			sd := r.SE * math.Sqrt(n)
			more := math.Ceil(n)
			for more+n < 200 && Smallest(sd/math.Sqrt(n+more), n+more-1) > found {
				more++
			}
			if found > 0 && more+n < 200 {
				add(fmt.Sprintf("%s more, back and forth", advise.Plural(int64(2*more), "pass", "passes")), Smallest(sd/math.Sqrt(n+more), n+more-1))
			} else {
				add(fmt.Sprintf("As many passes again, back and forth (%d)", int(2*n)), Smallest(sd/math.Sqrt(2*n), 2*n-1))
			}
		} else {
			out = append(out, Settle{"Switch it back and forth by pass, eight passes and more.", evenstand.Unknown, false})
		}
		return out
	}
	with, rows := len(r.With), len(r.With)+len(r.Without)
	passes := int(math.Max(10, math.Round(r.Passes)))
	spread := Spread{Row: math.NaN(), Drift: r.Drift, Pass: r.Pass, Level: float64(f.Without)}
	if r.How == Beside {
		spread.Row, spread.Drift = math.Max(0, r.Drift), math.NaN()
		spread.Pass = r.Pass
	} else {
		spread.Pass = r.Pass / 2
		spread.Row = 0
	}
	if !r.Known() {
		if len(r.With) == 0 || len(r.Without) == 0 {
			return append(out, Settle{"Plant with the part on some rows and without it on others, on the same passes.", evenstand.Unknown, false})
		}
		return out
	}
	filled := spread.Fill()
	free := slices.DeleteFunc(slices.Clone(r.Without), func(r int) bool { return in.Class[r-1] != Plain })
	m := max(1, with)
	if r.How != Swap && len(free) >= m {
		to := drawRows(free, nil, len(in.Arms), 1)[:min(m, len(free))]
		slices.Sort(to)
		days := "for as many passes"
		if r.Lone || with == 1 {
			days = "for a day"
		}
		do := fmt.Sprintf("Swap: take it off %s and fit it to %s", advise.Lower(advise.Rows(r.With)), advise.Lower(advise.Rows(to)))
		if in.Setting != "" {
			do = fmt.Sprintf("Swap: set %s to %s and %s back to %s", advise.Lower(advise.Rows(to)), in.level(in.Label), advise.Lower(advise.Rows(r.With)), in.level(in.Against))
		}
		add(fmt.Sprintf("%s %s, %d and more", do, days, passes), filled.Expect(Swap, m, rows, passes))
	}
	if rows >= 2*m+2 {
		how := r.How
		if how == Nothing {
			how = Beside
		}
		do := fmt.Sprintf("Fit it to %s more", advise.Plural(int64(m), "row", "rows"))
		if in.Setting != "" {
			do = fmt.Sprintf("Set %s more to %s", advise.Plural(int64(m), "row", "rows"), in.level(in.Label))
		}
		add(do, filled.Expect(how, 2*m, rows, passes))
	}
	now := r.Smallest
	if twice := filled.Expect(r.How, m, rows, 2*passes); twice > 0 {
		if twice < 0.95*now {
			add(fmt.Sprintf("As many passes again (%d)", passes), twice)
		} else {
			out = append(out, Settle{"More acres no longer help: what is left is how rows differ and drift by themselves.", num(twice), false})
		}
	}
	return out
}

// after gives the day some days later.
func after(d evenstand.Day, days int) evenstand.Day {
	t, err := d.Start(time.UTC)
	if err != nil {
		return ""
	}
	return evenstand.DayOf(evenstand.FromTime(t.Time().AddDate(0, 0, days)), time.UTC)
}
