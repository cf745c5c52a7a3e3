package web

import (
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/format/plain"
)

type cardIn struct {
	Body struct {
		Planter        string    `json:"planter" minLength:"1" maxLength:"200"`
		Rows           *int      `json:"rows,omitempty" minimum:"1" maximum:"200"`
		Spacing        *float64  `json:"row_spacing_m,omitempty" minimum:"0.1" maximum:"2.5"`
		First          *string   `json:"row_1,omitempty" enum:"left,right" doc:"Where row 1 runs as one looks ahead; needs the spacing"`
		Hitch          *string   `json:"hitch,omitempty" enum:"trailed,mounted"`
		AntennaToHitch *float64  `json:"antenna_to_hitch_m,omitempty" minimum:"-10" maximum:"30"`
		HitchToRowLine *float64  `json:"hitch_to_row_line_m,omitempty" minimum:"0" maximum:"30"`
		AntennaRight   *float64  `json:"antenna_right_m,omitempty" minimum:"-10" maximum:"10"`
		Cells          *int      `json:"cells,omitempty" minimum:"1" maximum:"200" doc:"On the disc of every row"`
		Crop           *string   `json:"crop,omitempty" maxLength:"40" doc:"Of every row"`
		Tank           *TankSaid `json:"tank,omitempty"`
	}
}

// TankSaid is what a person says of a tank or hopper; one that the card does not
// have yet is put on it.
type TankSaid struct {
	Number   int      `json:"number" minimum:"1" maximum:"999"`
	Name     *string  `json:"name,omitempty" maxLength:"60"`
	Product  *string  `json:"product,omitempty" maxLength:"120" doc:"What it holds; empty: nobody knows"`
	Capacity *float64 `json:"capacity_m3,omitempty" minimum:"0.0001" maximum:"100"`
}

func (t *TankSaid) onto(c *evenstand.Card) {
	i := slices.IndexFunc(c.Tanks, func(x evenstand.Tank) bool { return x.Number == t.Number })
	if i < 0 {
		i = len(c.Tanks)
		c.Tanks = append(slices.Clone(c.Tanks), evenstand.Tank{Number: t.Number, Capacity: math.NaN()})
	} else {
		c.Tanks = slices.Clone(c.Tanks)
	}
	to := &c.Tanks[i]
	if t.Name != nil {
		to.Name = strings.TrimSpace(*t.Name)
	}
	if t.Product != nil {
		to.Product = strings.TrimSpace(*t.Product)
	}
	if t.Capacity != nil {
		to.Capacity = *t.Capacity
	}
}

// setCard writes what a person says of a planter onto its card.
func (s *Server) setCard(ctx context.Context, in *cardIn) (CardList, error) {
	b := &in.Body
	if _, err := s.book.PlanterNamed(ctx, b.Planter); err != nil {
		return CardList{}, refuse(err.Error())
	}
	last, err := s.book.LastDay(ctx, b.Planter)
	if err != nil {
		return CardList{}, err
	}
	err = s.book.ChangeCard(ctx, b.Planter, last, func(c *evenstand.Card) error {
		side, rows, apart := first(c), c.Rows, c.RowSpacing
		if b.Rows != nil {
			c.Rows = *b.Rows
		}
		if b.Spacing != nil {
			c.RowSpacing = *b.Spacing
		}
		if b.First != nil {
			side = *b.First
		}
		if apart := c.RowSpacing; (b.First != nil || side == "right") && (c.Rows == 0 || math.IsNaN(apart) && len(c.Geometry.RowY) != c.Rows) {
			return refuse("say how many rows there are and how far they stand apart too: without that nobody knows where they run")
		}
		switch g := &c.Geometry; {
		case c.Rows != rows || c.RowSpacing != apart && b.Spacing != nil: // places that were measured hold no more
			g.RowY = nil
			if side == "right" {
				g.RowY = fromRight(c.Rows, c.RowSpacing)
			}
		case side == first(c):
		case len(g.RowY) == c.Rows:
			g.RowY = mirrored(g.RowY)
		default:
			g.RowY = fromRight(c.Rows, c.RowSpacing)
		}
		if b.Hitch != nil {
			c.Geometry.Hitch = evenstand.Hitch(*b.Hitch)
		}
		for _, p := range []struct {
			from *float64
			to   *float64
		}{
			{b.AntennaToHitch, &c.Geometry.AntennaToHitch},
			{b.HitchToRowLine, &c.Geometry.HitchToRowLine},
			{b.AntennaRight, &c.Geometry.AntennaRight},
		} {
			if p.from != nil {
				*p.to = *p.from
			}
		}
		if (b.Cells != nil || b.Crop != nil) && len(c.Meters) == 0 {
			c.Meters = []evenstand.Meter{{Rows: allRows(c.Rows)}}
		}
		for i := range c.Meters {
			if b.Cells != nil {
				c.Meters[i].Cells = *b.Cells
			}
			if b.Crop != nil {
				c.Meters[i].Crop = strings.ToLower(strings.TrimSpace(*b.Crop))
			}
		}
		if b.Tank != nil {
			b.Tank.onto(c)
		}
		return nil
	})
	if err != nil {
		return CardList{}, unfiled(err)
	}
	s.changed("card")
	s.settleSoon()
	return s.cardList(ctx, nil)
}

// fromRight gives the places of evenly spaced rows that count from the right, in
// m right of the bar's centre.
func fromRight(rows int, spacing float64) []float64 {
	ys := make([]float64, rows)
	for i := range ys {
		ys[i] = (float64(rows-1)/2 - float64(i)) * spacing
	}
	return ys
}

// mirrored turns the places of rows round.
func mirrored(ys []float64) []float64 {
	out := make([]float64, len(ys))
	for i, y := range ys {
		out[i] = -y
	}
	return out
}

// unfiled says what is wrong with a card to people who wrote no file.
func unfiled(err error) error {
	var e *book.Error
	if errors.As(err, &e) {
		var p *plain.Error
		if errors.As(e.Err, &p) {
			return refuse(strings.TrimSpace(p.Err.Error() + ". " + p.Hint))
		}
		return refuse(e.Err.Error())
	}
	return err
}

// first tells on which side row 1 runs, as far as the card says.
func first(c *evenstand.Card) string {
	if c.Rows > 1 && c.Y(1) > c.Y(c.Rows) {
		return "right"
	}
	return "left"
}

func allRows(n int) evenstand.Rows {
	rows := make(evenstand.Rows, n)
	for i := range rows {
		rows[i] = i + 1
	}
	return rows
}

// AskCard is what the logs leave open about a planter of which nobody has
// written a card: to be confirmed, not filled in.
type AskCard struct {
	Planter string           `json:"planter"`
	Rows    int              `json:"rows"`
	Spacing evenstand.Number `json:"row_spacing_m" doc:"As the logs say, or the usual one"`
	Says    string           `json:"says" doc:"16 rows, 30 in, row 1 on the left?"`
}

// usual is the row spacing that is offered where no log says one: most corn in
// the United States stands in 30 in rows. Common practice, no source.
const usual = 30 * evenstand.Inch

// askCards lists what is to be confirmed.
func (s *Server) askCards(ctx context.Context) ([]AskCard, error) {
	out := []AskCard{}
	planters, err := s.book.Planters(ctx)
	if err != nil {
		return nil, err
	}
	for _, p := range planters {
		last, err := s.book.LastDay(ctx, p)
		if err != nil {
			return nil, err
		}
		c, err := s.book.Card(p, last)
		if err != nil {
			return nil, err
		}
		if s.book.HasCard(p) || !math.IsNaN(c.RowSpacing) {
			continue
		}
		if c.Rows == 0 { // no box says so: as many as planted
			if c.Rows, err = s.rowsSeen(ctx, p, last); err != nil {
				return nil, err
			}
		}
		if c.Rows == 0 {
			continue
		}
		out = append(out, AskCard{p, c.Rows, evenstand.Number(usual), fmt.Sprintf("%s, %s apart, row 1 on the left as you look ahead?", advise.Plural(int64(c.Rows), "row", "rows"), spacing(s.voice(), usual))})
	}
	return out, nil
}

// rowsSeen is the highest row that gave seed in the first passes of a day.
func (s *Server) rowsSeen(ctx context.Context, planter string, day evenstand.Day) (int, error) {
	if day == "" {
		return 0, nil
	}
	rows := 0
	for pass := range int32(3) {
		ss, err := s.book.PassStretches(ctx, planter, day, pass)
		if err != nil {
			return 0, err
		}
		for i := range ss {
			rows = max(rows, int(ss[i].Row))
		}
	}
	return rows, nil
}

// ImportList is what was brought in.
type ImportList struct {
	Imports []ImportView `json:"imports"`
}

// ImportView is one thing that was brought in, with its time in words.
type ImportView struct {
	book.Import
	When string `json:"when"`
}

func (s *Server) importList(ctx context.Context, _ *nothing) (ImportList, error) {
	all, err := s.book.Imports(ctx)
	if err != nil {
		return ImportList{}, err
	}
	out, v := ImportList{Imports: []ImportView{}}, s.voice()
	for _, x := range all {
		out.Imports = append(out.Imports, ImportView{x, v.Date(x.At) + ", " + v.Clock(x.At)})
	}
	return out, nil
}
