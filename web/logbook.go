package web

import (
	"context"
	"math"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/relation"
)

// SourceView is one box's log with what is said of it.
type SourceView struct {
	Name    string           `json:"name"`
	Format  string           `json:"format"`
	Planter string           `json:"planter"`
	Grade   evenstand.Grade  `json:"grade"`
	Means   string           `json:"means" doc:"The grade in words"`
	First   evenstand.Micros `json:"first"`
	Last    evenstand.Micros `json:"last"`
	Gave    string           `json:"gave"`
	Can     []string         `json:"can"`
	Cannot  []string         `json:"cannot"`
	Better  []string         `json:"better" doc:"What to switch on for better data"`
	Line    string           `json:"line" doc:"The three in one line"`
	Silent  string           `json:"silent" doc:"Its longest silence while it planted, of ten minutes and more"`
	Says    []string         `json:"says" doc:"Clock, silences, place"`
	Unused  []string         `json:"unused"`
	Notes   []string         `json:"notes"`
	Files   []string         `json:"files"`
	Clock   ClockView        `json:"clock"`
	Gaps    []book.Gap       `json:"gaps"`
}

// ClockView is how far a box's clock is off.
type ClockView struct {
	Offset    evenstand.Number `json:"offset_s" doc:"Logged minus true"`
	Error     evenstand.Number `json:"error_s" doc:"Half-width of the 90 % interval"`
	From      string           `json:"from" doc:"Who says so"`
	Drift     evenstand.Number `json:"drift_ppm"`
	Said      evenstand.Number `json:"said_offset_s" doc:"As the logbook says, which goes before what lies beside the logs; null: it says nothing"`
	SaidError evenstand.Number `json:"said_error_s"`
}

type clockIn struct {
	Body struct {
		Planter string   `json:"planter" maxLength:"200" doc:"As the list of boxes has it"`
		Box     string   `json:"box" minLength:"1" maxLength:"400"`
		Offset  *float64 `json:"offset_s,omitempty" minimum:"-31622400" maximum:"31622400" doc:"Logged minus true; left out: what was said is taken back"`
		Error   *float64 `json:"error_s,omitempty" minimum:"0" maximum:"31622400" doc:"Half-width of the 90 % interval; left out: not known"`
	}
}

// setClock writes down what a person says of a box's clock, or takes it back.
func (s *Server) setClock(ctx context.Context, in *clockIn) (SourceList, error) {
	b := &in.Body
	src, err := s.allSources(ctx)
	if err != nil {
		return SourceList{}, err
	}
	if !slices.ContainsFunc(src, func(r book.SourceReport) bool { return r.Name == b.Box && r.Planter == b.Planter }) {
		return SourceList{}, notFound("there is no box " + printable(b.Box))
	}
	err = s.book.ChangeSettings(ctx, func(set *evenstand.Settings) error {
		if b.Offset == nil {
			set.UnsetClock(b.Planter, b.Box)
			return nil
		}
		c := evenstand.SaidClock{Box: b.Box, Planter: b.Planter, Offset: *b.Offset, Error: math.NaN()}
		if b.Error != nil {
			c.Error = *b.Error
		}
		set.SetClock(c)
		return nil
	})
	if err != nil {
		return SourceList{}, err
	}
	s.changed("settings")
	s.settleSoon()
	return s.sourceList(ctx, nil)
}

// SourceList is every box.
type SourceList struct {
	Sources []SourceView `json:"sources"`
	Grades  []GradeView  `json:"grades" doc:"What each grade stands for"`
}

// GradeView is what a data grade stands for.
type GradeView struct {
	Grade  evenstand.Grade `json:"grade"`
	Means  string          `json:"means"`
	Allows string          `json:"allows" doc:"What it allows to tell, as the end of a sentence"`
}

func (s *Server) sourceList(ctx context.Context, _ *nothing) (SourceList, error) {
	src, err := s.allSources(ctx)
	if err != nil {
		return SourceList{}, err
	}
	out := SourceList{Sources: []SourceView{}, Grades: []GradeView{}}
	for _, g := range []evenstand.Grade{evenstand.GradeA, evenstand.GradeB, evenstand.GradeC, evenstand.GradeD} {
		out.Grades = append(out.Grades, GradeView{g, advise.GradeWords(g), advise.GradeAllows(g)})
	}
	v, set := s.voice(), s.book.Settings()
	for i := range src {
		r := &src[i]
		x := SourceView{
			Name: r.Name, Format: r.Format, Planter: r.Planter, Grade: r.Grade, First: r.First, Last: r.Last, Gave: r.Gave(),
			Can: some(r.Tells.Can), Cannot: some(r.Tells.Cannot), Better: some(r.Tells.Better), Line: r.Tells.Line(), Silent: silence(r.Gaps, v),
			Says: r.Says(v), Unused: []string{}, Notes: some(r.Notes), Files: some(r.Files), Gaps: some(r.Gaps),
			Clock: ClockView{r.ClockOffset, r.ClockError, string(r.ClockFrom), r.Drift, evenstand.Unknown, evenstand.Unknown},
		}
		if c, ok := set.Clock(r.Planter, r.Name); ok {
			x.Clock.Said, x.Clock.SaidError = evenstand.Number(c.Offset), evenstand.Number(c.Error)
		}
		if r.Grade != evenstand.NoGrade {
			x.Means = advise.GradeWords(r.Grade)
		}
		for _, u := range r.Unused {
			x.Unused = append(x.Unused, book.SayUnused(u, v))
		}
		out.Sources = append(out.Sources, x)
	}
	return out, nil
}

// silence says when a box logged nothing for ten minutes of planting or more,
// the longest time.
func silence(gaps []book.Gap, v advise.Voice) string {
	const much = 600 // s
	longest := book.Gap{Planted: much}
	for _, g := range gaps {
		if g.Planted >= longest.Planted {
			longest = g
		}
	}
	if longest.To == 0 {
		return ""
	}
	return "Silent from " + v.Clock(longest.From) + v.On(longest.From) + " while it planted for " + advise.Span(float64(longest.Planted)) + ". See that it logs."
}

// SettingsView are the settings as people write them, and what was assumed.
type SettingsView struct {
	book.SettingsText
	Bare    book.Bare `json:"bare" doc:"What a number without a unit is taken in"`
	Missing []string  `json:"missing" doc:"What losses cannot be priced without, or not as well"`
	Zones   []string  `json:"zones" doc:"Common time zones to choose from"`
}

// zones are offered where a zone is chosen; any other name of the IANA base may
// be typed.
var zones = []string{
	"America/Chicago", "America/Denver", "America/Detroit", "America/Edmonton", "America/Indiana/Indianapolis", "America/Los_Angeles", "America/New_York",
	"America/Regina", "America/Toronto", "America/Winnipeg", "America/Argentina/Cordoba", "America/Sao_Paulo", "Africa/Johannesburg", "Australia/Brisbane",
	"Australia/Sydney", "Europe/Berlin", "Europe/Bucharest", "Europe/Budapest", "Europe/Kyiv", "Europe/London", "Europe/Madrid", "Europe/Paris", "Europe/Rome", "Europe/Warsaw",
}

func (s *Server) settings(context.Context, *nothing) (SettingsView, error) {
	set := s.book.Settings()
	return SettingsView{book.TextOf(set), book.BareOf(set.Units, set.Crop), some(book.Missing(&set)), zones}, nil
}

type settingsIn struct{ Body book.SettingsChange }

func (s *Server) setSettings(ctx context.Context, in *settingsIn) (SettingsView, error) {
	err := s.book.ChangeSettings(ctx, func(set *evenstand.Settings) error {
		if err := in.Body.Apply(set); err != nil {
			return refuse(err.Error())
		}
		return nil
	})
	if err != nil {
		return SettingsView{}, err
	}
	s.changed("settings")
	return s.settings(ctx, nil)
}

// CardRow is one row of the planter as drawn from above.
type CardRow struct {
	Row     int              `json:"row"`
	Y       evenstand.Number `json:"y_m" doc:"Right of the bar's centre"`
	Side    string           `json:"side"`
	Section int              `json:"section"`
	Track   bool             `json:"wheel_track"`
	Cells   int              `json:"cells"`
	Crop    string           `json:"crop"`
	Parts   []string         `json:"parts"`
}

// CardView is a planter card, to be drawn to scale.
type CardView struct {
	Planter        string           `json:"planter"`
	File           string           `json:"file"`
	Rows           []CardRow        `json:"rows"`
	Spacing        evenstand.Number `json:"row_spacing_m"`
	Hitch          string           `json:"hitch"`
	AntennaToHitch evenstand.Number `json:"antenna_to_hitch_m"`
	HitchToRowLine evenstand.Number `json:"hitch_to_row_line_m"`
	AntennaRight   evenstand.Number `json:"antenna_right_m"`
	SeedFall       evenstand.Number `json:"seed_fall_s"`
	First          string           `json:"row_1" enum:"left,right" doc:"Where row 1 runs as one looks ahead"`
	Count          int              `json:"count" doc:"Rows; 0 unknown"`
	Cells          int              `json:"cells" doc:"On the disc, where all rows have as many; else 0"`
	Tanks          []TankView       `json:"tanks"`
	Parts          []PartView       `json:"parts"`
	Unknown        []string         `json:"unknown" doc:"What nobody has said, and what needs it"`
	Says           string           `json:"says" doc:"The planter in one sentence"`
}

// TankView is a tank or hopper.
type TankView struct {
	Number   int              `json:"number"`
	Name     string           `json:"name"`
	Product  string           `json:"product"`
	Capacity evenstand.Number `json:"capacity_m3"`
	Feeds    string           `json:"feeds"`
	Says     string           `json:"says"`
}

// PartView is what is mounted on some rows since a date.
type PartView struct {
	Kind  string `json:"kind"`
	Label string `json:"label"`
	Rows  string `json:"rows"`
	Since string `json:"since"`
}

// CardList is the card of every planter as it stands on its last day.
type CardList struct {
	Cards []CardView `json:"cards"`
}

func (s *Server) cardList(ctx context.Context, _ *nothing) (CardList, error) {
	planters, err := s.book.Planters(ctx)
	if err != nil {
		return CardList{}, err
	}
	asks, err := s.askCards(ctx)
	if err != nil {
		return CardList{}, err
	}
	out := CardList{Cards: []CardView{}}
	for _, p := range planters {
		last, err := s.book.LastDay(ctx, p)
		if err != nil {
			return out, err
		}
		c, err := s.book.Card(p, last)
		if err != nil {
			return out, err
		}
		view := s.cardView(p, &c)
		if i := slices.IndexFunc(asks, func(a AskCard) bool { return a.Planter == p }); i >= 0 {
			view.Says = advise.Plural(int64(asks[i].Rows), "row", "rows") + ", as the logs say; not confirmed."
			if c.Rows == 0 {
				view.Unknown[0] = "Whether it has " + strconv.Itoa(asks[i].Rows) + " rows: say yes to the question above, or change the card."
			}
		}
		out.Cards = append(out.Cards, view)
	}
	return out, nil
}

func (s *Server) cardView(planter string, c *evenstand.Card) CardView {
	v, g := s.voice(), c.Geometry
	out := CardView{
		Planter: planter, Rows: []CardRow{}, Spacing: evenstand.Number(c.RowSpacing), Hitch: string(g.Hitch), AntennaToHitch: evenstand.Number(g.AntennaToHitch),
		HitchToRowLine: evenstand.Number(g.HitchToRowLine), AntennaRight: evenstand.Number(g.AntennaRight), SeedFall: evenstand.Number(g.SeedFall), First: first(c), Count: c.Rows, Cells: cells(c),
		Tanks: []TankView{}, Parts: []PartView{}, Unknown: []string{},
	}
	for row := 1; row <= c.Rows; row++ {
		r := CardRow{Row: row, Y: evenstand.Number(c.Y(row)), Cells: c.Cells(row), Crop: c.Crop(row), Parts: []string{}}
		for _, g := range c.Groups {
			switch {
			case g.Kind == "vacuum" && g.Rows.Has(row):
				r.Side = g.Name
			case g.Kind == "wheel_track" && g.Rows.Has(row):
				r.Track = true
			}
		}
		for _, x := range c.Sections {
			if x.Rows.Has(row) {
				r.Section = x.Number
			}
		}
		for _, a := range c.Attachments {
			if a.Rows.Has(row) {
				r.Parts = append(r.Parts, a.Label)
			}
		}
		out.Rows = append(out.Rows, r)
	}
	for _, t := range c.Tanks {
		says := strings.Join(slices.DeleteFunc([]string{t.Name, t.Product}, func(x string) bool { return x == "" }), ": ")
		if says == "" {
			says = "Tank " + itoa(t.Number)
		}
		if !math.IsNaN(t.Capacity) {
			unit, size := "gal", evenstand.Gallon
			if v.Units == evenstand.Metric {
				unit, size = "L", 0.001
			}
			says += ", " + advise.Digits(t.Capacity/size) + " " + unit
		}
		if len(t.Feeds) > 0 {
			says += ", feeds " + strings.ToLower(advise.Rows(t.Feeds))
		}
		out.Tanks = append(out.Tanks, TankView{t.Number, t.Name, t.Product, evenstand.Number(t.Capacity), t.Feeds.String(), says})
	}
	for _, a := range c.Attachments {
		out.Parts = append(out.Parts, PartView{a.Kind, a.Label, a.Rows.String(), a.Since})
	}
	known := func(x float64) bool { return !math.IsNaN(x) }
	if c.Rows == 0 {
		out.Unknown = append(out.Unknown, "How many rows it has: until a log says so, nothing can be said by row.")
	}
	if !known(c.RowSpacing) {
		out.Unknown = append(out.Unknown, "The row spacing: without it no seeds an acre and no area can be said.")
	}
	if g.Hitch == evenstand.HitchUnknown || !known(g.AntennaToHitch) || g.Hitch == evenstand.Trailed && !known(g.HitchToRowLine) {
		out.Unknown = append(out.Unknown, "How far the seed line lies behind the receiver: until the ends of passes tell it, places along the pass may be off by that much.")
	}
	if len(c.Meters) == 0 {
		out.Unknown = append(out.Unknown, "The cells of a disc: single cells are then found by their rhythm alone.")
	}
	if c.Side("left") == nil && c.Side("right") == nil {
		out.Unknown = append(out.Unknown, "Which rows share a fan: a side that loses vacuum cannot be told from single rows.")
	}
	out.Says = "The rows are not known yet."
	if c.Rows > 0 {
		out.Says = advise.Plural(int64(c.Rows), "row", "rows")
		if known(c.RowSpacing) {
			out.Says += ", " + spacing(v, c.RowSpacing) + " apart"
		}
		if g.Hitch != evenstand.HitchUnknown {
			out.Says += ", " + string(g.Hitch)
		}
		out.Says += ", row 1 on the " + first(c) + "."
	}
	return out
}

// cells gives the cells of the discs where all rows have as many, else 0.
func cells(c *evenstand.Card) int {
	n := 0
	for row := 1; row <= c.Rows; row++ {
		if x := c.Cells(row); row == 1 {
			n = x
		} else if x != n {
			return 0
		}
	}
	return n
}

// RelationView is a published relation with its lines.
type RelationView struct {
	ID    string             `json:"id"`
	Title string             `json:"title"`
	Says  string             `json:"says" doc:"The relation in plain words, with its figures"`
	Lines []RelationLineView `json:"lines"`
}

// RelationLineView is one figure of a relation.
type RelationLineView struct {
	Name   string           `json:"name"`
	Form   string           `json:"form"`
	Low    evenstand.Number `json:"low"`
	Likely evenstand.Number `json:"likely"`
	High   evenstand.Number `json:"high"`
	Unit   string           `json:"unit"`
	Domain string           `json:"domain"`
	Source string           `json:"source"`
	Status string           `json:"status" doc:"How far it can be trusted as a citation, in words"`
}

// RelationList is all of them.
type RelationList struct {
	Relations []RelationView `json:"relations"`
}

var statusWords = map[relation.Status]string{
	relation.Read: "read in the source", relation.Quoted: "read in a text that quotes it", relation.Derived: "worked out from such figures",
	relation.Memory: "from memory", relation.Judged: "judgement, no source",
}

func (s *Server) relationList(context.Context, *nothing) (RelationList, error) {
	out := RelationList{Relations: []RelationView{}}
	for _, l := range relation.All() {
		n := len(out.Relations)
		if n == 0 || out.Relations[n-1].ID != l.ID {
			say, _ := relation.Say(l.ID)
			out.Relations = append(out.Relations, RelationView{ID: l.ID, Title: say.Title, Says: say.Text})
			n++
		}
		r := &out.Relations[n-1]
		r.Lines = append(r.Lines, RelationLineView{
			Name: l.Name, Form: l.Form, Low: evenstand.Number(l.Low), Likely: evenstand.Number(l.Likely), High: evenstand.Number(l.High),
			Unit: l.Unit, Domain: l.Domain, Source: l.Source, Status: statusWords[l.Status],
		})
	}
	return out, nil
}

// spacing writes a row spacing as the trade does: 30 in, 76 cm.
func spacing(v advise.Voice, m float64) string {
	if v.Units == evenstand.Metric {
		return advise.Digits(math.Round(1000*m)/10) + " cm"
	}
	return advise.Digits(math.Round(10*m/evenstand.Inch)/10) + " in"
}
