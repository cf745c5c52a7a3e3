package web

import (
	"bytes"
	"context"
	"encoding/csv"
	"math"
	"slices"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

type plantedIn struct {
	Field   string `query:"field" maxLength:"200" doc:"Empty: all"`
	Planter string `query:"planter" maxLength:"200" doc:"Whose acres are listed; what a field has left and twice is of all planters"`
	From    string `query:"from" format:"date" doc:"First day of the acres"`
	To      string `query:"to" format:"date" doc:"Last day of the acres"`
}

// FieldsPlanted is what was planted of the fields.
type FieldsPlanted struct {
	Fields []FieldPlanted `json:"fields" doc:"Those whose ground was measured, by name"`
	All    *PlantedSums   `json:"all,omitempty" doc:"Of several fields together"`
	Part   bool           `json:"part" doc:"Only some of the acres are listed: those of a planter or of some days"`
	Lots   bool           `json:"lots" doc:"A lot was written down of some"`
}

// PlantedSums is ground that was planted, left and planted twice.
type PlantedSums struct {
	Of      Amount `json:"of" doc:"Inside the boundary"`
	Planted Amount `json:"planted" doc:"At least once; inside the boundary where there is one"`
	Left    Amount `json:"left" doc:"Inside the boundary and not planted"`
	Twice   Amount `json:"twice" doc:"By more passes than one"`
}

// FieldPlanted is what was planted of one field over all days and planters.
type FieldPlanted struct {
	Field string `json:"field"`
	PlantedSums
	Sees     Amount    `json:"sees" doc:"Gaps and overlaps narrower than this are not seen"`
	Doubt    bool      `json:"doubt" doc:"Two ways of measuring do not agree"`
	Gaps     int       `json:"gaps" doc:"Pieces that were not planted"`
	Overlaps int       `json:"overlaps" doc:"Pieces planted twice"`
	Acres    []AcresOf `json:"acres" doc:"In order of what was put down, day and lot"`
}

// AcresOf is ground that a planter worked on a day with one thing and from one
// lot.
type AcresOf struct {
	Planter string        `json:"planter"`
	Day     evenstand.Day `json:"day"`
	Label   string        `json:"label" doc:"The day in words"`
	Applied string        `json:"applied" enum:"seed,liquid,granular"`
	Lot     string        `json:"lot" doc:"Of seed, as it was written down; empty: nobody did"`
	Area    Amount        `json:"area"`
	Again   Amount        `json:"again" doc:"Of it planted on a day before; without words where that is not seen"`
}

// Amount is a figure with its interval, its origin and its words.
type Amount struct {
	Value  evenstand.Number `json:"value"`
	Low    evenstand.Number `json:"low"`
	High   evenstand.Number `json:"high"`
	Unit   string           `json:"unit" doc:"SI"`
	Origin evenstand.Origin `json:"origin" enum:"measured,computed,assumed"`
	From   string           `json:"from" doc:"What it was made of"`
	Says   string           `json:"says" doc:"In the logbook's units; empty: not known"`
	Give   string           `json:"give" doc:"Half of the interval, where that is worth saying: give or take 0.2 ac"`
}

// Where the figures of a field come from.
const (
	fromWay      = "the ways of the rows, as polygons"
	fromBoundary = "the field's boundary"
)

// area makes a figure of ground: half is that of its interval, never below
// nothing and never over most.
func area(v advise.Voice, m2, half, most float64, from string) Amount {
	a := Amount{evenstand.Number(m2), evenstand.Unknown, evenstand.Unknown, "m2", evenstand.Computed, from, "", ""}
	if math.IsNaN(m2) {
		return a
	}
	a.Says = v.Area(m2)
	if half > 0 {
		a.Low, a.High = evenstand.Number(max(0, m2-half)), evenstand.Number(m2+half)
		if most >= m2 {
			a.High = min(a.High, evenstand.Number(most))
		}
		if half > 0.02*m2 { // else the digits that are said are sure
			a.Give = "give or take " + v.Area(half)
		}
	}
	return a
}

// sums makes the figures of a field, or of several together.
func sums(v advise.Voice, of, planted, twice, half float64) PlantedSums {
	return PlantedSums{
		Of:      area(v, of, 0, of, fromBoundary),
		Planted: area(v, planted, half, of, fromWay),
		Left:    area(v, max(0, of-planted), half, of, fromBoundary+" less "+fromWay),
		Twice:   area(v, twice, half, math.NaN(), fromWay),
	}
}

// fieldsGround is the ground of all fields as the book has it now.
func (s *Server) fieldsGround(ctx context.Context) ([]book.FieldGround, error) {
	return s.fields.of(s.revision.Load(), func() ([]book.FieldGround, error) { return s.book.Ground(context.WithoutCancel(ctx)) })
}

// chosenGround is that of one field, or of all.
func (s *Server) chosenGround(ctx context.Context, field string) ([]book.FieldGround, error) {
	all, err := s.fieldsGround(ctx)
	if err != nil || field == "" {
		return all, err
	}
	if i := slices.IndexFunc(all, func(g book.FieldGround) bool { return g.Field == field }); i >= 0 {
		return all[i : i+1], nil
	}
	return nil, nil // not planted yet, or planted where no boundary is known
}

func (s *Server) fieldsPlanted(ctx context.Context, in *plantedIn) (FieldsPlanted, error) {
	out := FieldsPlanted{Fields: []FieldPlanted{}, Part: in.Planter != "" || in.From != "" || in.To != ""}
	all, err := s.chosenGround(ctx, in.Field)
	if err != nil {
		return out, err
	}
	v := s.voice()
	of, planted, twice, square := 0.0, 0.0, 0.0, 0.0
	for i := range all {
		g := &all[i]
		once := float64(g.Inside)
		if math.IsNaN(once) {
			once = float64(g.Worked)
		}
		f := FieldPlanted{
			Field: g.Field, PlantedSums: sums(v, float64(g.Area), once, float64(g.Twice), float64(g.Error)),
			Sees:  Amount{g.See, evenstand.Unknown, evenstand.Unknown, "m", evenstand.Computed, "the error of the passes' places", v.Length(float64(g.See)), ""},
			Doubt: g.Doubt, Gaps: len(g.Gaps), Overlaps: len(g.Overlaps), Acres: []AcresOf{},
		}
		of, planted, twice, square = of+float64(g.Area), planted+once, twice+float64(g.Twice), square+float64(g.Error)*float64(g.Error)
		for _, a := range g.Acres {
			if day := string(a.Day); in.Planter != "" && a.Planter != in.Planter || in.From != "" && day < in.From || in.To != "" && day > in.To {
				continue
			}
			again := area(v, max(0, float64(a.Area-a.First)), float64(a.Error), float64(a.Area), fromWay)
			if !(again.Low > 0) {
				again.Says, again.Give = "", ""
			}
			f.Acres = append(f.Acres, AcresOf{a.Planter, a.Day, v.Day(a.Day), a.Applied, a.Lot, area(v, float64(a.Area), float64(a.Error), math.NaN(), fromWay), again})
			out.Lots = out.Lots || a.Lot != ""
		}
		if out.Part && len(f.Acres) == 0 {
			of, planted, twice = of-float64(g.Area), planted-once, twice-float64(g.Twice)
			continue // of this field there is nothing on those days
		}
		out.Fields = append(out.Fields, f)
	}
	if len(out.Fields) > 1 {
		all := sums(v, of, planted, twice, math.Sqrt(square))
		out.All = &all
	}
	return out, nil
}

// fieldsPlantedCSV is the same as a table, in the units shown: a line for each
// figure of a field, and one for what each day put down.
func (s *Server) fieldsPlantedCSV(ctx context.Context, in *plantedIn) ([]byte, error) {
	view, err := s.fieldsPlanted(ctx, in)
	if err != nil {
		return nil, err
	}
	a := axis(s.voice(), "m2")
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	_ = w.Write([]string{"field", "what", "day", "planter", "lot", "area (" + a.Unit + ")", "low", "high", "planted before (" + a.Unit + ")"})
	line := func(field, what, day, planter, lot string, x *Amount, again string) {
		_ = w.Write([]string{field, what, day, planter, lot, a.cell(x.Value), a.cell(x.Low), a.cell(x.High), again})
	}
	for i := range view.Fields {
		f := &view.Fields[i]
		line(f.Field, "inside the boundary", "", "", "", &f.Of, "")
		line(f.Field, "planted", "", "", "", &f.Planted, "")
		line(f.Field, "not planted", "", "", "", &f.Left, "")
		line(f.Field, "planted twice", "", "", "", &f.Twice, "")
		for j := range f.Acres {
			x := &f.Acres[j]
			line(f.Field, x.Applied, string(x.Day), x.Planter, x.Lot, &x.Area, a.cell(x.Again.Value))
		}
	}
	w.Flush()
	return b.Bytes(), w.Error()
}
