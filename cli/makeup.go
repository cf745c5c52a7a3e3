package cli

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"evenstand/book"
	"evenstand/core/record"
	"evenstand/give"
)

type makeUpOptions struct {
	w       book.MakeUpWish
	out     string
	zones   bool
	replace bool
}

func makeUpCommand() command {
	return command{
		name: "makeup", args: "BOOK FIELD", what: "plan what the next machine puts on where liquid or granules were missed, short or doubled",
		least: 2, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &makeUpOptions{}
			w := &o.w
			fs.StringVar(&w.Product, "product", "", "liquid or granules: which of those that went on beside seed")
			fs.Float64Var(&w.Content, "content", 0, "what that holds of the nutrient: lb/gal or lb/lb (kg/L or kg/kg)")
			fs.StringVar(&w.Name, "name", "", "name of the next product")
			fs.BoolVar(&w.Dry, "dry", false, "the next product is weighed: rates in lb/ac (kg/ha) instead of gal/ac (L/ha)")
			fs.Float64Var(&w.Holds, "holds", 0, "what the next product holds of the nutrient")
			fs.Float64Var(&w.Planned, "planned", 0, "its rate everywhere; 0: only what is missing is put on")
			fs.Float64Var(&w.Least, "least", 0, "the smallest rate that the machine holds")
			fs.Float64Var(&w.Most, "most", 0, "the largest")
			fs.Float64Var(&w.Step, "step", 0, "its rate is set in steps of this")
			fs.Float64Var(&w.Season, "season", 0, "most of the next product that may go on this season")
			fs.StringVar(&w.Furrow, "furrow", "", "it goes in the furrow beside seed, in medium-fine or sandy soil: the limit of salt holds")
			fs.Float64Var(&w.Salt, "salt", 0, "N and K2O of the next product together, for that limit")
			fs.Float64Var(&w.Price, "price", 0, "of a gallon or pound (litre or kg) of it")
			fs.IntVar(&w.Rows, "rows", 0, "rows of the next machine")
			fs.Float64Var(&w.Spacing, "spacing", 0, "of its rows, in (cm); without it the planter's")
			fs.IntVar(&w.Parts, "parts", 0, "how many parts of it are set by themselves: as many as rows, or sections; without it all at once")
			fs.BoolVar(&w.Shut, "shut", false, "it can shut a part")
			fs.Float64Var(&w.Share, "off-by", 0, "from how far off it counts, of what was asked for; without it 0.15")
			fs.StringVar(&o.out, "out", "", "write the zones: a `file` in .geojson, .shp, .parquet or .csv, or a folder that is new or empty: task data of ISO 11783-10")
			fs.BoolVar(&o.zones, "zones", false, "task data with treatment zones instead of a rate in every cell")
			fs.BoolVar(&o.replace, "replace", false, "write over files that are there")
			return o
		},
		help: `
Examples:
  evenstand makeup spring "north place" --rows 12 --parts 12 --planned 40 --content 1.14 --holds 2.99 --name "UAN 28"
  evenstand makeup spring "north place" --rows 16 --parts 4 --shut --most 20 --content 1.14 --holds 2.99 --out north-make-up
  evenstand makeup spring "north place" --rows 12 --out north.geojson`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*makeUpOptions)
			o.w.Field = c.args[1]
			switch {
			case o.w.Rows < 1:
				return usagef("say how many rows the next machine has, as --rows 12")
			case o.w.Product != "" && o.w.Product != "liquid" && o.w.Product != "granules":
				return usagef("--product %s: want liquid or granules", o.w.Product)
			case o.w.Furrow != "" && o.w.Furrow != "medium-fine" && o.w.Furrow != "sandy":
				return usagef("--furrow %s: want medium-fine or sandy", o.w.Furrow)
			case o.w.Share < 0 || o.w.Share > 0.9:
				return usagef("--off-by %g: want a share, as 0.15", o.w.Share)
			}
			for name, x := range map[string]float64{"content": o.w.Content, "holds": o.w.Holds, "planned": o.w.Planned, "least": o.w.Least, "most": o.w.Most, "step": o.w.Step, "season": o.w.Season, "salt": o.w.Salt, "price": o.w.Price, "spacing": o.w.Spacing} {
				if !(x >= 0) || x > 1e9 {
					return usagef("--%s %g: want a number of 0 or more", name, x)
				}
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
			m, err := b.MakeUp(ctx, o.w, r)
			if err != nil {
				return err
			}
			var files []string
			if o.out != "" {
				if files, err = c.writePlan(ctx, b, m, o); err != nil {
					return err
				}
			}
			if c.json {
				return c.printJSON(struct {
					record.MakeUpSheet
					Written []string `json:"written"`
				}{m.Sheet, append([]string{}, files...)})
			}
			c.printf("%s", record.RenderMakeUp(m.Sheet, r))
			if len(files) > 0 {
				c.text("Written: ", "         ", strings.Join(files, ", "))
			}
			return nil
		},
	}
}

// writePlan writes a plan as a table of zones or as task data.
func (c *call) writePlan(ctx context.Context, b *book.Book, m *book.MakeUp, o *makeUpOptions) ([]string, error) {
	if as := endings[strings.ToLower(filepath.Ext(o.out))]; as != "" {
		w := &written{dir: filepath.Dir(o.out), replace: o.replace}
		base := strings.TrimSuffix(filepath.Base(o.out), filepath.Ext(o.out))
		made, err := give.Plan(ctx, b, m, as, base, w.create)
		if err != nil {
			w.drop()
			if errors.Is(err, give.ErrEmpty) {
				return nil, &book.Error{Err: fmt.Errorf("there is nothing to make up, so there are no zones; nothing was written"), Hint: "Look at the plan without --out"}
			}
			return nil, err
		}
		if err := w.keep(); err != nil {
			return nil, err
		}
		var out []string
		for _, f := range made.Files {
			out = append(out, filepath.Join(w.dir, f))
		}
		return out, nil
	}
	if have, err := os.ReadDir(o.out); err == nil && len(have) > 0 {
		return nil, &book.Error{Path: o.out, Err: errors.New("the folder is not empty"), Hint: "Give a folder that is new, or a file that ends in .geojson, .shp, .parquet or .csv"}
	}
	if _, err := give.Prescribe(m, b.Settings().Name, o.out, o.zones); err != nil {
		return nil, err
	}
	return []string{filepath.Join(o.out, "TASKDATA.XML"), filepath.Join(o.out, "GRD00001.BIN")}, nil
}
