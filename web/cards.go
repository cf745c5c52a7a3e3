package web

import (
	"context"
	"fmt"
	"math"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

type cardIn struct {
	Body struct {
		Planter        string   `json:"planter" minLength:"1" maxLength:"200"`
		Rows           *int     `json:"rows,omitempty" minimum:"1" maximum:"200"`
		Spacing        *float64 `json:"row_spacing_m,omitempty" minimum:"0.1" maximum:"3"`
		First          *string  `json:"row_1,omitempty" enum:"left,right" doc:"Where row 1 runs as one looks ahead; needs the spacing"`
		Hitch          *string  `json:"hitch,omitempty" enum:"trailed,mounted"`
		AntennaToHitch *float64 `json:"antenna_to_hitch_m,omitempty" minimum:"-20" maximum:"20"`
		HitchToRowLine *float64 `json:"hitch_to_row_line_m,omitempty" minimum:"-20" maximum:"40"`
		AntennaRight   *float64 `json:"antenna_right_m,omitempty" minimum:"-20" maximum:"20"`
		Cells          *int     `json:"cells,omitempty" minimum:"1" maximum:"200" doc:"On the disc of every row"`
	}
}

// setCard writes what a person says of a planter onto its card.
func (s *Server) setCard(ctx context.Context, in *cardIn) (CardList, error) {
	b := &in.Body
	if _, err := s.book.PlanterNamed(ctx, b.Planter); err != nil {
		return CardList{}, refuse(err.Error())
	}
	last, err := s.lastDay(ctx, b.Planter)
	if err != nil {
		return CardList{}, err
	}
	if b.First != nil && *b.First == "right" && b.Spacing == nil {
		if c, err := s.book.Card(b.Planter, last); err != nil {
			return CardList{}, err
		} else if math.IsNaN(c.RowSpacing) {
			return CardList{}, refuse("say how far the rows stand apart too: without it the places of the rows are not known")
		}
	}
	err = s.book.ChangeCard(ctx, b.Planter, last, func(c *evenstand.Card) {
		if b.Rows != nil {
			c.Rows = *b.Rows
			c.Geometry.RowY = nil
		}
		if b.Hitch != nil {
			c.Geometry.Hitch = evenstand.Hitch(*b.Hitch)
		}
		for _, p := range []struct {
			from *float64
			to   *float64
		}{
			{b.Spacing, &c.RowSpacing},
			{b.AntennaToHitch, &c.Geometry.AntennaToHitch},
			{b.HitchToRowLine, &c.Geometry.HitchToRowLine},
			{b.AntennaRight, &c.Geometry.AntennaRight},
		} {
			if p.from != nil {
				*p.to = *p.from
			}
		}
		if b.Spacing != nil {
			c.Geometry.RowY = nil
		}
		if b.First != nil {
			c.Geometry.RowY = nil
			if *b.First == "right" {
				c.Geometry.RowY = fromRight(c.Rows, c.RowSpacing)
			}
		}
		if b.Cells != nil {
			if len(c.Meters) == 0 {
				c.Meters = []evenstand.Meter{{Rows: allRows(c.Rows)}}
			}
			for i := range c.Meters {
				c.Meters[i].Cells = *b.Cells
			}
		}
	})
	if err != nil {
		return CardList{}, refuse(err.Error())
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

func (s *Server) lastDay(ctx context.Context, planter string) (evenstand.Day, error) {
	days, err := s.allDays(ctx)
	last := evenstand.Day("")
	for _, d := range days {
		if d.Planter == planter {
			last = max(last, d.Day)
		}
	}
	return last, err
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
		last, err := s.lastDay(ctx, p)
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
