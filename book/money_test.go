package book_test

import (
	"math"
	"strings"
	"testing"

	"evenstand"
	"evenstand/book"
)

// By hand: a bushel of corn is 56 lb of 0.45359237 kg, of soybeans 60 lb; an
// acre is 4046.8564224 m2.
func TestMoneyTexts(t *testing.T) {
	for _, tt := range []struct {
		price, yield, seed, crop string
		want                     float64
		err                      string
	}{
		{price: "4.50/bu", want: 4.5 / (56 * 0.45359237)},
		{price: " 4.50 / bu ", want: 4.5 / (56 * 0.45359237)},
		{price: "10.50/bu", crop: "soybeans", want: 10.5 / (60 * 0.45359237)},
		{price: "180/t", want: 0.18},
		{yield: "190bu/ac", want: 190 * 56 * 0.45359237 / 4046.8564224},
		{yield: "11 t/ha", want: 1.1},
		{seed: "300/80000", want: 0.00375},
		{price: "$4.50/bu", want: 4.5 / (56 * 0.45359237)},
		{price: "4,50/bu", err: "write a decimal point"},
		{price: "4.50", err: "such as 4.50/bu"},
		{price: "4.50/bu", crop: "cotton", err: "a bushel of cotton"},
		{yield: "190bu", err: "the area is missing"},
		{seed: "300/0", err: "money over seeds"},
		{seed: "300/80,000", err: "nothing between thousands"},
	} {
		var got float64
		var err error
		switch {
		case tt.price != "":
			got, err = book.ParsePrice(tt.price, tt.crop)
		case tt.yield != "":
			got, err = book.ParseYield(tt.yield, tt.crop)
		default:
			got, err = book.ParseSeedPrice(tt.seed)
		}
		if tt.err != "" {
			if err == nil || !strings.Contains(err.Error(), tt.err) {
				t.Errorf("%+v: error %v", tt, err)
			}
			continue
		}
		if err != nil || math.Abs(got-tt.want) > 1e-12*tt.want {
			t.Errorf("%+v: got %v, %v", tt, got, err)
		}
	}
}

// Old and new keys say the same; both at once, and a price without a unit, are
// refused with what to write.
func TestSettingsTexts(t *testing.T) {
	head := "book = 1\nname = \"x\"\nzone = \"UTC\"\nunits = \"us\"\n[prices]\n"
	old, err := book.ParseSettings([]byte(head + "grain_per_kg = 0.18\nper_seed = 0.00375\n"))
	if err != nil {
		t.Fatal(err)
	}
	now, err := book.ParseSettings([]byte(head + "grain = \"180/t\"\nseed = \"300/80000\"\n[season]\nleft_to_plant = \"10ha\"\n"))
	if err != nil || now.Price != old.Price || now.Seed != old.Seed || now.Season != 100_000 {
		t.Errorf("%+v, %v", now, err)
	}
	for text, want := range map[string]string{
		"grain = 4.5\n": `such as grain = "4.50/bu"`,
		"grain = \"180/t\"\ngrain_per_kg = 0.18\n": "say the same thing",
		"yield_goal = \"lots\"\n":                  "such as 190bu/ac",
	} {
		if _, err := book.ParseSettings([]byte(head + text)); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	text := string(book.FormatSettings(now))
	for _, want := range []string{`seed = "300/80000"`, `left_to_plant = "10ha"`, `# yield_goal = "190bu/ac" # not known`} {
		if !strings.Contains(text, want) {
			t.Errorf("no %s in\n%s", want, text)
		}
	}
}

func ptr[T any](x T) *T { return &x }

func fresh() evenstand.Settings {
	s := evenstand.NewSettings()
	s.Name, s.Zone = "x", "UTC"
	return s
}

// What is shown has six digits in the unit beside the box, also when the units
// change; what was not sent does not drift.
func TestShownPrices(t *testing.T) {
	s := fresh()
	if err := (book.SettingsChange{Grain: ptr("4.50"), Yield: ptr("190"), Seed: ptr("300")}).Apply(&s); err != nil {
		t.Fatal(err)
	}
	before := s
	if err := (book.SettingsChange{Units: ptr("metric")}).Apply(&s); err != nil {
		t.Fatal(err)
	}
	// By hand: 4.50 over 25.40117 kg, 190 of these over 4046.856 m2.
	if x := book.TextOf(s); x.Grain != "177.157/t" || x.Yield != "11.9259t/ha" || x.Seed != "300/80000" {
		t.Errorf("%+v", x)
	}
	if err := (book.SettingsChange{Units: ptr("us")}).Apply(&s); err != nil {
		t.Fatal(err)
	}
	if x := book.TextOf(s); x.Grain != "4.50/bu" || x.Yield != "190bu/ac" || s.Price != before.Price || s.Yield != before.Yield {
		t.Errorf("%+v", x)
	}
}

// A number alone is in the unit that people of the book say it in.
func TestBareNumbers(t *testing.T) {
	for _, tt := range []struct {
		units, crop              string
		grain, goal, seed, left  string
		price, yield, each, area float64
	}{
		{"us", "corn", "4.50", "190", "300", "250", 4.50 / (56 * evenstand.Pound), 190 * 56 * evenstand.Pound / evenstand.Acre, 300.0 / 80000, 250 * evenstand.Acre},
		{"us", "soybeans", "11", "55", "70", "", 11 / (60 * evenstand.Pound), 55 * 60 * evenstand.Pound / evenstand.Acre, 70.0 / 140000, math.NaN()},
		{"us", "canola", "20", "1800", "", "", 20 / (100 * evenstand.Pound), 1800 * evenstand.Pound / evenstand.Acre, math.NaN(), math.NaN()},
		{"metric", "corn", "180", "11", "250/50000", "100", 0.18, 1.1, 0.005, 1e6},
		{"metric", "corn", "4.50/bu", "190bu/ac", "", "250ac", 4.50 / (56 * evenstand.Pound), 190 * 56 * evenstand.Pound / evenstand.Acre, math.NaN(), 250 * evenstand.Acre},
	} {
		s := fresh()
		err := book.SettingsChange{Units: &tt.units, Crop: &tt.crop, Grain: &tt.grain, Yield: &tt.goal, Seed: &tt.seed, Left: &tt.left}.Apply(&s)
		if err != nil {
			t.Errorf("%+v: %v", tt, err)
			continue
		}
		for i, p := range [][2]float64{{s.Price, tt.price}, {s.Yield, tt.yield}, {s.Seed, tt.each}, {s.Season, tt.area}} {
			if !(math.Abs(p[0]-p[1]) <= 1e-12*p[1]) && !(math.IsNaN(p[0]) && math.IsNaN(p[1])) {
				t.Errorf("%+v: figure %d is %v, want %v", tt, i, p[0], p[1])
			}
		}
	}
}

// What was typed wrongly is said once, with what to write.
func TestSettingsErrors(t *testing.T) {
	for want, change := range map[string]func(*book.SettingsChange){
		`price "cheap": want a number and a unit, such as 4.50/bu or 180/t; it does not begin with a number`: func(t *book.SettingsChange) { t.Grain = ptr("cheap") },
		`an hour's cost "25/h": want a number such as 25; want money alone`:                                  func(t *book.SettingsChange) { t.Labour = ptr("25/h") },
		`the limit for ground speed, "6.5psi": the unit does not fit; write it in mph or km/h`:               func(t *book.SettingsChange) { t.Limits = &[]book.LimitText{{Of: "ground_speed", Most: "6.5psi"}} },
		`the limit for ground speed, "650": no box would log so much; -45 to 45 mph can be`:                  func(t *book.SettingsChange) { t.Limits = &[]book.LimitText{{Of: "ground_speed", Most: "650"}} },
		`the limits for seed-zone moisture: at least 30 and at most 20 % leaves nothing; change one of them`: func(t *book.SettingsChange) {
			t.Limits = &[]book.LimitText{{Of: "seed_zone_moisture", Least: "30", Most: "20"}}
		},
		`limits: ground_speed is given twice; keep one of them`: func(t *book.SettingsChange) {
			t.Limits = &[]book.LimitText{{Of: "ground_speed", Most: "6"}, {Of: "ground_speed", Least: "3"}}
		},
		`limits: there is none for "heading"; there are wheel_off_share, gauge_wheel_load, applied_force, seed_zone`: func(t *book.SettingsChange) { t.Limits = &[]book.LimitText{{Of: "heading", Most: "6"}} },
	} {
		var c book.SettingsChange
		change(&c)
		s := fresh()
		if err := c.Apply(&s); err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("got  %v\nwant %s", err, want)
		}
	}
}

// Limits are kept as people write them, also when the units change.
func TestLimits(t *testing.T) {
	head := "book = 1\nname = \"x\"\nzone = \"UTC\"\nunits = \"us\"\n[limits]\n"
	s, err := book.ParseSettings([]byte(head + "ground_speed = \"at most 6.5mph\"\nseed_zone_moisture = \"at least 18%\"\ngauge_wheel_load = \"30lb to 250\"\nseed_zone_temperature = \"at least 50\"\n"))
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		if math.Abs(got-want) > 1e-9*want {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("speed", s.Limit(evenstand.GroundSpeed).Most, 6.5*evenstand.Mile/3600)
	near("moisture", s.Limit(evenstand.SeedZoneMoisture).Least, 0.18)
	near("load", s.Limit(evenstand.GaugeWheelLoad).Least, 30*evenstand.PoundForce)
	near("load", s.Limit(evenstand.GaugeWheelLoad).Most, 250*evenstand.PoundForce)
	near("temperature", s.Limit(evenstand.SeedZoneTemperature).Least, 10)
	if s.Limit(evenstand.Vacuum).Set() || s.Limit(evenstand.GroundSpeed).Below(0) {
		t.Error("an end that nobody gave holds")
	}
	again, err := book.ParseSettings(book.FormatSettings(s))
	if err != nil || string(book.FormatSettings(again)) != string(book.FormatSettings(s)) {
		t.Errorf("%+v, %v", again.Limits, err)
	}
	text := book.TextOf(s)
	m := s
	if err := (book.SettingsChange{Units: ptr("metric"), Limits: &text.Limits}).Apply(&m); err != nil {
		t.Fatal(err)
	}
	if got := book.TextOf(m).Limits; got[6].Of != "ground_speed" || got[6].Most != "10.4607" || got[6].Unit != "km/h" { // 6.5 mph of 1.609344 km/h
		t.Errorf("%+v", got)
	}
	up := book.SettingsChange{Limits: &[]book.LimitText{{Of: "applied_force", Least: "-200", Most: "300", Unit: "lbf"}}}
	if err := up.Apply(&m); err != nil || math.Abs(m.Limit(evenstand.AppliedForce).Least+200*evenstand.PoundForce) > 1e-9 {
		t.Errorf("the bar may be lifted too: %v, %+v", err, m.Limits)
	}
	near("speed in metric", m.Limit(evenstand.GroundSpeed).Most, 6.5*evenstand.Mile/3600)
	if _, err := book.ParseSettings([]byte(head + "ground_speed = \"6.5mph\"\n")); err == nil || !strings.Contains(err.Error(), `write "at least 5mph"`) {
		t.Errorf("%v", err)
	}
}

// What is less than nothing says what to do.
func TestLessThanNothing(t *testing.T) {
	for _, s := range []string{"-5", "-5/bu", "$-5/bu"} {
		if _, err := book.ParsePrice(s, "corn"); err == nil || !strings.Contains(err.Error(), "such as 4.50/bu") || !strings.Contains(err.Error(), "write it without the minus") {
			t.Errorf("%q: %v", s, err)
		}
	}
}
