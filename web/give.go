package web

import (
	"archive/zip"
	"context"
	"errors"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"evenstand"
	"evenstand/give"
)

// GiveTable is a table that can be handed out.
type GiveTable struct {
	What    string       `json:"table"`
	Title   string       `json:"title"`
	Columns []GiveColumn `json:"columns"`
}

// GiveColumn is a column of one.
type GiveColumn struct {
	Name string `json:"name"`
	Says string `json:"says" doc:"What it means, with its unit"`
}

// GiveList is all that can be handed out.
type GiveList struct {
	Tables []GiveTable `json:"tables"`
	Fields []string    `json:"fields" doc:"That have a name"`
	First  string      `json:"first" doc:"Day; empty: nothing was read"`
	Last   string      `json:"last"`
}

func (s *Server) giveList(ctx context.Context, _ *struct{}) (GiveList, error) {
	out := GiveList{Tables: []GiveTable{}, Fields: []string{}}
	for _, t := range give.Tables() {
		g := GiveTable{What: string(t.What), Title: t.Title, Columns: []GiveColumn{}}
		for _, c := range t.Columns {
			g.Columns = append(g.Columns, GiveColumn{c.Name, c.Says})
		}
		out.Tables = append(out.Tables, g)
	}
	days, err := s.allDays(ctx)
	if err != nil {
		return out, err
	}
	out.Fields = give.FieldsOf(s.book, days)
	for _, d := range days {
		if day := string(d.Day); d.Passes > 0 {
			if out.First == "" || day < out.First {
				out.First = day
			}
			out.Last = max(out.Last, day)
		}
	}
	return out, nil
}

type giveIn struct {
	What    string `path:"what" enum:"seeds,stretches,readings,passes,findings,counts,fields,field"`
	As      string `query:"as" enum:"csv,parquet,geojson,shapefile" default:"csv" doc:"Not asked of field, which has all of them"`
	Field   string `query:"field" maxLength:"200"`
	Planter string `query:"planter" maxLength:"200"`
	From    string `query:"from" maxLength:"10" doc:"First day, 2026-05-02"`
	To      string `query:"to" maxLength:"10" doc:"Last day"`
}

// unsafeName is what a file's name does not hold on every system.
var unsafeName = regexp.MustCompile(`[^\pL\pN._-]+`)

// give registers the operation that hands out a table, as a zip that is written as
// it is made.
func (s *Server) give() {
	const mime = "application/zip"
	huma.Register(s.api, huma.Operation{
		OperationID: "give", Method: http.MethodGet, Path: base + "/give/{what}", Summary: "A table, or all that there is of a field, as a zip with what the columns mean",
		Responses: map[string]*huma.Response{"200": {
			Description: "The zip", Content: map[string]*huma.MediaType{mime: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
		}},
	}, func(ctx context.Context, in *giveIn) (*huma.StreamResponse, error) {
		f := give.Filter{Planter: in.Planter, Field: in.Field, From: evenstand.Day(in.From), To: evenstand.Day(in.To)}
		name := strings.Trim(unsafeName.ReplaceAllString(strings.Join(slices.DeleteFunc([]string{s.book.Settings().Name, in.Field, in.What}, func(s string) bool { return s == "" }), "-"), "-"), "-")
		if in.What == "field" && in.Field == "" {
			return nil, refuse("say which field")
		}
		// What cannot be answered is refused before the answer begins.
		if err := give.Known(ctx, s.book, &f); err != nil {
			return nil, refuse(err.Error())
		}
		return &huma.StreamResponse{Body: func(c huma.Context) {
			c.SetHeader("Content-Type", mime)
			c.SetHeader("Cache-Control", "no-store")
			c.SetHeader("Content-Disposition", `attachment; filename="`+asciiOnly(name)+`.zip"`)
			if err := s.giveZip(ctx, in, f, &slow{c.BodyWriter()}); err != nil {
				// The answer has begun: only a broken one tells the browser that it
				// is not whole.
				panic(http.ErrAbortHandler)
			}
		}}, nil
	})
}

// slow writes what may take longer than an answer usually may: each piece has the
// time of one.
type slow struct{ io.Writer }

func (w *slow) Write(p []byte) (int, error) {
	if r, ok := w.Writer.(http.ResponseWriter); ok {
		_ = http.NewResponseController(r).SetWriteDeadline(time.Now().Add(answerTime))
	}
	return w.Writer.Write(p)
}

func asciiOnly(s string) string {
	return strings.Map(func(r rune) rune {
		if r > 126 {
			return '_'
		}
		return r
	}, s)
}

func (s *Server) giveZip(ctx context.Context, in *giveIn, f give.Filter, out io.Writer) error {
	if in.What == "field" {
		_, err := give.Field(ctx, s.book, f, out, nil)
		return err
	}
	z := zip.NewWriter(out)
	_, err := give.Write(ctx, s.book, give.What(in.What), give.As(in.As), f, in.What, give.InZip(z), nil)
	if errors.Is(err, give.ErrEmpty) { // a table without rows, and what its columns mean
		err = nil
	}
	return errors.Join(err, z.Close())
}
