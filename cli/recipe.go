package cli

import (
	"bufio"
	"context"
	"errors"
	"flag"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/format/archive"
	"evenstand/format/bus"
	"evenstand/format/iso11783"
	"evenstand/format/nmea0183"
	"evenstand/format/plain"
	"evenstand/format/recipe"
	"evenstand/format/table"
)

// formats lists the readers; the order is that in which files are offered.
// Logs whose clock has no zone are read in the logbook's.
func formats(b *book.Book) ([]evenstand.Format, error) {
	const whose = "the logbook's"
	zone := b.Settings().Zone
	rs, err := recipes(b)
	if err != nil {
		return nil, err
	}
	return []evenstand.Format{
		iso11783.Format{Zone: zone, Whose: whose},
		bus.Format{Zone: zone, Whose: whose},
		nmea0183.Format{},
		plain.Format{},
		recipe.Format{Recipes: rs, Book: b.Dir()},
	}, nil
}

// stale tells whether reading has something left to do. A broken recipe is said
// where one reads.
func stale(ctx context.Context, b *book.Book) (bool, error) {
	fs, err := formats(b)
	if err != nil {
		fs = nil
	}
	return b.Stale(ctx, fs)
}

// recipes reads those of a logbook.
func recipes(b *book.Book) ([]recipe.Recipe, error) {
	var out []recipe.Recipe
	for _, f := range b.Recipes() {
		r, err := recipe.Parse(b.RecipePath(f.Name), f.Data)
		if err != nil {
			return nil, err
		}
		r.Name = strings.TrimSuffix(f.Name, filepath.Ext(f.Name))
		out = append(out, r)
	}
	return out, nil
}

type recipeOptions struct {
	column, answer           list
	zone, box, name, planter string
	sheet, from, forget      string
	yes, anew                bool
}

func recipeCommand() command {
	return command{
		name: "recipe", args: "BOOK [FILE] [--yes] [--answer QUESTION=ANSWER]… [--column \"NAME = QUANTITY, PART, UNIT\"]…",
		what:  "say how the tables of a box are read: guess it, ask, and keep it",
		least: 1, most: 2, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &recipeOptions{}
			fs.Var(&o.answer, "answer", "the `answer` to a question, as the question names it")
			fs.Var(&o.column, "column", "what a `column` is: \"Unterdruck = vacuum, left, kPa\", \"Motor = none\"")
			fs.StringVar(&o.zone, "zone", "", "`zone` of times that carry none")
			fs.StringVar(&o.box, "box", "", "what the box is `called`")
			fs.StringVar(&o.planter, "planter", "", "planter `card` that its rows belong to")
			fs.StringVar(&o.sheet, "sheet", "", "`sheet` of a workbook, or table of a zip")
			fs.StringVar(&o.name, "name", "", "`name` of the recipe's file; without it the box's")
			fs.StringVar(&o.from, "from", "", "take over a recipe that somebody gave you, a `file`")
			fs.StringVar(&o.forget, "forget", "", "take the recipe of this `name` out of the logbook")
			fs.BoolVar(&o.yes, "yes", false, "take what is proposed where something is")
			fs.BoolVar(&o.anew, "anew", false, "guess again though a recipe reads the file already")
			return o
		},
		help: `
Most boxes can write a table: CSV in any spelling, a workbook, Parquet, GeoJSON
or a shapefile. A recipe says which column is the time, which ones are what of
which row and in which unit. It is guessed from the names, the units and the
values; what is not certain is asked, and nothing is kept before it is answered.
It lies under recipes/ in the logbook as a text that can be corrected and passed
on, and every file with the same header is read by it.

Without FILE it lists the recipes of the logbook.

--column says what a column is: "NAME = WHAT, PART, UNIT". {n} in the name stands
for the number of the row. PART is machine, left, right, section 2, tank 1,
row 7 or row; PART and UNIT may be left out where the name tells them.
"opposite" behind it turns a share or a state round, "running" says that a
count runs on. WHAT is none, or
  time, latitude, longitude, altitude, heading, hdop, satellites,
  row, name, value (of tables with a line for each row or each value), or
` + quantityNames() + `
Examples:
  evenstand recipe spring /media/stick/monitor.csv
  evenstand recipe spring monitor.csv --yes --zone America/Chicago \
      --column "Down Force {n} = gauge_wheel_load, row, lbf"
  evenstand recipe spring --from neighbour/monitor.toml`,
		run: func(ctx context.Context, c *call, opts any) error { return c.recipe(ctx, opts.(*recipeOptions)) },
	}
}

// quantityNames lists what a column can be, in lines for the help.
func quantityNames() string {
	var b strings.Builder
	line := " "
	for _, q := range evenstand.Quantities() {
		if q == evenstand.Raw {
			continue
		}
		if word := " " + q.String() + ","; len(line)+len(word) > 80 {
			b.WriteString(line + "\n")
			line = " " + word
		} else {
			line += word
		}
	}
	b.WriteString(strings.TrimSuffix(line, ",") + ".\n")
	return b.String()
}

func (c *call) recipe(ctx context.Context, o *recipeOptions) error {
	b, err := c.open(c.args[0])
	if err != nil {
		return err
	}
	defer b.Close()
	switch {
	case o.forget != "":
		name := o.forget
		if filepath.Ext(name) == "" {
			name += ".toml"
		}
		if err := b.RemoveRecipe(ctx, name); err != nil {
			return err
		}
		c.printf("The recipe %s is out of the logbook; the ledger keeps it. What was read by it goes at the next read.\n", name)
		return nil
	case o.from != "":
		return c.takeRecipe(ctx, b, o)
	case len(c.args) < 2:
		return c.listRecipes(b)
	}
	return c.guess(ctx, b, o)
}

func (c *call) listRecipes(b *book.Book) error {
	type line struct {
		Name string `json:"name"`
		Box  string `json:"box"`
		Kind string `json:"kind"`
		File string `json:"file"`
	}
	lines := []line{}
	for _, f := range b.Recipes() {
		r, err := recipe.Parse(b.RecipePath(f.Name), f.Data)
		if err != nil {
			return err
		}
		lines = append(lines, line{f.Name, r.Box, string(r.File.Kind), b.RecipePath(f.Name)})
	}
	if c.json {
		return c.printJSON(map[string]any{"schema": 1, "recipes": lines})
	}
	if len(lines) == 0 {
		c.hint(c.Stdout, "The logbook has no recipes. To make one of a table:", "evenstand recipe "+c.args[0]+" FILE")
		return nil
	}
	for _, l := range lines {
		c.text("", "    ", fmt.Sprintf("%s: tables of %s. %s", strings.TrimSuffix(l.Name, filepath.Ext(l.Name)), l.Box, l.File))
	}
	return nil
}

// takeRecipe keeps a recipe that somebody else made.
func (c *call) takeRecipe(ctx context.Context, b *book.Book, o *recipeOptions) error {
	data, err := os.ReadFile(o.from)
	if err != nil {
		return missing(o.from, err)
	}
	r, err := recipe.Parse(o.from, data)
	if err != nil {
		return err
	}
	name := o.name
	if name == "" {
		name = filepath.Base(o.from)
	}
	if filepath.Ext(name) == "" {
		name += ".toml"
	}
	if err := c.free(b, name, data); err != nil {
		return err
	}
	rs, err := recipes(b)
	if err != nil {
		return err
	}
	for i := range rs {
		if !strings.EqualFold(rs[i].Name+".toml", name) && recipe.Alike(&rs[i], &r) {
			return fmt.Errorf("the recipe %s of the logbook reads the same tables, and of two alike neither would read them. Take that one out first: evenstand recipe %s --forget %s", rs[i].Name, c.args[0], rs[i].Name)
		}
	}
	if err := b.AddRecipe(ctx, name, data); err != nil {
		return err
	}
	c.text("", "    ", fmt.Sprintf("Kept: tables of %s are read by %s.", r.Box, b.RecipePath(name)))
	return nil
}

// free refuses a name under which another recipe lies.
func (c *call) free(b *book.Book, name string, data []byte) error {
	for _, f := range b.Recipes() {
		if strings.EqualFold(f.Name, name) && string(f.Data) != string(data) {
			return fmt.Errorf("the logbook has another recipe %s. Give this one another name with --name, or take that one out with --forget %s", f.Name, f.Name)
		}
	}
	return nil
}

// guess makes a recipe of a table.
func (c *call) guess(ctx context.Context, b *book.Book, o *recipeOptions) error {
	in, ref, err := oneTable(ctx, c.args[1], o.sheet)
	if err != nil {
		return err
	}
	rs, err := recipes(b)
	if err != nil {
		return err
	}
	if to := plain.Misnamed(in, ref.Files[0]); (to == plain.ReadingsFile || to == plain.JournalFile) && ref.Kind == table.Text && len(ref.Files) == 1 && ref.Inside == "" {
		return fmt.Errorf("%s has the header of %s of the plain layout, which is read without a recipe. Name it %s, in a folder of its own for each box", c.args[1], to, to)
	}
	reads, matchErr := (recipe.Format{Recipes: rs}).Match(ctx, in, ref)
	if reads != nil && !o.anew {
		h, err := reads.First(ctx, in, ref, previewed, voice(b).Units)
		if err != nil {
			return err
		}
		c.already(b, reads, h)
		return nil
	}
	var two *recipe.Twice
	if errors.As(matchErr, &two) {
		return fmt.Errorf("%s: %w. Take one of them out: evenstand recipe %s --forget %s, or --forget %s", c.args[1], two, c.args[0], two.One.Name, two.Other.Name)
	}
	s, err := recipe.Take(ctx, in, ref, table.Dialect{})
	if err != nil {
		return err
	}
	about := recipe.About{Zone: b.Settings().Zone, Box: o.box, File: c.args[1], Rows: mostRows(ctx, b)}
	if reads != nil && o.box == "" && o.name == "" {
		about.Box = reads.Box // guessed anew, it is the same box's
	}
	answers, err := o.answers(s)
	if err != nil {
		return err
	}
	if o.zone != "" {
		answers["zone"] = o.zone
	}
	p := recipe.Guess(s, about, answers)
	var stdin *bufio.Scanner
	if c.Stdin != nil && !c.json {
		stdin = bufio.NewScanner(c.Stdin)
	}
	shown := false
	var taken []recipe.Question // of --yes
	for len(p.Questions) > 0 && p.Err == nil {
		q := p.Questions[0]
		if i := slices.IndexFunc(p.Questions, func(q recipe.Question) bool { return q.Proposed != "" }); o.yes && i >= 0 {
			q = p.Questions[i]
			answers[q.ID] = q.Proposed
			taken = append(taken, q)
		} else if stdin != nil {
			if !shown {
				c.reads(p)
				c.taken(taken)
				shown = true
			}
			a, ok := c.ask(stdin, q)
			if !ok {
				stdin = nil
				continue
			}
			answers[q.ID] = a
		} else {
			break
		}
		p = recipe.Guess(s, about, answers)
	}
	if p.Err != nil {
		if len(p.Left) > 0 && !c.json {
			c.reads(p)
		}
		return fmt.Errorf("%s: %w", c.args[1], p.Err)
	}
	if o.planter != "" {
		p.Recipe.Planter = o.planter
	}
	if len(p.Questions) > 0 {
		return c.openQuestions(p, shown, taken, o.yes)
	}
	name := o.name
	switch {
	case name != "":
	case reads != nil && p.Recipe.Box == reads.Box:
		name = reads.Name
	default:
		name = recipe.FileName(p.Recipe.Box)
	}
	if filepath.Ext(name) == "" {
		name += ".toml"
	}
	data := p.Recipe.Marshal()
	// Nothing is kept that would not read the table, or keep another from it.
	if reads == nil || !strings.EqualFold(reads.Name+".toml", name) {
		if err := c.free(b, name, data); err != nil {
			return err
		}
	}
	if err := c.reader(ctx, in, ref, rs, p.Recipe, strings.TrimSuffix(name, filepath.Ext(name))); err != nil {
		return err
	}
	h, err := p.Recipe.First(ctx, in, ref, previewed, voice(b).Units)
	if err != nil {
		return err
	}
	if len(h.Lines) == 0 { // a recipe that reads nothing is none
		c.code = exitFailed
		if c.json {
			return c.printJSON(proposal(p, ""))
		}
		c.reads(p)
		c.taken(taken)
		c.preview(h, voice(b))
		c.text("", "    ", "Nothing was kept. Say the command again with --column for what was read wrongly.")
		return nil
	}
	if stdin != nil && shown { // somebody sits there: the first lines, then the last word
		c.reads(p)
		c.taken(taken)
		c.preview(h, voice(b))
		a, ok := c.ask(stdin, recipe.Question{Text: "Keep it so?", Options: []recipe.Option{{Key: "yes", Text: "yes"}, {Key: "no", Text: "no, nothing is kept"}}, Proposed: "yes"})
		if ok && a == "no" {
			c.code = exitFailed
			c.printf("Nothing was kept.\n")
			return nil
		}
	}
	if err := b.AddRecipe(ctx, name, data); err != nil {
		return err
	}
	if c.json {
		return c.printJSON(proposal(p, b.RecipePath(name)))
	}
	if stdin == nil || !shown {
		c.reads(p)
		c.taken(taken)
		c.preview(h, voice(b))
	}
	c.text("", "    ", "Kept in "+b.RecipePath(name)+". If a line above is read wrongly, correct it there or say the command again with --anew.")
	c.hint(c.Stderr, "Next:", "evenstand read "+c.args[0]+" "+c.args[1])
	return nil
}

// already says how a recipe of the logbook reads a table, and what of it not.
func (c *call) already(b *book.Book, r *recipe.Recipe, h recipe.Head) {
	if len(h.Unread) == 0 && len(h.Lacks) == 0 {
		c.text("", "    ", "The recipe of "+r.Box+" reads it already. To guess again, add --anew.")
		c.preview(h, voice(b))
		return
	}
	c.text("", "    ", "The recipe of "+r.Box+" reads it, but its columns are not those of the recipe.")
	if len(h.Unread) > 0 {
		c.text("  ", "      ", "Not read, since the recipe does not speak of them: "+recipe.Among(h.Unread)+".")
	}
	if len(h.Lacks) > 0 {
		c.text("  ", "      ", "Missing in the file, though the recipe reads them: "+recipe.Among(h.Lacks)+".")
	}
	c.preview(h, voice(b))
	if len(h.Unread) == 0 {
		c.text("", "    ", "Nothing to do if the box did not log them in this file.")
		return
	}
	// A second recipe of the same box leaves the files of the first to it.
	name := ""
	for i := 2; name == "" || slices.ContainsFunc(b.Recipes(), func(f book.File) bool { return strings.EqualFold(f.Name, name+".toml") }); i++ {
		name = fmt.Sprintf("%s-%d", r.Name, i)
	}
	c.hint(c.Stdout, "To have them read, make a second recipe of the same box, for files such as this one:",
		fmt.Sprintf("evenstand recipe %s %s --anew --box %s --name %s", c.args[0], c.args[1], quoteArg(r.Box), quoteArg(name)))
}

// reader refuses a recipe by which the table that it was made of would not be
// read, beside the others of the logbook.
func (c *call) reader(ctx context.Context, in fs.FS, ref table.Ref, rs []recipe.Recipe, r recipe.Recipe, name string) error {
	r.Name = name
	err := (recipe.Format{Recipes: rs}).Reads(ctx, in, ref, r)
	var rival *recipe.Rival
	switch {
	case err == nil:
		return nil
	case !errors.As(err, &rival):
		return fmt.Errorf("nothing was kept: %s would not be read by it: %w", c.args[1], err)
	case rival.First:
		return fmt.Errorf("nothing was kept: the recipe %s reads more of %s and would go before it. Replace it: --anew without --box and --name. Or take it out: evenstand recipe %s --forget %s", rival.Name, c.args[1], c.args[0], rival.Name)
	}
	return fmt.Errorf("nothing was kept: the recipe %s reads %s as well, and of two alike neither would read it. Replace it: --anew without --box and --name. Or take it out: evenstand recipe %s --forget %s", rival.Name, c.args[1], c.args[0], rival.Name)
}

// mostRows is the number of rows of the widest card.
func mostRows(ctx context.Context, b *book.Book) int {
	n := 0
	names, err := b.Planters(ctx)
	if err != nil {
		return 0
	}
	for _, p := range names {
		if card, err := b.Card(p, "9999-12-31"); err == nil {
			n = max(n, card.Rows)
		}
	}
	return n
}

// answers reads --answer and --column.
func (o *recipeOptions) answers(s recipe.Sample) (map[string]string, error) {
	out := map[string]string{}
	for _, a := range o.answer {
		id, answer, ok := strings.Cut(a, "=")
		if !ok {
			return nil, usagef("--answer %q: want QUESTION=ANSWER", a)
		}
		out[strings.TrimSpace(id)] = strings.TrimSpace(answer)
	}
	for _, a := range o.column {
		i := strings.LastIndex(a, "=")
		if i < 0 {
			return nil, usagef("--column %q: want \"NAME = QUANTITY, PART, UNIT\"", a)
		}
		name, answer := strings.TrimSpace(a[:i]), strings.TrimSpace(a[i+1:])
		if !strings.Contains(name, "{n}") && !slices.ContainsFunc(s.Columns, func(c table.Column) bool { return c.Name == name }) && !holds(s, name) {
			return nil, usagef("--column %q: the table has no column %q", a, name)
		}
		out["column "+name] = answer
	}
	return out, nil
}

// holds tells whether a cell of a sample holds a text: the name of a value in a
// table with a line for each.
func holds(s recipe.Sample, text string) bool {
	return slices.ContainsFunc(s.Rows, func(r []table.Cell) bool {
		return slices.ContainsFunc(r, func(c table.Cell) bool { return c.Type == table.Words && string(c.Text) == text })
	})
}

// ask puts one question to the person; false when nobody answers.
func (c *call) ask(in *bufio.Scanner, q recipe.Question) (string, bool) {
	c.printf("\n")
	c.text("", "    ", q.Text)
	at := 0
	for i, o := range q.Options {
		mark := ""
		if o.Key == q.Proposed {
			mark, at = " (proposed)", i+1
		}
		c.text(fmt.Sprintf("  %d  ", i+1), "     ", o.Text+mark)
	}
	for {
		switch {
		case len(q.Options) == 0:
			c.printf("Name [%s]: ", q.Proposed)
		case at > 0:
			c.printf("Number [%d]: ", at)
		default:
			c.printf("Number: ")
		}
		if !in.Scan() {
			c.printf("\n")
			return "", false
		}
		a := strings.TrimSpace(in.Text())
		if a == "" && q.Proposed != "" {
			return q.Proposed, true
		}
		if len(q.Options) == 0 && a != "" {
			return a, true
		}
		if n, err := strconv.Atoi(a); err == nil && n >= 1 && n <= len(q.Options) {
			return q.Options[n-1].Key, true
		}
		for _, o := range q.Options {
			if strings.EqualFold(o.Key, a) {
				return o.Key, true
			}
		}
		if strings.HasPrefix(q.ID, "column ") && strings.Contains(a, ",") {
			return a, true // said in full
		}
		c.text("", "    ", "Write one of the numbers.")
	}
}

// reads shows what is read as what.
func (c *call) reads(p recipe.Proposal) {
	if len(p.Reads) > 0 {
		c.printf("Read as:\n")
	}
	for _, r := range p.Reads {
		c.text("  ", "      ", many(r)+": "+r.Means)
	}
	if len(p.Left) > 0 {
		c.printf("Not read:\n")
	}
	for _, r := range p.Left {
		c.text("  ", "      ", many(r)+": "+r.Means)
	}
}

// taken says what --yes took as proposed.
func (c *call) taken(qs []recipe.Question) {
	for i, q := range qs {
		if i == 0 {
			c.printf("Taken as proposed:\n")
		}
		for _, o := range q.Options {
			if o.Key == q.Proposed {
				c.text("  ", "      ", q.Text+" "+o.Text)
			}
		}
		if len(q.Options) == 0 {
			c.text("  ", "      ", q.Text+" "+q.Proposed)
		}
	}
}

func many(r recipe.Reading) string {
	if r.Count > 1 {
		return fmt.Sprintf("%s (%d columns)", r.Column, r.Count)
	}
	return r.Column
}

// proposal is a guess as JSON; file is where it was kept, empty: it was not.
func proposal(p recipe.Proposal, file string) map[string]any {
	type option struct {
		Key  string `json:"key"`
		Text string `json:"text"`
	}
	type question struct {
		ID       string   `json:"id"`
		Text     string   `json:"text"`
		Options  []option `json:"options"`
		Proposed string   `json:"proposed,omitempty"`
	}
	type reading struct {
		Column string `json:"column"`
		Count  int    `json:"columns"`
		Means  string `json:"means"`
	}
	qs, reads, left := []question{}, []reading{}, []reading{}
	for _, q := range p.Questions {
		out := question{q.ID, q.Text, []option{}, q.Proposed}
		for _, o := range q.Options {
			out.Options = append(out.Options, option(o))
		}
		qs = append(qs, out)
	}
	for _, r := range p.Reads {
		reads = append(reads, reading(r))
	}
	for _, r := range p.Left {
		left = append(left, reading(r))
	}
	return map[string]any{"schema": 1, "kept": file, "open": qs, "read": reads, "left": left, "recipe": string(p.Recipe.Marshal())}
}

// openQuestions says what nobody answered, and how to.
func (c *call) openQuestions(p recipe.Proposal, shown bool, taken []recipe.Question, yes bool) error {
	c.code = exitFailed
	if c.json {
		return c.printJSON(proposal(p, ""))
	}
	if !shown {
		c.reads(p)
		c.taken(taken)
	}
	c.printf("\nOpen:\n")
	for _, q := range p.Questions {
		c.text("  ", "    ", q.Text)
		if len(q.Options) == 0 {
			c.printf("    --answer %s\n", quoteArg(q.ID+"="+q.Proposed))
		}
		for _, o := range q.Options {
			mark := ""
			if o.Key == q.Proposed {
				mark = " (proposed)"
			}
			c.printf("    --answer %s\n", quoteArg(q.ID+"="+o.Key))
			c.text("        ", "        ", o.Text+mark)
		}
	}
	c.printf("\n")
	switch {
	case yes:
		c.text("", "", "Nothing was kept: for these nothing is proposed. Say the command again with an answer for each.")
	case slices.ContainsFunc(p.Questions, func(q recipe.Question) bool { return q.Proposed != "" }):
		c.text("", "", "Nothing was kept. Say the command again with an answer for each, or with --yes to take what is proposed.")
	default:
		c.text("", "", "Nothing was kept. Say the command again with an answer for each.")
	}
	return nil
}

// quoteArg quotes an argument so that a shell takes it as one.
func quoteArg(s string) string {
	if strings.ContainsAny(s, "\"$`\\") {
		return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'"
	}
	return `"` + s + `"`
}

// previewed is how many lines of a table are shown as they are read.
const previewed = 3

// preview shows the first lines of a table as a recipe reads them. Of a quantity
// of many rows it shows the first few.
func (c *call) preview(h recipe.Head, v advise.Voice) {
	if len(h.Lines) == 0 {
		c.printf("No line of it can be read so.\n")
	} else {
		c.printf("Its first lines:\n")
	}
	const few = 8
	for _, l := range h.Lines {
		var texts, of []string
		n := map[string]int{}
		for _, g := range l.Gives {
			if n[g.Of]++; n[g.Of] <= few {
				texts = append(texts, g.Text)
			} else if n[g.Of] == few+1 {
				of = append(of, g.Of)
			}
		}
		for _, o := range of {
			texts = append(texts, fmt.Sprintf("and %d more of %s", n[o]-few, o))
		}
		c.text("  ", "      ", v.Date(l.T)+", "+v.Second(l.T)+": "+strings.Join(texts, "; "))
	}
	for _, u := range h.Unused {
		c.text("  ", "    ", "Not used: "+book.SayUnused(u, v))
	}
}

// oneTable opens the table of a file; parts of a shapefile stand beside it.
func oneTable(ctx context.Context, path, sheet string) (fs.FS, table.Ref, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, table.Ref{}, missing(path, err)
	}
	if info.IsDir() {
		return nil, table.Ref{}, fmt.Errorf("%s is a folder. Give one table of it; the others with the same header are read by its recipe too", path)
	}
	var in fs.FS = family{os.DirFS(filepath.Dir(path)), stem(filepath.Base(path))}
	packed := strings.EqualFold(filepath.Ext(path), ".zip")
	if packed {
		f, err := os.Open(path)
		if err != nil {
			return nil, table.Ref{}, missing(path, err)
		}
		z, err := archive.Open(f, info.Size(), archive.Usual())
		if refused := (*archive.Refused)(nil); errors.As(err, &refused) {
			return nil, table.Ref{}, fmt.Errorf("%s: %w. %s", path, err, archive.Do)
		}
		if err != nil {
			return nil, table.Ref{}, fmt.Errorf("%s: the zip cannot be read: %w. Copy it again; it may have been cut off", path, err)
		}
		in = z // open until the program ends
	}
	refs, _, unused, err := table.List(ctx, in)
	if err != nil {
		return nil, table.Ref{}, err
	}
	var fit []table.Ref
	var sheets []string
	for _, r := range refs {
		name := r.Sheet
		if packed {
			name = r.String()
		} else if !slices.Contains(r.Files, filepath.Base(path)) {
			continue
		}
		sheets = append(sheets, name)
		if sheet == "" || name == sheet {
			fit = append(fit, r)
		}
	}
	switch {
	case packed && len(sheets) == 0:
		return nil, table.Ref{}, fmt.Errorf("%s holds no table that can be read", path)
	case len(fit) > 1:
		return nil, table.Ref{}, fmt.Errorf("%s has several tables. Say which one with --sheet: %s", path, strings.Join(sheets, ", "))
	case len(fit) == 1:
		return in, fit[0], nil
	case len(sheets) > 0:
		return nil, table.Ref{}, fmt.Errorf("%s has no table %q. It has %s", path, sheet, strings.Join(sheets, ", "))
	}
	for _, u := range unused {
		if u.File == filepath.Base(path) {
			return nil, table.Ref{}, fmt.Errorf("%s: %s. %s", path, u.Why, u.Do)
		}
	}
	return nil, table.Ref{}, fmt.Errorf("%s is no table that can be read: want separated text, a workbook (.xlsx), Parquet, GeoJSON or a shapefile", path)
}

func stem(name string) string { return strings.TrimSuffix(name, filepath.Ext(name)) }

// family shows the files of one folder that differ in their endings only.
type family struct {
	fs.FS
	stem string
}

// ReadDir lists them.
func (f family) ReadDir(name string) ([]fs.DirEntry, error) {
	es, err := fs.ReadDir(f.FS, name)
	if name != "." {
		return es, err
	}
	return slices.DeleteFunc(es, func(e fs.DirEntry) bool { return e.IsDir() || !strings.EqualFold(stem(e.Name()), f.stem) }), err
}
