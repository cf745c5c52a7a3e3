package cli

import (
	"context"
	"flag"
	"fmt"
	"path/filepath"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/paper"
	"evenstand/core/record"
	"evenstand/give/pdf"
)

type paperOptions struct {
	w        book.PaperWish
	from, to string
	size     string
	out      string
	replace  bool
	with     string
	by       string
	product  string
	all      bool
}

func paperCommand() command {
	return command{
		name: "paper", args: "BOOK [WHAT | enter RECORD ELEMENT=VALUE…]", what: "make the papers of the season: application records with what is missing, posting, calibrations, acres, hand-overs, parts list, season report",
		least: 1, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &paperOptions{}
			fs.StringVar(&o.w.For, "for", "", "who gets it: "+strings.Join(forNames(), ", "))
			fs.StringVar(&o.w.Field, "field", "", "of this field only")
			fs.StringVar(&o.from, "from", "", "first `day`, 2026-05-02; with enter: from when it holds")
			fs.StringVar(&o.to, "to", "", "last `day`")
			fs.StringVar(&o.with, "with", "", "what goes along though it stays here by itself: `list` of cost, speed, people")
			fs.StringVar(&o.size, "size", "letter", "a4 or letter")
			fs.StringVar(&o.out, "out", "", "`file` to write: .pdf, .csv or .json; without it the text is printed")
			fs.BoolVar(&o.replace, "replace", false, "write over a file that is there")
			fs.StringVar(&o.by, "by", "", "with enter: `name` of who writes it")
			fs.StringVar(&o.product, "product", "", "with enter: for all records of this product")
			fs.BoolVar(&o.all, "all", false, "with enter: for all records")
			return o
		},
		help: `
WHAT is ` + strings.Join(paperNames(), ", ") + `, or all with
--for. evenstand paper BOOK alone lists papers, who gets what, and records with
what is missing. What is entered stands beside what the logs tell; what stood
there before is kept and shown. An empty value takes back.

Examples:
  evenstand paper spring
  evenstand paper spring applications --out records.pdf
  evenstand paper spring all --for inspector --size letter --out inspector.pdf
  evenstand paper spring acres --for insurance --out acres.csv
  evenstand paper spring enter 2026-05-02-3fa1c2 wind="8 mph SW" temperature=61F --by "J. Doe"
  evenstand paper spring enter --product insecticide kind=pesticide rei="48 h" --by "J. Doe"
  evenstand paper spring enter --all applicator="J. Doe" certification=12-345 --by "J. Doe"
  evenstand paper spring enter new:2026-05-03 product=talc field="north place" --by "J. Doe"`,
		run: func(ctx context.Context, c *call, opts any) error {
			o := opts.(*paperOptions)
			o.w.From, o.w.To = evenstand.Day(o.from), evenstand.Day(o.to)
			if err := o.read(); err != nil {
				return err
			}
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			switch {
			case len(c.args) == 1:
				return c.paperList(ctx, b, o)
			case c.args[1] == "enter":
				return c.paperEnter(ctx, b, o)
			case len(c.args) > 2:
				return usagef("%q is one argument too many", c.args[2])
			}
			return c.paper(ctx, b, o)
		},
	}
}

func paperNames() (out []string) {
	for _, k := range paper.What() {
		out = append(out, k.ID)
	}
	return out
}

func forNames() (out []string) {
	for _, f := range paper.Fors() {
		out = append(out, f.ID)
	}
	return out
}

func (o *paperOptions) read() error {
	for _, s := range strings.FieldsFunc(o.with, func(r rune) bool { return r == ',' || r == ' ' }) {
		switch s {
		case "cost":
			o.w.With.Cost = true
		case "speed":
			o.w.With.Speed, o.w.With.Cost = true, true
		case "people":
			o.w.With.People = true
		default:
			return usagef("--with %s: want cost, speed or people", s)
		}
	}
	if o.size != "a4" && o.size != "letter" {
		return usagef("--size %s: want a4 or letter", o.size)
	}
	return nil
}

func (c *call) paper(ctx context.Context, b *book.Book, o *paperOptions) error {
	o.w.What = c.args[1]
	kind := strings.ToLower(filepath.Ext(o.out))
	if o.out != "" && kind != ".pdf" && kind != ".csv" && kind != ".json" {
		return usagef("--out %s: want a name that ends in .pdf, .csv or .json", o.out)
	}
	r, err := c.render(ctx, b)
	if err != nil {
		return err
	}
	docs, err := b.Papers(ctx, o.w, r)
	if err != nil {
		return err
	}
	if o.out == "" {
		if c.json {
			return c.printJSON(paper.Bundle{Schema: 1, Documents: docs})
		}
		for i := range docs {
			if i > 0 {
				c.printf("\n\n")
			}
			c.printf("%s", paper.Render(&docs[i], r))
		}
		return nil
	}
	data, err := pdf.Bytes(docs, strings.TrimPrefix(kind, "."), pdf.Size(o.size))
	if err != nil {
		return err
	}
	w := &written{dir: filepath.Dir(o.out), replace: o.replace}
	f, err := w.create(filepath.Base(o.out))
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		w.drop()
		return err
	}
	if err := w.keep(); err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "written": o.out, "bytes": len(data)})
	}
	for i := range docs {
		d := &docs[i]
		c.text("", "", strings.Join(append([]string{d.Title + "."}, d.Says...), " "))
		for _, l := range d.LeftOut {
			c.text("  ", "  ", l)
		}
	}
	c.text("Written: ", "         ", o.out)
	return nil
}

func (c *call) paperList(ctx context.Context, b *book.Book, o *paperOptions) error {
	r, err := c.render(ctx, b)
	if err != nil {
		return err
	}
	l, err := b.PaperList(ctx, o.w, r)
	if err != nil {
		return err
	}
	if c.json {
		return c.printJSON(l)
	}
	c.printf("Papers\n")
	for _, k := range l.Papers {
		c.text(fmt.Sprintf("  %-14s", k.ID), strings.Repeat(" ", 16), advise.Capital(k.Says)+".")
	}
	c.printf("\nWho gets what\n")
	for _, f := range l.For {
		c.text(fmt.Sprintf("  %-14s", f.ID), strings.Repeat(" ", 16), strings.Join(f.What, ", ")+": "+f.Says+".")
	}
	if len(l.Records) > 0 {
		c.printf("\nApplication records\n")
	}
	for _, x := range l.Records {
		miss := "nothing missing"
		if x.Missing > 0 {
			miss = advise.Thousands(int64(x.Missing)) + " missing"
		}
		if x.By != "" {
			miss += ", the first wanted " + x.By
		}
		for _, line := range record.Wrap("  "+x.ID+"  ", x.Title+" · "+miss, width) {
			c.printf("%s\n", line)
		}
	}
	return nil
}

func (c *call) paperEnter(ctx context.Context, b *book.Book, o *paperOptions) error {
	w := book.PaperWrite{Product: o.product, All: o.all, From: evenstand.Day(o.from), Who: o.by, Values: map[string]string{}}
	for i, a := range c.args[2:] {
		name, value, ok := strings.Cut(a, "=")
		switch {
		case ok:
			w.Values[name] = value
		case i == 0 && o.product == "" && !o.all:
			w.Record = a
		default:
			return usagef("%q: want ELEMENT=VALUE, as wind=\"8 mph SW\"", a)
		}
	}
	if w.Record == "" && w.Product == "" && !w.All {
		return usagef("which record? evenstand paper %s lists them; or say --product NAME or --all", c.args[0])
	}
	if w.Who == "" {
		return usagef("who writes it? Say --by NAME")
	}
	id, n, err := b.WritePaper(ctx, w)
	if err != nil {
		return err
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "record": id, "written": n})
	}
	if n == 0 {
		c.printf("It says that already; nothing was written.\n")
		return nil
	}
	of := "for all records"
	switch {
	case id != "":
		of = "in record " + id
	case w.Product != "":
		of = "for " + w.Product
	}
	c.printf("Written down %s: %s.\n", of, advise.Plural(int64(n), "value", "values"))
	return nil
}
