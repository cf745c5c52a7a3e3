package cli

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/give"
)

type giveOptions struct {
	f        give.Filter
	from, to string
	as       string
	replace  bool
}

func giveCommand() command {
	return command{
		name: "give", args: "BOOK WHAT OUT", what: "hand out seeds, stretches, readings, passes, findings, counts, fields, or all of one field, as tables for other programs",
		least: 1, most: 3, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &giveOptions{}
			fs.StringVar(&o.f.Field, "field", "", "of this field only")
			fs.StringVar(&o.f.Planter, "planter", "", "of this planter only")
			fs.StringVar(&o.from, "from", "", "first day, 2026-05-02")
			fs.StringVar(&o.to, "to", "", "last day")
			fs.StringVar(&o.as, "as", "", "csv, parquet, geojson or shapefile; without it the ending of OUT says it")
			fs.BoolVar(&o.replace, "replace", false, "write over files that are there")
			return o
		},
		help: `
WHAT is ` + whats() + `, or field: all that there is of one
field, as a zip. OUT ends in .csv, .parquet, .geojson, .shp or .zip. What the
columns mean is written beside it. evenstand give BOOK alone lists the tables.

Examples:
  evenstand give spring stretches stretches.csv
  evenstand give spring seeds seeds.parquet --field "north place" --from 2026-05-02
  evenstand give spring field north.zip --field "north place"`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*giveOptions)
			if len(c.args) == 2 {
				return usagef("give wants what to hand out and a file to write it to, as in give %s %s %s.csv", c.args[0], c.args[1], c.args[1])
			}
			o.f.From, o.f.To = evenstand.Day(o.from), evenstand.Day(o.to)
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			if len(c.args) == 1 {
				return c.giveList()
			}
			if err := give.Known(ctx, b, &o.f); err != nil {
				return err
			}
			made, err := c.give(ctx, b, c.args[1], c.args[2], o)
			if err != nil {
				return err
			}
			if c.json {
				return c.printJSON(map[string]any{"schema": 1, "made": made})
			}
			for _, m := range made {
				c.printf("%s: %s\n", m.What, advise.Plural(m.Rows, "row", "rows"))
			}
			var files []string
			for _, m := range made {
				for _, f := range m.Files {
					files = append(files, filepath.Join(filepath.Dir(c.args[2]), f))
				}
			}
			if c.args[1] == "field" {
				files = c.args[2:3]
			}
			c.text("Written: ", "         ", strings.Join(files, ", "))
			return nil
		},
	}
}

// whats lists the tables.
func whats() string {
	var out []string
	for _, t := range give.Tables() {
		out = append(out, string(t.What))
	}
	return strings.Join(out, ", ")
}

func (c *call) giveList() error {
	if c.json {
		type column struct {
			Name string `json:"name"`
			Says string `json:"says"`
		}
		type one struct {
			What    give.What `json:"table"`
			Title   string    `json:"title"`
			Columns []column  `json:"columns"`
		}
		var out []one
		for _, t := range give.Tables() {
			x := one{What: t.What, Title: t.Title}
			for _, k := range t.Columns {
				x.Columns = append(x.Columns, column{k.Name, k.Says})
			}
			out = append(out, x)
		}
		return c.printJSON(map[string]any{"schema": 1, "tables": out})
	}
	for _, t := range give.Tables() {
		c.text(fmt.Sprintf("%-10s ", t.What), "           ", t.Title+".")
	}
	c.text("field      ", "           ", "All of them for one field, in a zip.")
	return nil
}

var endings = map[string]give.As{".csv": give.CSV, ".parquet": give.Parquet, ".geojson": give.GeoJSON, ".shp": give.Shapefile}

// give writes what was asked for, each file beside its place first, so that a
// stopped run leaves no half file.
func (c *call) give(ctx context.Context, b *book.Book, what, out string, o *giveOptions) ([]give.Made, error) {
	ending := strings.ToLower(filepath.Ext(out))
	base := filepath.Base(out)
	if endings[ending] != "" {
		base = strings.TrimSuffix(base, filepath.Ext(base))
	}
	w := &written{dir: filepath.Dir(out), replace: o.replace}
	m := c.meter()
	defer m.done()
	told := func(done, total int) {
		m.show("handing out "+what, "", int64(done), int64(total), func(n, of int64) string { return fmt.Sprintf("%d of %d", n, of) })
	}
	var made []give.Made
	err := func() error {
		if what == "field" {
			if ending != ".zip" {
				return usagef("a field is handed out as a zip: end OUT in .zip")
			}
			if o.f.Field == "" {
				return usagef("say which field, as in --field %q", "north place")
			}
			f, err := w.create(filepath.Base(out))
			if err != nil {
				return err
			}
			made, err = give.Field(ctx, b, o.f, f, told)
			return errors.Join(err, f.Close())
		}
		as := endings[ending]
		if o.as != "" {
			as = give.As(o.as)
		}
		if as == "" {
			return usagef("OUT ends in .csv, .parquet, .geojson or .shp, or --as says how it is written")
		}
		one, err := give.Write(ctx, b, give.What(what), as, o.f, base, w.create, told)
		made = append(made, one)
		return err
	}()
	if err != nil {
		w.drop()
		if errors.Is(err, give.ErrEmpty) {
			return nil, fmt.Errorf("%w: the logbook has no %s of that; nothing was written", err, what)
		}
		return nil, err
	}
	return made, w.keep()
}

// written are files that take their place together. Each is made under a name that
// nobody has first, so that a stopped run leaves no half file and no file of the
// user's is touched.
type written struct {
	dir     string
	replace bool
	files   []*halfMade
}

type halfMade struct {
	*os.File
	to string // where it shall be
}

func (w *written) create(name string) (io.WriteCloser, error) {
	to := filepath.Join(w.dir, name)
	if err := w.free(to); err != nil {
		return nil, err
	}
	f, err := os.CreateTemp(w.dir, "."+name+".*.part")
	if err != nil {
		return nil, err
	}
	w.files = append(w.files, &halfMade{f, to})
	return w.files[len(w.files)-1], nil
}

// free refuses a place where there is something.
func (w *written) free(to string) error {
	if w.replace {
		return nil
	}
	_, err := os.Lstat(to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	return fmt.Errorf("%s is there already: name another file, or say --replace", to)
}

// drop takes away what was not put in its place.
func (w *written) drop() {
	for _, f := range w.files {
		f.Close() // some may be closed already
		os.Remove(f.Name())
	}
}

func (w *written) keep() error {
	for _, f := range w.files {
		if err := w.free(f.to); err != nil {
			w.drop()
			return err
		}
	}
	for _, f := range w.files {
		err := os.Chmod(f.Name(), 0o644)
		if err == nil {
			err = os.Rename(f.Name(), f.to)
		}
		if err != nil {
			w.drop()
			return err
		}
	}
	return nil
}
