package cli

import (
	"context"
	"flag"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/record"
)

type replantOptions struct {
	w              book.ReplantWish
	again, planted string
	stand          string
	gaps           string
	late, lateDays float64
	zones          []string
	counted        bool
	costs, fill    []string
	insured        string
}

func replantCommand() command {
	list := func(to *[]string) func(string) error {
		return func(s string) error { *to = append(*to, s); return nil }
	}
	return command{
		name: "replant", args: "BOOK", what: "weigh keeping a thin stand, filling it in and starting over, by zone and by every published table",
		least: 1, most: 1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &replantOptions{}
			fs.StringVar(&o.w.Field, "field", "", "the field; its first day of planting counts")
			fs.StringVar(&o.planted, "planted", "", "the day of planting, where the field's is not meant")
			fs.StringVar(&o.again, "again", "", "the day on which it would be planted again")
			fs.Float64Var(&o.w.NewStand, "new", 0, "plants an acre (or hectare) that planting again would make")
			fs.StringVar(&o.stand, "stand", "", "plants an acre (or hectare) that there are: 18000, or 18000:16500-19500")
			fs.StringVar(&o.gaps, "gaps", "", "short (several of 1.5 to 3 ft) or long (many of 4 to 6 ft)")
			fs.Float64Var(&o.late, "late", 0, "share of the plants that came up late, 0 to 1")
			fs.Float64Var(&o.lateDays, "late-days", 0, "by how many days")
			fs.BoolVar(&o.counted, "counted", false, "take stands and zones from the counts of the field")
			fs.Func("zone", "a piece of it: NAME=STAND:LOW-HIGH@AREA; may be said again", list(&o.zones))
			fs.Func("cost", "of starting over, an acre (or hectare): WHAT=SUM; may be said again", list(&o.costs))
			fs.Func("fill", "of filling in, likewise; without it seed and planting of the costs", list(&o.fill))
			fs.StringVar(&o.w.Season, "season", "", "full or short, of the new hybrid")
			fs.Float64Var(&o.w.Pays, "insurance", 0, "what the insurance pays, an acre (or hectare)")
			fs.StringVar(&o.insured, "insured", "", "instead: HISTORY,LEVEL,APPRAISED in bu/ac, as 180,0.75,120")
			return o
		},
		help: `
Examples:
  evenstand replant spring --field "north place" --stand 18000:16500-19500 --again 2026-05-20 --new 30000 --cost seed=40 --cost planting=25 --cost killing=10
  evenstand replant spring --zone "low corner=12000@8" --zone "the rest=24000@60" --again 2026-05-20 --new 30000 --cost seed=40`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*replantOptions)
			if err := o.read(); err != nil {
				return err
			}
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			r, err := c.render(ctx, b)
			if err != nil {
				return err
			}
			if o.counted {
				if o.w.Zones, err = b.CountedZones(ctx, o.w.Field, r); err != nil {
					return err
				}
				if len(o.w.Zones) == 0 {
					return &book.Error{Err: fmt.Errorf("no counts of %s are held against its logs yet", o.w.Field), Hint: "Count by evenstand walk, or say the stand yourself with --stand"}
				}
			}
			s, err := b.Replant(ctx, o.w, r)
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(s)
			}
			c.printf("%s", record.RenderReplantSheet(s, r))
			return nil
		},
	}
}

// zone is STAND:LOW-HIGH@AREA, of which all but the stand may be left out.
var zone = regexp.MustCompile(`^([0-9]+(?:\.[0-9]+)?)(?::([0-9.]+)-([0-9.]+))?(?:@([0-9.]+))?$`)

func (o *replantOptions) read() error {
	spot := func(name, text string) error {
		m := zone.FindStringSubmatch(strings.ReplaceAll(text, ",", ""))
		if m == nil {
			return usagef("%q: want a stand, as 18000 or 18000:16500-19500@12", text)
		}
		n := func(s string) float64 { v, _ := strconv.ParseFloat(s, 64); return v }
		o.w.Zones = append(o.w.Zones, book.ReplantSpot{Name: name, Stand: n(m[1]), Low: n(m[2]), High: n(m[3]), Area: n(m[4]), Gaps: o.gaps, Late: o.late, Days: o.lateDays})
		return nil
	}
	if o.stand != "" {
		if err := spot("", o.stand); err != nil {
			return err
		}
	}
	for _, z := range o.zones {
		name, text, ok := strings.Cut(z, "=")
		if !ok {
			return usagef("--zone %q: want NAME=STAND, as \"low corner=12000@8\"", z)
		}
		if err := spot(name, text); err != nil {
			return err
		}
	}
	switch {
	case o.counted && len(o.w.Zones) > 0:
		return usagef("say the stand, or take it from the counts with --counted, not both")
	case o.counted && o.w.Field == "":
		return usagef("say of which field the counts are taken, as --field \"north place\"")
	case len(o.w.Zones) == 0 && !o.counted:
		return usagef("say the stand, as --stand 18000, or --counted, or --zone \"low corner=12000\"")
	case o.again == "":
		return usagef("say when it would be planted again, as --again 2026-05-20")
	case !(o.w.NewStand > 0):
		return usagef("say the stand that planting again would make, as --new 30000")
	case o.gaps != "" && o.gaps != "short" && o.gaps != "long":
		return usagef("--gaps %s: want short or long", o.gaps)
	case o.w.Season != "" && o.w.Season != "full" && o.w.Season != "short":
		return usagef("--season %s: want full or short", o.w.Season)
	case o.late < 0 || o.late > 1:
		return usagef("--late %g: want a share from 0 to 1", o.late)
	}
	o.w.Again, o.w.Planted = evenstand.Day(o.again), evenstand.Day(o.planted)
	for _, l := range []struct {
		flag string
		of   []string
		to   *[]book.ReplantCost
	}{{"cost", o.costs, &o.w.Costs}, {"fill", o.fill, &o.w.Fill}} {
		for _, text := range l.of {
			what, sum, ok := strings.Cut(text, "=")
			v, err := strconv.ParseFloat(strings.TrimLeft(strings.TrimSpace(sum), "$€£"), 64)
			if !ok || err != nil || v < 0 || what == "" {
				return usagef("--%s %q: want WHAT=SUM, as seed=40", l.flag, text)
			}
			*l.to = append(*l.to, book.ReplantCost{What: what, Sum: v})
		}
	}
	if o.insured != "" {
		var in book.Insured
		if _, err := fmt.Sscanf(o.insured, "%g,%g,%g", &in.History, &in.Level, &in.Appraised); err != nil || in.Level <= 0 || in.Level > 1 {
			return usagef("--insured %q: want HISTORY,LEVEL,APPRAISED, as 180,0.75,120", o.insured)
		}
		o.w.Insured = &in
	}
	return nil
}
