package web

import (
	"archive/zip"
	"context"
	"errors"
	"io"
	"net/http"
	"os"
	"path/filepath"
	"strings"

	"evenstand/book"
	"evenstand/core/record"
	"evenstand/give"

	"github.com/danielgtaylor/huma/v2"
)

type makeUpIn struct {
	Field   string  `query:"field" maxLength:"200"`
	Product string  `query:"product" enum:"liquid,granules" doc:"Which of those that went on beside seed; left out: what was logged"`
	Content float64 `query:"content" minimum:"0" doc:"Of the nutrient in it: lb/gal or lb/lb, kg/L or kg/kg"`
	Name    string  `query:"name" maxLength:"100" doc:"Of the next product"`
	Dry     bool    `query:"dry" doc:"The next product is weighed"`
	Holds   float64 `query:"holds" minimum:"0" doc:"What it holds of the nutrient"`
	Planned float64 `query:"planned" minimum:"0" doc:"Its rate everywhere: gal/ac or lb/ac, L/ha or kg/ha"`
	Least   float64 `query:"least" minimum:"0"`
	Most    float64 `query:"most" minimum:"0"`
	Step    float64 `query:"step" minimum:"0"`
	Season  float64 `query:"season" minimum:"0"`
	Furrow  string  `query:"furrow" enum:"medium-fine,sandy" doc:"In the furrow beside seed, in this soil"`
	Salt    float64 `query:"salt" minimum:"0"`
	Price   float64 `query:"price" minimum:"0"`
	Rows    int     `query:"rows" minimum:"1" maximum:"96" default:"12" doc:"Of the next machine"`
	Spacing float64 `query:"spacing" minimum:"0" maximum:"500" doc:"in or cm; 0: as the planter's"`
	Parts   int     `query:"parts" minimum:"0" maximum:"96" doc:"That it sets by themselves; 0: all at once"`
	Shut    bool    `query:"shut"`
	Share   float64 `query:"off_by" minimum:"0" maximum:"0.9"`
}

func (in *makeUpIn) wish() book.MakeUpWish {
	return book.MakeUpWish{
		Field: in.Field, Product: in.Product, Content: in.Content, Name: in.Name, Dry: in.Dry, Holds: in.Holds, Planned: in.Planned, Least: in.Least, Most: in.Most, Step: in.Step, Season: in.Season,
		Furrow: in.Furrow, Salt: in.Salt, Price: in.Price, Rows: in.Rows, Spacing: in.Spacing, Parts: in.Parts, Shut: in.Shut, Share: in.Share,
	}
}

func (s *Server) makeUp(ctx context.Context, in *makeUpIn) (record.MakeUpSheet, error) {
	o, err := s.words(ctx)
	if err != nil {
		return record.MakeUpSheet{}, err
	}
	m, err := s.book.MakeUp(ctx, in.wish(), o)
	if err != nil {
		return record.MakeUpSheet{}, err
	}
	return m.Sheet, nil
}

type makeUpFileIn struct {
	makeUpIn
	As string `query:"as" enum:"grid,zones,geojson,shapefile,parquet,csv" required:"true" doc:"grid and zones: task data of ISO 11783-10"`
}

// makeUpFile serves a plan as a zip.
func (s *Server) makeUpFile() {
	const mime = "application/zip"
	huma.Register(s.api, huma.Operation{
		OperationID: "makeUpFile", Method: http.MethodGet, Path: base + "/makeup/file", Summary: "A plan for the next machine, as task data or as a table of zones, in a zip",
		Responses: map[string]*huma.Response{"200": {
			Description: "The zip", Content: map[string]*huma.MediaType{mime: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
		}},
	}, func(ctx context.Context, in *makeUpFileIn) (*huma.StreamResponse, error) {
		o, err := s.words(ctx)
		if err != nil {
			return nil, s.fail(err)
		}
		m, err := s.book.MakeUp(ctx, in.wish(), o)
		if err != nil {
			return nil, s.fail(err)
		}
		if len(m.Sheet.Zones) == 0 && in.As != "grid" && in.As != "zones" {
			return nil, refuse("there is nothing to make up, so there are no zones")
		}
		name := strings.Trim(unsafeName.ReplaceAllString(m.Sheet.Field+"-make-up", "-"), "-")
		return &huma.StreamResponse{Body: func(c huma.Context) {
			c.SetHeader("Content-Type", mime)
			c.SetHeader("Cache-Control", "no-store")
			c.SetHeader("Content-Disposition", `attachment; filename="`+asciiOnly(name)+`.zip"`)
			if err := s.planZip(ctx, m, in.As, &slow{c.BodyWriter()}); err != nil {
				panic(http.ErrAbortHandler)
			}
		}}, nil
	})
}

func (s *Server) planZip(ctx context.Context, m *book.MakeUp, as string, w io.Writer) error {
	z := zip.NewWriter(w)
	create := give.InZip(z)
	if as != "grid" && as != "zones" {
		_, err := give.Plan(ctx, s.book, m, give.As(as), "zones", create)
		return errors.Join(err, z.Close())
	}
	dir, err := os.MkdirTemp("", "evenstand-plan-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	task := filepath.Join(dir, "TASKDATA")
	if _, err := give.Prescribe(m, s.book.Settings().Name, task, as == "zones"); err != nil {
		return err
	}
	files, err := os.ReadDir(task)
	if err != nil {
		return err
	}
	for _, f := range files {
		data, err := os.ReadFile(filepath.Join(task, f.Name()))
		if err != nil {
			return err
		}
		to, err := create("TASKDATA/" + f.Name())
		if err != nil {
			return err
		}
		if _, err := to.Write(data); err != nil {
			return err
		}
	}
	return z.Close()
}
