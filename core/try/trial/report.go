package trial

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/measure/group"
	"evenstand/core/price"
	"evenstand/core/stat"
)

// Verdict is what a trial says of a part by one measure.
type Verdict string

// The verdicts.
const (
	Better Verdict = "better"
	Worse  Verdict = "worse"
	More   Verdict = "more" // of a measure that is neither good nor bad by itself
	Less   Verdict = "less"
	Equal  Verdict = "no difference that this trial could see"
	Cannot Verdict = "cannot tell"
)

// Part is what a person said of a part: its price on one row, how long it lasts,
// what it is mounted for.
type Part struct {
	Price   float64 // currency for a row; NaN unknown
	Seasons float64 // that it lasts; NaN: nobody said
	Aim     string  // id of a measure; empty: any
}

// Data is what rows did by one measure, on the passes of the trial.
type Data struct {
	Measure group.Measure
	Blocks  []Block
	Passes  []PassMean // of a trial by passes
}

// Period is a time in which no row changed its part.
type Period struct {
	From    evenstand.Day    `json:"from"`
	To      evenstand.Day    `json:"to"`
	Passes  int              `json:"passes"`
	Area    evenstand.Number `json:"area_m2" doc:"Planted by all rows"`
	With    evenstand.Rows   `json:"with"`
	Without evenstand.Rows   `json:"without"`
	Says    string           `json:"says"`
}

// Input is one trial before it is judged.
type Input struct {
	ID, Planter, Kind string
	Label, Against    string // of the part and of what it is held against; empty: nothing mounted
	ByPasses          bool
	Class             []Class
	Right             bool // row 1 is at the right
	Arms              Arms
	Also, Has         []string // see Rows
	Mixed             []string // of a trial by passes: what else changed with it
	Setting           string   // name of the setting that is on trial; empty: a part
	Periods           []Period
	Zones             []string
	Data              []Data
	Part              Part
	Price             price.Context
	Crop              string
	Target, Spacing   float64  // seeds per m2, m; NaN unknown
	Season            float64  // m2 that the planter plants in a season; NaN unknown
	SeasonFrom        string   // where that comes from
	Notes             []string // what else must be known
}

// Told is what a trial tells by one measure.
type Told struct {
	Measure  string           `json:"measure"`
	Label    string           `json:"label"`
	Unit     string           `json:"unit"`
	Worse    int              `json:"worse" doc:"1 more is worse, -1 less is worse, 0 neither"`
	Verdict  Verdict          `json:"verdict" enum:"better,worse,more,less,no difference that this trial could see,cannot tell"`
	Says     string           `json:"says"`
	With     evenstand.Number `json:"with" doc:"Of the rows with the part"`
	Without  evenstand.Number `json:"without"`
	Diff     evenstand.Number `json:"difference" doc:"With less without, its rows' own difference taken out where the trial allows"`
	Low      evenstand.Number `json:"low" doc:"90 % interval"`
	High     evenstand.Number `json:"high"`
	SE       evenstand.Number `json:"se"`
	DF       evenstand.Number `json:"df"`
	Smallest evenstand.Number `json:"smallest" doc:"The smallest difference that the trial shows four times in five"`
	How      How              `json:"how"`
	Zones    []ZoneTold       `json:"zones"`
	Rows     []RowTold        `json:"rows"`
	Bands    []BandTold       `json:"bands" doc:"By period: the middle 90 % of the rows without"`
	Pairs    int              `json:"pairs" doc:"Of neighbouring passes, in a trial by passes"`
	Drift    evenstand.Number `json:"drift_sd" doc:"How much a row differs by itself"`
	Pass     evenstand.Number `json:"pass_sd" doc:"How much one pass of a row adds to that"`
	Passes   evenstand.Number `json:"passes" doc:"Of a row, in a period"`
	result   Result
}

// ZoneTold is the difference in one zone.
type ZoneTold struct {
	Zone string           `json:"zone"`
	Diff evenstand.Number `json:"difference"`
	Low  evenstand.Number `json:"low"`
	High evenstand.Number `json:"high"`
}

// RowTold is one row in one period.
type RowTold struct {
	Row    int              `json:"row"`
	Period int              `json:"period" doc:"From 0"`
	Part   string           `json:"part" enum:"with,without,other"`
	Value  evenstand.Number `json:"value"`
	Low    evenstand.Number `json:"low"`
	High   evenstand.Number `json:"high"`
	Passes evenstand.Number `json:"passes"`
	Counts bool             `json:"counts"`
}

// BandTold is where rows without the part lie in a period.
type BandTold struct {
	Low  evenstand.Number `json:"low"`
	Mid  evenstand.Number `json:"mid"`
	High evenstand.Number `json:"high"`
}

// KeptOut is rows that do not count, and why.
type KeptOut struct {
	Rows evenstand.Rows `json:"rows"`
	Why  string         `json:"why"`
}

// RowRole is a row of the planter in the trial.
type RowRole struct {
	Row   int      `json:"row"`
	Class string   `json:"class" enum:"plain,wheel track,end of the bar"`
	Parts []string `json:"parts" doc:"By period: with, without, other"`
	Role  string   `json:"role" enum:"part,other,out" doc:"It carries the part at some time and counts, it never does and counts, or it does not count"`
}

// Report is a trial as people read it.
type Report struct {
	ID       string    `json:"id"`
	Planter  string    `json:"planter"`
	Kind     string    `json:"kind"`
	KindSays string    `json:"kind_says"`
	Setting  string    `json:"setting" doc:"Name of the setting that is on trial; empty: a part"`
	Label    string    `json:"label"`
	Against  string    `json:"against" doc:"Empty: nothing mounted"`
	ByPasses bool      `json:"by_passes"`
	First    string    `json:"row_1" enum:"left,right"`
	How      How       `json:"how"`
	HowSays  string    `json:"how_says"`
	Verdict  Verdict   `json:"verdict" enum:"better,worse,more,less,no difference that this trial could see,cannot tell"`
	Sentence string    `json:"sentence"`
	Lead     string    `json:"lead" doc:"The measure that the sentence is of"`
	Aim      string    `json:"aim"`
	Periods  []Period  `json:"periods"`
	Rows     []RowRole `json:"rows"`
	Out      []KeptOut `json:"out"`
	Figures  []Told    `json:"figures"`
	Money    Worth     `json:"money"`
	Settle   []Settle  `json:"settle" doc:"What would settle it"`
	Notes    []string  `json:"notes"`
}

// Worth is what a part is worth.
type Worth struct {
	Unit    string           `json:"unit"`
	PerArea evenstand.Range  `json:"per_m2" doc:"What it saves on a m2: 10th, 50th and 90th percentile; below 0 it costs"`
	Chance  evenstand.Number `json:"chance" doc:"That it saves anything"`
	Says    string           `json:"says"`
	Each    []WorthOf        `json:"each"`
	Not     []string         `json:"not_priced"`
	Needs   []evenstand.Need `json:"needs"`
	Assumed string           `json:"assumed"`
	Sources []string         `json:"sources"`
	PayBack *PayBack         `json:"pay_back,omitempty" doc:"Left out without a price of the part"`
}

// WorthOf is what one measure adds.
type WorthOf struct {
	Measure string          `json:"measure"`
	PerArea evenstand.Range `json:"per_m2"`
	Says    string          `json:"says"`
}

// PayBack is what the part on all rows costs and when it is paid.
type PayBack struct {
	Price   evenstand.Number `json:"price_a_row"`
	Cost    evenstand.Number `json:"cost" doc:"For all rows"`
	Seasons evenstand.Number `json:"lasts_seasons"`
	Area    evenstand.Range  `json:"area_m2" doc:"Until it is paid: 10th, 50th and 90th percentile; null: never"`
	Paid    evenstand.Range  `json:"seasons" doc:"The same in seasons"`
	Chance  evenstand.Number `json:"chance" doc:"That it is paid in the time it lasts"`
	Buy     bool             `json:"buy"`
	Says    string           `json:"says"`
}

// buy is how sure it must be that the parts are paid before all rows get them
// (methods, j).
const buy = 0.8

func num(x float64) evenstand.Number {
	if math.IsInf(x, 0) {
		return evenstand.Unknown
	}
	return evenstand.Number(x)
}

// Judge makes the report of a trial.
func (in *Input) Judge(v advise.Voice) Report {
	out := Report{
		ID: in.ID, Planter: in.Planter, Kind: in.Kind, KindSays: KindSays(in.Kind), Setting: in.Setting, Label: in.Label, Against: in.Against, ByPasses: in.ByPasses,
		First: "left", Verdict: Cannot, Aim: in.Part.Aim, Periods: in.Periods, Rows: []RowRole{}, Out: []KeptOut{}, Figures: []Told{}, Settle: []Settle{}, Notes: []string{},
	}
	if in.Right {
		out.First = "right"
	}
	if out.Periods == nil {
		out.Periods = []Period{}
	}
	for _, d := range in.Data {
		out.Figures = append(out.Figures, in.figure(&d, v))
	}
	lead, aimed := in.lead(out.Figures)
	byGround(out.Figures, lead)
	out.rows(in, lead)
	if lead < 0 {
		out.How, out.HowSays = Nothing, "Nothing was measured on these rows."
		out.Sentence = advise.Capital(in.name()) + ": nothing was measured on these rows yet."
		out.Money = noMoney()
		return out
	}
	f := &out.Figures[lead]
	out.How, out.HowSays, out.Lead, out.Verdict = f.How, howSays(f.How, &f.result), f.Measure, f.Verdict
	out.Sentence = in.sentence(f, v)
	if !aimed && len(f.result.Mixed) == 0 && !f.result.Lone {
		out.Verdict, out.Sentence = Cannot, in.unaimed()
		out.Sentence += in.beside(out.Figures, nil, v)
	} else if f.Verdict == Equal {
		out.Sentence += in.beside(out.Figures, f, v)
	}
	out.Money = in.money(out.Figures, v)
	out.Settle = in.settle(f, v)
	out.Sentence = plants(f, out.Sentence)
	for i := range out.Settle {
		out.Settle[i].Do = plants(f, out.Settle[i].Do)
	}
	out.Notes = append(in.notes(out.Figures), in.Notes...)
	return out
}

// byGround leaves what each ground tells to the measure of the sentence, and to it
// only where grounds differ: intervals of two of them have nothing in common.
func byGround(fs []Told, lead int) {
	for i := range fs {
		low, high := math.Inf(-1), math.Inf(1)
		for _, z := range fs[i].Zones {
			low, high = math.Max(low, float64(z.Low)), math.Min(high, float64(z.High))
		}
		if i != lead || !(low > high) {
			fs[i].Zones = []ZoneTold{}
		}
	}
}

// plants names what was counted where the voice writes what was planted.
func plants(f *Told, text string) string {
	if f.Measure != "stand" {
		return text
	}
	return strings.ReplaceAll(text, "seeds/", "plants/")
}

// rows says what each row of the planter is in the trial.
func (out *Report) rows(in *Input, lead int) {
	var r Result
	if lead >= 0 {
		r = out.Figures[lead].result
		for _, o := range r.Out {
			out.Out = append(out.Out, KeptOut{o.Rows, o.Why})
		}
	}
	for i, a := range in.Arms {
		x := RowRole{Row: i + 1, Class: in.Class[i].word(), Parts: []string{}, Role: "out"}
		for _, p := range a {
			x.Parts = append(x.Parts, arm(p))
		}
		switch {
		case slices.Contains(r.With, i+1):
			x.Role = "part"
		case slices.Contains(r.Without, i+1):
			x.Role = "other"
		}
		out.Rows = append(out.Rows, x)
	}
}

func arm(x float64) string {
	switch {
	case math.IsNaN(x):
		return "other"
	case x > 0:
		return "with"
	}
	return "without"
}

func (c Class) word() string { return [...]string{"plain", "wheel track", "end of the bar"}[c] }

// figure judges one measure.
func (in *Input) figure(d *Data, v advise.Voice) Told {
	var r Result
	pairs := 0
	if in.ByPasses {
		var ps []Pair
		r, ps = ByPasses(d.Passes)
		pairs = len(ps)
		r.Mixed = in.Mixed
	} else {
		rows := Rows{Class: in.Class, Arms: in.Arms, Blocks: d.Blocks, Zones: len(in.Zones), Also: in.Also, Has: in.Has}
		r = rows.Judge()
	}
	f := Told{
		Measure: d.Measure.ID, Label: d.Measure.Label, Unit: d.Measure.Unit, Worse: d.Measure.Worse, Verdict: verdict(&r, d.Measure.Worse),
		Diff: num(r.Value), Low: num(r.Low), High: num(r.High), SE: num(r.SE), DF: num(r.DF), Smallest: num(r.Smallest), How: r.How,
		Zones: []ZoneTold{}, Rows: []RowTold{}, Bands: []BandTold{}, Pairs: pairs,
		Drift: num(math.Sqrt(math.Max(0, r.Drift))), Pass: num(math.Sqrt(r.Pass)), Passes: num(r.Passes), result: r,
	}
	for z, e := range r.Zones {
		f.Zones = append(f.Zones, ZoneTold{in.Zones[z], num(e.Value), num(e.Low), num(e.High)})
	}
	for _, p := range r.Row {
		f.Rows = append(f.Rows, RowTold{p.Row, p.Period, arm(p.With), num(p.Value), num(p.Low), num(p.High), num(p.N), p.Counts})
	}
	for _, b := range r.Band {
		f.Bands = append(f.Bands, BandTold{num(b.Low), num(b.Mid), num(b.High)})
	}
	f.With, f.Without = in.sides(d, &r)
	f.Says = plants(&f, in.says(&f, v))
	return f
}

// sides gives the measure on rows, or passes, with and without the part.
func (in *Input) sides(d *Data, r *Result) (with, without evenstand.Number) {
	var s, n [2]float64
	add := func(x, v, w float64) {
		if w > 0 && !math.IsNaN(v) && !math.IsNaN(x) {
			s[int(x)] += w * v
			n[int(x)] += w
		}
	}
	for _, p := range d.Passes {
		add(p.With, p.Value, 1)
	}
	for i := range d.Blocks {
		b := &d.Blocks[i]
		for row := range b.Y {
			if in.ByPasses || slices.Contains(r.With, row+1) || slices.Contains(r.Without, row+1) {
				add(in.Arms[row][b.Period], b.Y[row], b.W[row])
			}
		}
	}
	return num(s[1] / n[1]), num(s[0] / n[0])
}

// verdict says what a result means where more is worse (1), better (-1) or
// neither.
func verdict(r *Result, worse int) Verdict {
	switch {
	case r.Lone || len(r.Mixed) > 0 || !r.Known():
		return Cannot
	case !r.Called():
		return Equal
	case worse == 0 && r.Value > 0:
		return More
	case worse == 0:
		return Less
	case r.Value*float64(worse) < 0:
		return Better
	}
	return Worse
}

func noMoney() Worth {
	u := evenstand.Unknown
	return Worth{PerArea: evenstand.Range{Low: u, Mid: u, High: u}, Chance: u, Each: []WorthOf{}, Not: []string{}, Needs: []evenstand.Need{}, Sources: []string{}}
}

// money prices the differences and says when the part is paid on all rows.
func (in *Input) money(fs []Told, v advise.Voice) Worth {
	out := noMoney()
	var shifts []price.Shift
	var of []*Told
	for i := range fs {
		f := &fs[i]
		if !f.result.Known() || f.result.Lone || len(f.result.Mixed) > 0 {
			continue
		}
		kind, ok := price.HarmOf(f.Measure)
		if !ok {
			if f.result.Called() && f.Measure != "population" && f.Measure != "speed" && f.Measure != "vacuum" && f.Measure != "switched-off" {
				out.Not = append(out.Not, unpriced(f))
			}
			continue
		}
		by := in.draws(f)
		if kind == evenstand.Uneven {
			x := 1 / (in.Target * in.Spacing)
			if math.IsNaN(x) || math.IsInf(x, 0) {
				out.Not = append(out.Not, "Spacing scatter is not priced: needs the target rate and the spacing of the rows.")
				continue
			}
			was := float64(f.Without)
			for k := range by {
				now := math.Max(0, was+by[k])
				by[k] = (now*now - was*was) * x * x
			}
		}
		shifts = append(shifts, price.Shift{Kind: kind, By: by})
		of = append(of, f)
	}
	if len(shifts) == 0 {
		return out
	}
	w := price.Worth(in.Price, in.Crop, in.Target, shifts)
	out.Unit, out.Needs, out.Assumed, out.Sources = w.Unit, w.Needs, w.Assumed, w.Sources
	for i, g := range w.Each {
		if g == nil {
			out.Not = append(out.Not, advise.Capital(of[i].Label)+": not priced yet.")
			continue
		}
		q := price.Quantiles(g)
		out.Each = append(out.Each, WorthOf{of[i].Measure, q, in.perArea(q, w.Unit, v)})
	}
	if w.Gain == nil {
		return out
	}
	out.PerArea = price.Quantiles(w.Gain)
	out.Chance = num(share(w.Gain, 0))
	out.Says = in.perArea(out.PerArea, w.Unit, v)
	out.PayBack = in.payBack(w.Gain, w.Unit, v)
	return out
}

// draws draws a difference as the trial leaves it open.
func (in *Input) draws(f *Told) []float64 {
	rng := stat.NewRand(in.Price.Seed, "trial "+in.Planter+" "+in.ID+" "+f.Measure)
	out := make([]float64, price.N)
	for i := range out {
		out[i] = f.result.Value + f.result.SE*student(rng, f.result.DF)
	}
	return out
}

// student draws from Student's t by its quantiles.
func student(rng *rand.Rand, df float64) float64 {
	u := rng.Float64()
	for u == 0 {
		u = rng.Float64()
	}
	if math.IsInf(df, 1) {
		return stat.NormalQuantile(u)
	}
	return stat.StudentQuantile(u, df)
}

func share(xs []float64, over float64) float64 {
	n := 0.0
	for _, x := range xs {
		if x > over {
			n++
		}
	}
	return n / float64(len(xs))
}

// payBack says when the part is paid on all rows.
func (in *Input) payBack(gain []float64, unit string, v advise.Voice) *PayBack {
	if math.IsNaN(in.Part.Price) || unit == "bu" {
		return nil
	}
	cost := in.Part.Price * float64(len(in.Arms))
	p := &PayBack{Price: num(in.Part.Price), Cost: num(cost), Chance: evenstand.Unknown}
	area := make([]float64, len(gain))
	for i, g := range gain {
		if area[i] = math.Inf(1); g > 0 {
			area[i] = cost / g
		}
	}
	p.Area = orNever(area, 1)
	p.Paid = orNever(area, in.Season)
	lasts := in.Part.Seasons
	if math.IsNaN(lasts) {
		lasts = 1
	}
	p.Seasons = num(lasts)
	if in.Season > 0 {
		paid := 0.0
		for _, g := range gain {
			if g*in.Season*lasts > cost {
				paid++
			}
		}
		p.Chance = num(paid / float64(len(gain)))
		p.Buy = float64(p.Chance) >= buy
	}
	p.Says = in.payBackSays(p, v, unit)
	return p
}

// orNever gives percentiles of which the upper may be never, null.
func orNever(xs []float64, unit float64) evenstand.Range {
	s := slices.Clone(xs)
	slices.Sort(s)
	at := func(q float64) evenstand.Number { return num(s[int(q*float64(len(s)-1))] / unit) }
	return evenstand.Range{Low: at(0.1), Mid: at(0.5), High: at(0.9)}
}
