package book

import (
	"context"
	"encoding/binary"
	"fmt"
	"hash/fnv"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"evenstand"
	"evenstand/core/advise"
	measure "evenstand/core/measure/group"
	"evenstand/core/try"
	"evenstand/core/try/effect"
)

// DayEffects is what the changes of a machine-day did, and its speed.
type DayEffects struct {
	Planter string
	Day     evenstand.Day
	Changes [][]effect.Found // by change, by measure
	Speed   []effect.Found   // by measure; empty where there was too little
}

// dayEffects is one answer that is kept: it holds as long as the day and its
// changes are what they were.
type dayEffects struct {
	key   string
	found DayEffects
}

// effectStand keeps the answers by day.
type effectStand struct {
	mu sync.Mutex
	by map[DayRef]dayEffects
}

// Effects gives what the changes of settings did, in order of planter, day and
// time, for all of the season.
func (b *Book) Effects(ctx context.Context) ([]DayEffects, error) { return b.EffectsOn(ctx, "") }

// EffectsOn is Effects of one day; empty: of all.
func (b *Book) EffectsOn(ctx context.Context, day evenstand.Day) ([]DayEffects, error) {
	type job struct {
		ref     DayRef
		key     string
		changes []try.Change
	}
	var out []DayEffects
	key, err := b.standKey(ctx)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	if all, ok := b.kept.effects.get(key); ok && day == "" {
		return all, nil
	}
	err = b.steady(func(man manifest, _ state) error {
		out = nil
		var jobs []job
		season := map[string]map[evenstand.Day][]try.Change{}
		for i := range man.Days {
			e := &man.Days[i]
			if day != "" && e.Day != day {
				continue
			}
			if season[e.Planter] == nil {
				cs, err := b.seasonChanges(ctx, e.Planter, day)
				if err != nil {
					return err
				}
				season[e.Planter] = cs
			}
			cs := season[e.Planter][e.Day]
			jobs = append(jobs, job{DayRef{e.Planter, e.Day}, e.Folder + changesSum(cs), cs})
		}
		found := make([]DayEffects, len(jobs))
		errs := make([]error, len(jobs))
		var wg sync.WaitGroup
		place := make(chan struct{}, max(1, min(4, runtime.GOMAXPROCS(0))))
		for i, j := range jobs {
			if have, ok := b.effects.get(j.ref, j.key); ok {
				found[i] = have
				continue
			}
			place <- struct{}{}
			wg.Go(func() {
				defer func() { <-place }()
				if found[i], errs[i] = b.dayEffects(ctx, j.ref, j.changes); errs[i] == nil {
					b.effects.put(j.ref, j.key, found[i])
				}
			})
		}
		wg.Wait()
		for _, err := range errs {
			if err != nil {
				return err
			}
		}
		out = found
		return nil
	})
	if err == nil && day == "" {
		b.kept.effects.put(key, out)
	}
	return out, err
}

func (s *effectStand) get(ref DayRef, key string) (DayEffects, bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	d, ok := s.by[ref]
	return d.found, ok && d.key == key
}

func (s *effectStand) put(ref DayRef, key string, d DayEffects) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.by == nil {
		s.by = map[DayRef]dayEffects{}
	}
	s.by[ref] = dayEffects{key, d}
}

// changesSum tells changes from others.
func changesSum(cs []try.Change) string {
	h := fnv.New64a()
	put := func(v uint64) { _ = binary.Write(h, binary.LittleEndian, v) }
	for i := range cs {
		c := &cs[i]
		fmt.Fprint(h, c.Lever, c.Rows, c.FromState, c.ToState, c.Source)
		for _, t := range []evenstand.Micros{c.T, c.Early, c.Late, evenstand.Micros(c.Note)} {
			put(uint64(t))
		}
		put(math.Float64bits(c.From))
		put(math.Float64bits(c.To))
	}
	return fmt.Sprintf(" %x", h.Sum64())
}

// effectMeasures are the measures that effects are asked of.
func effectMeasures() []measure.Measure {
	var ms []measure.Measure
	for _, name := range effect.Names {
		if m, ok := measure.ByID(name); ok {
			ms = append(ms, m)
		}
	}
	return ms
}

func (b *Book) dayEffects(ctx context.Context, ref DayRef, changes []try.Change) (DayEffects, error) {
	out := DayEffects{Planter: ref.Planter, Day: ref.Day}
	p, err := b.Panel(ctx, ref.Planter, ref.Day, effectMeasures())
	if err != nil {
		return out, err
	}
	trouble, err := b.troubled(ref)
	if err != nil {
		return out, err
	}
	d := effect.NewDay(p, changes, trouble...)
	all := d.Effects()
	for n := len(p.Measures); len(all) >= n && n > 0; all = all[n:] {
		out.Changes = append(out.Changes, all[:n])
	}
	out.Speed = d.Speed()
	return out, nil
}

// troubled gives when something was wrong with which rows of a day, by its findings.
func (b *Book) troubled(ref DayRef) (out []effect.Trouble, err error) {
	err = b.steady(func(man manifest, _ state) error {
		out = nil
		for i := range man.Days {
			e := &man.Days[i]
			if e.Planter != ref.Planter || e.Day != ref.Day {
				continue
			}
			var fs findingsJSON
			if err := b.load(e, findingsName, &fs); err != nil {
				return err
			}
			for k := range fs.Findings {
				f := &fs.Findings[k]
				if f.Stage != evenstand.Raised || !ofRow(f.Kind) {
					continue
				}
				t := effect.Trouble{From: f.Since, To: math.MaxInt64}
				if f.Until != nil {
					t.To = *f.Until
				}
				for _, r := range f.Rows {
					t.Row = r
					out = append(out, t)
				}
			}
		}
		return nil
	})
	return out, err
}

// ofRow tells whether a kind of finding is of rows in which something is wrong.
func ofRow(kind string) bool {
	switch kind {
	case evenstand.KindRowStopped, evenstand.KindRowLeftOff, evenstand.KindBlockedCell, evenstand.KindWeakCell, evenstand.KindRowSkips, evenstand.KindRowDoubles,
		evenstand.KindStarvedRow, evenstand.KindRowBounce, evenstand.KindRowDrive, evenstand.KindSensorDoubt:
		return true
	}
	return false
}

// EffectLine is what a change did to one measure, as commands and pages give it; SI
// units.
type EffectLine struct {
	Measure string           `json:"measure" doc:"As in measures"`
	Unit    string           `json:"unit" doc:"SI"`
	Verdict effect.Verdict   `json:"verdict" doc:"less, more, no difference that could be seen, or cannot tell"`
	Before  evenstand.Number `json:"before" doc:"Of the changed rows"`
	Value   evenstand.Number `json:"value" doc:"After less before, beyond what the others did"`
	Low     evenstand.Number `json:"low" doc:"Of the 90 % interval"`
	High    evenstand.Number `json:"high"`
	SE      evenstand.Number `json:"se"`
	DF      evenstand.Number `json:"df" doc:"Degrees of freedom of se"`
	Design  string           `json:"design" doc:"half rows, back and forth, all rows, or by speed; empty: none"`
	Changed int              `json:"changed" doc:"Rows that were changed"`
	Control int              `json:"control" doc:"Rows that were not"`
	Steps   int              `json:"stretches" doc:"Of 15 m, on the shorter side"`
	Says    string           `json:"says"`
	Told    *effect.InTable  `json:"told,omitempty" doc:"The same as a line of a table, in words; left out where no box told the measure"`
}

// ChangeLine is a change of a setting with what followed.
type ChangeLine struct {
	Planter   string           `json:"planter"`
	Day       evenstand.Day    `json:"day"`
	Lever     string           `json:"lever" doc:"A quantity's name, depth or force_mode"`
	T         evenstand.Micros `json:"t"`
	Early     evenstand.Micros `json:"early" doc:"When it was made at the earliest"`
	Late      evenstand.Micros `json:"late"`
	Rows      evenstand.Rows   `json:"rows" doc:"Empty: all"`
	Side      string           `json:"side,omitempty" doc:"left or right, where its rows are those of that side"`
	From      evenstand.Number `json:"from" doc:"SI"`
	To        evenstand.Number `json:"to"`
	FromState string           `json:"from_state,omitempty"`
	ToState   string           `json:"to_state,omitempty"`
	Note      int64            `json:"note" doc:"Of the journal; 0: none"`
	Source    string           `json:"source" doc:"The box that logged it; empty: by hand"`
	Head      string           `json:"head" doc:"What was changed, in words"`
	Says      string           `json:"says"`
	Short     string           `json:"short" doc:"What followed, in one line"`
	Aside     string           `json:"aside" doc:"Rows left out, and what would tell more; empty: neither"`
	Effects   []EffectLine     `json:"effects"`
}

// CurveLine is what a lever does to a measure over the season: m(s) − m(ref) =
// linear u + bend u², u = (s − ref)/scale.
type CurveLine struct {
	Planter string           `json:"planter"`
	Lever   string           `json:"lever"`
	Side    string           `json:"side,omitempty" doc:"left or right, where all changes were made on that side"`
	Measure string           `json:"measure"`
	Unit    string           `json:"unit"`
	Changes int              `json:"changes"`
	Low     evenstand.Number `json:"low" doc:"As far as it was tried, SI"`
	High    evenstand.Number `json:"high"`
	Ref     evenstand.Number `json:"ref"`
	Scale   evenstand.Number `json:"scale"`
	Level   evenstand.Number `json:"level" doc:"Of the measure at ref"`
	Linear  evenstand.Number `json:"linear"`
	Bend    evenstand.Number `json:"bend" doc:"0: the changes do not tell it"`
	DF      evenstand.Number `json:"df"`
	Tau     evenstand.Number `json:"tau" doc:"SD between changes beyond their own errors"`
	Says    string           `json:"says"`
	Did     string           `json:"did" doc:"The same without what it is of"`
}

// CurveBlock is what one setting does over the season, measure by measure.
type CurveBlock struct {
	Planter string   `json:"planter"`
	Lever   string   `json:"lever"`
	Title   string   `json:"title"`
	Says    []string `json:"says" doc:"A line a measure"`
}

// EffectsTold is the season's effects in words and numbers.
type EffectsTold struct {
	Changes []ChangeLine `json:"changes" doc:"By planter and time"`
	Speeds  []ChangeLine `json:"speeds" doc:"What the speed of each day did, from its slowest tenth to its fastest"`
	Curves  []CurveLine  `json:"curves"`
	Blocks  []CurveBlock `json:"blocks" doc:"The curves in words, by setting"`
	Unmoved string       `json:"unmoved" doc:"On how many days the speed varied too little; empty: on none"`
}

// AskedEffects refuses a lever and a measure that there are not; either may be empty.
func AskedEffects(lever, measure string) error {
	if _, ok := evenstand.ParseQuantity(lever); lever != "" && !ok && lever != try.Depth && lever != try.ForceMode {
		return fmt.Errorf("lever %q: want a quantity such as cleaner_pressure, depth or force_mode", lever)
	}
	if measure != "" && !slices.Contains(effect.Names, measure) {
		return fmt.Errorf("measure %q: want %s", measure, strings.Join(effect.Names, ", "))
	}
	return nil
}

// TellEffects puts effects into words, of one lever and measure where they are
// named.
func TellEffects(days []DayEffects, lever, measure string, v advise.Voice) EffectsTold {
	out := EffectsTold{Changes: []ChangeLine{}, Speeds: []ChangeLine{}, Curves: []CurveLine{}, Blocks: []CurveBlock{}}
	var speeds [][]effect.Found
	pick := func(fs []effect.Found) []effect.Found {
		if len(fs) == 0 || lever != "" && fs[0].Change.Lever != lever {
			return nil
		}
		if measure == "" {
			return fs
		}
		return slices.DeleteFunc(slices.Clone(fs), func(f effect.Found) bool { return f.Measure != measure })
	}
	for i := range days {
		d := &days[i]
		for _, fs := range d.Changes {
			if fs = pick(fs); len(fs) > 0 {
				out.Changes = append(out.Changes, changeLine(d, fs, v))
			}
		}
		if fs := pick(d.Speed); len(fs) > 0 {
			speeds = append(speeds, fs)
			out.Speeds = append(out.Speeds, changeLine(d, fs, v))
		}
	}
	for _, c := range Curves(days) {
		if (lever == "" || c.Lever == lever) && (measure == "" || c.Measure == measure) {
			out.Curves = append(out.Curves, curveLine(&c, v))
			out.Blocks = intoBlock(out.Blocks, &c, v)
		}
	}
	out.Unmoved = effect.UnmovedDays(speeds)
	return out
}

// intoBlock puts a curve under its setting. What it rests on is said with a measure
// only where it is not that of the first.
func intoBlock(bs []CurveBlock, c *PlanterCurve, v advise.Voice) []CurveBlock {
	of, did := effect.CurveOf(&c.Curve, c.Side, v), advise.Capital(effect.CurveDid(&c.Curve, v))
	n := len(bs) - 1
	if n < 0 || bs[n].Planter != c.Planter || bs[n].Lever != c.Lever {
		return append(bs, CurveBlock{c.Planter, c.Lever, of, []string{did + "."}})
	}
	if bs[n].Title != of {
		did += "; " + advise.Lower(of)
	}
	bs[n].Says = append(bs[n].Says, did+".")
	return bs
}

func changeLine(d *DayEffects, fs []effect.Found, v advise.Voice) ChangeLine {
	c := &fs[0].Change
	l := ChangeLine{
		Planter: d.Planter, Day: d.Day, Lever: c.Lever, T: c.T, Early: c.Early, Late: c.Late, Rows: c.Rows, Side: c.Side, From: evenstand.Number(c.From), To: evenstand.Number(c.To),
		FromState: c.FromState, ToState: c.ToState, Note: c.Note, Source: c.Source, Head: effect.Head(fs, v), Says: effect.Say(fs, v), Short: effect.InShort(fs, v), Aside: effect.Aside(fs, v), Effects: []EffectLine{},
	}
	if c.Unsaid { // it may have come by itself
		l.Head += " (measured; nobody wrote it down)"
	}
	if l.Rows == nil {
		l.Rows = evenstand.Rows{}
	}
	for i := range fs {
		f := &fs[i]
		m, _ := measure.ByID(f.Measure)
		e := EffectLine{
			Measure: f.Measure, Unit: m.Unit, Verdict: f.Verdict(), Before: evenstand.Number(f.Before), Value: evenstand.Number(f.Value), Low: evenstand.Number(f.Low), High: evenstand.Number(f.High),
			SE: evenstand.Number(f.SE), DF: evenstand.Number(f.DF), Design: designSay(f.Design), Changed: f.Changed, Control: f.Control, Steps: f.Steps, Says: f.Say(v),
		}
		if !f.Known() {
			e.SE, e.DF = evenstand.Unknown, evenstand.Unknown
		}
		if t, ok := f.Tell(v); ok {
			e.Told = &t
		}
		l.Effects = append(l.Effects, e)
	}
	return l
}

func designSay(d try.Design) string {
	switch d {
	case try.HalfRows:
		return "half rows"
	case try.Switchback:
		return "back and forth"
	case try.AllRows:
		return "all rows"
	case effect.BySpeed:
		return "by speed"
	}
	return ""
}

// PlanterCurve is a curve of one planter.
type PlanterCurve struct {
	Planter string
	Side    string // where all changes were made on one
	try.Curve
}

// Curves joins the effects of a season, by planter, lever and measure. Speed is told
// by the speeds of the days, not by what was noted of it.
func Curves(days []DayEffects) []PlanterCurve {
	type key struct{ planter, lever string }
	var order []key
	by := map[key][]try.Effect{}
	put := func(planter string, fs []effect.Found) {
		for i := range fs {
			k := key{planter, fs[i].Change.Lever}
			if by[k] == nil {
				order = append(order, k)
			}
			by[k] = append(by[k], fs[i].Effect)
		}
	}
	for i := range days {
		d := &days[i]
		for _, fs := range d.Changes {
			if len(fs) > 0 && fs[0].Change.Lever != evenstand.GroundSpeed.String() {
				put(d.Planter, fs)
			}
		}
		put(d.Planter, d.Speed)
	}
	var out []PlanterCurve
	for _, k := range order {
		for _, m := range effect.Names {
			if c, ok := effect.Join(by[k], k.lever, m); ok {
				out = append(out, PlanterCurve{k.planter, oneSide(by[k]), c})
			}
		}
	}
	return out
}

// oneSide gives the side on which all changes were made; empty: on several.
func oneSide(es []try.Effect) string {
	for i := range es {
		if es[i].Change.Side != es[0].Change.Side {
			return ""
		}
	}
	return es[0].Change.Side
}

func curveLine(c *PlanterCurve, v advise.Voice) CurveLine {
	m, _ := measure.ByID(c.Measure)
	n := func(x float64) evenstand.Number { return evenstand.Number(x) }
	return CurveLine{
		Planter: c.Planter, Lever: c.Lever, Side: c.Side, Measure: c.Measure, Unit: m.Unit, Changes: c.Changes, Low: n(c.Low), High: n(c.High), Ref: n(c.Ref), Scale: n(c.Scale), Level: n(c.Level),
		Linear: n(c.Theta[0]), Bend: n(c.Theta[1]), DF: n(c.DF), Tau: n(c.Tau), Says: effect.CurveOf(&c.Curve, c.Side, v) + ": " + effect.CurveDid(&c.Curve, v) + ".", Did: effect.CurveDid(&c.Curve, v),
	}
}
