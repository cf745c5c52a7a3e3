package advise

import (
	"fmt"
	"math"
	"strings"

	"evenstand"
)

// Tells says of one box's log what can be told by it, what not, and what to
// switch on at the box for more. Each is a list of phrases.
type Tells struct {
	Can    []string `json:"can"`
	Cannot []string `json:"cannot"`
	Better []string `json:"better"` // whole sentences
}

// Log is what one box logged.
type Log struct {
	Grade   evenstand.Grade
	Seeds   int64
	Fixes   int64
	FixStep float64 // s between two places, NaN unknown
	Entries int64
	Holds   []evenstand.Holding
}

// The steps that part a log that tells single rows in time from one that does
// not, and a track that follows a planter from one that does not; in s. A row a
// second with jitter (design, data grades); the track's is a judgement: at one
// place a second lowering and lifting are found to half a second only.
const (
	rowStep   = 1.5
	placeStep = 0.5
)

// Tell says what a log can tell.
func Tell(l Log) Tells {
	t := Tells{Can: []string{}, Cannot: []string{}, Better: []string{}}
	find := func(s evenstand.Scope, qs ...evenstand.Quantity) *evenstand.Holding {
		for _, q := range qs {
			for i := range l.Holds {
				if h := &l.Holds[i]; h.Quantity == q && h.Scope == s {
					return h
				}
			}
		}
		return nil
	}
	const row, machine = evenstand.ScopeRow, evenstand.ScopeMachine
	counts := find(row, evenstand.SeedCount, evenstand.SeedRate)
	skips := find(row, evenstand.SkipFraction)
	rows := counts
	if rows == nil {
		rows = skips
	}
	switch {
	case l.Seeds > 0:
		t.Can = append(t.Can, "every seed: skips, doubles, stopped and starving rows, single cells of a disc, worn drives, uneven spacing")
	case rows != nil && rows.Step <= rowStep:
		if counts != nil {
			t.Can = append(t.Can, "which row skips, doubles, stops or is left off")
		} else {
			t.Can = append(t.Can, "which row skips, doubles or stops")
		}
		t.Cannot = append(t.Cannot, "single cells of a disc, a starving row, a worn drive or a bouncing tube, for which seed times are wanted")
		t.Better = append(t.Better, "If the box can log seed by seed, switch that on.")
		if counts == nil {
			t.Better = append(t.Better, "Let it log the seeds of each row too: percentages say nothing of a rate that is off.")
		} else if skips == nil {
			t.Cannot = append(t.Cannot, "skips apart from doubles")
			t.Better = append(t.Better, "Let it log skips and doubles of each row too.")
		}
	case rows != nil:
		t.Can = append(t.Can, "which row plants badly over a long stretch")
		t.Cannot = append(t.Cannot, "since when, and short troubles"+every(rows.Step))
		t.Better = append(t.Better, "Set its log to once a second.")
	case find(evenstand.ScopeSection, evenstand.SeedCount, evenstand.SeedRate, evenstand.SkipFraction) != nil:
		t.Can = append(t.Can, "the seed rate of each section")
		t.Cannot = append(t.Cannot, "which row it is")
		t.Better = append(t.Better, "If the box can log by row, switch that on.")
	case find(machine, evenstand.SeedCount, evenstand.SeedRate, evenstand.SkipFraction) != nil:
		t.Can = append(t.Can, "the seed rate of the whole planter")
		t.Cannot = append(t.Cannot, "which row or section it is")
		t.Better = append(t.Better, "If the box can log by row, switch that on.")
	}
	averaged := math.NaN()
	for _, q := range []evenstand.Quantity{evenstand.SkipFraction, evenstand.DoubleFraction, evenstand.SpacingCV} {
		if h := find(row, q); h != nil && h.Average > rowStep && !(averaged >= h.Average) {
			averaged = h.Average
		}
	}
	if averaged > 0 {
		t.Cannot = append(t.Cannot, fmt.Sprintf("single seconds, since its percentages are means over about %s", Span(math.Round(averaged))))
		t.Better = append(t.Better, "Set its averaging to the shortest that it has.")
	}
	if find(row, evenstand.GaugeWheelLoad, evenstand.WheelOffShare) != nil {
		t.Can = append(t.Can, "whether gauge wheels leave the ground or press too hard, row by row")
	} else if find(row, evenstand.AppliedForce) != nil || find(machine, evenstand.AppliedForce) != nil {
		t.Can = append(t.Can, "which force was applied")
		t.Cannot = append(t.Cannot, "whether the wheels stayed on the ground, which the load on the gauge wheels tells")
	}
	if find(row, evenstand.SeedZoneMoisture, evenstand.SeedZoneTemperature, evenstand.SlotTrash) != nil {
		t.Can = append(t.Can, "whether the seed zone is too dry, too cold or full of trash, and which row's cleaner or closing wheel does it")
	} else if find(machine, evenstand.SeedZoneMoisture, evenstand.SeedZoneTemperature, evenstand.SlotTrash) != nil {
		t.Can = append(t.Can, "whether the seed zone is too dry, too cold or full of trash")
		t.Cannot = append(t.Cannot, "which row's furrow it is")
	}
	sides := find(evenstand.ScopeLeft, evenstand.Vacuum) != nil || find(evenstand.ScopeRight, evenstand.Vacuum) != nil
	switch {
	case sides:
		t.Can = append(t.Can, "whether a side loses vacuum")
	case find(machine, evenstand.Vacuum) != nil:
		t.Can = append(t.Can, "whether the vacuum falls")
	}
	const section, tank = evenstand.ScopeSection, evenstand.ScopeTank
	flow := find(row, evenstand.LiquidFlow)
	switch {
	case flow != nil:
		t.Can = append(t.Can, "the liquid of each row")
	case find(machine, evenstand.LiquidRate) != nil, find(tank, evenstand.LiquidRate) != nil:
		t.Can = append(t.Can, "the liquid rate of the whole planter")
	}
	if flow == nil && (find(row, evenstand.LiquidRate) != nil || find(section, evenstand.LiquidFlow, evenstand.LiquidRate) != nil) {
		t.Cannot = append(t.Cannot, "whether single rows get less liquid, for which the flow of each row is wanted")
	}
	switch {
	case find(row, evenstand.GranularRate) != nil:
		t.Can = append(t.Can, "the dry product of each row")
	case find(section, evenstand.GranularRate) != nil:
		t.Can = append(t.Can, "the dry product of each section")
		t.Cannot = append(t.Cannot, "whether a single box of dry product bridges or is shut, for which the rate of each row is wanted")
	case find(machine, evenstand.GranularRate) != nil, find(tank, evenstand.GranularRate) != nil:
		t.Can = append(t.Can, "the rate of dry product")
		t.Cannot = append(t.Cannot, "whether a single box of dry product bridges or is shut, for which the rate of each row is wanted")
	}
	if find(evenstand.ScopeTank, evenstand.TankContent) != nil {
		t.Can = append(t.Can, "what is left in the tanks")
	}
	speed, lift := find(machine, evenstand.GroundSpeed), find(machine, evenstand.ImplementLifted)
	switch {
	case speed != nil && lift != nil:
		t.Can = append(t.Can, "speed, and when the planter was in the ground")
	case speed != nil:
		t.Can = append(t.Can, "speed")
		if l.Fixes == 0 && rows == nil && l.Seeds == 0 {
			t.Better = append(t.Better, "Let it log the lift switch or the working state too.")
		}
	case lift != nil:
		t.Can = append(t.Can, "when the planter was in the ground")
	}
	if find(machine, evenstand.SeedRateTarget) != nil {
		t.Can = append(t.Can, "the rate that was asked for")
	}
	if find(row, evenstand.SeedZoneMoisture) != nil || find(row, evenstand.SeedZoneTemperature) != nil || find(machine, evenstand.SeedZoneMoisture) != nil || find(machine, evenstand.SeedZoneTemperature) != nil {
		t.Can = append(t.Can, "moisture or temperature of the seed zone")
	}
	if l.Fixes > 0 {
		where := "where everything was"
		if l.FixStep > placeStep {
			where += every(l.FixStep)
			t.Better = append(t.Better, "Set the receiver's output to five places a second.")
		}
		t.Can = append(t.Can, where)
	}
	if l.Entries > 0 {
		t.Can = append(t.Can, "what people noted")
	}
	if len(t.Can) == 0 {
		t.Cannot = append(t.Cannot, "anything that this program uses")
	}
	return t
}

// every writes a step of seconds behind a phrase.
func every(step float64) string {
	switch {
	case math.IsNaN(step):
		return ""
	case math.Abs(step-1) < 0.15:
		return ", once a second"
	case step < 1:
		return fmt.Sprintf(", every %.1f s", step)
	}
	return ", every " + Span(math.Round(step))
}

// Line writes what a log tells in one paragraph.
func (t Tells) Line() string {
	var parts []string
	if len(t.Can) > 0 {
		parts = append(parts, "It tells "+strings.Join(t.Can, "; ")+".")
	}
	if len(t.Cannot) > 0 {
		parts = append(parts, "It cannot tell "+strings.Join(t.Cannot, "; ")+".")
	}
	return strings.Join(append(parts, t.Better...), " ")
}
