package book

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"

	"evenstand"
	"evenstand/format/plain"
)

// settingsVersion is the layout of book.toml.
const settingsVersion = 1

type settingsFile struct {
	Book   int               `toml:"book"`
	Name   string            `toml:"name"`
	Zone   string            `toml:"zone"`
	Units  string            `toml:"units"`
	Prices pricesFile        `toml:"prices"`
	Season seasonFile        `toml:"season"`
	Limits map[string]string `toml:"limits"`
	Clocks []clockFile       `toml:"clock"`

	Products []productFile `toml:"product"`
	Plans    []planFile    `toml:"plan"`
	Parts    []partFile    `toml:"part"`
}

type clockFile struct {
	Box     string   `toml:"box"`
	Planter string   `toml:"planter"`
	Offset  *float64 `toml:"offset_s"`
	Error   *float64 `toml:"error_s"`
}

// mostOffset is the largest offset of a clock that is taken for one, s: a year.
const mostOffset = 366 * 86400

// parseClocks reads what is said of clocks.
func parseClocks(all []clockFile) ([]evenstand.SaidClock, error) {
	var out []evenstand.SaidClock
	for _, c := range all {
		said := evenstand.SaidClock{Box: c.Box, Planter: c.Planter, Error: math.NaN()}
		switch {
		case c.Box == "":
			return nil, errors.New("a [[clock]] has no box: write the name of its log as evenstand sources shows it")
		case c.Offset == nil:
			return nil, fmt.Errorf("the clock of %s has no offset_s: write the seconds that it is fast, below 0 when it is slow", c.Box)
		case !(math.Abs(*c.Offset) <= mostOffset):
			return nil, fmt.Errorf("the clock of %s: offset_s = %v: want seconds, a year at most", c.Box, *c.Offset)
		}
		said.Offset = *c.Offset
		if c.Error != nil {
			if said.Error = *c.Error; !(said.Error >= 0) || math.IsInf(said.Error, 0) {
				return nil, fmt.Errorf("the clock of %s: error_s = %v: want seconds of 0 or more", c.Box, *c.Error)
			}
		}
		out = append(out, said)
	}
	return out, nil
}

type pricesFile struct {
	Currency string   `toml:"currency"`
	Crop     string   `toml:"crop"`
	Grain    any      `toml:"grain"`
	Yield    any      `toml:"yield_goal"`
	Seed     any      `toml:"seed"`
	Labour   *float64 `toml:"labour_per_hour"`
	Machine  *float64 `toml:"machine_per_hour"`

	// As earlier books say it.
	GrainKg *float64 `toml:"grain_per_kg"`
	YieldM2 *float64 `toml:"yield_goal_kg_per_m2"`
	PerSeed *float64 `toml:"per_seed"`
}

type seasonFile struct {
	Left   any      `toml:"left_to_plant"`
	LeftM2 *float64 `toml:"left_to_plant_m2"`
}

// parseSettings reads book.toml. Errors say the line and what to do.
func parseSettings(data []byte) (evenstand.Settings, error) {
	s := evenstand.NewSettings()
	var head struct {
		Book int `toml:"book"`
	}
	if err := toml.Unmarshal(data, &head); err != nil {
		return s, tomlError(data, err)
	}
	if head.Book > settingsVersion {
		return s, fmt.Errorf("%w (layout %d, this program knows %d)", ErrNewer, head.Book, settingsVersion)
	}
	if head.Book < 1 {
		return s, fmt.Errorf("%w: book.toml does not begin with book = 1", ErrNotBook)
	}
	var f settingsFile
	dec := toml.NewDecoder(bytes.NewReader(data))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&f); err != nil {
		return s, tomlError(data, err)
	}
	s.Name, s.Zone = f.Name, f.Zone
	switch u := evenstand.Units(f.Units); u {
	case evenstand.US, evenstand.Metric:
		s.Units = u
	default:
		return s, fmt.Errorf("units = %q: want us or metric", f.Units)
	}
	if _, err := loadZone(s.Zone); err != nil {
		return s, err
	}
	if f.Prices.Currency != "" {
		s.Currency = f.Prices.Currency
	}
	if s.Crop = strings.ToLower(strings.TrimSpace(f.Prices.Crop)); s.Crop == "corn" {
		s.Crop = ""
	}
	for _, p := range []struct {
		name string
		from *float64
		to   *float64
	}{
		{"grain_per_kg", f.Prices.GrainKg, &s.Price},
		{"yield_goal_kg_per_m2", f.Prices.YieldM2, &s.Yield},
		{"per_seed", f.Prices.PerSeed, &s.Seed},
		{"labour_per_hour", f.Prices.Labour, &s.Labour},
		{"machine_per_hour", f.Prices.Machine, &s.Machine},
		{"left_to_plant_m2", f.Season.LeftM2, &s.Season},
	} {
		if p.from == nil {
			continue
		}
		if v := *p.from; math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return s, fmt.Errorf("%s = %v: want a number of 0 or more", p.name, v)
		}
		*p.to = *p.from
	}
	ofCrop := func(parse func(string, string) (float64, error)) func(string) (float64, error) {
		return func(t string) (float64, error) { return parse(t, s.Crop) }
	}
	for _, p := range []struct {
		name, old, example string
		from               any
		twice              bool
		to                 *float64
		parse              func(string) (float64, error)
	}{
		{"grain", "grain_per_kg", "4.50/bu", f.Prices.Grain, f.Prices.GrainKg != nil, &s.Price, ofCrop(ParsePrice)},
		{"yield_goal", "yield_goal_kg_per_m2", "190bu/ac", f.Prices.Yield, f.Prices.YieldM2 != nil, &s.Yield, ofCrop(ParseYield)},
		{"seed", "per_seed", "300/80000", f.Prices.Seed, f.Prices.PerSeed != nil, &s.Seed, ParseSeedPrice},
		{"left_to_plant", "left_to_plant_m2", "250ac", f.Season.Left, f.Season.LeftM2 != nil, &s.Season, parseArea},
	} {
		if p.from == nil {
			continue
		}
		text, ok := p.from.(string)
		if !ok {
			return s, fmt.Errorf("%s = %v: write it with its unit in double quotes, such as %[1]s = %[3]q", p.name, p.from, p.example)
		}
		if p.twice {
			return s, fmt.Errorf("%s and %s say the same thing: keep one of them", p.name, p.old)
		}
		v, err := p.parse(text)
		if err != nil {
			return s, fmt.Errorf("%s: %w", p.name, err)
		}
		if math.IsInf(v, 0) {
			return s, fmt.Errorf("%s = %q is too much", p.name, text)
		}
		*p.to = v
	}
	var err error
	if s.Limits, err = parseLimits(f.Limits, s.Units); err != nil {
		return s, err
	}
	if s.Products, err = parseProducts(f.Products, s.Units); err != nil {
		return s, err
	}
	if s.Plans, err = parsePlans(f.Plans); err != nil {
		return s, err
	}
	if s.Parts, err = parseParts(f.Parts); err != nil {
		return s, err
	}
	s.Clocks, err = parseClocks(f.Clocks)
	return s, err
}

// tomlError says where book.toml cannot be read, and what to do.
func tomlError(data []byte, err error) error {
	line, hint, what := plain.TOMLError(data, err)
	if line == 0 {
		return what
	}
	return errors.New(strings.TrimSpace(fmt.Sprintf("%s, line %d: %v. %s", settingsName, line, what, hint)))
}

// loadZone finds a time zone. The computer's own zone has no portable name.
func loadZone(name string) (*time.Location, error) {
	if name == "" || name == "Local" {
		return nil, fmt.Errorf("zone = %q: want a time zone such as America/Chicago", name)
	}
	z, err := time.LoadLocation(name)
	if err != nil {
		return nil, fmt.Errorf("zone = %q is not known: want a time zone such as America/Chicago", name)
	}
	return z, nil
}

// formatSettings writes book.toml. What is unknown is left out, with the key
// in a comment.
func formatSettings(s evenstand.Settings) []byte {
	var b bytes.Buffer
	fmt.Fprintf(&b, "book = %d # version of this layout\n", settingsVersion)
	fmt.Fprintf(&b, "name = %s\n", tomlText(s.Name))
	fmt.Fprintf(&b, "zone = %s # the days of the logbook are local days here\n", tomlText(s.Zone))
	fmt.Fprintf(&b, "units = %s # us or metric\n", tomlText(string(s.Units)))
	b.WriteString("\n[prices]\n")
	fmt.Fprintf(&b, "currency = %s\n", tomlText(s.Currency))
	number := func(key string, v float64, note string) {
		if math.IsNaN(v) {
			fmt.Fprintf(&b, "# %s = not known: %s\n", key, note)
			return
		}
		n := strconv.FormatFloat(v, 'g', -1, 64)
		if !bytes.ContainsAny([]byte(n), ".e") {
			n += ".0"
		}
		fmt.Fprintf(&b, "%s = %s # %s\n", key, n, note)
	}
	text := func(key string, v float64, write func(*evenstand.Settings) string, example, note string) {
		if math.IsNaN(v) {
			fmt.Fprintf(&b, "# %s = %q # not known: %s\n", key, example, note)
			return
		}
		fmt.Fprintf(&b, "%s = %s # %s\n", key, tomlText(write(&s)), note)
	}
	crop := s.Crop
	if crop == "" {
		crop = "corn"
	}
	grain, goal, area := "4.50/bu", "190bu/ac", "250ac"
	if s.Units == evenstand.Metric {
		grain, goal, area = "180/t", "11t/ha", "100ha"
	}
	fmt.Fprintf(&b, "crop = %s # a bushel is of this crop\n", tomlText(crop))
	text("grain", s.Price, priceText, grain, "what grain brings; bu, t, kg, lb or cwt")
	text("yield_goal", s.Yield, yieldText, goal, "bu/ac, t/ha or lb/ac")
	text("seed", s.Seed, seedText, "300/80000", "what seed costs: money over seeds")
	number("labour_per_hour", s.Labour, "what an hour of the operator costs")
	number("machine_per_hour", s.Machine, "what an hour of tractor and planter standing costs")
	b.WriteString("\n[season]\n")
	text("left_to_plant", s.Season, areaText, area, "ground still to plant this season beyond the present field")
	b.WriteString("\n[limits]\n")
	for _, l := range s.Limits {
		fmt.Fprintf(&b, "%s = %s\n", l.Of, tomlText(limitText(l, s.Units)))
	}
	if len(s.Limits) == 0 {
		speed := evenstand.Limit{Of: evenstand.GroundSpeed, Least: math.NaN(), Most: limitUnit(evenstand.GroundSpeed, s.Units).ToSI(6)}
		if s.Units == evenstand.Metric {
			speed.Most = limitUnit(evenstand.GroundSpeed, s.Units).ToSI(10)
		}
		fmt.Fprintf(&b, "# %s = %s # none yet; also \"at least\" and \"… to …\"\n", speed.Of, tomlText(limitText(speed, s.Units)))
	}
	for _, c := range s.Clocks {
		fmt.Fprintf(&b, "\n[[clock]]\nbox = %s\n", tomlText(c.Box))
		if c.Planter != "" {
			fmt.Fprintf(&b, "planter = %s\n", tomlText(c.Planter))
		}
		number("offset_s", c.Offset, "that it is fast, below 0: slow")
		if !math.IsNaN(c.Error) {
			number("error_s", c.Error, "to within")
		}
	}
	formatProducts(&b, s.Products, s.Units)
	formatPlans(&b, s.Plans)
	formatParts(&b, s.Parts)
	return b.Bytes()
}

// tomlText quotes a text as a TOML basic string.
func tomlText(s string) string {
	var b bytes.Buffer
	b.WriteByte('"')
	for _, r := range s {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case r < 0x20 || r == 0x7f:
			fmt.Fprintf(&b, `\u%04X`, r)
		default:
			b.WriteRune(r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
