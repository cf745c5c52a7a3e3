package book

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenstand"
)

// Prices, goals and areas as people write them: a number and its unit. A
// bushel is of the crop named, corn when none is.

// amount reads a number of 0 or more and what follows it.
func amount(s string) (v float64, rest string, err error) {
	s = strings.TrimLeft(strings.TrimSpace(s), "$€£ ") // the currency is a setting of its own
	if strings.HasPrefix(s, "-") || strings.HasPrefix(s, "−") {
		return 0, "", fmt.Errorf("it is less than nothing: write it without the minus")
	}
	i := 0
	for i < len(s) && (s[i] >= '0' && s[i] <= '9' || s[i] == '.') {
		i++
	}
	if i < len(s)-1 && s[i] == ',' && s[i+1] >= '0' && s[i+1] <= '9' {
		return 0, "", fmt.Errorf("it has a comma in its number; write a decimal point, and nothing between thousands")
	}
	v, err = strconv.ParseFloat(s[:i], 64)
	if err != nil || math.IsInf(v, 0) {
		return 0, "", fmt.Errorf("it does not begin with a number")
	}
	return v, strings.TrimSpace(s[i:]), nil
}

// grainMass gives the mass in kg that a word for grain stands for.
func grainMass(word, crop string) (float64, error) {
	switch word {
	case "bu":
		if crop == "" {
			crop = "corn"
		}
		if kg, ok := evenstand.Bushel(crop); ok {
			return kg, nil
		}
		return 0, fmt.Errorf("nobody has said what a bushel of %s weighs; use t, kg, lb or cwt", crop)
	case "t":
		return 1000, nil
	case "kg":
		return 1, nil
	case "lb":
		return evenstand.Pound, nil
	case "cwt":
		return 100 * evenstand.Pound, nil
	}
	return 0, fmt.Errorf("a number and a unit are wanted")
}

// areaSize gives the m2 that a word for an area stands for.
func areaSize(word string) (float64, bool) {
	switch word {
	case "ac":
		return evenstand.Acre, true
	case "ha":
		return evenstand.Hectare, true
	case "m2":
		return 1, true
	}
	return 0, false
}

// ParsePrice reads what grain of a crop brings, "4.50/bu" or "180/t", as
// currency per kg. An empty text is not known, NaN.
func ParsePrice(s, crop string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	v, rest, err := amount(s)
	if err == nil {
		word, ok := strings.CutPrefix(rest, "/")
		var kg float64
		if kg, err = grainMass(strings.TrimSpace(word), crop); err == nil && ok {
			return v / kg, nil
		}
		if err == nil {
			err = fmt.Errorf("a / is missing")
		}
	}
	return math.NaN(), fmt.Errorf("price %q: want a number and a unit, such as 4.50/bu or 180/t; %w", s, err)
}

// ParseYield reads a yield goal of a crop, "190bu/ac" or "11t/ha", as kg per
// m2. An empty text is not known, NaN.
func ParseYield(s, crop string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	v, rest, err := amount(s)
	if err == nil {
		mass, area, _ := strings.Cut(rest, "/")
		var kg float64
		if kg, err = grainMass(strings.TrimSpace(mass), crop); err == nil {
			if m2, ok := areaSize(strings.TrimSpace(area)); ok {
				return v * kg / m2, nil
			}
			err = fmt.Errorf("the area is missing")
		}
	}
	return math.NaN(), fmt.Errorf("yield %q: want a number and a unit, such as 190bu/ac or 11t/ha; %w", s, err)
}

// ParseSeedPrice reads money over seeds, "300/80000", as currency per seed. An
// empty text is not known, NaN.
func ParseSeedPrice(s string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	v, rest, err := amount(s)
	if err == nil {
		if more, ok := strings.CutPrefix(rest, "/"); ok {
			var n float64
			var tail string
			if n, tail, err = amount(more); err == nil && tail == "" && n > 0 && !math.IsInf(v/n, 0) {
				return v / n, nil
			}
		}
		if err == nil {
			err = fmt.Errorf("the seeds are missing or not plain")
		}
	}
	return math.NaN(), fmt.Errorf("seed price %q: want money over seeds, such as 300/80000; %w", s, err)
}

// parseArea reads "250ac" or "100ha" as m2; an empty text is not known, NaN.
func parseArea(s string) (float64, error) {
	if s == "" {
		return math.NaN(), nil
	}
	v, rest, err := amount(s)
	if err == nil {
		if m2, ok := areaSize(rest); ok {
			return v * m2, nil
		}
		err = fmt.Errorf("the unit is missing")
	}
	return math.NaN(), fmt.Errorf("area %q: want a number and a unit, such as 250ac or 100ha; %w", s, err)
}

// spell writes v as the shortest of number and unit that reads back as v
// exactly, trying the units in order; the last, of size 1, always does.
func spell(v float64, least int, write func(number, unit string) string, read func(string) (float64, error), units ...unitSize) string {
	for _, u := range units {
		for places := least; places <= 6; places++ {
			s := write(strconv.FormatFloat(v*u.size, 'f', places, 64), u.name)
			if got, err := read(s); err == nil && got == v {
				return s
			}
		}
	}
	return write(strconv.FormatFloat(v, 'f', -1, 64), units[len(units)-1].name)
}

type unitSize struct {
	name string
	size float64
}

// bushelsFirst gives the units of grain in the order of a book's people; kg
// stands last.
func bushelsFirst(s *evenstand.Settings) []unitSize {
	units := []unitSize{{"t", 1000}, {"kg", 1}}
	if kg, err := grainMass("bu", s.Crop); err == nil && s.Units != evenstand.Metric {
		units = append([]unitSize{{"bu", kg}}, units...)
	}
	return units
}

func priceText(s *evenstand.Settings) string {
	return spell(s.Price, 2, func(n, u string) string { return n + "/" + u }, func(t string) (float64, error) { return ParsePrice(t, s.Crop) }, bushelsFirst(s)...)
}

func yieldText(s *evenstand.Settings) string {
	units := []unitSize{{"t/ha", evenstand.Hectare / 1000}, {"kg/m2", 1}}
	if kg, err := grainMass("bu", s.Crop); err == nil && s.Units != evenstand.Metric {
		units = append([]unitSize{{"bu/ac", evenstand.Acre / kg}}, units...)
	}
	return spell(s.Yield, 0, func(n, u string) string { return n + u }, func(t string) (float64, error) { return ParseYield(t, s.Crop) }, units...)
}

func seedText(s *evenstand.Settings) string {
	return spell(s.Seed, 0, func(n, u string) string { return n + "/" + u }, ParseSeedPrice, unitSize{"80000", 80000}, unitSize{"140000", 140000}, unitSize{"50000", 50000}, unitSize{"1", 1})
}

func areaText(s *evenstand.Settings) string {
	units := []unitSize{{"ac", 1 / evenstand.Acre}, {"ha", 1 / evenstand.Hectare}, {"m2", 1}}
	if s.Units == evenstand.Metric {
		units = units[1:]
	}
	return spell(s.Season, 0, func(n, u string) string { return n + u }, parseArea, units...)
}

// SettingsText are settings as people write them: numbers with their units,
// and nothing where nobody has said.
type SettingsText struct {
	Name     string `json:"name"`
	Zone     string `json:"zone"`
	Units    string `json:"units"`
	Currency string `json:"currency"`
	Crop     string `json:"crop"`
	Grain    string `json:"grain"`            // "4.50/bu"
	Yield    string `json:"yield_goal"`       // "190bu/ac"
	Seed     string `json:"seed"`             // "300/80000"
	Labour   string `json:"labour_per_hour"`  // "25"
	Machine  string `json:"machine_per_hour"` // "150"
	Left     string `json:"left_to_plant"`    // "250ac"
	// Limits has a line for every quantity that can have one.
	Limits []LimitText `json:"limits"`
}

// Bare are the units that a number without one stands in, in the settings of a
// book: as people of its units and crop say it.
type Bare struct {
	Grain string `json:"grain"`         // "/bu"
	Yield string `json:"yield_goal"`    // "bu/ac"
	Seed  string `json:"seed"`          // "/80000"
	Left  string `json:"left_to_plant"` // "ac"
}

// BareOf gives them. A unit of seed is 80,000 kernels of corn or 140,000
// soybeans (common practice, no source).
func BareOf(units evenstand.Units, crop string) Bare {
	b := Bare{"/t", "t/ha", "/80000", "ha"}
	if units != evenstand.Metric {
		b = Bare{"/cwt", "lb/ac", "/80000", "ac"}
		if _, err := grainMass("bu", crop); err == nil {
			b.Grain, b.Yield = "/bu", "bu/ac"
		}
	}
	if crop == "soybeans" {
		b.Seed = "/140000"
	}
	return b
}

// Missing says what losses cannot be priced without, or not as well.
func Missing(s *evenstand.Settings) []string {
	var out []string
	if math.IsNaN(s.Price) {
		out = append(out, "what grain brings: until then losses are in bushels or tonnes")
	}
	if math.IsNaN(s.Yield) {
		out = append(out, "the yield goal: until then corn's usual yield is assumed, and the range of a loss is wider")
	}
	if math.IsNaN(s.Seed) {
		out = append(out, "what seed costs: until then seed that doubles and overlaps waste is not counted")
	}
	return out
}

// with adds the unit to a text that is a number alone.
func with(text, unit string) string {
	if _, rest, err := amount(text); err == nil && rest == "" {
		return strings.TrimSpace(text) + unit
	}
	return text
}

// TextOf writes settings as people do, in the units of BareOf and to six
// digits; book.toml keeps them exactly.
func TextOf(s evenstand.Settings) SettingsText {
	t := SettingsText{Name: s.Name, Zone: s.Zone, Units: string(s.Units), Currency: s.Currency, Crop: s.Crop}
	if t.Crop == "" {
		t.Crop = "corn"
	}
	bare := BareOf(s.Units, s.Crop)
	for _, p := range []struct {
		to    *string
		v     float64
		unit  string
		least int // decimal places
		read  func(string) (float64, error)
	}{
		{&t.Grain, s.Price, bare.Grain, 2, func(x string) (float64, error) { return ParsePrice(x, s.Crop) }},
		{&t.Yield, s.Yield, bare.Yield, 0, func(x string) (float64, error) { return ParseYield(x, s.Crop) }},
		{&t.Seed, s.Seed, bare.Seed, 0, ParseSeedPrice},
		{&t.Labour, s.Labour, "", 0, hourly},
		{&t.Machine, s.Machine, "", 0, hourly},
		{&t.Left, s.Season, bare.Left, 0, parseArea},
	} {
		one, err := p.read("1" + p.unit)
		if math.IsNaN(p.v) || err != nil {
			continue
		}
		*p.to = six(p.v/one, p.least) + p.unit
	}
	t.Limits = limitTexts(&s)
	return t
}

// six writes a number with six significant digits at most, and some decimal
// places at least where these say it.
func six(x float64, least int) string {
	if s := strconv.FormatFloat(x, 'f', least, 64); near(s, x) {
		return s
	}
	places := max(0, 5-int(math.Floor(math.Log10(math.Abs(x)))))
	s := strconv.FormatFloat(x, 'f', places, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	return s
}

func near(s string, x float64) bool {
	got, err := strconv.ParseFloat(s, 64)
	return err == nil && math.Abs(got-x) <= 1e-9*math.Abs(x)
}

// SettingsChange is what a person changed of the settings; what is nil stays as
// it is. A number without a unit is in that of BareOf.
type SettingsChange struct {
	Name     *string `json:"name,omitempty" maxLength:"200"`
	Zone     *string `json:"zone,omitempty" maxLength:"100"`
	Units    *string `json:"units,omitempty" enum:"us,metric"`
	Currency *string `json:"currency,omitempty" maxLength:"3"`
	Crop     *string `json:"crop,omitempty" maxLength:"40"`
	Grain    *string `json:"grain,omitempty" maxLength:"40"`
	Yield    *string `json:"yield_goal,omitempty" maxLength:"40"`
	Seed     *string `json:"seed,omitempty" maxLength:"40"`
	Labour   *string `json:"labour_per_hour,omitempty" maxLength:"40"`
	Machine  *string `json:"machine_per_hour,omitempty" maxLength:"40"`
	Left     *string `json:"left_to_plant,omitempty" maxLength:"40"`

	Limits *[]LimitText `json:"limits,omitempty" maxItems:"20" doc:"All of them: one that is left out is given up"`
}

// Apply changes settings. Errors say which setting it is and how to write it;
// the settings are then to be thrown away.
func (c SettingsChange) Apply(s *evenstand.Settings) error {
	text := func(to *string, from *string) {
		if from != nil {
			*to = strings.TrimSpace(*from)
		}
	}
	text(&s.Name, c.Name)
	text(&s.Zone, c.Zone)
	if c.Units != nil {
		s.Units = evenstand.Units(*c.Units)
	}
	if c.Currency != nil && strings.TrimSpace(*c.Currency) != "" {
		s.Currency = strings.ToUpper(strings.TrimSpace(*c.Currency))
	}
	if c.Crop != nil {
		if s.Crop = strings.ToLower(strings.TrimSpace(*c.Crop)); s.Crop == "corn" {
			s.Crop = ""
		}
	}
	bare := BareOf(s.Units, s.Crop)
	for _, p := range []struct {
		from *string
		unit string
		read func(string) (float64, error)
		to   *float64
	}{
		{c.Grain, bare.Grain, func(x string) (float64, error) { return ParsePrice(x, s.Crop) }, &s.Price},
		{c.Yield, bare.Yield, func(x string) (float64, error) { return ParseYield(x, s.Crop) }, &s.Yield},
		{c.Seed, bare.Seed, ParseSeedPrice, &s.Seed},
		{c.Labour, "", hourly, &s.Labour},
		{c.Machine, "", hourly, &s.Machine},
		{c.Left, bare.Left, parseArea, &s.Season},
	} {
		if p.from == nil {
			continue
		}
		v, err := p.read(strings.TrimSpace(with(*p.from, p.unit)))
		if err != nil {
			return err
		}
		*p.to = v
	}
	if c.Limits != nil {
		limits, err := readLimits(*c.Limits, s.Units)
		if err != nil {
			return err
		}
		s.Limits = limits
	}
	_, err := parseSettings(formatSettings(*s)) // zone, units and what else book.toml holds them to
	return err
}

// hourly reads what an hour costs; an empty text is not known, NaN.
func hourly(text string) (float64, error) {
	if text == "" {
		return math.NaN(), nil
	}
	v, rest, err := amount(text)
	if err == nil && rest != "" {
		err = fmt.Errorf("want money alone")
	}
	if err != nil {
		return math.NaN(), fmt.Errorf("an hour's cost %q: want a number such as 25; %w", text, err)
	}
	return v, nil
}
