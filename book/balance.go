package book

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	measure "evenstand/core/measure/group"
	"evenstand/core/price"
	"evenstand/core/record"
	"evenstand/core/stat"
	"evenstand/core/try"
	"evenstand/core/try/balance"
	"evenstand/core/try/effect"
)

// Figures of the balance that are judgement, without a source.
const (
	// recent is how many stretches of the bar tell how things stand now: 1.2 km.
	recent = 80
	// worth is what a better setting must save to be worth the bother, in the
	// currency on an acre; bushels are taken at their usual price of about $4.
	worth, worthBushels = 0.25, 0.06
	// weighed is the same where there is no money: a share of what the responses
	// commonly differ by.
	weighed = 0.05
	// tryLasts is how long some rows that stand otherwise are called a try of now.
	tryLasts = 7 * 24 * 60 * 60 * evenstand.Second
	// setMinutes is what it takes to set a lever once, and to write it down.
	setMinutes = 1
)

// Tried are the changes of a planter's settings over the season, and what they
// did.
type Tried struct {
	Changes []try.Change
	Effects []try.Effect
	Found   []effect.Found // those of which nothing could be told too
}

// Lever is how one setting stands, what to try with it next, and what it does.
type Lever struct {
	balance.Lever
	Planter   string
	Day       evenstand.Day
	Field     string
	AsOf      evenstand.Micros
	Now       float64 // NaN unknown
	Low, High float64 // its limits, NaN none
	Grade     evenstand.Grade
	Unit      string // of money; empty: responses are weighed
	Basis     price.Basis
	Problem   balance.Problem
	Advice    balance.Advice
	Said      balance.Said
	Panels    []balance.Panel
	// Trying says what is being tried at present, empty: nothing.
	Trying string
	// Needs is what is missing, as whole sentences; Assumed what was taken.
	Needs   []string
	Assumed []string
}

// Balance says what to try with each setting of the planter that logged last. A
// setting that nobody has changed, logs or has set limits for is left out.
func (b *Book) Balance(ctx context.Context, days []DaySummary, v advise.Voice) ([]Lever, error) {
	stand, err := b.standKey(ctx)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	key := balanceKeyOf(stand, days, v)
	if ls, ok := b.kept.balance.get(key); ok {
		return ls, nil
	}
	ls, err := b.balance(ctx, days, v)
	if err == nil {
		b.kept.balance.put(key, ls)
	}
	return ls, err
}

func (b *Book) balance(ctx context.Context, days []DaySummary, v advise.Voice) ([]Lever, error) {
	last := newest(days)
	if last == nil {
		return nil, nil
	}
	tried, err := b.tried(ctx, last.Planter, days)
	if err != nil {
		return nil, err
	}
	p, err := b.Panel(ctx, last.Planter, last.Day, measuresOf(append(slices.Clone(effect.Names), "speed", "vacuum", "force")))
	if err != nil {
		return nil, err
	}
	left, err := b.LeftToPlant(ctx, days)
	if err != nil {
		return nil, err
	}
	card, err := b.settledCard(last.Planter, last.Day)
	if err != nil {
		return nil, err
	}
	s := standing{set: b.Settings(), day: last, card: card, p: p, tried: tried, left: math.NaN(), v: v}
	s.file = b.cardFile(last.Planter, last.Day)
	if n := len(p.Steps); n > 0 {
		s.field = p.Steps[n-1].Field
	}
	if x, ok := left[s.field]; ok {
		s.left = x
	}
	passes, err := b.Passes(ctx, last.Planter, last.Day)
	if err != nil {
		return nil, err
	}
	s.pass = usualPass(passes)
	s.look()
	var out []Lever
	for _, l := range balance.Levers() {
		if x, ok := s.lever(l); ok {
			out = append(out, x)
		}
	}
	slices.SortStableFunc(out, func(a, b Lever) int { return first(&a) - first(&b) })
	return out, nil
}

// first orders levers: what is past a limit, what is to be tried, what is known,
// what cannot be said.
func first(l *Lever) int {
	switch l.Advice.Verdict {
	case balance.Back, balance.Keep, balance.Undo:
		return 0
	case balance.Try, balance.Trying:
		return 1
	case balance.Cannot:
		return 3
	}
	return 2
}

// better gives the findings of settings that can be set for the better. Without
// limits for any nothing is tried, and nothing is looked at. The ids of what is
// being tried at present are given too.
func (b *Book) better(ctx context.Context, fs []evenstand.Finding, days []DaySummary, v advise.Voice) (out []evenstand.Finding, tried map[string]bool, err error) {
	set := b.Settings()
	if !slices.ContainsFunc(balance.Levers(), func(l balance.Lever) bool {
		x := set.Limit(l.Quantity())
		return !math.IsNaN(x.Least) && !math.IsNaN(x.Most)
	}) {
		return nil, nil, nil
	}
	ls, err := b.Balance(ctx, days, v)
	if err != nil {
		return nil, nil, err
	}
	tried = map[string]bool{}
	for i := range ls {
		if p := &ls[i].Problem; len(p.TriedRows) > 0 {
			tried[ls[i].adviceID(balance.Try, p.Tried)] = true
		}
	}
	// Where the vacuum fell by itself its cause is looked for before the setting is
	// touched.
	ls = slices.DeleteFunc(ls, func(l Lever) bool {
		return l.Quantity() == evenstand.Vacuum && slices.ContainsFunc(fs, func(f evenstand.Finding) bool {
			return f.Kind == evenstand.KindLowVacuum && f.Planter == l.Planter && f.Stage == evenstand.Raised && f.Status == evenstand.Open && f.Until == nil
		})
	})
	return settingBetter(ls), tried, nil
}

// adviceID is the id of what is proposed: the same on every day as long as it is
// to bring the setting to the same value.
func (l *Lever) adviceID(what balance.Verdict, next float64) string {
	if what != balance.Keep && what != balance.Undo {
		what = balance.Try
	}
	if step := l.Problem.Step; step > 0 {
		next = math.Round(next / step)
	}
	return record.ID(l.Planter, "", fmt.Sprintf("%s %s %s %.6g", evenstand.KindSettingBetter, what, l.Name, next), 0, 0)
}

// usualPass is the middle length of the passes that are no headlands, NaN
// without any.
func usualPass(passes []evenstand.Pass) float64 {
	var long []float64
	for i := range passes {
		if p := &passes[i]; !p.Headland && p.S1 > p.S0 {
			long = append(long, p.S1-p.S0)
		}
	}
	return stat.Median(long)
}

// tried gives the changes of a planter and what they did. What speed does is told
// by the speeds of the days, not by what was noted of it.
func (b *Book) tried(ctx context.Context, planter string, all []DaySummary) (t Tried, err error) {
	cs, err := b.seasonChanges(ctx, planter, "")
	if err != nil {
		return t, err
	}
	for _, d := range all {
		if d.Planter == planter {
			t.Changes = append(t.Changes, cs[d.Day]...)
		}
	}
	try.SortChanges(t.Changes)
	days, err := b.Effects(ctx)
	if err != nil {
		return t, err
	}
	put := func(fs []effect.Found) {
		t.Found = append(t.Found, fs...)
		for i := range fs {
			if fs[i].Known() {
				t.Effects = append(t.Effects, fs[i].Effect)
			}
		}
	}
	for i := range days {
		d := &days[i]
		if d.Planter != planter {
			continue
		}
		for _, fs := range d.Changes {
			if len(fs) > 0 && fs[0].Change.Lever != evenstand.GroundSpeed.String() {
				put(fs)
			}
		}
		put(d.Speed)
	}
	return t, nil
}

// measuresOf gives the measures of the names.
func measuresOf(ids []string) (ms []measure.Measure) {
	for _, id := range ids {
		if m, ok := measure.ByID(id); ok {
			ms = append(ms, m)
		}
	}
	return ms
}

// standing is how a planter stands at the end of its last day.
type standing struct {
	set   evenstand.Settings
	day   *DaySummary
	card  evenstand.Card
	file  string
	p     *try.Panel
	tried Tried
	field string
	left  float64
	pass  float64
	v     advise.Voice

	measures    map[string]response
	speed, rate float64
}

// response is how a measure stands.
type response struct{ now, spread, rowSD float64 }

// look sums up the measures of the day: how they stand over the last stretches,
// by how much they differ along the ground, and rows among themselves.
func (s *standing) look() {
	s.measures = map[string]response{}
	n := len(s.p.Steps)
	for m := range s.p.Measures {
		var along, rest []float64
		var total measure.Part
		for k := range n {
			var all measure.Part
			var of []float64
			for r := 1; r <= s.p.Rows; r++ {
				part := s.p.Part(m, k, r)
				if !(part.N > 0) {
					continue
				}
				all.Add(part)
				if k >= n-recent {
					total.Add(part)
				}
				if v, w := s.p.Value(m, k, r); w > 0 {
					of = append(of, v)
				}
			}
			if v, ok := s.p.Measures[m].Value(all); ok {
				along = append(along, v)
			}
			if len(of) > 3 {
				if sd := stat.MAD(of); sd > 0 {
					rest = append(rest, sd)
				}
			}
		}
		x := response{math.NaN(), math.NaN(), math.NaN()}
		if v, ok := s.p.Measures[m].Value(total); ok {
			x.now = v
		}
		if len(along) > 4 {
			x.spread = sd(along)
		}
		if len(rest) > 0 {
			x.rowSD = stat.Median(rest)
		}
		s.measures[s.p.Measures[m].ID] = x
	}
	s.speed, s.rate = math.NaN(), math.NaN()
	if x, ok := s.measures["speed"]; ok {
		s.speed = x.now
	}
	if x, ok := s.measures["population"]; ok {
		s.rate = x.now
	}
}

// stretchesOf sums up a measure over stretches of the bar, of the rows that are
// wanted: the value of each block of neighbouring ones, which resemble each other
// and are one witness, of each row, and of all.
func (s *standing) stretchesOf(m, from, to int, of func(row int) bool) (blocks, rows []float64, now float64) {
	var total, block measure.Part
	sums := make([]measure.Part, s.p.Rows)
	value := func(p measure.Part) (float64, bool) {
		if !(p.N > 0) {
			return math.NaN(), false
		}
		return s.p.Measures[m].Value(p)
	}
	for k := max(0, from); k < to; k++ {
		for r := 1; r <= s.p.Rows; r++ {
			if part := s.p.Part(m, k, r); part.N > 0 && of(r) {
				block.Add(part)
				sums[r-1].Add(part)
			}
		}
		st := &s.p.Steps[k]
		if k+1 < to {
			if next := &s.p.Steps[k+1]; next.Pass == st.Pass && next.K/measure.Cluster == st.K/measure.Cluster {
				continue
			}
		}
		if v, ok := value(block); ok {
			blocks = append(blocks, v)
		}
		total.Add(block)
		block = measure.Part{}
	}
	for r := range sums {
		if v, ok := value(sums[r]); ok {
			rows = append(rows, v)
		}
	}
	now, _ = value(total)
	return blocks, rows, now
}

// stood gives how a response stands at the present setting of a lever, and the
// error of that: over the last stretches since the setting was last changed, on
// the rows on which nothing else is being tried.
func (s *standing) stood(x *Lever, a *balance.Aim, tried evenstand.Rows, at float64, since evenstand.Micros) (now, se float64) {
	m, ok := s.p.Index(a.Measure)
	if !ok {
		return math.NaN(), math.NaN()
	}
	n, from, was := len(s.p.Steps), 0, math.NaN()
	for i := range s.tried.Changes { // the last one of the other rows
		c := &s.tried.Changes[i]
		if c.Lever != x.Name || c.T > s.day.AsOf || !slices.ContainsFunc(s.rows(), func(r int) bool { return c.On(r) && !slices.Contains(tried, r) }) {
			continue
		}
		from, was = s.p.At(max(c.T, c.Late)), c.From
	}
	all := func(int) bool { return true }
	rest := func(r int) bool { return !slices.Contains(tried, r) }
	err := func(blocks, rows []float64, lo, hi int, of func(int) bool) float64 {
		var by float64
		if wide, _, _ := s.stretchesOf(m, lo, hi, of); len(wide) >= 4 {
			by = sd(wide)
		} else if wide, _, _ := s.stretchesOf(m, 0, n, of); len(wide) >= 4 {
			by = sd(wide)
		} else {
			by = a.Spread // as stretches differ, which is more than blocks do
		}
		se := by / math.Sqrt(float64(len(blocks)))
		if k := float64(len(rows)); k > 1 && int(k) < s.p.Rows { // these rows stand for all
			se = math.Hypot(se, sd(rows)/math.Sqrt(k)*math.Sqrt(1-k/float64(s.p.Rows)))
		}
		return se
	}
	if blocks, rows, now := s.stretchesOf(m, max(from, n-recent), n, rest); len(blocks) > 0 {
		return now, err(blocks, rows, from, n, rest)
	}
	// Nothing is planted since, or only the rows of the try tell it: as it was
	// before, and what the change between is known to do.
	of, to := rest, from
	blocks, rows, now := s.stretchesOf(m, to-recent, to, of)
	if len(blocks) == 0 && len(tried) > 0 {
		of, to = all, s.p.At(since-noteError)
		if blocks, rows, now = s.stretchesOf(m, max(from, to-recent), to, of); len(blocks) > 0 {
			return now, err(blocks, rows, from, to, of)
		}
		to, was = n, at
		blocks, rows, now = s.stretchesOf(m, to-recent, to, of)
	}
	if len(blocks) == 0 {
		return math.NaN(), math.NaN()
	}
	se = err(blocks, rows, 0, to, of)
	if a.Curve.Changes > 0 && a.Curve.Scale != 0 && !math.IsNaN(was) && !math.IsNaN(x.Now) {
		d, by := a.Curve.Diff(was, x.Now)
		return now + d, math.Hypot(se, by)
	}
	if a.Spread > 0 {
		se = math.Hypot(se, a.Spread)
	}
	return now, se
}

// rows are those of the planter.
func (s *standing) rows() (out evenstand.Rows) {
	for r := range s.p.Rows {
		out = append(out, r+1)
	}
	return out
}

// untold gives the time of the change that tells of what is being tried, and
// where it tells nothing, why, and what would.
func (s *standing) untold(x *Lever, since evenstand.Micros, at float64) (told evenstand.Micros, why, want string) {
	var reason effect.Why
	var names []string
	known, any := false, false
	for i := range x.Problem.Aims {
		a := &x.Problem.Aims[i]
		if a.Price == 0 {
			continue
		}
		if m, ok := measure.ByID(a.Measure); ok {
			names = append(names, m.Label)
		}
		for k := range s.tried.Found {
			f := &s.tried.Found[k]
			if f.Change.Lever != x.Name || f.Change.T != since || f.Measure != a.Measure {
				continue
			}
			any = true
			switch {
			case f.Why == effect.None:
				known = known || f.Known()
			case reason == effect.None || reason == effect.Silent:
				reason = f.Why
			}
		}
	}
	if known {
		return since, "", ""
	}
	told = since
	if reason == effect.Again { // it is told under the first of a back and forth
		told = evenstand.NoTime
		for k := range s.tried.Found {
			f := &s.tried.Found[k]
			if f.Change.Lever == x.Name && f.Known() && f.Change.T < since && (f.Change.To == at || f.Change.From == at) && f.Change.T > told {
				told = f.Change.T
			}
		}
	}
	what := strings.Join(names, ", ")
	switch {
	case reason == effect.Short:
		return told, "too little was planted on one side of the change, in one field and without another change", "Plant on with both settings side by side, and change nothing else on those rows meanwhile."
	case reason == effect.Mixed:
		return told, "another setting was changed on the same rows at the same time", "Set it back and try it again by itself, with no other change on those rows."
	case reason == effect.Lonely:
		return told, "fewer than three rows were left as they were", "Set three rows or more back, so that there is something to compare with."
	case reason == effect.Silent:
		return told, "no box told " + what + " on both sides of the change", "It takes logs of " + what + " from before and after the change, on rows that were changed and on rows that were not."
	case !any:
		return told, "no day of planting that is in the logbook has this change within it", "Write down when it was changed and what it was before, or bring the logs of that day."
	}
	return told, "the rows and passes that did not change tell too little beside it", "Plant on with both settings side by side."
}

func sd(x []float64) float64 {
	var m evenstand.Moments
	for _, v := range x {
		m.Add(v)
	}
	return m.SD()
}

// logged is the measure that a lever is logged as, where it is.
var logged = map[evenstand.Quantity]string{evenstand.Vacuum: "vacuum", evenstand.GroundSpeed: "speed", evenstand.AppliedForce: "force"}

// stands gives what a lever stands at on most rows, and what some rows are being
// tried at. Rows that a box found otherwise, and of which nobody wrote that they
// were set, are alone: a fault is no try.
func (s *standing) stands(l *balance.Lever) (now float64, tried evenstand.Rows, at float64, since evenstand.Micros, alone evenstand.Rows) {
	now, at = math.NaN(), math.NaN()
	follow := try.Follow(l.Name, s.tried.Changes)
	// A row that no change was of stands as the first one says that it was.
	before := math.NaN()
	for i := range s.tried.Changes {
		if c := &s.tried.Changes[i]; c.Lever == l.Name {
			before = c.From
			break
		}
	}
	each := make([]float64, max(1, s.card.Rows))
	for r := range each {
		if each[r] = follow.Value(r+1, s.day.AsOf+noteError); math.IsNaN(each[r]) {
			each[r] = before
		}
	}
	// What a box logs is not quite what was set: the same is what lies within a
	// step.
	same := func(a, b float64) bool { return math.Abs(a-b) < 0.75*l.Step(s.set.Units) }
	as := func(x float64) (n int) {
		for _, o := range each {
			if same(o, x) {
				n++
			}
		}
		return n
	}
	// Of two as frequent it is the older one: that of the rows which were not
	// changed, the last ones.
	for r := len(each) - 1; r >= 0; r-- {
		if x := each[r]; !math.IsNaN(x) && (math.IsNaN(now) || as(x) > as(now)) {
			now = x
		}
	}
	for r, x := range each {
		if math.IsNaN(x) || same(x, now) {
			continue
		}
		if s.unsaid(l.Name, r+1) {
			alone = append(alone, r+1)
			continue
		}
		if math.IsNaN(at) || same(x, at) {
			at = x
			tried = append(tried, r+1)
		}
	}
	for i := range s.tried.Changes {
		if c := &s.tried.Changes[i]; len(tried) > 0 && c.Lever == l.Name && c.On(tried[0]) {
			since = c.T
		}
	}
	if math.IsNaN(now) {
		if id, ok := logged[l.Quantity()]; ok {
			now = s.measures[id].now
		}
	}
	return now, tried, at, since, alone
}

// unsaid tells whether the last change of a row was only measured.
func (s *standing) unsaid(lever string, row int) (yes bool) {
	for i := range s.tried.Changes {
		if c := &s.tried.Changes[i]; c.Lever == lever && c.On(row) {
			yes = c.Unsaid
		}
	}
	return yes
}

// lever makes up the problem of one lever and its advice; false where it is
// nobody's matter.
func (s *standing) lever(l balance.Lever) (x Lever, ok bool) {
	limit := s.set.Limit(l.Quantity())
	now, rows, at, since, alone := s.stands(&l)
	changes := 0
	for i := range s.tried.Changes {
		if s.tried.Changes[i].Lever == l.Name {
			changes++
		}
	}
	if math.IsNaN(now) && !limit.Set() && changes == 0 {
		return x, false
	}
	x = Lever{Lever: l, Planter: s.day.Planter, Day: s.day.Day, Field: s.field, AsOf: s.day.AsOf, Now: now, Low: limit.Least, High: limit.Most, Needs: []string{}, Assumed: []string{}}
	p := &x.Problem
	*p = balance.Problem{
		Lever: l.Name, Low: limit.Least, High: limit.Most, Now: now, Step: l.Step(s.set.Units), ByRows: l.Rows, Rows: s.card.Rows,
		Width: float64(s.card.Rows) * s.card.RowSpacing, Speed: s.speed, PassLength: s.pass, Seed: priceSeed,
	}
	for i := range s.tried.Changes {
		if c := &s.tried.Changes[i]; c.Lever == l.Name && len(c.Rows) > 0 {
			p.ByRows = true
		}
	}
	// A logged number lies between the steps that the lever is set in; a setting
	// that somebody wrote down stands as it is.
	if changes == 0 && p.Step > 0 {
		p.Now = math.Round(now/p.Step) * p.Step
		x.Now = p.Now
	}
	p.Left, x.Basis = s.left, price.Field
	if season := s.set.Season; season > 0 {
		p.Left, x.Basis = season+max(0, orZero(s.left)), price.Season
	}
	ctx := price.Context{Settings: s.set, Rows: s.card.Rows, Spacing: s.card.RowSpacing, Card: s.file, FieldLeft: s.left, AsOf: s.day.AsOf, Seed: priceSeed}
	s.aims(&x, ctx, rows, at, since)
	if rows != nil {
		p.Tried, p.TriedRows, p.TriedSteps = at, rows, max(0, len(s.p.Steps)-s.p.At(since))
		if evenstand.DayOf(since, s.v.Zone) != s.day.Day { // the day before told it
			p.TriedSteps = len(s.p.Steps)
		}
		p.TriedSince, p.Untold, p.Wants = s.untold(&x, since, at)
	}
	need := func(format string, args ...any) { x.Needs = append(x.Needs, fmt.Sprintf(format, args...)) }
	name := advise.Capital(l.Words)
	if !(now >= limit.Least && now <= limit.Most) {
		x.Needs = []string{} // first things first
	}
	switch {
	case math.IsNaN(limit.Least) || math.IsNaN(limit.Most):
		need("Say how far you may go with %s, at least and at most: nothing is tried without limits.", l.Words)
	case !(limit.Most > limit.Least):
		need("The limits of %s leave nothing to try.", l.Words)
	case math.IsNaN(now):
		need("Write down what is set for %s: no box logs it.", l.Words)
	case now < limit.Least || now > limit.Most:
		need("%s: %s is set, which is outside your limits of %s to %s.", name, l.Say(now, s.v), l.Say(limit.Least, s.v), l.Say(limit.Most, s.v))
	}
	if l.Quantity() == evenstand.GroundSpeed && p.Fixed == nil && x.Unit != "" {
		need("Say what an hour of the operator and of the machine costs: without that a slower pass would seem to cost nothing. Both stand with the prices, in the logbook or under [prices] in book.toml.")
		p.Low = math.NaN()
	}
	x.Advice = balance.Next(p)
	x.Said = balance.Say(p, &x.Advice, x.Unit, s.v)
	x.Panels = balance.Panels(p, &x.Advice)
	if x.Advice.Verdict == balance.Cannot && len(x.Needs) == 0 {
		var want []string
		for _, id := range l.Measures {
			if m, _ := measure.ByID(id); m.Worse != 0 {
				want = append(want, m.Label)
			}
		}
		need("What would tell how %s should be set is not logged, or has no price: %s.", l.Words, strings.Join(want, ", "))
	}
	if x.Advice.Verdict == balance.Cannot {
		x.Assumed = []string{}
	}
	if stand := fmt.Sprintf("%s on %s since %s", x.Say(at, s.v), advise.Lower(advise.Rows(rows)), s.v.Clock(since)+s.v.On(since)); rows != nil {
		if x.Advice.Verdict == balance.Trying || since >= s.day.AsOf-tryLasts {
			x.Trying = "Being tried: " + stand + "."
		} else {
			x.Assumed = append(x.Assumed, "It has stood at "+stand+", too long for a try of now.")
		}
	}
	if len(alone) > 0 {
		x.Assumed = append(x.Assumed, fmt.Sprintf("The logs show %s otherwise than the rest, and nobody wrote down that they were set: that is taken for no try. If they were set, write it down.", advise.Lower(advise.Rows(alone))))
	}
	// Neither what rows scatter by nor what a change did is followed from one
	// response to the other.
	weighs := 0
	for i := range p.Aims {
		if a := &p.Aims[i]; a.Price != 0 || !math.IsNaN(a.Least) || !math.IsNaN(a.Most) {
			weighs++
		}
	}
	if x.Advice.Verdict != balance.Cannot && weighs > 1 {
		x.Assumed = append(x.Assumed, "What a change does to one of these is taken to say nothing of the others: where they go up and down together, the chances are less sure than they look.")
	}
	return x, true
}

// Label is the setting as a heading.
func (l *Lever) Label() string { return advise.Capital(strings.TrimPrefix(l.Words, "the ")) }

func orZero(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return x
}

// aims fills the problem with the responses of the lever: what costs money, or
// where nothing does what is weighed, and what has limits.
func (s *standing) aims(x *Lever, ctx price.Context, tried evenstand.Rows, at float64, since evenstand.Micros) {
	p := &x.Problem
	crop := ""
	if len(s.card.Meters) > 0 {
		crop = s.card.Meters[0].Crop
	}
	money := false
	for _, id := range x.Measures {
		r, ok := s.measures[id]
		if !ok || math.IsNaN(r.now) {
			continue
		}
		m, _ := measure.ByID(id)
		limit := evenstand.Limit{Least: math.NaN(), Most: math.NaN()}
		if m.Quantity != evenstand.Raw {
			limit = s.set.Limit(m.Quantity)
		}
		a := balance.Aim{Measure: id, Least: limit.Least, Most: limit.Most, Spread: r.spread, RowSD: r.rowSD}
		c, told := effect.Join(s.tried.Effects, x.Name, id)
		for i := range s.tried.Effects {
			if e := &s.tried.Effects[i]; !told && e.Change.Lever == x.Name && e.Measure == id {
				c, told = balance.One(e)
			}
		}
		if told {
			a.Curve = c
		}
		a.Now, a.NowSE = s.stood(x, &a, tried, at, since)
		if m.Worse != 0 {
			draws, unit, needs := price.PerUnit(id, crop, s.rate, s.measures["spacing"].now, ctx)
			if draws != nil {
				a.Prices, x.Unit, money = draws, unit, true
				for _, d := range draws {
					a.Price += d / float64(len(draws))
				}
				money = money && a.Price > 0
			}
			for _, n := range needs {
				if n.Topic == evenstand.TopicPrices {
					x.Needs = append(x.Needs, "For "+m.Label+" in money: "+n.Text+".")
				}
			}
		}
		p.Aims = append(p.Aims, a)
	}
	p.Effects = s.tried.Effects
	if money {
		p.Worth = worth / evenstand.Acre
		if x.Unit == "bu" {
			p.Worth = worthBushels / evenstand.Acre
		}
		if hour, ok := price.Hour(s.day.Day, ctx); ok {
			p.Cost = setMinutes / 60.0 * hour
			if x.Name == evenstand.GroundSpeed.String() && p.Width > 0 {
				p.Fixed = func(speed float64) float64 { return hour / (3600 * speed * p.Width) }
			}
		}
		return
	}
	// Without money each response that is better small or large counts as much as
	// it commonly differs.
	x.Unit = ""
	p.Worth = weighed
	for i := range p.Aims {
		a := &p.Aims[i]
		if m, _ := measure.ByID(a.Measure); m.Worse != 0 && a.Spread > 0 {
			a.Price, a.Prices = float64(m.Worse)/a.Spread, nil
		}
	}
	if slices.ContainsFunc(p.Aims, func(a balance.Aim) bool { return a.Price != 0 }) {
		x.Assumed = append(x.Assumed, "What it costs is not published: each response counts by how much it commonly differs along the ground.")
	}
}

// note is the line of the journal that says that the advice was followed, with its
// rows; empty: none.
func (l *Lever) note() string {
	if l.Said.Note == "" || len(l.Said.Rows) == 0 {
		return l.Said.Note
	}
	return l.Said.Note + ", " + advise.Lower(advise.Rows(l.Said.Rows))
}

// settingBetter raises what a lever can be set to for the better: the finding
// setting-better, one a lever, made with the worklist.
func settingBetter(ls []Lever) (out []evenstand.Finding) {
	num := func(x float64) evenstand.Number { return evenstand.Number(x) }
	unknown := evenstand.Unknown
	for i := range ls {
		l := &ls[i]
		a := &l.Advice
		switch a.Verdict {
		case balance.Back, balance.Keep, balance.Undo:
		case balance.Try:
			if a.First {
				continue // a first try is proposed on its screen, it is no finding yet
			}
		default:
			continue
		}
		f := evenstand.Finding{
			Kind: evenstand.KindSettingBetter, Family: evenstand.KindSettingBetter, Stage: evenstand.Raised, Status: evenstand.Open,
			Grade: evenstand.GradeB, When: evenstand.Now, Planter: l.Planter, Day: l.Day, Field: l.Field,
			Since: l.AsOf, SinceLow: l.AsOf, SinceHigh: l.AsOf, Alarm: l.AsOf,
			Sentence: l.Said.Sentence, Say: []string{}, Sources: []string{},
			Rows: l.Said.Rows,
		}
		f.ID = l.adviceID(a.Verdict, a.Next)
		si, size := l.Quantity().Info().SI, 1.0
		if si == "Pa" && l.Quantity() != evenstand.Vacuum { // as psi, not as inches of water
			si, size = "kPa", 1000
		}
		f.Evidence = []evenstand.Evidence{
			{Name: "stands at", Value: num(a.Now / size), Low: unknown, High: unknown, N: unknown, Unit: si},
			{Name: "to try", Value: num(a.Next / size), Low: unknown, High: unknown, N: unknown, Unit: si},
			{Name: "chance that it is better", Value: num(a.Better), Low: unknown, High: unknown, N: num(float64(a.Changes)), Unit: "fraction"},
		}
		for _, c := range a.Limits {
			m, _ := measure.ByID(c.Measure)
			f.Evidence = append(f.Evidence, evenstand.Evidence{Name: "chance of " + m.Label + " within your limit", Value: num(c.Next), Low: unknown, High: unknown, N: unknown, Unit: "fraction"})
		}
		f.Advice = evenstand.Advice{Do: l.Said.Do, Minutes: setMinutes, Who: "operator", Cautions: []string{}}
		f.Money = evenstand.Money{Word: "likely", Needs: []evenstand.Need{}, StillToSave: evenstand.ToSave{Basis: string(l.Basis), Low: unknown, Mid: unknown, High: unknown, Expected: unknown}}
		f.Money.SoFar, f.Money.PerArea = evenstand.Range{Low: unknown, Mid: unknown, High: unknown}, evenstand.Range{Low: unknown, Mid: unknown, High: unknown}
		switch {
		case a.Better < 0.5:
			f.Money.Word = "unsure"
		case a.Better < 0.8:
			f.Money.Word = "possible"
		}
		if l.Unit != "" && !math.IsNaN(a.BringMean) {
			f.Money.Unit = l.Unit
			f.Money.PerArea = a.Gain
			f.Money.StillToSave.Low, f.Money.StillToSave.Mid, f.Money.StillToSave.High = num(max(0, float64(a.Bring.Low))), num(max(0, float64(a.Bring.Mid))), num(max(0, float64(a.Bring.High)))
			f.Money.StillToSave.Expected = num(max(0, a.BringMean))
		}
		f.Say = append(f.Say, l.Assumed...)
		if note := l.note(); note != "" {
			f.Say = append(f.Say, "Done writes this line into the journal, which is where a try begins: "+note+".")
		}
		out = append(out, f)
	}
	return out
}
