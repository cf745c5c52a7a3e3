package book

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"time"

	"github.com/pelletier/go-toml/v2"

	"evenstand"
)

// settingsVersion is the layout of book.toml.
const settingsVersion = 1

type settingsFile struct {
	Book   int        `toml:"book"`
	Name   string     `toml:"name"`
	Zone   string     `toml:"zone"`
	Units  string     `toml:"units"`
	Prices pricesFile `toml:"prices"`
	Season seasonFile `toml:"season"`
}

type pricesFile struct {
	Currency string   `toml:"currency"`
	Grain    *float64 `toml:"grain_per_kg"`
	Yield    *float64 `toml:"yield_goal_kg_per_m2"`
	Seed     *float64 `toml:"per_seed"`
	Labour   *float64 `toml:"labour_per_hour"`
	Machine  *float64 `toml:"machine_per_hour"`
}

type seasonFile struct {
	Left *float64 `toml:"left_to_plant_m2"`
}

// parseSettings reads book.toml. Errors say the line and what to do.
func parseSettings(data []byte) (evenstand.Settings, error) {
	s := evenstand.NewSettings()
	var head struct {
		Book int `toml:"book"`
	}
	if err := toml.Unmarshal(data, &head); err != nil {
		return s, err
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
		return s, err
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
	for _, p := range []struct {
		name string
		from *float64
		to   *float64
	}{
		{"grain_per_kg", f.Prices.Grain, &s.Price},
		{"yield_goal_kg_per_m2", f.Prices.Yield, &s.Yield},
		{"per_seed", f.Prices.Seed, &s.Seed},
		{"labour_per_hour", f.Prices.Labour, &s.Labour},
		{"machine_per_hour", f.Prices.Machine, &s.Machine},
		{"left_to_plant_m2", f.Season.Left, &s.Season},
	} {
		if p.from == nil {
			continue
		}
		if v := *p.from; math.IsNaN(v) || math.IsInf(v, 0) || v < 0 {
			return s, fmt.Errorf("%s = %v: want a number of 0 or more", p.name, v)
		}
		*p.to = *p.from
	}
	return s, nil
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
	number("grain_per_kg", s.Price, "what a kg of grain brings; $4.50 a bushel of corn is 0.177")
	number("yield_goal_kg_per_m2", s.Yield, "190 bushels of corn an acre are 1.193")
	number("per_seed", s.Seed, "what a seed costs")
	number("labour_per_hour", s.Labour, "what an hour of the operator costs")
	number("machine_per_hour", s.Machine, "what an hour of tractor and planter standing costs")
	b.WriteString("\n[season]\n")
	number("left_to_plant_m2", s.Season, "ground still to plant this season beyond the present field")
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
