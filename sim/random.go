package sim

import (
	"cmp"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"evenstand"
)

// draw turns [random] into faults: kinds in turn, rows all different, strengths
// at or above what tests demand unless the scenario says any.
func (s *Scenario) draw() error {
	r := s.Random
	if r == nil {
		return nil
	}
	if r.Ground {
		s.drawGround()
	}
	if r.Caps {
		s.drawCaps()
	}
	g := stream(s.Seed, "random faults", -1, 0)
	if r.SpeedHigh > r.SpeedLow && r.SpeedLow > 0 {
		s.Drive.Speed = round(between(g, r.SpeedLow, r.SpeedHigh), 2)
	}
	first := r.FirstHours
	if first <= 0 {
		first = 1
	}
	// A working day plants about three quarters of its time (turns, fills).
	rate := s.Drive.Speed / s.spacing() // places a second
	share := 0.72
	free := rowsInChance(g, s.Planter.Rows)
	// Faults on single rows may touch a third of them: more, and the peers are
	// no peers (simulator.md section 10a).
	most := max(s.Planter.Rows/3, 1)
	if r.OneAtATime {
		most = s.Planter.Rows
	}
	// Faults on many rows do not overlap one another, nor a fault on one of
	// their rows: two at once on one row would have no single right answer.
	var taken []booking
	card := s.card()
	var gates []booking // waiting for a fill, each for its own: two of one fill are one finding
	clash := func(p *FaultPlan, rows evenstand.Rows, need, margin float64) bool {
		if gate := byFill(p.Kind, p.Variant) && !byLot(p.Kind, p.Variant); gate && slices.ContainsFunc(gates, func(b booking) bool {
			return p.AtHours < b.to && p.AtHours+b.to-b.from > b.from
		}) {
			return true
		}
		return slices.ContainsFunc(taken, func(b booking) bool {
			return p.AtHours-margin < b.to && p.AtHours+need+margin > b.from && rows.Jaccard(b.rows) > 0
		})
	}
	kinds := order(g, r.Kinds, r.Faults)
	// Those on many rows choose first.
	slices.SortStableFunc(kinds, func(a, b string) int {
		many := func(name string) bool {
			kind, variant := kindVariant(name)
			return faultKinds[kind].machine || byLot(kind, variant)
		}
		return cmp.Compare(ordinal(!many(a)), ordinal(!many(b)))
	})
	single := 0
	at := first
	plan := func(name string) (FaultPlan, error) {
		kind, variant := kindVariant(name)
		k := faultKinds[kind]
		p := FaultPlan{ID: fmt.Sprintf("F%02d", len(s.Faults)+1), Kind: kind, Variant: variant}
		if variant == "" && len(k.variants) > 0 {
			p.Variant = k.variants[int(uniform(g)*float64(len(k.variants)))]
		}
		s.strength(g, &p, r.At == "any", rate)
		need := p.Minutes / 60
		switch {
		case p.Places > 0:
			need = p.Places / rate / share / 3600
		case p.Seconds > 0:
			need = p.Seconds / share / 3600
		}
		lot := byLot(kind, p.Variant)
		fill := s.Timetable.RefillHa / (s.width() * s.Drive.Speed * 0.36 * share)
		if lot {
			need = 2 * fill // it waits for a fill, and lasts to the next
		} else if byFill(kind, p.Variant) {
			need += fill
		}
		latest := s.Hours*0.93 - need
		switch {
		case r.OneAtATime:
			p.AtHours = at
			at += need + 0.5
			if p.AtHours > max(latest, first) {
				return p, errFull
			}
		case latest <= first:
			p.AtHours = first
		default:
			p.AtHours = between(g, first, latest)
		}
		if kind == evenstand.KindSpeedSpacing || kind == KindRoughGround {
			p.AtHours, p.Rows = 0, "all" // beside whatever else goes wrong
			return p, nil
		}
		var rows evenstand.Rows
		many := wide(kind, p.Variant)
		if kind == evenstand.KindDryFurrow || kind == evenstand.KindDirtyFurrow {
			f := fault{FaultPlan: p}
			many = !f.onRow()
		}
		if lot { // four rows side by side
			first := 1 + 4*int(uniform(g)*float64(s.Planter.Rows/4))
			rows = span(first, min(first+3, s.Planter.Rows))
			p.Rows = rows.String()
			for _, n := range rows {
				if i := slices.Index(free, n); i >= 0 {
					free = slices.Delete(free, i, i+1)
				} else {
					return p, errFull
				}
			}
		} else if many {
			p.Rows, rows = "all", span(1, s.Planter.Rows)
			if kind == evenstand.KindLowVacuum && !s.Planter.OneVacuum {
				p.Rows = []string{"left", "right"}[int(uniform(g)*2)]
				rows = card.Side(p.Rows)
			}
		} else {
			if len(free) == 0 || single >= most && !k.distractor {
				return p, errFull
			}
			p.Rows, rows = fmt.Sprint(free[0]), evenstand.Rows{free[0]}
		}
		if kind != KindFanRestart { // over in seconds: it may come at any time
			for try := 0; clash(&p, rows, need, 0.3); try++ {
				if try == 500 || latest <= first || r.OneAtATime {
					return p, errFull
				}
				p.AtHours = between(g, first, latest)
			}
			taken = append(taken, booking{p.AtHours, p.AtHours + need, rows})
			if byFill(kind, p.Variant) && !lot {
				gates = append(gates, booking{p.AtHours, p.AtHours + 1.2*fill, rows})
			}
		}
		if !many && !lot {
			free = free[1:]
			if !k.distractor {
				single++
			}
		}
		p.AtHours = round(p.AtHours, 4)
		return p, nil
	}
	for _, kind := range kinds {
		p, err := plan(kind)
		if err == errFull {
			continue
		}
		s.Faults = append(s.Faults, p)
	}
	for _, kind := range order(g, r.Of, r.Distractors) {
		if kind == KindRoughGround && slices.Contains(kinds, evenstand.KindSpeedSpacing) {
			continue // where speed does it, the ground looks like nothing else
		}
		p, err := plan(kind)
		if err == errFull {
			continue
		}
		s.Faults = append(s.Faults, p)
	}
	s.Random = nil
	return s.check()
}

// kindVariant parts what [random] names: a kind, with a variant or none, in
// which case each day draws one.
func kindVariant(name string) (kind, variant string) {
	kind, variant, _ = strings.Cut(name, " ")
	return kind, variant
}

// booking is a time that a fault has for itself on its rows, hours.
type booking struct {
	from, to float64
	rows     evenstand.Rows
}

func ordinal(b bool) int {
	if b {
		return 1
	}
	return 0
}

var errFull = fmt.Errorf("no room for another fault")

// order draws n kinds: each once before any comes again.
func order(g *rand.PCG, kinds []string, n int) []string {
	var out []string
	for len(out) < n && len(kinds) > 0 {
		round := slices.Clone(kinds)
		for i := len(round) - 1; i > 0; i-- {
			j := int(uniform(g) * float64(i+1))
			round[i], round[j] = round[j], round[i]
		}
		out = append(out, round...)
	}
	return out[:min(n, len(out))]
}

func rowsInChance(g *rand.PCG, n int) []int {
	rows := span(1, n)
	for i := n - 1; i > 0; i-- {
		j := int(uniform(g) * float64(i+1))
		rows[i], rows[j] = rows[j], rows[i]
	}
	return rows
}

// strength draws how strong a fault is and how long it lasts. Detectable ones
// start from the table "Detectable" of the methods.
func (s *Scenario) strength(g *rand.PCG, p *FaultPlan, any bool, rate float64) {
	cells := float64(s.Planter.Cells)
	pick := func(w float64) bool { return uniform(g) < w }
	longer := between(g, 1.3, 3) // than the least
	if any {
		longer = between(g, 0.3, 3)
	}
	switch p.Kind {
	case evenstand.KindBlockedCell:
		p.Strength = 1
		p.Places = math.Round(16 * cells * between(g, 3, 60))
		if any {
			p.Places = math.Round(16 * cells * longer)
		}
	case evenstand.KindWeakCell:
		switch {
		case any:
			p.Strength, p.Places = round(between(g, 0.05, 0.85), 3), 200*cells*longer
		case pick(0.5):
			p.Strength, p.Places = round(between(g, 0.5, 0.8), 3), 60*cells*longer
		default:
			p.Strength, p.Places = round(between(g, 0.2, 0.5), 3), 200*cells*longer
		}
		p.Places = math.Round(p.Places)
	case evenstand.KindLotMismatch:
		if p.Strength = 1; pick(0.5) {
			p.Strength = round(between(g, 2.5, 5), 2)
		}
	case evenstand.KindRowSkips, evenstand.KindRowDoubles:
		switch {
		case p.Variant == "lot":
			p.Strength = round(between(g, 2.5, 5), 2)
			if any {
				p.Strength = round(between(g, 1.1, 3), 2)
			}
		case any:
			p.Strength, p.Places = round(between(g, 1.1, 4), 2), 20000*longer
		case pick(0.4):
			p.Strength, p.Places = round(between(g, 4, 7), 2), 3000*between(g, 1.3, 8)
		default:
			p.Strength, p.Places = round(between(g, 2, 3.5), 2), 20000*longer
		}
		p.Places = math.Round(p.Places)
	case evenstand.KindLowVacuum:
		p.Strength = round(between(g, 1.3, 2.2), 2)
		if any {
			p.Strength = round(between(g, 0.2, 2), 2)
		}
		p.Seconds = math.Round(600 * longer)
		if pick(0.3) {
			p.Ramp = round(between(g, 5, 20), 1)
			p.Seconds += math.Round(p.Ramp * 60)
		}
	case evenstand.KindRowStopped:
		p.Seconds = round(math.Exp(between(g, math.Log(4), math.Log(600))), 1)
		if any {
			p.Seconds = round(between(g, 1, 30), 1)
		}
	case evenstand.KindRowLeftOff:
		p.Seconds = round((30+between(g, 30, 1500))/s.Drive.Speed, 1)
	case evenstand.KindRateOff:
		switch p.Variant {
		case "cells":
			p.Strength = cells + []float64{-2, 2, 4}[int(uniform(g)*3)]
		default:
			p.Strength = round(between(g, 0.03, 0.08), 4)
			if any {
				p.Strength = round(between(g, 0.005, 0.05), 4)
			}
			if pick(0.5) {
				p.Strength = -p.Strength
			}
		}
		p.Seconds = math.Round(600 * longer)
	case evenstand.KindStarvedRow:
		p.Strength = round(between(g, 0.002, 0.004), 5)
		p.Places = math.Round(20000 * longer)
		p.Ramp = 15
	case evenstand.KindContactLoss:
		p.Strength = round(between(g, 420, 700), 0)
		if any {
			p.Strength = round(between(g, 100, 500), 0)
		}
		p.Seconds = math.Round((150 + 3000*between(g, 0.05, 1)) / s.Drive.Speed)
		if p.Variant == "zone" {
			p.Seconds = math.Round(between(g, 3600, 7200))
		}
	case evenstand.KindOverload:
		p.Strength = round(between(g, 270, 600), 0)
		if any {
			p.Strength = round(between(g, 100, 400), 0)
		}
		p.Seconds = math.Round(between(g, 3600, 7200))
		if p.Variant == "all" {
			p.Seconds = math.Round(evenstand.Hectare / s.width() / s.Drive.Speed * between(g, 1.2, 6))
		}
	case evenstand.KindForceHunting:
		p.Strength, p.Seconds = round(between(g, 65, 300), 0), math.Round(600*between(g, 1.1, 5))
		if any {
			p.Strength = round(between(g, 20, 120), 0)
		}
	case evenstand.KindFlowHunting:
		p.Strength, p.Seconds = round(between(g, 0.04, 0.2), 3), math.Round(420*between(g, 1.1, 6))
		if p.Variant == "drive" {
			p.Seconds = math.Round(1200 * between(g, 1.1, 3))
		}
		if any {
			p.Strength = round(between(g, 0.01, 0.06), 3)
		}
	case evenstand.KindPumpLimit:
		p.Strength, p.Seconds = round(between(g, 0.75, 0.93), 3), math.Round(600*between(g, 1, 5))
		if p.Variant == "strainer" { // a pump wears over weeks
			p.Ramp = round(between(g, 5, 25), 1)
			p.Seconds += math.Round(p.Ramp * 60)
		}
		if any {
			p.Strength = round(between(g, 0.88, 1.02), 3)
		}
	case evenstand.KindLiquidRowLow:
		p.Strength, p.Seconds = round(1-between(g, 0.11, 0.7), 3), math.Round(120*between(g, 1.3, 20))
		if any {
			p.Strength = round(1-between(g, 0.02, 0.3), 3)
		}
	case evenstand.KindLiquidRowHigh:
		p.Strength, p.Seconds = round(1+between(g, 0.11, 0.5), 3), math.Round(120*between(g, 1.3, 20))
		if any {
			p.Strength = round(1+between(g, 0.02, 0.3), 3)
		}
	case evenstand.KindLiquidRateOff:
		p.Strength, p.Seconds = round(between(g, 0.045, 0.15), 3), math.Round(300*between(g, 1.2, 8))
		if any {
			p.Strength = round(between(g, 0.01, 0.08), 3)
		}
		if p.Variant == "strainer" || pick(0.5) {
			p.Strength = -p.Strength
		}
	case evenstand.KindTankDisagrees:
		p.Strength, p.Minutes = round(between(g, 1.5, 5), 2), math.Round(between(g, 30, 90))
		if p.Variant == "meter" {
			p.Strength, p.Minutes = round(between(g, 0.08, 0.15), 3), 0
			if pick(0.5) {
				p.Strength = -p.Strength
			}
			p.Seconds = s.Hours * 3600
		}
	case evenstand.KindFillImbalance:
		p.Strength, p.Seconds = round(between(g, 0.2, 0.5), 2), s.Hours*3600
	case evenstand.KindDryFurrow, evenstand.KindDirtyFurrow:
		f := fault{FaultPlan: *p}
		switch {
		case f.onRow():
			p.Strength, p.Seconds = round(between(g, 0.032, 0.07), 3), math.Round(180*between(g, 1.3, 20))
			if p.Kind == evenstand.KindDirtyFurrow {
				p.Strength, p.Seconds = round(between(g, 0.185, 0.4), 3), math.Round(300*between(g, 1.3, 12))
			}
			if any {
				p.Strength = round(p.Strength*between(g, 0.3, 0.9), 3)
			}
		case p.Variant == "zone":
			p.Strength, p.Seconds = round(between(g, 0.12, 0.15), 3), math.Round(3600*between(g, 1.1, 1.5))
		default:
			p.Strength, p.Seconds = round(between(g, 0.12, 0.18), 3), math.Round(1200*between(g, 1.2, 4))
			if p.Kind == evenstand.KindDirtyFurrow {
				p.Strength = round(between(g, 0.18, 0.35), 3)
			}
			if any {
				p.Strength = round(p.Strength*between(g, 0.3, 0.9), 3)
			}
			if p.Variant == "weather" && pick(0.5) {
				p.Ramp = round(between(g, 5, 30), 1)
				p.Seconds += math.Round(p.Ramp * 60)
			}
		}
	case evenstand.KindColdFurrow:
		p.Strength, p.Seconds = round(between(g, 3.5, 7), 2), math.Round(1200*between(g, 1.2, 4))
		if any {
			p.Strength = round(between(g, 0.5, 4), 2)
		}
	case evenstand.KindCleanerUpset:
		p.Strength, p.Seconds = round(between(g, 0.165, 0.35), 3), math.Round(240*between(g, 1.3, 10))
		if any {
			p.Strength = round(between(g, 0.05, 0.25), 3)
		}
	case evenstand.KindSlotOpen, KindGoodDig:
		p.Minutes = 20
	case KindSandZone:
		p.Strength, p.Seconds = round(between(g, 0.04, 0.12), 3), math.Round(3600*between(g, 0.5, 1.2))
	case KindResiduePatch:
		p.Strength, p.Seconds = round(between(g, 0.1, 0.4), 3), math.Round(between(g, 10, 120))
	case evenstand.KindGranularRowOff:
		p.Strength, p.Seconds = round(1-between(g, 0.11, 1.3), 3), math.Round(120*between(g, 1.3, 20))
		if any {
			p.Strength = round(1-between(g, 0.02, 0.4), 3)
		}
		if p.Strength = max(0, p.Strength); p.Variant == "wide" {
			p.Strength = round(1+between(g, 0.11, 0.6), 3)
			if any {
				p.Strength = round(1+between(g, 0.02, 0.3), 3)
			}
		}
	case evenstand.KindGranularRateOff:
		x := between(g, 0.045, 0.2)
		if any {
			x = between(g, 0.01, 0.08)
		}
		if pick(0.5) {
			x = -x
		}
		p.Strength, p.Seconds = round(1+x, 3), math.Round(300*between(g, 1.2, 8))
		if p.Variant == "off" {
			p.Strength = 0
		}
	case evenstand.KindPositionDoubt:
		p.Strength = round(math.Exp(between(g, math.Log(0.6), math.Log(6))), 2)
		p.Seconds = round(math.Exp(between(g, math.Log(20), math.Log(300))), 1)
		switch p.Variant {
		case "standing":
			p.Strength, p.Seconds = 0, round(between(g, 6, 40), 1)
		case "quality":
			p.Strength = round(between(g, 0.15, 0.5), 2)
		}
	case evenstand.KindSourceSilent:
		p.Seconds = round(math.Exp(between(g, math.Log(7), math.Log(400))), 1)
	case evenstand.KindSensorDoubt:
		if p.Variant == "dust" {
			p.Strength = round(between(g, 2, 6), 2)
			p.Seconds = round(math.Exp(between(g, math.Log(30/p.Strength), math.Log(1500))), 1)
			break
		}
		p.Strength = round(between(g, 0.32, 0.6), 3)
		p.Seconds = round(math.Exp(between(g, math.Log(70), math.Log(1500))), 1)
	case KindRock:
		p.Strength = round(between(g, 0.1, 0.6), 3)
		p.Places = math.Round(between(g, 20, 250))
	case evenstand.KindRecurringUpset:
		p.Strength, p.Every = round(between(g, 0.3, 0.6), 3), round(between(g, 2.5, 6), 2)
		if any {
			p.Strength, p.Every = round(between(g, 0.1, 0.6), 3), round(between(g, 3, 20), 2)
		}
		p.Minutes = math.Round(p.Every * between(g, 16, 26))
	case evenstand.KindTurnRate:
		p.Seconds = math.Round(900 / s.Drive.Speed * between(g, 1.2, 6))
		if any {
			p.Seconds = math.Round(900 / s.Drive.Speed * longer)
		}
	case evenstand.KindSpeedSpacing: // how the planter is: all day
		p.Strength = round(between(g, 1, 3), 2)
		if any {
			p.Strength = round(between(g, 0.3, 2), 2)
		}
	case evenstand.KindRowDrive:
		p.Strength = round(between(g, 0.05, 0.15), 3)
		if any {
			p.Strength = round(between(g, 0.02, 0.1), 3)
		}
		p.Places = math.Round(1500 * longer)
		if pick(0.5) {
			p.Places = math.Round(15000 * longer)
		}
	case evenstand.KindRowBounce:
		p.Strength = round(between(g, 1.6, 2.2), 2)
		if any {
			p.Strength = round(between(g, 1.1, 2), 2)
		}
		p.Places = math.Round(5000 * longer)
	case KindRoughGround: // all day
		p.Strength = round(between(g, 1.15, 2), 2)
	case KindSensorMisses:
		p.Strength = 0.05
		p.Places = math.Round(20000 * longer)
	case KindDust:
		p.Strength = round(between(g, 2, 6), 2)
		p.Minutes = 25
	}
}
