package book_test

import (
	"math"
	"strings"
	"testing"

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
