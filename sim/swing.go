package sim

import (
	"fmt"
	"math"

	"evenstand"
)

// swingWander is how far the phase of a swing wanders, rad in a second's root:
// a line 0.01 Hz wide (judgement).
const swingWander = 0.25

// The limit of a pump that creeps begins so far above the day's speed.
const pumpFrom = 1.1

// swinging holds what a fault that swings, or limits, needs beside the rest.
type swinging struct {
	phase   []float64
	lacking float64 // s of planting in which 4 % and more were missing
	lacks   float64 // m2 of row without starter, part doses added up to whole ones
	short   float64 // s of planting in which 3 % and more were missing
	bound   float64 // s of the day at which that came to ten; 0 never
	cured   bool    // at a refill
	held    bool    // it bound after a refill as before
	filled  bool
}

// swingKind tells whether a fault swings.
func swingKind(kind string) bool {
	return kind == evenstand.KindForceHunting || kind == evenstand.KindFlowHunting
}

// swung fits such a fault to the scenario.
func (s *Scenario) swung(f *fault) error {
	switch {
	case f.Kind == evenstand.KindForceHunting && s.Output.WheelLoad == "":
		return fmt.Errorf("%s: say output.wheel_load, so that there is a force", f.Kind)
	case (f.Kind == evenstand.KindFlowHunting || f.Kind == evenstand.KindPumpLimit) && s.Output.Liquid <= 0:
		return fmt.Errorf("%s: say output.liquid_l_ha, so that there is a liquid", f.Kind)
	case f.Hz != 0 && !(f.Hz >= 0.05 && f.Hz <= 2):
		return fmt.Errorf("%s: hz %g: want 0.05 to 2", f.Kind, f.Hz)
	case !swingKind(f.Kind):
		return nil
	}
	g := stream(s.Seed, "swing "+f.ID, -1, 0)
	low, high := 0.3, 0.9
	if f.Kind == evenstand.KindFlowHunting {
		low, high = 0.1, 0.4
	}
	hz := round(between(g, low, high), 3)
	if f.Hz == 0 {
		f.Hz = hz
	}
	f.word = g.Uint64()
	for range s.Planter.Rows {
		f.phase = append(f.phase, 2*math.Pi*uniform(g))
	}
	return nil
}

// wide tells whether a fault is of all rows when none are named.
func wide(kind, variant string) bool {
	return faultKinds[kind].machine || variant == "zone" || kind == evenstand.KindForceHunting && variant == "gain"
}

// swing moves the phase of a row by a slow tick and gives where it is, -1 to 1;
// pace is how fast it goes against its usual.
func (f *fault) swing(row int, pace float64) float64 {
	f.word = mix(f.word + 0x9e3779b97f4a7c15)
	z := 0.0 // a sum of uniforms is normal enough for a phase
	w := f.word
	for range 4 {
		w = mix(w + 1)
		z += unit(w) - 0.5
	}
	if f.Variant == "drive" {
		z = 0 // wheels and chain keep their place
	}
	f.phase[row] += 2*math.Pi*f.Hz*pace*slowTick + swingWander*math.Sqrt(slowTick)*z*math.Sqrt(3)
	return math.Sin(f.phase[row])
}

// limit gives the speed in m/s up to which the pump keeps up.
func (f *fault) limit(s *Scenario, t float64) float64 {
	return s.Drive.Speed * (f.Strength + (pumpFrom-f.Strength)*(1-f.grown(t)))
}

// pumped notes how much of what is due came in a slow tick: part of it, at a
// speed, on so many rows.
func (f *fault) pumped(s *Scenario, t, part, v, rows float64) {
	if part >= 1 {
		return
	}
	if part <= 0.97 {
		if f.short += slowTick; f.short >= 10 && f.bound == 0 {
			f.bound = t
		}
		f.held = f.held || f.filled
	}
	if part <= 0.96 {
		f.lacking += slowTick
	}
	f.lacks += (1 - part) * v * slowTick * s.Planter.RowSpacing * rows
}

// settleSwing puts what is known of such a fault into its line of truth.
func (f *fault) settleSwing(s *Scenario, t *Fault) {
	switch {
	case swingKind(f.Kind):
		t.Params["hz"] = f.Hz
	case f.Kind == evenstand.KindPumpLimit:
		t.Params["limit_m_s"], t.Params["lacking_s"] = round(s.Drive.Speed*f.Strength, 3), round(f.lacking, 0)
		if t.Happened = f.bound > 0; t.Happened {
			t.From = s.t0 + evenstand.FromSeconds(f.bound)
		}
	}
}

// swingDetected tells whether such a fault was as strong and long as tests
// demand a finding for, as measured on development days (docs/measured.md).
func (f *fault) swingDetected(s *Scenario) bool {
	switch f.Kind {
	case evenstand.KindForceHunting:
		return s.Output.WheelLoad != "" && s.Output.ForceHz >= 2.5 && f.Strength >= 60 && f.planting >= 600
	case evenstand.KindFlowHunting:
		return s.Output.Liquid > 0 && f.Strength >= 0.04 && f.planting >= 420
	}
	return s.Output.Liquid > 0 && f.lacking >= 300
}

// swingCauses gives the true cause of such a fault and those that the logs
// cannot tell from it.
func (f *fault) swingCauses() (string, []string) {
	switch f.Kind {
	case evenstand.KindForceHunting:
		if f.Variant == "actuator" {
			return evenstand.CauseForceRow, []string{evenstand.CauseForceRow}
		}
		return evenstand.CauseForceGain, []string{evenstand.CauseForceGain}
	case evenstand.KindFlowHunting:
		if f.Variant == "drive" {
			return evenstand.CausePumpDrive, []string{evenstand.CausePumpDrive}
		}
		return evenstand.CauseFlowGain, []string{evenstand.CauseFlowGain}
	}
	// Before the first fill, at which a strainer is cleaned and a pump stays as it
	// is, nobody can tell which of the two it is.
	both := []string{evenstand.CauseStrainer, evenstand.CausePumpWorn}
	switch {
	case f.Variant == "pump" && f.held:
		return evenstand.CausePumpWorn, both[1:]
	case f.Variant == "pump":
		return evenstand.CausePumpWorn, both
	case f.cured:
		return evenstand.CauseStrainer, both[:1]
	}
	return evenstand.CauseStrainer, both
}
