package cli

import (
	"context"
	"flag"
	"math"
	"os"
	"path/filepath"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/format/plain"
)

type newOptions struct {
	planter, field            list
	zone, units, price, yield string
	seed, currency, name      string
	crop                      string
}

func newCommand() command {
	return command{
		name: "new", args: "BOOK [--planter CARD.toml] [--field F.geojson]… [--zone Z] [--units us|metric] [--price 4.50/bu] [--yield 190bu/ac]",
		what: "make a logbook, the folder that holds a season", least: 1, most: 1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &newOptions{}
			fs.Var(&o.planter, "planter", "planter `card` (TOML); without one the rows are learnt from the logs")
			fs.Var(&o.field, "field", "field boundary (`GeoJSON`); may be given again")
			fs.StringVar(&o.zone, "zone", "", "time `zone`, such as America/Chicago; without it this computer's")
			fs.StringVar(&o.units, "units", "us", "`units` that people read: us or metric")
			fs.StringVar(&o.price, "price", "", "`price` of the grain: 4.50/bu, 180/t; without it losses are in bushels")
			fs.StringVar(&o.yield, "yield", "", "yield `goal`: 190bu/ac, 11t/ha; without it no loss can be said")
			fs.StringVar(&o.crop, "crop", "corn", "`crop` that price and yield are of, for the weight of a bushel")
			fs.StringVar(&o.seed, "seed-price", "", "`price` of seed: 300/80000 is 300 for 80,000 seeds")
			fs.StringVar(&o.currency, "currency", "USD", "`code` of the currency")
			fs.StringVar(&o.name, "name", "", "`name` of the logbook; without it the folder's")
			return o
		},
		help: `
Examples:
  evenstand new spring --planter card.toml --field north.geojson \
      --zone America/Chicago --price 4.50/bu --yield 190bu/ac
  evenstand new fruehjahr --units metric --price 180/t --yield 11t/ha \
      --currency EUR

Prices, units and limits can be changed later in book.toml.`,
		run: func(ctx context.Context, c *call, opts any) error { return runNew(c, opts.(*newOptions)) },
	}
}

func runNew(c *call, o *newOptions) error {
	s := evenstand.NewSettings()
	s.Currency = strings.ToUpper(o.currency)
	s.Name = o.name
	if s.Name == "" {
		abs, err := filepath.Abs(c.args[0])
		if err != nil {
			return err
		}
		s.Name = filepath.Base(abs)
	}
	switch u := evenstand.Units(o.units); u {
	case evenstand.US, evenstand.Metric:
		s.Units = u
	default:
		return usagef("units %q: want us or metric", o.units)
	}
	own := false
	if s.Zone = o.zone; s.Zone == "" {
		s.Zone, own = ownZone(c.Getenv), true
	}
	if _, err := time.LoadLocation(s.Zone); err != nil {
		return usagef("zone %q is not known: want a name such as America/Chicago", s.Zone)
	}
	var err error
	if s.Crop = strings.ToLower(o.crop); s.Crop == "corn" {
		s.Crop = ""
	}
	if s.Price, err = book.ParsePrice(o.price, s.Crop); err != nil {
		return usageError{err.Error()}
	}
	if s.Yield, err = book.ParseYield(o.yield, s.Crop); err != nil {
		return usageError{err.Error()}
	}
	if s.Seed, err = book.ParseSeedPrice(o.seed); err != nil {
		return usageError{err.Error()}
	}
	cards, err := files(o.planter)
	if err != nil {
		return err
	}
	fields, err := files(o.field)
	if err != nil {
		return err
	}
	if err := book.Create(c.args[0], s, cards, fields); err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{
			"schema": 1, "book": c.args[0], "name": s.Name, "zone": s.Zone, "units": s.Units,
			"currency": s.Currency, "planters": len(cards), "fields": len(fields),
		})
	}
	c.printf("Made the logbook %s, times in %s.\n", c.args[0], s.Zone)
	c.understood(s)
	for _, f := range cards {
		c.unknownCrops(f)
	}
	if own {
		c.say("The time zone is this computer's, since --zone was not given. If the planter works elsewhere, change zone in %s.", filepath.Join(c.args[0], "book.toml"))
	}
	if len(cards) == 0 {
		c.say("No planter card: the rows will be learnt from the logs. What cannot be learnt is said when it matters.")
	}
	if math.IsNaN(s.Yield) {
		c.say("No yield goal: corn's usual yield is assumed, and what a finding costs is a wider range, until yield_goal stands in book.toml.")
	}
	c.hint(c.Stderr, "Next, with the stick or folder that holds the logs:", "evenstand read "+c.args[0]+" PATH")
	return nil
}

// understood says back what price and yield goal were taken for, and warns of
// what is far from usual.
func (c *call) understood(s evenstand.Settings) {
	crop := s.Crop
	if crop == "" {
		crop = "corn"
	}
	size, per, yield, land, goal := 1000.0, "a tonne", 1000.0, evenstand.Hectare, "t/ha"
	if kg, ok := evenstand.Bushel(crop); ok && s.Units != evenstand.Metric {
		size, per, yield, land, goal = kg, "a bushel", kg, evenstand.Acre, "bu/ac"
	}
	var parts []string
	if !math.IsNaN(s.Price) {
		parts = append(parts, crop+" at "+advise.Price(s.Price*size, s.Currency)+" "+per)
	}
	if !math.IsNaN(s.Yield) {
		parts = append(parts, "goal "+advise.Digits(s.Yield/yield*land)+" "+goal)
	}
	if !math.IsNaN(s.Seed) {
		parts = append(parts, "seed at "+advise.Price(1000*s.Seed, s.Currency)+" a thousand")
	}
	if len(parts) > 0 {
		c.text("", "", advise.Capital(strings.Join(parts, ", "))+".")
	}
	// What is usual, per bushel and bushels an acre: common practice, no source.
	const lowPrice, highPrice, lowYield, highYield = 1, 20, 20, 400
	bushel, ok := evenstand.Bushel(crop)
	if !ok {
		return
	}
	if p := s.Price * bushel; p < lowPrice || p > highPrice {
		c.say("That price is far from usual (%s to %s %s). If it is a slip, correct grain in %s.", advise.Price(lowPrice*size/bushel, s.Currency), advise.Price(highPrice*size/bushel, s.Currency), per, filepath.Join(c.args[0], "book.toml"))
	}
	if y := s.Yield / bushel * evenstand.Acre; y < lowYield || y > highYield {
		usual := func(y float64) string { return advise.Digits(y * bushel / evenstand.Acre / yield * land) }
		c.say("That yield goal is far from usual (%s to %s %s). If it is a slip, correct yield_goal in %s.", usual(lowYield), usual(highYield), goal, filepath.Join(c.args[0], "book.toml"))
	}
}

// unknownCrops warns of crops on a card that are not known.
func (c *call) unknownCrops(f book.File) {
	card, err := plain.ReadCard(f.Name, f.Data)
	if err != nil {
		return // making the logbook has refused it
	}
	path := filepath.Join(c.args[0], "planter", f.Name)
	for _, n := range plain.CropNotes(&card) {
		c.say("%s Correct it in %s.", n, path)
	}
}

func files(paths []string) ([]book.File, error) {
	var out []book.File
	for _, p := range paths {
		data, err := os.ReadFile(p)
		if err != nil {
			return nil, missing(p, err)
		}
		out = append(out, book.File{Name: filepath.Base(p), Data: data})
	}
	return out, nil
}

// ownZone is the time zone of this computer as a name.
func ownZone(getenv func(string) string) string {
	if tz := strings.TrimPrefix(getenv("TZ"), ":"); tz != "" {
		if _, err := time.LoadLocation(tz); err == nil {
			return tz
		}
	}
	if n := time.Local.String(); n != "Local" && n != "" {
		return n
	}
	if link, err := os.Readlink("/etc/localtime"); err == nil {
		if _, name, ok := strings.Cut(filepath.ToSlash(link), "zoneinfo/"); ok {
			if _, err := time.LoadLocation(name); err == nil {
				return name
			}
		}
	}
	return "UTC"
}
