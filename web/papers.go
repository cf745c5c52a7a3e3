package web

import (
	"context"
	"net/http"
	"strings"

	"evenstand"
	"evenstand/book"
	"evenstand/core/paper"
	"evenstand/give/pdf"

	"github.com/danielgtaylor/huma/v2"
)

type papersIn struct {
	For   string `query:"for" maxLength:"40" doc:"Who gets it, as the list has them; empty: the logbook's own people"`
	Field string `query:"field" maxLength:"200"`
	From  string `query:"from" maxLength:"10" doc:"First day, 2026-05-02; empty: the last season"`
	To    string `query:"to" maxLength:"10"`
	Cost  bool   `query:"cost" doc:"What went wrong goes along with its cost, though it stays here by itself"`
	Speed bool   `query:"speed" doc:"What speed and days cost goes along"`
	Who   bool   `query:"people" doc:"Who decided and wrote goes along"`
}

func (in *papersIn) wish(what string) book.PaperWish {
	return book.PaperWish{What: what, For: in.For, Field: in.Field, From: evenstand.Day(in.From), To: evenstand.Day(in.To), With: paper.With{Cost: in.Cost || in.Speed, Speed: in.Speed, People: in.Who}}
}

func (s *Server) paperList(ctx context.Context, in *papersIn) (book.PaperList, error) {
	o, err := s.words(ctx)
	if err != nil {
		return book.PaperList{}, err
	}
	return s.book.PaperList(ctx, in.wish(""), o)
}

type paperIn struct {
	papersIn
	What string `path:"what" maxLength:"40" doc:"One of the list, or all"`
}

func (s *Server) papers(ctx context.Context, in *paperIn) (paper.Bundle, error) {
	o, err := s.words(ctx)
	if err != nil {
		return paper.Bundle{}, err
	}
	docs, err := s.book.Papers(ctx, in.wish(in.What), o)
	return paper.Bundle{Schema: 1, Documents: append([]paper.Document{}, docs...)}, err
}

type paperFileIn struct {
	paperIn
	As   string `query:"as" enum:"pdf,csv,json" default:"pdf"`
	Size string `query:"size" enum:"a4,letter" default:"letter"`
}

// paperFile serves papers as a file, the same bytes as the command writes.
func (s *Server) paperFile() {
	mimes := map[string]string{"pdf": "application/pdf", "csv": "text/csv", "json": "application/json"}
	huma.Register(s.api, huma.Operation{
		OperationID: "paperFile", Method: http.MethodGet, Path: base + "/papers/{what}/file", Summary: "Papers as a file, for print or for another program",
		Responses: map[string]*huma.Response{"200": {
			Description: "The file", Content: map[string]*huma.MediaType{
				"application/pdf": {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}, "text/csv": {Schema: &huma.Schema{Type: huma.TypeString}}, "application/json": {Schema: &huma.Schema{}},
			},
		}},
	}, func(ctx context.Context, in *paperFileIn) (*huma.StreamResponse, error) {
		o, err := s.words(ctx)
		if err != nil {
			return nil, s.fail(err)
		}
		docs, err := s.book.Papers(ctx, in.wish(in.What), o)
		if err != nil {
			return nil, s.fail(err)
		}
		data, err := pdf.Bytes(docs, in.As, pdf.Size(in.Size))
		if err != nil {
			return nil, s.fail(err)
		}
		name := strings.Trim(unsafeName.ReplaceAllString(strings.Join([]string{s.book.Settings().Name, in.What}, "-"), "-"), "-")
		return &huma.StreamResponse{Body: func(c huma.Context) {
			c.SetHeader("Content-Type", mimes[in.As])
			c.SetHeader("Cache-Control", "no-store")
			c.SetHeader("Content-Disposition", `attachment; filename="`+asciiOnly(name)+"."+in.As+`"`)
			_, _ = c.BodyWriter().Write(data)
		}}, nil
	})
}

type paperEntryIn struct {
	Body book.PaperWrite
}

// PaperWritten says what was written down.
type PaperWritten struct {
	Record  string `json:"record" doc:"Its id; empty: of a product or of all"`
	Written int    `json:"written" doc:"Values that were new"`
}

func (s *Server) writePaper(ctx context.Context, in *paperEntryIn) (PaperWritten, error) {
	id, n, err := s.book.WritePaper(ctx, in.Body)
	if err == nil && n > 0 {
		s.changed("journal")
	}
	return PaperWritten{id, n}, err
}
