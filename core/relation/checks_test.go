package relation_test

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/relation"
)

// check is one line of checks.csv: worked examples whose results come from the
// publication named on the line, or from arithmetic on such figures.
type check struct {
	id, area string
	in       map[string]string
	want     string  // expected, as written
	tol      float64 // absolute; 0: exact to 1e-9
	source   string
}

func (c check) num(t *testing.T, key string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(c.in[key], 64)
	if err != nil {
		t.Fatalf("%s: input %s=%q is no number", c.id, key, c.in[key])
	}
	return v
}

func (c check) int(t *testing.T, key string) int { return int(c.num(t, key)) }

func readChecks(t *testing.T, path string) []check {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	recs, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []check
	for _, r := range recs[1:] {
		c := check{id: r[0], area: r[1], in: map[string]string{}, want: r[3], source: r[5]}
		for kv := range strings.SplitSeq(r[2], ";") {
			if k, v, ok := strings.Cut(strings.TrimSpace(kv), "="); ok {
				c.in[k] = v
			}
		}
		if c.tol, err = strconv.ParseFloat(r[4], 64); err != nil {
			t.Fatalf("%s: tolerance %q", c.id, r[4])
		}
		if c.source == "" {
			t.Errorf("%s has no source", c.id)
		}
		out = append(out, c)
	}
	return out
}

// evaluate gives what the code says; false: the code covers no such relation.
func evaluate(t *testing.T, c check) (float64, bool) {
	n := func(key string) float64 { return c.num(t, key) }
	after := func(key string) int {
		d, err := relation.AfterApril30(c.in[key])
		if err != nil {
			t.Fatalf("%s: %v", c.id, err)
		}
		return d
	}
	switch c.area {
	case "replant_table":
		stand, d := 0.0, 0
		if c.in["date"] != "" {
			d, stand = after("date"), n("stand")
		} else {
			d, stand = (after("date_from")+after("date_to"))/2, n("stand_lo")
		}
		cell, ok := relation.Lookup(c.in["table"], d, stand, c.in["season"])
		if !ok {
			t.Fatalf("%s: no cell", c.id)
		}
		return cell.Percent, true
	case "stand_date_surface":
		p, d := relation.SurfaceOptimum()
		switch c.in["want"] {
		case "optimum_p_thousand":
			return p, true
		case "optimum_d_after_apr30":
			return d, true
		}
		return relation.Surface(n("p_thousand"), n("d_after_apr30")), true
	case "apr30_row_fit":
		return relation.April30(n("p_thousand")), true
	case "replant_interpolate":
		return relation.Stand(n("stand")/1000, float64(after("date"))), true
	case "replant_hurdle":
		switch {
		case c.in["replant_percent"] != "":
			return relation.HurdlePercent(n("cost_usd_ac"), n("price_usd_bu"), n("yield_bu"), n("replant_percent")), true
		case c.in["yield_bu"] != "":
			return relation.HurdleBu(n("cost_usd_ac"), n("price_usd_bu")) / n("yield_bu") * 100, true
		}
		return relation.HurdleBu(n("cost_usd_ac"), n("price_usd_bu")), true
	case "replant_gain":
		gap := 0.0
		if c.in["gap_points"] != "" {
			gap = n("gap_points")
		}
		return relation.ReplantGain(n("yield_bu"), n("existing_percent"), gap, n("replant_percent"), n("price_usd_bu"), n("cost_usd_ac"), n("insurance_usd_ac")), true
	case "insurance_cap":
		v, ok := relation.InsuranceCap(c.in["crop"], n("price_usd_bu"))
		return v, ok
	case "insurance_guarantee":
		if c.in["want"] == "threshold_bu" {
			return relation.InsuranceThreshold(n("guarantee_bu")), true
		}
	case "insurance_payment":
		v, ok := relation.InsurancePayment(c.in["crop"], n("aph_bu"), n("level"), n("appraised_bu"), n("price_usd_bu"))
		return v, ok
	case "plant_weight_yield":
		// 16 oz to the pound, 56 lb to the bushel
		return relation.BuAcre(relation.FromThousand(n("plants")/1000) * n("oz_per_plant") / 16 * evenstand.Pound), true
	case "skip_compensation":
		return relation.Compensation(n("p_thousand")), true
	case "skip_net_loss":
		return 1 - relation.Compensation(n("p_thousand")), true
	case "skip_survey":
		_, likely, _ := relation.SkipLoss(30)
		if likely != n("plants_per_skip") {
			t.Errorf("%s: likely loss %g plants, want %g", c.id, likely, n("plants_per_skip"))
		}
		return n("skip_percent") / 100 * likely * n("yield_bu"), true
	case "double_net":
		return relation.DoubleNet(n("pair_gain"), n("neighbour_loss"), c.int(t, "neighbours")), true
	case "spacing_sd_likely":
		_, likely, _ := relation.SpacingSD(n("sd_cm")/2.54, 200)
		return likely, true
	case "spacing_sd_outer":
		return relation.SpacingSDOuter(n("sd_in")), true
	case "spacing_sd_high":
		y := 200.0
		if c.in["yield_bu"] != "" {
			y = n("yield_bu")
		}
		_, _, high := relation.SpacingSD(n("sd_in"), y)
		return high * y / 100, true
	case "plant_sd_floor":
		return relation.PlantSDFloor(n("spacing_in"), n("emergence")), true
	case "late_plants_model":
		return relation.LateLoss(n("share"), n("days")), true
	case "late_share_lost":
		return relation.LateShareFrom(n("field_loss_percent"), n("share")), true
	case "late_high":
		_, _, high := relation.LateShare(n("days"))
		return high, true
	case "gdd_day":
		return relation.GDD(n("tmax_f"), n("tmin_f")), true
	case "gdd_sum":
		sum := 0.0
		for day := range strings.SplitSeq(c.in["days"], ",") {
			a, b, _ := strings.Cut(day, "/")
			hi, _ := strconv.ParseFloat(a, 64)
			lo, _ := strconv.ParseFloat(b, 64)
			sum += relation.GDD(hi, lo)
		}
		return sum, true
	case "days_to_gdd":
		return n("target_gdd") / relation.GDD(n("mean_f"), n("mean_f")), true
	case "emergence_gdd":
		return relation.EmergenceGDD(relation.Site{DepthIn: n("depth_in"), Dry: c.in["dry"] == "true"}), true
	case "hybrid_need":
		return relation.HybridNeed(n("hybrid_gdd"), n("days_after_may1")), true
	case "date_loss_il2013":
		return relation.DateLoss(n("april_percent"), c.int(t, "may_day")), true
	case "seed_spacing":
		return relation.Spacing(n("row_in"), n("seeds_ac")), true
	case "seeds_per_second":
		return relation.SeedsPerSecond(n("seeds_ac"), n("row_in"), n("mph")), true
	case "meter_rpm":
		return relation.MeterRPM(n("seeds_per_s"), c.int(t, "cells")), true
	case "ft_per_turn":
		return relation.FeetPerTurn(c.int(t, "cells"), n("spacing_in")), true
	case "blocked_cell":
		if c.in["want"] == "percent_places_missed" {
			return 100 * relation.BlockedShare(c.int(t, "cells")), true
		}
	case "seeds_per_bushel":
		return relation.SeedsPerBushel(n("usd_per_unit"), n("seeds_per_unit"), n("price_usd_bu")), true
	case "economic_stand":
		return relation.EconomicStand(n("yield_bu"), n("price_usd_bu"), n("usd_per_1000"), n("emergence")), true
	case "acres_per_unit":
		return relation.Acres(1, n("seeds_per_unit"), n("seeds_ac")), true
	case "acres_left":
		return relation.Acres(n("units"), n("seeds_per_unit"), n("seeds_ac")), true
	case "row_length_1000th":
		return relation.ThousandthAcre(n("row_in")), true
	case "hoop_factor":
		if c.in["pi"] == "exact" {
			return relation.HoopFactor(n("diameter_in")), true
		}
		return math.Floor(relation.HoopFactor(n("diameter_in")) * math.Pi / 3.14), true // printed with pi 3.14, fraction dropped
	case "plants_per_100ft":
		return relation.RowCount(n("plants"), 100, n("row_in")), true
	case "stand_wheel":
		return relation.RowCount(n("plants"), n("ft"), n("row_in")), true
	case "row_feet_per_acre":
		if c.in["plants_per_ft"] != "" {
			return relation.RowCount(n("plants_per_ft"), 1, n("row_in")), true
		}
		return relation.RowFeet(n("row_in")), true
	case "counts_needed":
		return relation.CountsNeeded(n("cv_percent"), n("error_percent"), n("t")), true
	case "binomial_cv":
		return relation.BinomialCV(n("seeds"), n("emergence")), true
	case "oz1000ft_to_lbac":
		return relation.PoundsPerAcre(n("oz"), n("row_in")), true
	case "lbac_to_oz1000ft":
		return relation.OuncesPer1000(n("lb_ac"), n("row_in")), true
	case "catch_653":
		return relation.Catch653(n("lb_ac"), n("row_in")), true
	case "salt_limit":
		v, ok := relation.SaltLimit(c.in["soil"], n("row_in"))
		return v, ok
	case "nitrogen_response":
		return relation.Nitrogen(n("ymax"), n("y0"), n("nopt"), n("n")), true
	case "curve_population":
		return relation.CurveRatio(n("offset_ft"), n("radius_ft")), true
	case "field_capacity":
		return relation.FieldCapacity(n("width_ft"), n("mph"), n("efficiency")), true
	case "lost_hour":
		return relation.LostHour(n("acres_left"), n("yield_bu"), n("price_usd_bu"), n("pct_day"), n("hours_day")), true
	case "dead_row":
		v := relation.DeadRow(c.int(t, "rows"), n("yield_bu"), n("price_usd_bu"), n("recovered"))
		if c.in["ac_h"] != "" {
			v *= n("ac_h")
		}
		return v, true
	case "blocked_cell_cost":
		_, likely, _ := relation.SkipLoss(30)
		return relation.DeadRow(c.int(t, "rows"), n("yield_bu"), n("price_usd_bu"), 0) * relation.BlockedShare(c.int(t, "cells")) * likely, true
	case "pressure":
		return n("inH2O") * evenstand.InchWater / 1000, true
	case "yield":
		return relation.BuAcre(n("kg_ha") / evenstand.Hectare), true
	case "force":
		return n("newton") / evenstand.PoundForce, true
	}
	return 0, false
}

func runChecks(t *testing.T, checks []check, atLeast int) {
	covered := 0
	for _, c := range checks {
		if c.area == "spacing_class" {
			covered++
			if got := relation.SpacingClass(c.num(t, "q")); got != c.want {
				t.Errorf("%s: class of %s is %s, want %s (%s)", c.id, c.in["q"], got, c.want, c.source)
			}
			continue
		}
		got, ok := evaluate(t, c)
		if !ok {
			continue
		}
		covered++
		want, err := strconv.ParseFloat(c.want, 64)
		if err != nil {
			t.Fatalf("%s: expected %q is no number", c.id, c.want)
		}
		if math.Abs(got-want) > max(c.tol, 1e-9) {
			t.Errorf("%s, %s: got %.6g, want %s within %g (%s)", c.id, c.area, got, c.want, c.tol, c.source)
		}
	}
	t.Logf("%d of %d lines covered", covered, len(checks))
	if covered < atLeast {
		t.Errorf("%d lines covered, want at least %d", covered, atLeast)
	}
}

// The extract holds the lines that the code covers, with their sources.
func TestChecks(t *testing.T) { runChecks(t, readChecks(t, "testdata/checks.csv"), 182) }

// The shared file is the whole: a new line of an area that the code covers is
// tested as soon as it stands there.
func TestSharedChecks(t *testing.T) {
	runChecks(t, readChecks(t, shared(t, "reference/agronomy/checks.csv")), 182)
}

// shared finds a file of the shared folder, and skips without it.
func shared(t *testing.T, name string) string {
	t.Helper()
	root := os.Getenv("EVENSTAND_SHARED")
	if root == "" {
		dir, err := os.Getwd()
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
				break
			}
			up := filepath.Dir(dir)
			if up == dir {
				t.Skip("no go.mod above the test: the shared folder cannot be found")
			}
			dir = up
		}
		root = filepath.Join(filepath.Dir(dir), "shared")
	}
	path := filepath.Join(root, name)
	if _, err := os.Stat(path); err != nil {
		t.Skipf("%s is not there; set EVENSTAND_SHARED to the folder that holds it", path)
	}
	return path
}

// TestExtract writes the extract of the shared lines that the code covers again,
// when EVENSTAND_EXTRACT names a file.
func TestExtract(t *testing.T) {
	out := os.Getenv("EVENSTAND_EXTRACT")
	if out == "" {
		t.Skip("set EVENSTAND_EXTRACT=testdata/checks.csv to write the extract again")
	}
	raw, err := os.ReadFile(shared(t, "reference/agronomy/checks.csv"))
	if err != nil {
		t.Fatal(err)
	}
	text := strings.SplitAfter(string(raw), "\n")
	var b strings.Builder
	b.WriteString(text[0])
	for i, c := range readChecks(t, shared(t, "reference/agronomy/checks.csv")) {
		if c.area == "spacing_class" {
			b.WriteString(text[i+1])
		} else if _, ok := evaluate(t, c); ok {
			b.WriteString(text[i+1])
		}
	}
	if err := os.WriteFile(out, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	fmt.Println("wrote", out)
}
