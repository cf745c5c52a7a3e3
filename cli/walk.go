package cli

import (
	"context"
	"encoding/csv"
	"errors"
	"flag"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/record"
	"evenstand/core/walk"
)

type walkOptions struct {
	w     book.WalkWish
	start string
	temps string
	seed  int
}

func walkCommand() command {
	return command{
		name: "walk", args: "BOOK", what: "say where to count plants, in the order of walking, and when",
		least: 1, most: 1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &walkOptions{}
			fs.StringVar(&o.w.Field, "field", "", "the field; without it the one planted last")
			fs.IntVar(&o.w.Places, "places", 0, "how many, beside those of the worst ground; without it ten")
			fs.StringVar(&o.start, "start", "", "where the walk begins, LATITUDE,LONGITUDE")
			fs.StringVar(&o.temps, "temps", "", "a table with the highest and lowest temperature of each day: day,high,low, in the units of the logbook")
			fs.IntVar(&o.seed, "draw", 0, "another number draws other places")
			return o
		},
		help: `
Examples:
  evenstand walk spring --field "north place"
  evenstand walk spring --places 20 --start 41.605,-93.512 --temps may.csv`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*walkOptions)
			if o.w.Places < 0 || o.w.Places > 200 {
				return usagef("--places %d: want 1 to 200", o.w.Places)
			}
			o.w.Seed = uint64(o.seed)
			if o.start != "" {
				var at [2]float64
				if _, err := fmt.Sscanf(strings.ReplaceAll(o.start, " ", ""), "%g,%g", &at[0], &at[1]); err != nil || !(math.Abs(at[0]) <= 90) || !(math.Abs(at[1]) <= 180) {
					return usagef("--start %q: want latitude and longitude, as 41.605,-93.512", o.start)
				}
				o.w.Start = &at
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
			l, err := b.WalkList(ctx, o.w, r)
			if err == nil && o.temps != "" && l.Planted != "" {
				if o.w.Temps, err = readTemps(o.temps, l.Planted, b.Settings().Units); err == nil {
					l, err = b.WalkList(ctx, o.w, r)
				}
			}
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(l)
			}
			if l.Field == "" {
				c.printf("Nowhere to count yet: no field has been planted.\n")
				return nil
			}
			c.printf("%s", record.RenderWalk(l, r))
			return nil
		},
	}
}

// readTemps reads a table of day, highest and lowest temperature and gives the days
// from one on, without a hole.
func readTemps(file string, from evenstand.Day, units evenstand.Units) ([]walk.Temp, error) {
	f, err := os.Open(file)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := csv.NewReader(f)
	r.FieldsPerRecord = 3
	r.TrimLeadingSpace = true
	by := map[evenstand.Day]walk.Temp{}
	for {
		rec, err := r.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w; want three columns: day, high, low", file, err)
		}
		line, _ := r.FieldPos(0)
		day := evenstand.Day(strings.TrimSpace(rec[0]))
		if _, err := day.Start(time.UTC); err != nil {
			if line == 1 { // a header
				continue
			}
			return nil, fmt.Errorf("%s, line %d: %w", file, line, err)
		}
		high, err1 := strconv.ParseFloat(strings.TrimSpace(rec[1]), 64)
		low, err2 := strconv.ParseFloat(strings.TrimSpace(rec[2]), 64)
		if units == evenstand.Metric {
			high, low = high*9/5+32, low*9/5+32
		}
		if err1 != nil || err2 != nil || !(high >= low && high <= 150 && low >= -80) {
			return nil, fmt.Errorf("%s, line %d: %q and %q: want the highest and the lowest temperature, as %s,72,46", file, line, rec[1], rec[2], day)
		}
		by[day] = walk.Temp{High: high, Low: low}
	}
	var out []walk.Temp
	for d := from; ; d = d.Add(1) {
		t, ok := by[d]
		if !ok {
			break
		}
		out = append(out, t)
	}
	if len(out) == 0 {
		return nil, fmt.Errorf("%s: no temperatures of %s, when the field was planted, in it; want a line for each day from then on", file, from)
	}
	return out, nil
}
