package web_test

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"evenstand"
	"evenstand/book"
	"evenstand/format/plain"
	"evenstand/pipeline"
	"evenstand/sim"
	"evenstand/web"
)

// morning is a short morning on which things go wrong; the seed is one of those
// for development.
const morning = `
name = "morning"
seed = 7101
hours = 1.5

[timetable]
lunch = ""

[planter]
rows = 8
cells = 40

[[field]]
name = "north place"
passes = 8
length_m = 400
headlands = 1

[[fault]]
kind = "blocked-cell"
rows = "4"
at = "07:10"

[[fault]]
kind = "row-stopped"
variant = "tube"
rows = "2"
at = "07:25"
seconds = 60

[[fault]]
kind = "low-vacuum"
variant = "hose"
rows = "right"
at = "07:40"
strength = 1.7
minutes = 20
`

// planted is the folder of a logbook of one simulated morning, made once.
var planted = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp("", "evenstand-web-")
	if err != nil {
		return "", err
	}
	cleanup = append(cleanup, dir)
	return plant(dir, morning)
})

// plant makes a logbook of a scenario in a folder.
func plant(dir, text string) (string, error) {
	ctx := context.Background()
	scenario, err := sim.Parse(text)
	if err != nil {
		return "", err
	}
	day, to := filepath.Join(dir, "day"), filepath.Join(dir, "spring")
	if _, err := sim.Run(ctx, scenario, day, nil); err != nil {
		return "", err
	}
	var files [2][]book.File
	for i, glob := range []string{filepath.Join(day, "card.toml"), filepath.Join(day, "fields", "*.geojson")} {
		names, err := filepath.Glob(glob)
		if err != nil {
			return "", err
		}
		for _, n := range names {
			data, err := os.ReadFile(n)
			if err != nil {
				return "", err
			}
			files[i] = append(files[i], book.File{Name: filepath.Base(n), Data: data})
		}
	}
	set := evenstand.NewSettings()
	set.Name, set.Zone = "spring", "America/Chicago"
	if err := book.Create(to, set, files[0], files[1]); err != nil {
		return "", err
	}
	b, err := book.Open(to, book.Options{Derive: pipeline.Settle})
	if err != nil {
		return "", err
	}
	defer b.Close()
	_, err = b.Read(ctx, []string{filepath.Join(day, "boxes")}, []evenstand.Format{plain.Format{}}, book.ReadOptions{})
	return to, err
}

// cleanup are folders that go when the tests have run.
var cleanup []string

func TestMain(m *testing.M) {
	code := m.Run()
	for _, d := range cleanup {
		_ = os.RemoveAll(d)
	}
	os.Exit(code)
}

// plantedBook opens a copy of the morning's logbook.
func plantedBook(t *testing.T) *book.Book {
	t.Helper()
	dir, err := planted()
	if err != nil {
		t.Fatal(err)
	}
	to := filepath.Join(t.TempDir(), "spring")
	if err := os.CopyFS(to, os.DirFS(dir)); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(to, book.Options{Derive: pipeline.Settle})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	return b
}

type described struct {
	OperationID string
	Summary     string
	Parameters  []struct {
		Name, In string
		Required bool
	}
	Responses map[string]struct {
		Content map[string]struct{ Schema any }
	}
}

// checked compiles the description of every reply.
type checked struct {
	ops   map[string]map[string]described
	reply func(path, method, status, mime string) *jsonschema.Schema
}

func (s *served) described(t *testing.T) checked {
	t.Helper()
	text := s.get(t, "/api/v1/openapi.json", http.StatusOK)
	var doc struct {
		Paths map[string]map[string]described
	}
	if err := json.Unmarshal(text, &doc); err != nil {
		t.Fatal(err)
	}
	whole, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	c.AssertFormat()
	if err := c.AddResource("mem:///api.json", whole); err != nil {
		t.Fatal(err)
	}
	esc := strings.NewReplacer("~", "~0", "/", "~1")
	return checked{doc.Paths, func(path, method, status, mime string) *jsonschema.Schema {
		t.Helper()
		at := "/paths/" + esc.Replace(path) + "/" + method + "/responses/" + status + "/content/" + esc.Replace(mime) + "/schema"
		sch, err := c.Compile("mem:///api.json#" + (&url.URL{Path: at}).EscapedPath())
		if err != nil {
			t.Fatal(err)
		}
		return sch
	}}
}

// unsaid are texts that no person should read.
var unsaid = regexp.MustCompile(`NaN|[+-]?\bInf\b|%!|<nil>|0001-01-01|1970-01-01`)

// deskOnly are texts for the command line, which no screen says: whoever reads
// there has no files and no commands before him.
var deskOnly = regexp.MustCompile(`BOOK/|evenstand rebuild|\[\[\w+\]\]|\.toml\b|clock_offset_s|row_spacing_m into`)

func checkDesk(t *testing.T, where string, v any) {
	t.Helper()
	switch v := v.(type) {
	case string:
		if m := deskOnly.FindString(v); m != "" {
			t.Errorf("%s: %q in %q", where, m, v)
		}
	case []any:
		for i, e := range v {
			checkDesk(t, fmt.Sprintf("%s[%d]", where, i), e)
		}
	case map[string]any:
		for k, e := range v {
			checkDesk(t, where+"."+k, e)
		}
	}
}

func checkTexts(t *testing.T, where string, v any) {
	t.Helper()
	switch v := v.(type) {
	case string:
		if m := unsaid.FindString(v); m != "" {
			t.Errorf("%s: %q in %q", where, m, v)
		}
	case []any:
		for i, e := range v {
			checkTexts(t, fmt.Sprintf("%s[%d]", where, i), e)
		}
	case map[string]any:
		for k, e := range v {
			checkTexts(t, where+"."+k, e)
		}
	}
}

// Document and replies hold together: every operation says what it does, and
// what each GET gives on an empty logbook and on a real one is as described.
func TestReplies(t *testing.T) {
	for name, open := range map[string]func(*testing.T) *book.Book{"empty": emptyBook, "planted": plantedBook} {
		t.Run(name, func(t *testing.T) {
			b := open(t)
			text := "recipe = 1\nbox = \"box\"\n[file]\nkind = \"text\"\ncolumns = [\"time\", \"v\"]\n[time]\ncolumn = \"time\"\nwritten = \"year month day\"\n[[value]]\ncolumn = \"v\"\nquantity = \"ground_speed\"\nelement = \"machine\"\nunit = \"mph\"\n"
			if err := b.AddRecipe(context.Background(), "box.toml", []byte(text)); err != nil {
				t.Fatal(err)
			}
			if name == "planted" { // so that there is a trial
				days, err := b.Days(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				if err := b.ChangeCard(t.Context(), days[0].Planter, "", func(c *evenstand.Card) error {
					c.Attachments = []evenstand.Attachment{{Kind: "row_cleaner", Label: "floating", Rows: evenstand.Rows{3, 6}}}
					return nil
				}); err != nil {
					t.Fatal(err)
				}
			}
			s := serve(t, b)
			api := s.described(t)
			var passes web.PassList
			if name == "planted" { // so that a decision is seen too
				var w web.WorklistView
				if err := json.Unmarshal(s.get(t, "/api/v1/worklist?all=true", http.StatusOK), &w); err != nil || len(w.Groups) == 0 {
					t.Fatalf("%v, %v", err, w)
				}
				id := w.Groups[0].Findings[0].ID
				if r := s.ask("POST", "/api/v1/findings/"+id+"/decisions", []byte(`{"status":"acted","cause":"a worn disc","note":"changed"}`)); r.Code != http.StatusOK {
					t.Fatalf("%d: %s", r.Code, r.Body)
				}
			}
			var work web.WorklistView
			var info web.BookInfo
			var measures web.MeasureList
			var rows web.RowsView
			for path, to := range map[string]any{"/passes": &passes, "/worklist?all=true": &work, "/book": &info, "/measures": &measures, "/rows": &rows} {
				if err := json.Unmarshal(s.get(t, "/api/v1"+path, http.StatusOK), to); err != nil {
					t.Fatalf("%s: %v", path, err)
				}
			}
			// What may be asked for by each name.
			known := map[string][]string{"day": {"", "2026-01-01"}, "planter": {"", "no such"}, "field": {"", "no such"}, "measure": {""}, "lever": {"", "vacuum"}, "rows": {"", "1-3,5"}, "side": {""}, "section": {"", "1"}, "part": {""}, "level": {"", "0", "8", "14"}, "tile": {"", "0", "3"}, "all": {"", "true"}, "from": {"", "2026-05-01"}, "to": {"", "2026-05-01"}, "pass": {}, "id": {}, "finding": {""}, "If-None-Match": {""}, "name": {"box"}, "lat": {"41.6"}, "lon": {"-93.5"}, "z": {"14"}, "x": {"0"}, "y": {"0"}, "width": {"64", "2048"}, "height": {"48", "16"}, "margin": {"", "28"}, "nearest": {"", "18"}, "box": {"", "-93.6,41.5,-93.4,41.7"}, "kind": {"", "left", "twice"}, "trial": {"row-cleaner-floating"}, "at_hand": {"", "1"}, "passes": {"", "20"}, "seed": {"", "7"}, "start": {"", "2026-05-04"}, "what": {"findings", "passes", "fields", "acres", "all"}, "as": {"", "csv", "geojson"}, "places": {"", "4"}, "draw": {"", "2"}, "season": {""}, "hour": {"", "true"}, "for": {"", "inspector", "no such"}, "cost": {"", "true"}, "speed": {""}, "people": {""}, "size": {"", "a4"}, "product": {"", "liquid"}, "content": {""}, "dry": {""}, "holds": {""}, "planned": {"", "40"}, "least": {""}, "most": {""}, "step": {""}, "furrow": {""}, "salt": {""}, "price": {""}, "spacing": {""}, "parts": {""}, "shut": {""}, "off_by": {""}}
			add := func(name string, values ...string) { known[name] = append(known[name], values...) }
			for _, p := range passes.Passes[:min(4, len(passes.Passes))] {
				add("pass", p.Key)
			}
			for _, g := range work.Groups {
				for i := range g.Findings {
					add("id", g.Findings[i].ID)
				}
			}
			for _, m := range measures.Measures {
				add("measure", m.ID)
			}
			for _, d := range info.Days {
				add("day", string(d.Day))
			}
			known["note"], known["lever"] = []string{"1"}, []string{"cleaner_pressure", "ground_speed"}
			if name == "planted" {
				var n web.NoteView
				s.send(t, http.MethodPost, "/api/v1/journal", map[string]string{"text": "cleaners 22 psi"}, http.StatusOK, &n)
				known["note"] = []string{fmt.Sprint(n.ID)}
			}
			add("finding", known["id"]...)
			var on web.GroundView
			if err := json.Unmarshal(s.get(t, "/api/v1/ground", http.StatusOK), &on); err != nil {
				t.Fatal(err)
			}
			if b := on.Bounds; len(b) == 4 { // its middle, and the tile that holds it (web Mercator, EPSG 3857)
				lon, lat := (b[0]+b[2])/2, (b[1]+b[3])/2
				known["lat"], known["lon"] = []string{fmt.Sprint(lat)}, []string{fmt.Sprint(lon)}
				n := float64(int(1) << 14)
				sin := math.Sin(lat * math.Pi / 180)
				known["x"] = []string{fmt.Sprint(int(n * (lon + 180) / 360))}
				known["y"] = []string{fmt.Sprint(int(n * (0.5 - math.Log((1+sin)/(1-sin))/(4*math.Pi))))}
			}
			add("planter", info.Planters...)
			add("field", info.Fields...)
			add("side", rows.Sides...)
			add("part", rows.Parts...)
			if name == "planted" && (len(known["pass"]) < 4 || len(known["id"]) < 2 || len(known["measure"]) < 5 || len(rows.Rows) != 8) {
				t.Fatalf("the morning gives too little: %v", known)
			}
			if name == "empty" {
				known["pass"], known["id"] = []string{"none"}, []string{"none"}
			}
			asked := 0
			for _, path := range slices.Sorted(maps.Keys(api.ops)) {
				for _, method := range slices.Sorted(maps.Keys(api.ops[path])) {
					op := api.ops[path][method]
					if strings.TrimSpace(op.Summary) == "" || op.OperationID == "" {
						t.Errorf("%s %s: nothing says what it does", method, path)
					}
					if method != "get" || op.OperationID == "events" {
						continue
					}
					// Each value of each parameter once, the others at their first.
					first := map[string]string{}
					var asks []map[string]string
					for _, p := range op.Parameters {
						values, ok := known[p.Name]
						if !ok {
							t.Errorf("%s: say here what may be asked for by %s", path, p.Name)
							continue
						}
						first[p.Name] = values[0]
					}
					asks = append(asks, first)
					for _, p := range op.Parameters {
						for _, v := range known[p.Name] {
							with := maps.Clone(first)
							with[p.Name] = v
							asks = append(asks, with)
						}
					}
					for _, values := range asks {
						to, query := path, url.Values{}
						for _, p := range op.Parameters {
							switch {
							case p.In == "path":
								value := values[p.Name]
								if value == "" { // a path leaves nothing out
									value = known[p.Name][len(known[p.Name])-1]
								}
								to = strings.ReplaceAll(to, "{"+p.Name+"}", url.PathEscape(value))
							case p.In == "header":
							case values[p.Name] != "":
								query.Set(p.Name, values[p.Name])
							}
						}
						if len(query) > 0 {
							to += "?" + query.Encode()
						}
						w := s.ask("GET", to, nil)
						asked++
						mime, _, _ := strings.Cut(w.Header().Get("Content-Type"), ";")
						status := fmt.Sprint(w.Code)
						if w.Code != http.StatusOK {
							if name == "planted" && !(op.OperationID == "effects" && w.Code == http.StatusUnprocessableEntity) && !((op.OperationID == "cost" || op.OperationID == "walk" || op.OperationID == "counts" || op.OperationID == "countedZones") && w.Code == http.StatusNotFound && values["field"] == "no such") &&
								!(strings.Contains(strings.ToLower(op.OperationID), "paper") && (w.Code == http.StatusUnprocessableEntity || w.Code == http.StatusNotFound)) && // not every word is a paper
								!(strings.HasPrefix(op.OperationID, "makeUp") && (w.Code == http.StatusUnprocessableEntity || w.Code == http.StatusNotFound)) && // no liquid was logged there
								!(op.OperationID == "give" && w.Code == http.StatusUnprocessableEntity && (values["field"] == "no such" || values["planter"] == "no such" || values["what"] == "acres" || values["what"] == "all")) { // not every measure is asked of changes, nor every field there
								t.Errorf("%s: %d: %s", to, w.Code, w.Body)
							}
							if w.Code >= 500 {
								t.Errorf("%s: %d: %s", to, w.Code, w.Body)
							}
							detail(t, w)
							status = "default"
						}
						if _, ok := op.Responses[status]; !ok && status == "default" {
							continue // what gives bytes describes no errors
						}
						if _, ok := op.Responses[status].Content[mime]; !ok {
							t.Errorf("%s: comes as %q, which is not described", to, mime)
							continue
						}
						if !strings.HasSuffix(mime, "json") {
							continue
						}
						v, err := jsonschema.UnmarshalJSON(bytes.NewReader(w.Body.Bytes()))
						if err != nil {
							t.Errorf("%s: %v", to, err)
							continue
						}
						if err := api.reply(path, method, status, mime).Validate(v); err != nil {
							t.Errorf("%s: %v", to, err)
						}
						checkTexts(t, to, v)
						if strings.Contains(path, "/worklist") || strings.Contains(path, "/findings") {
							checkDesk(t, to, v)
						}
					}
				}
			}
			t.Logf("%d replies", asked)
		})
	}
}
