package web

import (
	"context"
	"net/http"
	"reflect"
	"sync"

	"github.com/danielgtaylor/huma/v2"

	"evenstand"
)

// config describes the interface. Nothing of the library's own pages is served:
// they would fetch from elsewhere.
func config(version string) huma.Config {
	neverNull()
	plainWords()
	c := huma.DefaultConfig("Evenstand", version)
	c.Info.Description = "The local interface of a logbook. Figures are in SI and UTC; words are in the logbook's units, zone and currency. Intervals are 90 %, of money 80 %. Null is unknown."
	c.Info.License = nil
	c.OpenAPIPath = "/api/v1/openapi"
	c.DocsPath, c.SchemasPath = "", ""
	c.CreateHooks = nil
	r := huma.NewMapRegistry("#/components/schemas/", huma.DefaultSchemaNamer)
	r.RegisterTypeAlias(reflect.TypeFor[evenstand.Number](), reflect.TypeFor[number]())
	r.RegisterTypeAlias(reflect.TypeFor[evenstand.Micros](), reflect.TypeFor[moment]())
	r.RegisterTypeAlias(reflect.TypeFor[evenstand.Grade](), reflect.TypeFor[grade]())
	r.RegisterTypeAlias(reflect.TypeFor[evenstand.CheckBack](), reflect.TypeFor[checkBack]())
	r.RegisterTypeAlias(reflect.TypeFor[evenstand.Rows](), reflect.TypeFor[[]int]())
	c.Components = &huma.Components{Schemas: r}
	return c
}

// neverNull says that lists are never null: what is empty is [].
var neverNull = sync.OnceFunc(func() { huma.DefaultArrayNullable = false })

// How types of the root that write their own JSON are described.
type (
	number float64
	moment string
	grade  string

	checkBack struct{}
)

func (number) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeNumber, Nullable: true, Description: "SI; null is unknown"}
}

func (moment) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Format: "date-time", Nullable: true, Description: "UTC; null is unknown"}
}

func (grade) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeString, Enum: []any{"", "A", "B", "C", "D"}, Description: "A seed times, B a row a second, C section or machine, D position and notes"}
}

func (checkBack) Schema(r huma.Registry) *huma.Schema {
	body := r.Schema(reflect.TypeFor[CheckBack](), true, "")
	if s := r.Map()["CheckBack"]; s != nil {
		s.Properties["verdict"].Enum = []any{evenstand.VerdictWorked, evenstand.VerdictOpen, evenstand.VerdictFailed}
		s.Properties["by"].Enum = []any{"done", "fix", "setting"}
	}
	return &huma.Schema{OneOf: []*huma.Schema{body, {Type: "null", Description: "Nothing was done about it yet"}}}
}

// base is the path under which all of the interface lies.
const base = "/api/v1"

// reply is what an operation answers.
type reply[T any] struct{ Body T }

// nothing is the input of an operation that takes none.
type nothing struct{}

// get, post and the others register an operation: its path under base, what it
// does in one line, and the function.
func get[In, Out any](s *Server, path, id, what string, f func(context.Context, *In) (Out, error)) {
	operation(s, http.MethodGet, path, id, what, f)
}

func operation[In, Out any](s *Server, method, path, id, what string, f func(context.Context, *In) (Out, error)) {
	huma.Register(s.api, huma.Operation{
		OperationID: id, Method: method, Path: base + path, Summary: what, MaxBodyBytes: maxBody, SkipValidateParams: false,
	}, func(ctx context.Context, in *In) (*reply[Out], error) {
		out, err := f(ctx, in)
		if err != nil {
			return nil, s.fail(err)
		}
		return &reply[Out]{out}, nil
	})
}

// maxBody is the longest JSON body, in bytes.
const maxBody = 1 << 20

// bytesOf registers an operation that answers bytes of the given type.
func bytesOf[In any](s *Server, path, id, what, mime string, f func(context.Context, *In) ([]byte, error)) {
	huma.Register(s.api, huma.Operation{
		OperationID: id, Method: http.MethodGet, Path: base + path, Summary: what,
		Responses: map[string]*huma.Response{"200": {
			Description: what,
			Content:     map[string]*huma.MediaType{mime: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}},
		}},
	}, func(ctx context.Context, in *In) (*huma.StreamResponse, error) {
		data, err := f(ctx, in)
		if err != nil {
			return nil, s.fail(err)
		}
		return &huma.StreamResponse{Body: func(c huma.Context) {
			c.SetHeader("Content-Type", mime)
			c.SetHeader("Cache-Control", "no-store") // the address stays while what it gives changes
			_, _ = c.BodyWriter().Write(data)
		}}, nil
	})
}

// versioned registers an operation that answers bytes which stay the same under
// one tag: a browser that has them is told so, and nothing is made.
func versioned[In any](s *Server, path, id, what, mime string, tag func(*In) (tag, have string), f func(context.Context, *In) ([]byte, error)) {
	huma.Register(s.api, huma.Operation{
		OperationID: id, Method: http.MethodGet, Path: base + path, Summary: what,
		Responses: map[string]*huma.Response{
			"200": {Description: what, Content: map[string]*huma.MediaType{mime: {Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}}},
			"304": {Description: "What the browser has is still so"},
		},
	}, func(ctx context.Context, in *In) (*huma.StreamResponse, error) {
		now, have := tag(in)
		var data []byte
		if have != now {
			var err error
			if data, err = f(ctx, in); err != nil {
				return nil, s.fail(err)
			}
		}
		return &huma.StreamResponse{Body: func(c huma.Context) {
			c.SetHeader("ETag", now)
			c.SetHeader("Cache-Control", "private, no-cache")
			if have == now {
				c.SetStatus(http.StatusNotModified)
				return
			}
			c.SetHeader("Content-Type", mime)
			_, _ = c.BodyWriter().Write(data)
		}}, nil
	})
}
