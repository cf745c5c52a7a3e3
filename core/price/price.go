package price

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/relation"
)

// Basis names the ground that "still to save" counts on.
type Basis string

// The bases.
const (
	Field  Basis = "field"
	Season Basis = "season"
	None   Basis = "none"
)

// Context is what pricing must know beside the finding.
type Context struct {
	Settings  evenstand.Settings
	Rows      int              // rows of the planter, for the share of the ground that the finding's rows plant; 0 unknown
	FieldLeft float64          // m2 of the finding's field still to plant by the whole planter; NaN unknown
	Spacing   float64          // of the rows, m; only PerUnit asks for it
	Card      string           // file of the planter card in the logbook's planter folder; empty: there is none
	Hours     []float64        // of each hour of the day its share of the time that the finding stood while planting; only ByHour asks for it, nil unknown
	Basis     Basis            // empty: field while ground is left in it, else season, none when nothing is left of both
	AsOf      evenstand.Micros // last log time; NoTime unknown
	Seed      uint64           // of the draws; one for the whole report
}

// unpriced are the kinds that are not priced, with what would tell a loss:
// they doubt what was logged, and what a sensor adds or overlooks costs nothing
// by itself (agronomy, F27 and F29).
var unpriced = map[string]string{
	evenstand.KindPositionDoubt: "a tape across the guess rows",
	evenstand.KindOffsetDoubt:   "a tape across the guess rows",
	evenstand.KindGuessRow:      "a published relation for the distance of passes, of which there is none here",
	evenstand.KindSourceSilent:  "what the box did not log",
	evenstand.KindSensorDoubt:   "a dig, since pulses that are no seeds and seeds that are only not seen cost nothing",
}

// Price prices one finding by itself.
func Price(f *evenstand.Finding, ctx Context) evenstand.Money {
	b := newBill(f, ctx, drawRanks(ctx.Seed))
	return b.money()
}

// PriceAll prices all findings of a report on the same draws and sets Money of
// each. Findings whose rows and times overlap and whose harm is of the same
// kind describe the same loss: in each draw, row and span of time the largest
// of them is the total, and it is shared out among them in proportion. The
// seed of the draws is that of the first finding's context.
func PriceAll(fs []*evenstand.Finding, ctx func(*evenstand.Finding) Context) {
	bills := make([]*bill, 0, len(fs))
	var r *ranks
	for _, f := range fs {
		c := ctx(f)
		if r == nil {
			r = drawRanks(c.Seed)
		}
		bills = append(bills, newBill(f, c, r))
	}
	share(bills)
	for i, f := range fs {
		f.Money = bills[i].money()
	}
}

// Everywhere is a context that is the same for all findings of a report.
func Everywhere(c Context) func(*evenstand.Finding) Context {
	return func(*evenstand.Finding) Context { return c }
}

// limits are the relations behind the limits that a kind is held against.
var limits = map[string]string{
	evenstand.KindDryFurrow: "R12-dry-seed-zone", evenstand.KindColdFurrow: "R11-emergence-gdd", evenstand.KindDirtyFurrow: "R13-residue",
}

// Relations gives the ids of the relations behind a finding's money, or behind
// its limit.
func Relations(f *evenstand.Finding) []string {
	var out []string
	if id := limits[f.Kind]; id != "" {
		out = append(out, id)
	}
	if f.Kind == evenstand.KindGranularRowOff || f.Kind == evenstand.KindGranularRateOff { // what a catch is reckoned by
		out = append(out, "R18-granule-rate")
	}
	for _, h := range f.Harm {
		id := map[evenstand.HarmKind]string{
			evenstand.MissingSeeds: "R2-skip", evenstand.EmptyGround: "R2-skip",
			evenstand.ExtraSeeds: "R3-double", evenstand.RateError: "R1-population",
			evenstand.Uneven: "R4-spacing-sd", evenstand.MissedStarter: "R17-fertilizer", evenstand.SlotResidue: "R13-residue",
		}[h.Kind]
		if id != "" && !slices.Contains(out, id) {
			out = append(out, id)
		}
	}
	return out
}

// urgency orders what goes before all money: a stop that pays, then what runs
// out.
func urgency(kind string) int {
	switch kind {
	case evenstand.KindStopPays:
		return 0
	case evenstand.KindRefillSoon:
		return 1
	}
	return 2
}

// Rank orders findings for the worklist: a stop that pays now first, then what
// runs out, then the most still to save, then the most lost so far, then the id.
func Rank(fs []evenstand.Finding) {
	slices.SortStableFunc(fs, func(a, b evenstand.Finding) int {
		if d := urgency(a.Kind) - urgency(b.Kind); d != 0 {
			return d
		}
		for _, d := range []float64{
			known(b.Money.StillToSave.Expected) - known(a.Money.StillToSave.Expected),
			known(b.Money.SoFar.Mid) - known(a.Money.SoFar.Mid),
		} {
			if d != 0 {
				return int(math.Copysign(1, d))
			}
		}
		if a.ID < b.ID {
			return -1
		} else if a.ID > b.ID {
			return 1
		}
		return 0
	})
}

func known(n evenstand.Number) float64 {
	if math.IsNaN(float64(n)) {
		return 0
	}
	return float64(n)
}

// class groups kinds of harm that describe the same loss.
type class int

const (
	plants class = iota // missing seeds, empty ground
	extra
	rate
	uneven
	liquid
	residue
	classes
)

// bill is one finding on its way to money: loss by class and draw.
type bill struct {
	f       *evenstand.Finding
	ctx     Context
	unit    string
	needs   []evenstand.Need
	assumed []string  // what nobody has said and was taken, sentences
	yields  []float64 // kg/m2 by draw: the goal that was set, else the assumed one

	past   [classes][]float64 // so far; nil: none of the class, or cannot say
	future [classes][]float64 // still to come if nothing is done; nil: cannot say
	area   float64            // m2 that the rows planted while it lasted; NaN unknown
	basis  Basis
	left   float64 // m2 that the finding's rows still plant; NaN unknown
}

func newBill(f *evenstand.Finding, ctx Context, r *ranks) *bill {
	b := &bill{f: f, ctx: ctx, unit: "bu", area: math.NaN(), yields: r.yields(ctx.Settings.Yield)}
	if !math.IsNaN(ctx.Settings.Price) {
		b.unit = ctx.Settings.Currency
	}
	b.ground()
	if need, ok := unpriced[f.Kind]; ok {
		b.needs = nil
		b.need(evenstand.TopicNone, need, "")
		return b
	}
	for i, h := range f.Harm {
		b.harm(i, h, r)
	}
	if f.Kind == evenstand.KindUnplantedLeft {
		// What the rows lost there is told by the findings about them, if any; of
		// this one what counts is that it can still be planted.
		for c := range b.past {
			if b.past[c] != nil {
				b.past[c] = make([]float64, N)
			}
		}
	}
	if len(f.Harm) == 0 {
		b.unpriced()
	}
	return b
}

// assume adds what nobody has said and was taken.
func (b *bill) assume(what string) {
	if !slices.Contains(b.assumed, what) {
		b.assumed = append(b.assumed, what)
	}
}

// need adds what is missing, and where it is to be written.
func (b *bill) need(topic evenstand.Topic, what, where string) {
	if n := (evenstand.Need{Topic: topic, Text: what, Where: where}); !slices.Contains(b.needs, n) {
		b.needs = append(b.needs, n)
	}
}

// ground settles what is still to be planted, and on which basis.
func (b *bill) ground() {
	field, season := b.ctx.FieldLeft, b.ctx.Settings.Season
	b.basis, b.left = b.ctx.Basis, 0
	if b.f.Until != nil {
		b.basis = None // it is over: nothing is left to save
		return
	}
	if b.f.Kind == evenstand.KindUnplantedLeft { // what can be saved is the ground itself
		b.basis = Field
		for _, h := range b.f.Harm {
			b.left += float64(h.Area)
		}
		return
	}
	if b.basis == "" {
		switch {
		case field > 0:
			b.basis = Field
		case season > 0:
			b.basis = Season
		case field == 0 && season == 0:
			b.basis = None
		case field == 0: // the field is done; how much comes after it nobody said
			b.basis = Season
		default:
			b.basis = Field
		}
	}
	if evenstand.OfField(b.f.Kind) {
		b.basis = Field // another field is another matter
	}
	switch b.basis {
	case Field:
		b.left = field
	case Season:
		b.left = season
		if field > 0 {
			b.left += field
		}
	}
	if math.IsNaN(b.left) {
		b.need(evenstand.TopicPrices, "the ground still to plant", "the field's boundary in BOOK/fields/NAME.geojson, or left_to_plant in BOOK/book.toml")
	}
	switch {
	case len(b.f.Rows) == 0: // the whole machine
	case b.ctx.Rows > 0:
		b.left *= min(1, float64(len(b.f.Rows))/float64(b.ctx.Rows))
	case b.left != 0:
		b.left = math.NaN()
		b.need(evenstand.TopicPlanter, "the number of rows", "rows "+b.card())
	}
}

// card says where the planter card stands, or is to stand.
func (b *bill) card() string {
	if b.ctx.Card == "" {
		return "in a planter card, of which there is none: put one at BOOK/planter/NAME.toml"
	}
	return "in BOOK/planter/" + b.ctx.Card
}

// agree tells whether the crop of the rows is the one that the book's price and
// yield goal are of; where nobody has said, it is.
func (b *bill) agree(crop string) bool {
	own := b.ctx.Settings.Crop
	if own == "" || crop == "" || own == crop || relation.For(own) && relation.For(crop) {
		return true
	}
	file := "BOOK/planter/NAME.toml"
	if b.ctx.Card != "" {
		file = "BOOK/planter/" + b.ctx.Card
	}
	b.need(evenstand.TopicPrices, "the crop: the card says "+crop+", the book "+own, "make them agree in "+file+" or BOOK/book.toml")
	return false
}

// harm adds the loss of one harm, or what is needed to price it.
func (b *bill) harm(i int, h evenstand.Harm, r *ranks) {
	s := b.ctx.Settings
	if h.Crop == "" { // the card names none: it is the one that price and yield goal are of
		if h.Crop = s.Crop; h.Crop == "" {
			h.Crop = "corn"
		}
		b.assume("The card names no crop of the rows: taken as " + h.Crop + ", which the book's price and yield goal are of.")
	}
	target, area, share := float64(h.Target), float64(h.Area), float64(h.Share)
	if math.IsNaN(b.area) || area > b.area { // the harms of a finding lie on the same ground
		b.area = area
	}
	if !b.agree(h.Crop) {
		return
	}
	mid := float64(h.Amount.Mid)
	if math.IsNaN(mid) {
		b.need(evenstand.TopicLogs, "the amount of "+string(h.Kind)+": positions and target rate", "in the logs")
		return
	}
	a := amounts(b.ctx.Seed, b.f, i)
	grain := func(loss func(i int) float64, perM2 func(i int) float64, c class) {
		worth, ok := b.worth(h.Crop)
		if !ok {
			return
		}
		past, future := make([]float64, N), make([]float64, N)
		for i := range N {
			past[i] = loss(i) * b.yields[i] * worth
			future[i] = perM2(i) * b.yields[i] * worth * b.left
		}
		b.add(c, past, future)
	}
	scale := func(i int) float64 { // how the amount's doubt carries over to the share
		if mid > 0 {
			return a[i] / mid
		}
		return 1
	}
	switch h.Kind {
	case evenstand.MissingSeeds:
		if !b.corn(h.Crop, "skip") {
			return
		}
		skip := r.skips(target)
		perSeed := 1 / target // m2 that one place stands for
		if math.IsNaN(perSeed) {
			perSeed = share * area / mid
		}
		if math.IsNaN(perSeed) {
			b.need(evenstand.TopicLogs, "the target rate", "seed_rate_target in the logs")
			return
		}
		if math.IsNaN(share) {
			share = mid * perSeed / area
		}
		grain(func(i int) float64 { return a[i] * perSeed * skip[i] },
			func(i int) float64 { return min(1, share*scale(i)) * skip[i] }, plants)
	case evenstand.EmptyGround:
		if !b.corn(h.Crop, "skip") {
			return
		}
		skip := r.skips(target)
		if math.IsNaN(share) {
			share = mid / area
		}
		grain(func(i int) float64 { return a[i] * skip[i] },
			func(i int) float64 { return min(1, share*scale(i)) * skip[i] }, plants)
	case evenstand.RateError:
		ratio := float64(h.Ratio)
		if !b.corn(h.Crop, "population") {
			return
		}
		if math.IsNaN(target) || math.IsNaN(ratio) {
			b.need(evenstand.TopicLogs, "the target rate", "seed_rate_target in the logs")
			return
		}
		if math.IsNaN(share) || share <= 0 {
			share = 1
		}
		var seeds float64 // currency per m2 for the seeds too many
		if ratio > 1 {
			if !b.seedPrice() {
				return
			}
			seeds = (ratio - 1) * target * s.Seed
		}
		lost := r.rates(target, ratio)
		worth, ok := b.worth(h.Crop)
		if !ok {
			return
		}
		past, future := make([]float64, N), make([]float64, N)
		for i := range N {
			perM2 := lost[i]*b.yields[i]*worth + seeds
			past[i] = a[i] * perM2
			future[i] = min(1, share*scale(i)) * perM2 * b.left
		}
		b.add(rate, past, future)
	case evenstand.Uneven:
		if !b.corn(h.Crop, "spacing") {
			return
		}
		if math.IsNaN(float64(h.SD)) {
			b.need(evenstand.TopicPlanter, "the target rate and the spacing of the rows", "seed_rate_target in the logs, row_spacing_m "+b.card())
			return
		}
		lost := r.spaced(float64(h.Usual), float64(h.SD), b.yields)
		grain(func(i int) float64 { return a[i] * lost[i] },
			func(i int) float64 { return share * lost[i] }, uneven)
	case evenstand.MissedStarter:
		if !b.corn(h.Crop, "starter") {
			return
		}
		// R17 is about a starter that is missing altogether. What is short of it
		// is charged in proportion (judgement): no response to part doses is
		// published, and the first part of a dose does most, so it is no less.
		lost := r.starters()
		grain(func(i int) float64 { return min(a[i], area) * lost[i] },
			func(i int) float64 { return min(1, share*scale(i)) * lost[i] }, liquid)
	case evenstand.SlotResidue:
		if !b.corn(h.Crop, "residue") {
			return
		}
		b.assume("What heavy residue in the slot costs is a guess, 0 to 8 % of yield: no trial has put a figure on it.")
		lost := r.residues()
		grain(func(i int) float64 { return min(a[i], area) * lost[i] },
			func(i int) float64 { return min(1, share*scale(i)) * lost[i] }, residue)
	case evenstand.ExtraSeeds:
		if !b.seedPrice() {
			return
		}
		// R3: beside the seed a double may cost up to a tenth of a plant; that
		// part is corn's, the seed is any crop's.
		plant := 0.0 // currency for a kg/m2
		if relation.For(h.Crop) && target > 0 {
			if worth, ok := b.worth(h.Crop); ok {
				plant = worth / target
				b.goal()
			}
		}
		lost := r.doubles()
		past, future := make([]float64, N), make([]float64, N)
		for i := range N {
			each := s.Seed + plant*b.yields[i]*lost[i]
			past[i] = a[i] * each
			future[i] = share * scale(i) * target * each * b.left
		}
		b.add(extra, past, future)
	default:
		b.need(evenstand.TopicNone, "a relation for "+string(h.Kind), "")
	}
}

// unpriced says what would be needed to price a kind whose harm is not known.
func (b *bill) unpriced() {
	switch b.f.Kind {
	case evenstand.KindContactLoss:
		b.need(evenstand.TopicNone, "how deep the seed lies or how many plants came up there (dig ten seeds in it and ten outside, or count stands): no yield is published for a load", "")
	case evenstand.KindOverload:
		b.need(evenstand.TopicNone, "what the furrow's walls are like and how many plants came up there (dig, or count stands): no yield is published for a load", "")
	case evenstand.KindForceHunting:
		b.need(evenstand.TopicNone, "how deep the seed lies or how many plants came up there (dig ten seeds along a few steps of the row, or count stands): no yield is published for a force that swings", "")
	case evenstand.KindFlowHunting:
		b.need(evenstand.TopicNone, "a published relation for liquid that swings about the right mean, of which there is none here; strips that short likely cost little", "")
	case evenstand.KindDryFurrow, evenstand.KindColdFurrow:
		b.need(evenstand.TopicNone, "how many plants come up there and how late (count stands there and elsewhere): no yield is published for moisture or temperature of the seed zone", "")
	case evenstand.KindDirtyFurrow:
		b.need(evenstand.TopicNone, "how many plants come up there and how late (count stands there and elsewhere): what is reckoned for trash in the slot wants the ground that it lies on", "")
	case evenstand.KindCleanerUpset:
		b.need(evenstand.TopicNone, "how deep the seed lies where the row dragged (dig ten seeds there and ten beside it) or how many plants came up: no yield is published for what a cleaner drags", "")
	case evenstand.KindSlotOpen:
		b.need(evenstand.TopicNone, "how many plants come up there (count stands there and elsewhere): no yield is published for an open slot", "")
	case evenstand.KindLiquidRowLow, evenstand.KindSeedWithoutLiquid, evenstand.KindPumpLimit:
		b.liquid()
	case evenstand.KindTankDisagrees, evenstand.KindFillImbalance:
		b.need(evenstand.TopicNone, "the price of the product", "")
	case evenstand.KindPuddle, evenstand.KindLiquidWithoutSeed:
		b.need(evenstand.TopicNone, "the price of the product, and what so much of it does to seed there, of which nothing is published here", "")
	case evenstand.KindLiquidRowHigh:
		b.need(evenstand.TopicNone, "the price of the product, and a published relation for too much of it, of which there is none here", "")
	case evenstand.KindLotMismatch:
		b.need(evenstand.TopicNone, "what the two lots cost and yield on this ground, of which nothing is published here", "")
	case evenstand.KindLabelCap:
		b.need(evenstand.TopicNone, "the price of the product; over a limit it is a matter of compliance first", "")
	case evenstand.KindGranularRowOff, evenstand.KindGranularRateOff:
		b.need(evenstand.TopicNone, "the price of the product, and a published relation for too much or too little of it, of which there is none here", "")
	case evenstand.KindLiquidRateOff:
		for _, e := range b.f.Evidence {
			if e.Name == "liquid over its target" && e.Value > 1 {
				b.need(evenstand.TopicNone, "the price of the product, and a published relation for too much of it, of which there is none here", "")
				return
			}
		}
		b.liquid()
	}
}

func (b *bill) add(c class, past, future []float64) {
	if b.past[c] == nil {
		b.past[c], b.future[c] = past, future
		return
	}
	for i := range N {
		b.past[c][i] += past[i]
		b.future[c][i] += future[i]
	}
}

// liquid asks for what the liquid is.
func (b *bill) liquid() {
	b.need(evenstand.TopicNone, "what the liquid is, on the planter card; only starter has a published relation here", "product = \"starter\" under [[tank]] "+b.card())
}

// corn tells whether the relations hold for the crop, else what is missing.
// They give a share of the yield, so that the goal counts from here on.
func (b *bill) corn(crop, what string) bool {
	if relation.For(crop) {
		b.goal()
		return true
	}
	b.need(evenstand.TopicNone, "a published "+what+" relation for "+crop+", of which there is none here", "")
	return false
}

// goal says which yield was taken where nobody has set one.
func (b *bill) goal() {
	if !math.IsNaN(b.ctx.Settings.Yield) {
		return
	}
	usual := fmt.Sprintf("%d to %d bu/ac", goalLow, goalHigh)
	if b.ctx.Settings.Units == evenstand.Metric {
		const perHectare = relation.CornBushel / evenstand.Acre * evenstand.Hectare / 1000
		usual = fmt.Sprintf("%.0f to %.0f t/ha", goalLow*perHectare, goalHigh*perHectare)
	}
	b.assume("No yield goal is set: taken as " + usual + ", about what corn brings, which makes the range wider.")
}

// seedPrice tells whether seed can be priced in the unit of the report.
func (b *bill) seedPrice() bool {
	ok := true
	if math.IsNaN(b.ctx.Settings.Seed) {
		b.need(evenstand.TopicPrices, "the price of seed", "seed in BOOK/book.toml")
		ok = false
	}
	if math.IsNaN(b.ctx.Settings.Price) {
		b.need(evenstand.TopicPrices, "the price of grain", "grain in BOOK/book.toml")
		ok = false
	}
	return ok
}

// worth gives the value of a kg of grain in the bill's unit.
func (b *bill) worth(crop string) (float64, bool) {
	if !math.IsNaN(b.ctx.Settings.Price) {
		return b.ctx.Settings.Price, true
	}
	kg, ok := evenstand.Bushel(crop)
	if !ok {
		b.need(evenstand.TopicPrices, "the price of grain", "grain in BOOK/book.toml")
		return 0, false
	}
	return 1 / kg, true
}

// sum adds up the classes; nil when there is none.
func sum(by [classes][]float64) []float64 {
	var out []float64
	for _, xs := range by {
		if xs == nil {
			continue
		}
		if out == nil {
			out = slices.Clone(xs)
			continue
		}
		for i, x := range xs {
			out[i] += x
		}
	}
	return out
}

var cannot = evenstand.Range{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown}

// money states the bill.
func (b *bill) money() evenstand.Money {
	m := evenstand.Money{Unit: b.unit, Word: word(b.f), SoFar: cannot, PerArea: cannot, Needs: []evenstand.Need{}, Assumed: strings.Join(b.assumed, " ")}
	m.Needs = append(m.Needs, b.needs...)
	m.StillToSave = evenstand.ToSave{Low: evenstand.Unknown, Mid: evenstand.Unknown, High: evenstand.Unknown, Expected: evenstand.Unknown, Basis: string(b.basis)}
	past := sum(b.past)
	if past == nil {
		return m
	}
	m.SoFar = quantiles(past)
	if b.area > 0 {
		per := make([]float64, N)
		for i := range per {
			per[i] = past[i] / b.area
		}
		m.PerArea = quantiles(per)
	}
	if b.basis == None && b.left == 0 {
		m.StillToSave = evenstand.ToSave{Basis: string(None)}
		return m
	}
	future := sum(b.future)
	if slices.ContainsFunc(future, math.IsNaN) {
		return m
	}
	stop := b.stop()
	q := quantiles(future)
	net := func(n evenstand.Number) evenstand.Number { return max(0, n-evenstand.Number(stop)) }
	m.StillToSave = evenstand.ToSave{
		Low: net(q.Low), Mid: net(q.Mid), High: net(q.High),
		Expected: evenstand.Number(max(0, saves(b.f)*mean(future)-stop)),
		Basis:    string(b.basis),
	}
	return m
}

// word says how sure the named cause is.
func word(f *evenstand.Finding) string {
	p := 0.0
	if len(f.Causes) > 0 {
		p = f.Causes[0].Probability
	}
	switch {
	case p >= 0.8:
		return "likely"
	case p >= 0.5:
		return "possible"
	}
	return "unsure"
}

// Chances that nobody has published, judged: that advice given for one cause
// cures another, and that it cures a cause which the catalogue does not hold.
const (
	curesOther   = 0.3
	curesUnnamed = 0.5
)

// saves gives the share of the coming loss that acting saves on average: over
// the causes, their chance, that something is being lost at all (a sensor that
// lies loses nothing), and that the advice works.
func saves(f *evenstand.Finding) float64 {
	s, rest := 0.0, 1.0
	for _, c := range f.Causes {
		rest -= c.Probability
		r, ok := relation.RemedyFor(f.Kind, c.Cause)
		switch {
		case !ok:
			s += c.Probability * curesUnnamed
		case !r.SeedsFall:
			s += c.Probability * r.Works
		}
	}
	return s + max(0, rest)*curesOther
}

// fillMinutes is how long a fill lasts at least: 8 to 20 minutes (operations,
// 6; judgement). A fix during a fill costs the minutes beyond it.
const fillMinutes = 8

// hoursDay is a planting day in hours, as in R21's worked example.
const hoursDay = 14

// stop gives what the fix costs in the bill's unit: labour, and for a stop by
// itself the machine's time and the lost time of the season (R21), each where
// it is known.
func (b *bill) stop() float64 {
	if len(b.f.Causes) == 0 {
		return 0
	}
	r, ok := relation.RemedyFor(b.f.Kind, b.f.Causes[0].Cause)
	if !ok {
		return 0
	}
	s := b.ctx.Settings
	minutes := float64(r.Minutes)
	perHour := 0.0
	if b.unit != "bu" {
		perHour = orZero(s.Labour)
	}
	switch Usual(b.f.Kind) {
	case evenstand.NextStop:
		minutes = max(0, minutes-fillMinutes)
		fallthrough
	case evenstand.Now, evenstand.BeforeLeaving:
		if b.unit != "bu" {
			perHour += orZero(s.Machine)
		}
		perHour += b.lostHour()
	}
	return minutes / 60 * perHour
}

func orZero(v float64) float64 {
	if math.IsNaN(v) {
		return 0
	}
	return v
}

// lostHour is R21: the price of an hour of the season, 0 where the ground
// still to plant or the date is not known.
func (b *bill) lostHour() float64 {
	s := b.ctx.Settings
	d, err := relation.AfterApril30(string(b.f.Day))
	if err != nil || math.IsNaN(s.Season) {
		return 0
	}
	worth := s.Price
	if math.IsNaN(worth) {
		worth = 1 / relation.CornBushel
	}
	_, likely, _ := relation.DayLoss(d)
	left := s.Season + orZero(b.ctx.FieldLeft)
	return left * mean(b.yields) * worth * likely / 100 / hoursDay
}

// Usual gives when a kind of finding is usually acted on: the catalogue's
// "when", the first where it gives two.
func Usual(kind string) evenstand.When {
	switch kind {
	case evenstand.KindBlockedCell, evenstand.KindRowSkips, evenstand.KindLiquidRowLow, evenstand.KindLiquidRowHigh, evenstand.KindPuddle, evenstand.KindRefillSoon, evenstand.KindFillImbalance, evenstand.KindGranularRowOff, evenstand.KindGranularRateOff:
		return evenstand.NextStop
	case evenstand.KindWeakCell, evenstand.KindRowDoubles, evenstand.KindRowBounce, evenstand.KindSensorDoubt, evenstand.KindClockOff, evenstand.KindTankDisagrees:
		return evenstand.Tonight
	case evenstand.KindRowDrive, evenstand.KindRecurringUpset, evenstand.KindForceHunting:
		return evenstand.Tonight
	case evenstand.KindTurnRate:
		return evenstand.Winter
	case evenstand.KindUnplantedLeft:
		return evenstand.BeforeLeaving
	case evenstand.KindOverlap, evenstand.KindCoverGap, evenstand.KindLateSection, evenstand.KindGuessRow:
		return evenstand.SideDress
	case evenstand.KindUpset, evenstand.KindGoOnPays:
		return evenstand.Never
	}
	return evenstand.Now
}
