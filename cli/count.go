package cli

import (
	"context"
	"crypto/rand"
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/record"
)

type countOptions struct {
	field, season     string
	at, rows, length  string
	hoop              string
	hoops             int
	plants, late      int
	depths, day, note string
	who, planter, fix string
}

func countCommand() command {
	return command{
		name: "count", args: "BOOK [FILE.json ...]", what: "keep plants counted on foot, and say what they tell",
		least: 1, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &countOptions{}
			fs.StringVar(&o.field, "field", "", "the field: of the count that is written down, or the one to tell of")
			fs.StringVar(&o.season, "season", "", "the year to tell of; without it that of the newest count")
			fs.IntVar(&o.plants, "plants", -1, "write one count down: so many plants")
			fs.StringVar(&o.at, "at", "", "where it was counted, LATITUDE,LONGITUDE")
			fs.StringVar(&o.rows, "rows", "", "the planter's rows that were counted, as 6,7")
			fs.StringVar(&o.length, "over", "", "length counted of each row, as 17.4 ft or 5.3 m")
			fs.StringVar(&o.hoop, "hoop", "", "instead of a length: how wide the hoop is inside, as 28.25 in or 72 cm")
			fs.IntVar(&o.hoops, "hoops", 1, "how often the hoop was laid down")
			fs.IntVar(&o.late, "late", -1, "of the plants, those two leaves or more behind")
			fs.StringVar(&o.depths, "depths", "", "how deep the seeds lay that were dug up, as 1.75 in,2 in,1.5 in")
			fs.StringVar(&o.day, "day", "", "when it was counted, as 2026-05-20 or 2026-05-20T09:30; without it now")
			fs.StringVar(&o.planter, "planter", "", "the planter, where there are several")
			fs.StringVar(&o.note, "note", "", "what else there is to say")
			fs.StringVar(&o.who, "who", "", "who counted")
			fs.StringVar(&o.fix, "replaces", "", "the number of a count that this one corrects; that one stays in the ledger")
			return o
		},
		help: `
A FILE is what the walk list on the phone saves. What comes twice stands once.

Examples:
  evenstand count spring
  evenstand count spring counts.json
  evenstand count spring --field "north place" --at 41.640123,-93.455 --rows 6,7 --over "17.4 ft" --plants 61 --late 3
  evenstand count spring --field "north place" --at 41.640123,-93.455 --hoop "28.25 in" --hoops 3 --plants 9`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*countOptions)
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			r, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			all := book.CountsReply{Stored: []string{}, Known: []string{}, Refused: []book.RefusedCount{}}
			take := func(cs []book.PlantCount) error {
				got, err := b.AddCounts(ctx, cs)
				all.Stored, all.Known, all.Refused = append(all.Stored, got.Stored...), append(all.Known, got.Known...), append(all.Refused, got.Refused...)
				return err
			}
			for _, name := range c.args[1:] {
				f, err := os.Open(name)
				if err != nil {
					return &book.Error{Path: name, Err: err, Hint: "Give the file of counts that the page saves"}
				}
				cs, refused, err := book.ReadCounts(name, f)
				f.Close()
				if err != nil {
					return err
				}
				all.Refused = append(all.Refused, refused...)
				if err := take(cs); err != nil {
					return err
				}
			}
			if o.plants >= 0 || o.depths != "" {
				one, err := o.count(b)
				if err != nil {
					return err
				}
				if err := take([]book.PlantCount{one}); err != nil {
					return err
				}
				o.field = ""
			}
			came := len(c.args) > 1 || o.plants >= 0 || o.depths != ""
			s, err := b.CountSheet(ctx, o.season, o.field, r)
			if err != nil {
				return err
			}
			if c.json {
				if err := c.printJSON(struct {
					book.CountsReply
					Says record.CountSheet `json:"says"`
				}{all, s}); err != nil {
					return err
				}
			} else {
				if came {
					c.printf("%d kept, %d known before, %d refused.\n", len(all.Stored), len(all.Known), len(all.Refused))
				}
				for _, x := range all.Refused {
					c.printf("  %s: %s\n", x.ID, x.Why)
				}
				if came {
					c.printf("\n")
				}
				c.printf("%s", record.RenderCounts(s, r))
			}
			if n := len(all.Refused); n > 0 {
				return &book.Error{Err: fmt.Errorf("%s not kept, for the reasons above", advise.Plural(int64(n), "count was", "counts were")), Hint: "Correct them and give them again; what was kept stands"}
			}
			return nil
		},
	}
}

// count is the one that the flags say.
func (o *countOptions) count(b *book.Book) (book.PlantCount, error) {
	c := book.PlantCount{ID: rand.Text(), Planter: o.planter, Field: o.field, Method: "row", Rows: o.rows, Note: o.note, Who: o.who, Replaces: o.fix}
	now := time.Now()
	c.At = now.Format(time.RFC3339)
	if o.day != "" {
		t, err := time.ParseInLocation("2006-01-02T15:04", o.day, b.Zone())
		if err != nil {
			t, err = time.ParseInLocation(time.DateOnly, o.day, b.Zone())
			t = t.Add(12 * time.Hour)
		}
		if err != nil {
			return c, usagef("--day %q: want 2026-05-20 or 2026-05-20T09:30", o.day)
		}
		c.At = t.Format(time.RFC3339)
	}
	if o.at != "" {
		var lat, lon float64
		if _, err := fmt.Sscanf(strings.ReplaceAll(o.at, " ", ""), "%g,%g", &lat, &lon); err != nil {
			return c, usagef("--at %q: want latitude and longitude, as 41.605,-93.512", o.at)
		}
		c.Latitude, c.Longitude = &lat, &lon
	}
	metres := func(flag, s string) (float64, error) {
		u := strings.TrimLeft(s, "0123456789. ")
		x, err := strconv.ParseFloat(strings.TrimSpace(strings.TrimSuffix(s, u)), 64)
		unit, fault := evenstand.ParseUnit(strings.TrimSpace(u))
		if err != nil || fault != nil || unit.Dim != evenstand.Length || !(x >= 0) || math.IsInf(x, 0) {
			return 0, usagef("--%s %q: want a number and a unit, as 17.4 ft, 28.25 in or 5.3 m", flag, s)
		}
		return unit.ToSI(x), nil
	}
	var err error
	if o.plants >= 0 {
		c.Plants = &o.plants
		if o.late >= 0 {
			c.Late = &o.late
		}
		switch {
		case o.hoop != "":
			c.Method, c.Hoops = "hoop", o.hoops
			if c.Diameter, err = metres("hoop", o.hoop); err != nil {
				return c, err
			}
		case o.length != "":
			if c.Length, err = metres("over", o.length); err != nil {
				return c, err
			}
			c.Counted = 1
			if list, err := evenstand.ParseRows(o.rows); err == nil && len(list) > 0 {
				c.Counted = len(list)
			}
		default:
			return c, usagef("say over what it was counted: --over LENGTH, or --hoop WIDTH")
		}
	}
	for _, d := range strings.Split(o.depths, ",") {
		if d = strings.TrimSpace(d); d == "" {
			continue
		}
		x, err := metres("depths", d)
		if err != nil {
			return c, err
		}
		c.Depths = append(c.Depths, x)
	}
	return c, nil
}
