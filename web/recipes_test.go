package web_test

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/format/plain"
	"evenstand/format/recipe"
	"evenstand/web"
)

// withRecipes lets a server read tables by the recipes of its logbook.
func withRecipes(t *testing.T, b *book.Book) func(*web.Options) {
	return func(o *web.Options) {
		o.Formats = func() ([]evenstand.Format, error) {
			var rs []recipe.Recipe
			for _, f := range b.Recipes() {
				r, err := recipe.Parse(f.Name, f.Data)
				if err != nil {
					return nil, err
				}
				r.Name = strings.TrimSuffix(f.Name, ".toml")
				rs = append(rs, r)
			}
			return []evenstand.Format{plain.Format{}, recipe.Format{Recipes: rs}}, nil
		}
	}
}

// german has decimal commas, a wide pattern of rows, and a pressure of which
// the name does not say what it is.
const german = `time;Reihe 1 Fehlstellen [%];Reihe 2 Fehlstellen [%];Reihe 3 Fehlstellen [%];Schardruck [kg];Motor
02.05.2026 14:05:01;0,5;1,25;0,0;96,2;7
02.05.2026 14:05:02;0,0;1,5;0,0;95,8;7
02.05.2026 14:05:03;0,5;2,0;1,0;96,0;7
02.05.2026 14:05:04;0,5;2,0;1,0;96,0;7
`

// readFiles uploads files, reads them, and waits for what became of it.
func (s *served) readFiles(t *testing.T, files map[string]string) web.JobDone {
	t.Helper()
	var up web.UploadBegun
	s.send(t, http.MethodPost, "/api/v1/uploads", nil, http.StatusOK, &up)
	for name, text := range files {
		if w := s.ask(http.MethodPut, "/api/v1/uploads/"+up.ID+"/file?path="+url.QueryEscape(name), []byte(text)); w.Code != http.StatusNoContent {
			t.Fatalf("bringing %s: %d %s", name, w.Code, w.Body)
		}
	}
	var j web.Job
	s.send(t, http.MethodPost, "/api/v1/uploads/"+up.ID+"/read", nil, http.StatusOK, &j)
	return s.await(t, j.ID)
}

// await waits for a piece of work.
func (s *served) await(t *testing.T, id string) web.JobDone {
	t.Helper()
	for range 400 {
		var l web.JobList
		s.send(t, http.MethodGet, "/api/v1/jobs", nil, http.StatusOK, &l)
		for _, j := range l.Jobs {
			switch {
			case j.ID != id:
			case j.State == "done":
				return *j.Result
			case j.State == "failed":
				t.Fatal(j.Error)
			}
		}
		time.Sleep(25 * time.Millisecond)
	}
	t.Fatal("the work does not end")
	return web.JobDone{}
}

// send asks with a JSON body and reads the answer into out; the sentence of an
// error is returned.
func (s *served) send(t *testing.T, method, path string, body any, status int, out any) string {
	t.Helper()
	var data []byte
	if body != nil {
		var err error
		if data, err = json.Marshal(body); err != nil {
			t.Fatal(err)
		}
	}
	w := s.ask(method, path, data)
	if w.Code != status {
		t.Fatalf("%s %s: %d, want %d: %s", method, path, w.Code, status, w.Body)
	}
	if status >= 400 {
		var p struct{ Detail string }
		if err := json.Unmarshal(w.Body.Bytes(), &p); err != nil {
			t.Fatal(err)
		}
		if !strings.HasSuffix(p.Detail, ".") && !strings.HasSuffix(p.Detail, "?") {
			t.Errorf("no sentence: %q", p.Detail)
		}
		return p.Detail
	}
	if out != nil {
		if err := json.Unmarshal(w.Body.Bytes(), out); err != nil {
			t.Fatalf("%s %s: %v: %s", method, path, err, w.Body)
		}
	}
	return ""
}

func ask(t web.UnknownTable, answers map[string]string) web.TableName {
	return web.TableName{Upload: t.Upload, Path: t.Path, Inside: t.Inside, Sheet: t.Sheet, Answers: answers}
}

func TestTableExplained(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	done := s.readFiles(t, map[string]string{"stick/Monitor 01.csv": german, "stick/read.me": "\x00\x01 nothing"})
	if len(done.Tables) != 1 || done.Tables[0].Path != "Monitor 01.csv" || !strings.Contains(strings.Join(done.Tables[0].Lines, "\n"), "0,5 | 1,25") {
		t.Fatalf("%+v", done)
	}
	for _, u := range done.Unused {
		if strings.Contains(u, "Monitor") {
			t.Errorf("what can be explained is called unused: %s", u)
		}
	}
	tab := done.Tables[0]
	var waiting web.UnknownTables
	s.send(t, http.MethodGet, "/api/v1/tables", nil, http.StatusOK, &waiting)
	if len(waiting.Tables) != 1 {
		t.Fatalf("%+v", waiting)
	}

	answers := map[string]string{}
	var p web.ProposalView
	propose := func() {
		t.Helper()
		p = web.ProposalView{}
		s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(tab, answers), http.StatusOK, &p)
	}
	propose()
	if p.Ready || len(p.Columns) != 6 || len(p.Lines) != 4 || p.Lines[0][1] != "0,5" || p.Box != "monitor" || !strings.Contains(p.Written, "a semicolon, decimal comma") {
		t.Fatalf("%+v", p)
	}
	by := map[string]web.ColumnView{}
	for _, o := range p.Offers {
		by[o.Column] = o
	}
	if o := by["Reihe {n} Fehlstellen [%]"]; o.Count != 3 || o.State != recipe.Certain || o.Quantity != "skip_fraction" || o.Part != "row {n}" || o.Way != "%" || !o.ByRow {
		t.Errorf("%+v", o)
	}
	if o := by["Motor"]; o.State != recipe.Unread || o.Quantity != "none" || o.Sure != "not read" {
		t.Errorf("%+v", o)
	}
	if o := by["time"]; o.Quantity != "time" {
		t.Errorf("%+v", o)
	}
	open := map[string]web.QuestionView{}
	for _, q := range p.Questions {
		open[q.ID] = q
		if strings.Contains(q.Text, "--") {
			t.Errorf("speaks of the command line: %s", q.Text)
		}
	}
	if len(open["zone"].Options) != 2 || len(open["column Schardruck [kg]"].Options) < 2 || len(open["rows"].Options) != 2 {
		t.Fatalf("%+v", p.Questions)
	}
	if says := s.send(t, http.MethodPost, "/api/v1/recipes", web.TableName{Upload: tab.Upload, Path: tab.Path, Box: "row monitor", Answers: answers}, http.StatusUnprocessableEntity, nil); !strings.Contains(says, "still open") {
		t.Error(says)
	}

	answers["zone"] = "America/Chicago"
	answers["rows"] = "left"
	answers["column Schardruck [kg]"] = "gauge_wheel_load, machine, kg"
	propose()
	if !p.Ready || p.Error != "" || len(p.Questions) > 0 || len(p.Answered) != 3 {
		t.Fatalf("%+v", p)
	}
	if m := p.Preview; len(m) != 3 || m[0].Time != "2:05:01 pm" || m[0].Day != "May 2, 2026" || strings.Join(m[0].Says, "; ") != "row 1 skips 0.5 %; row 2 skips 1.25 %; row 3 skips 0 %; gauge-wheel load 212.1 lb" {
		t.Errorf("%+v", m)
	}
	if v := p.Offers[1].Values; strings.Join(v, ", ") != "row 1 skips 0.5 %, row 2 skips 1.25 %, row 3 skips 0 %" {
		t.Errorf("%q", v)
	}

	var kept web.Kept
	in := ask(tab, answers)
	if says := s.send(t, http.MethodPost, "/api/v1/recipes", in, http.StatusUnprocessableEntity, nil); !strings.Contains(says, "name") {
		t.Error(says)
	}
	in.Box = "row monitor"
	s.send(t, http.MethodPost, "/api/v1/recipes", in, http.StatusOK, &kept)
	if kept.Name != "row-monitor" || len(kept.Jobs) != 1 {
		t.Fatalf("%+v", kept)
	}
	done = s.await(t, kept.Jobs[0].ID)
	if len(done.Tables) != 0 || len(done.Sources) != 1 || done.Sources[0].Name != "row monitor" || done.Sources[0].Grade != evenstand.GradeB {
		t.Fatalf("%+v", done)
	}
	if says := s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(tab, nil), http.StatusNotFound, nil); !strings.Contains(says, "Drop the file again") {
		t.Error(says)
	}

	// The list, the file, forgetting, and taking that back.
	var l web.RecipeList
	s.send(t, http.MethodGet, "/api/v1/recipes", nil, http.StatusOK, &l)
	if len(l.Recipes) != 1 || l.Recipes[0].Box != "row monitor" || !strings.Contains(strings.Join(l.Recipes[0].Reads, "\n"), "skips of each row, in %") {
		t.Fatalf("%+v", l)
	}
	text := l.Recipes[0].Text
	if got := string(s.get(t, "/api/v1/recipes/row-monitor/file", http.StatusOK)); got != text {
		t.Errorf("%s", got)
	}
	s.get(t, "/api/v1/recipes/..%2fbook/file", http.StatusNotFound)
	s.send(t, http.MethodDelete, "/api/v1/recipes/nobody", nil, http.StatusNotFound, nil)
	s.send(t, http.MethodDelete, "/api/v1/recipes/row-monitor", nil, http.StatusOK, &l)
	if len(l.Recipes) != 0 || len(b.Recipes()) != 0 {
		t.Fatalf("%+v", l)
	}
	s.send(t, http.MethodPost, "/api/v1/recipes/bring", map[string]string{"name": "row-monitor.toml", "text": text}, http.StatusOK, &kept)
	if len(b.Recipes()) != 1 || string(b.Recipes()[0].Data) != text {
		t.Error("it is not as it was")
	}
}

// A recipe that is brought reads what waits.
func TestRecipeBrought(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	tab := s.readFiles(t, map[string]string{"a.csv": german}).Tables[0]
	answers := map[string]string{"zone": "UTC", "rows": "left", "column Schardruck [kg]": "none"}
	var p web.ProposalView
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(tab, answers), http.StatusOK, &p)
	if !p.Ready {
		t.Fatalf("%+v", p)
	}
	bring := func(name, text string, status int) (k web.Kept, says string) {
		t.Helper()
		says = s.send(t, http.MethodPost, "/api/v1/recipes/bring", map[string]string{"name": name, "text": text}, status, &k)
		return k, says
	}
	for _, name := range []string{"../evil.toml", "a/b.toml", ".toml", "C:\\x.toml", "x.exe", "a\x00.toml", "nul\n.toml"} {
		bring(name, p.Recipe, http.StatusUnprocessableEntity)
	}
	if _, says := bring("x.toml", "recipe = 9\n", http.StatusUnprocessableEntity); !strings.Contains(says, "newer version") {
		t.Error(says)
	}
	if len(b.Recipes()) != 0 {
		t.Fatalf("%+v", b.Recipes())
	}
	k, _ := bring("neighbour.toml", p.Recipe, http.StatusOK)
	if len(k.Jobs) != 1 {
		t.Fatalf("%+v", k)
	}
	if done := s.await(t, k.Jobs[0].ID); len(done.Sources) != 1 || done.Sources[0].Name != "a" && done.Sources[0].Name != "box" {
		t.Errorf("%+v", done.Sources)
	}
	if _, says := bring("neighbour.toml", strings.Replace(p.Recipe, "UTC", "America/Chicago", 1), http.StatusUnprocessableEntity); !strings.Contains(says, "Forget that one first") {
		t.Error(says)
	}
	if _, says := bring("other.toml", strings.Replace(p.Recipe, "UTC", "America/Chicago", 1), http.StatusUnprocessableEntity); !strings.Contains(says, "the same tables") {
		t.Error(says)
	}
}

// What is no answer, no question and no column is refused with a sentence, and
// hostile names stay what they are.
func TestAnswersRefused(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	hostile := "time;<script>alert(1)</script>;=cmd|' /C calc'!A0;../../etc/passwd;\"a\"\"b\";" + strings.Repeat("x", 5000) + "\n"
	for i := range 4 {
		hostile += fmt.Sprintf("2026-05-02 14:05:0%d;1,5;2;3;4;5\n", i)
	}
	done := s.readFiles(t, map[string]string{"folder/h.csv": hostile, "folder/g.csv": german})
	if len(done.Tables) != 2 {
		t.Fatalf("%+v", done)
	}
	byPath := map[string]web.UnknownTable{}
	for _, x := range done.Tables {
		byPath[x.Path] = x
	}
	h, g := byPath["h.csv"], byPath["g.csv"]
	for _, tt := range []struct {
		answers map[string]string
		want    string
	}{
		{map[string]string{"zone": "Mars/Base"}, "none of the answers"},
		{map[string]string{"rows": "upwards"}, "none of the answers"},
		{map[string]string{"weather": "fine"}, "no question"},
		{map[string]string{"column Nowhere": "vacuum, machine, kPa"}, "no column"},
	} {
		if says := s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(g, tt.answers), http.StatusUnprocessableEntity, nil); !strings.Contains(says, tt.want) {
			t.Errorf("%v: %s", tt.answers, says)
		}
	}
	var p web.ProposalView
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(g, map[string]string{"column Motor": "vacuum, machine, lbf"}), http.StatusOK, &p)
	if p.Ready || !strings.HasPrefix(p.Error, `"Motor": `) || strings.Contains(p.Error, "--") {
		t.Errorf("%q", p.Error)
	}
	p = web.ProposalView{}
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(g, map[string]string{"column Motor": "suction"}), http.StatusOK, &p)
	if want := `"Motor": the quantity "suction" is not known`; !strings.HasPrefix(p.Error, want) || !strings.HasSuffix(p.Error, "Choose one of those that are listed above the column.") {
		t.Errorf("%q", p.Error)
	}
	p = web.ProposalView{}
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(g, map[string]string{"column Motor": "latitude"}), http.StatusOK, &p)
	if want := `"Motor": a place needs both. Say which column is the longitude too, by the choice above it.`; p.Error != want {
		t.Errorf("%q, want %q", p.Error, want)
	}
	p = web.ProposalView{}
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(h, nil), http.StatusOK, &p)
	if p.Ready || len(p.Columns) != 6 || len([]rune(p.Columns[5].Name)) > 61 {
		t.Errorf("%+v", p)
	}
	answers := map[string]string{"zone": "UTC", "column <script>alert(1)</script>": "vacuum, machine, kPa", `column a"b`: "ground_speed, machine, km/h"}
	in := ask(h, answers)
	in.Box = "../../<b>"
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", in, http.StatusOK, &p)
	if !p.Ready || strings.Join(p.Preview[0].Says, "; ") != "vacuum 6.022 in of water; ground speed 2.485 mph" {
		t.Errorf("%+v", p)
	}
	var k web.Kept
	s.send(t, http.MethodPost, "/api/v1/recipes", in, http.StatusOK, &k)
	if k.Name != "b" || len(b.Recipes()) != 1 {
		t.Errorf("%+v", k)
	}
	// The other table of the same upload waits on.
	if done := s.await(t, k.Jobs[0].ID); len(done.Tables) != 1 || done.Tables[0].Path != "g.csv" {
		t.Errorf("%+v", done.Tables)
	}
	in = ask(g, nil)
	for _, change := range []func(*web.TableName){
		func(n *web.TableName) { n.Path = "../../evenstand.toml" },
		func(n *web.TableName) { n.Inside = "x" },
		func(n *web.TableName) { n.Upload = "../" + n.Upload },
	} {
		x := in
		change(&x)
		s.send(t, http.MethodPost, "/api/v1/recipes/propose", x, http.StatusNotFound, nil)
	}
	// Given up, it is gone.
	s.send(t, http.MethodDelete, "/api/v1/uploads/"+g.Upload, nil, http.StatusOK, nil)
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", in, http.StatusNotFound, nil)
	var waiting web.UnknownTables
	s.send(t, http.MethodGet, "/api/v1/tables", nil, http.StatusOK, &waiting)
	if len(waiting.Tables) != 0 {
		t.Errorf("%+v", waiting)
	}
}

// A recipe that was changed or forgotten leaves something for the next reading to
// take up, which the logbook says.
func TestStaleAfterARecipeChanged(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	stale := func() bool {
		t.Helper()
		var i web.BookInfo
		s.send(t, http.MethodGet, "/api/v1/book", nil, http.StatusOK, &i)
		return i.Stale
	}
	name := ask(s.readFiles(t, map[string]string{"Monitor.csv": german}).Tables[0], map[string]string{"zone": "UTC", "rows": "left", "column Schardruck [kg]": "gauge_wheel_load, machine, kg"})
	name.Box = "monitor"
	var k web.Kept
	s.send(t, http.MethodPost, "/api/v1/recipes", name, http.StatusOK, &k)
	s.await(t, k.Jobs[0].ID)
	if stale() {
		t.Error("something is left after reading")
	}
	s.send(t, http.MethodDelete, "/api/v1/recipes/monitor", nil, http.StatusOK, nil)
	if !stale() {
		t.Error("nothing is left after a recipe was forgotten")
	}
	var j web.Job
	s.send(t, http.MethodPost, "/api/v1/settle", nil, http.StatusOK, &j)
	s.await(t, j.ID)
	if stale() {
		t.Error("something is left after reading again")
	}
}
