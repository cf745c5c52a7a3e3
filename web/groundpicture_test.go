package web_test

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"net/http"
	"net/url"
	"testing"

	"pgregory.net/rapid"

	"evenstand/core/ground"
	"evenstand/web"
)

// picture is one as it comes.
type picture struct {
	W, H        int
	Box, Fitted []float64
	Level       int
	Classes     int
	Measure     string
	class       []byte
}

func readPicture(t testing.TB, data []byte) picture {
	t.Helper()
	if len(data) < 8 || string(data[:4]) != "EVC1" {
		t.Fatalf("no columns: %q", data[:min(len(data), 40)])
	}
	n := int(binary.LittleEndian.Uint32(data[4:]))
	var head struct {
		Columns []struct {
			Name, Type string
			N, At      int
		}
		Meta picture
	}
	if err := json.Unmarshal(data[8:8+n], &head); err != nil {
		t.Fatal(err)
	}
	p := head.Meta
	if len(head.Columns) != 1 || head.Columns[0].Name != "class" || head.Columns[0].Type != "u8" || head.Columns[0].N != p.W*p.H {
		t.Fatalf("%+v", head)
	}
	p.class = data[8+n+head.Columns[0].At:][:p.W*p.H]
	return p
}

// place gives the middle of a pixel.
func (p *picture) place(x, y int) (lat, lon float64) {
	mx := p.Box[0] + (p.Box[2]-p.Box[0])*(float64(x)+0.5)/float64(p.W)
	my := p.Box[1] + (p.Box[3]-p.Box[1])*(float64(y)+0.5)/float64(p.H)
	return math.Atan(math.Sinh((1-2*my)*math.Pi)) * 180 / math.Pi, mx*360 - 180
}

// inner tells whether the pixels up to d beside one are like it.
func (p *picture) inner(x, y, d int) bool {
	if x < d || y < d || x >= p.W-d || y >= p.H-d {
		return false
	}
	for dy := -d; dy <= d; dy++ {
		for dx := -d; dx <= d; dx++ {
			if p.class[(y+dy)*p.W+x+dx] != p.class[y*p.W+x] {
				return false
			}
		}
	}
	return true
}

func (p *picture) painted() int {
	n := 0
	for _, v := range p.class {
		if v != 0 {
			n++
		}
	}
	return n
}

// classOf gives which class of a legend a value is in, counted from 1.
func classOf(l *web.Legend, v float64) byte {
	n := byte(1)
	for _, c := range l.Classes[1:] {
		if v >= float64(c.From) {
			n++
		}
	}
	return n
}

// bends are passes of which the second lies partly upon the first.
func bends(int) []driven {
	const turn = 60.0
	return []driven{
		northward(95, -30, -50),
		{turn * math.Pi / 2, func(s float64) (float64, float64, float64) {
			a := s / turn
			return -25 + turn*(1-math.Cos(a)), turn*math.Sin(a) - 30, a * 180 / math.Pi
		}},
	}
}

// What a pixel says is what is at its place.
func TestPictureSaysWhatIsThere(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 16, bends))
	var v web.GroundView
	if err := json.Unmarshal(s.get(t, "/api/v1/ground?measure=skips", http.StatusOK), &v); err != nil {
		t.Fatal(err)
	}
	p := readPicture(t, s.get(t, "/api/v1/ground/picture?measure=skips&width=900&height=700", http.StatusOK))
	if p.Level != 18 || p.Classes != len(v.Legend.Classes) || p.Measure != "skips" {
		t.Fatalf("level %d, %d classes of %s", p.Level, p.Classes, p.Measure)
	}
	painted, bare := 0, 0
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 2000 {
		x, y := rnd.IntN(p.W), rnd.IntN(p.H)
		if !p.inner(x, y, 2) {
			continue // near an edge, 0.3 m at a stretch's end, it is of one side or the other
		}
		lat, lon := p.place(x, y)
		var at web.GroundAt
		if err := json.Unmarshal(s.get(t, fmt.Sprintf("/api/v1/ground/at?measure=skips&lat=%.10f&lon=%.10f", lat, lon), http.StatusOK), &at); err != nil {
			t.Fatal(err)
		}
		want := byte(0)
		if at.Found {
			want = classOf(&v.Legend, float64(at.Values[0].Value))
			painted++
		} else {
			bare++
		}
		if got := p.class[y*p.W+x] &^ 0x80; got != want {
			t.Fatalf("pixel %d %d: class %d, want %d: %+v", x, y, got, want, at)
		}
	}
	if painted < 100 || bare < 300 {
		t.Errorf("%d places with cells and %d without were looked at", painted, bare)
	}
}

// At every level a picture shows the cells of the tiles: the last of them that
// holds a pixel's middle, hatched where any of them is.
func TestPictureShowsTheTiles(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 16, bends))
	for _, measure := range []string{"skips", "load"} {
		var v web.GroundView
		if err := json.Unmarshal(s.get(t, "/api/v1/ground?measure="+measure, http.StatusOK), &v); err != nil {
			t.Fatal(err)
		}
		for z := 15; z <= 18; z++ {
			lat, lon := frame.ToGlobal(-15, 10)
			tile := tileAt(lat, lon, z)
			north, west := tile.place(0, 0)
			south, east := tile.place(1, 1)
			// A little more than the tile's own pixels, so that it is drawn at no lesser level.
			p := readPicture(t, s.get(t, fmt.Sprintf("/api/v1/ground/picture?measure=%s&width=530&height=530&box=%.12f,%.12f,%.12f,%.12f", measure, west, south, east, north), http.StatusOK))
			if p.Level != z {
				t.Fatalf("level %d, want %d", p.Level, z)
			}
			cells := cellsOf(t, s, frame, measure, tile)
			looked, hatched := 0, 0
			for y := 1; y < p.H-1; y += 2 {
				for x := 1; x < p.W-1; x += 2 {
					if !p.inner(x, y, 1) {
						continue
					}
					la, lo := p.place(x, y)
					e, n := frame.ToLocal(la, lo)
					want, few := byte(0), byte(0)
					for _, c := range cells {
						if holds(c.ring, e, n) {
							want = classOf(&v.Legend, c.value)
							if c.few {
								few = 0x80
							}
						}
					}
					if got := p.class[y*p.W+x]; got != want|few {
						t.Fatalf("%s, level %d, pixel %d %d: %#x, want %#x", measure, z, x, y, got, want|few)
					}
					if want != 0 {
						looked++
					}
					if few != 0 {
						hatched++
					}
				}
			}
			if looked == 0 || z > 15 && hatched == 0 {
				t.Errorf("%s, level %d: %d pixels with cells, %d hatched", measure, z, looked, hatched)
			}
		}
	}
}

// holds tells whether a ring goes around a place (even-odd rule).
func holds(ring []ground.Point, x, y float64) bool {
	in := false
	for i, a := range ring {
		b := ring[(i+1)%len(ring)]
		if (a[1] > y) != (b[1] > y) && x < a[0]+(b[0]-a[0])*(y-a[1])/(b[1]-a[1]) {
			in = !in
		}
	}
	return in
}

// Far out, where a cell is less than a pixel, it still shows; a picture is of
// what is asked for, fitted into its size.
func TestPictureFits(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 2, 16, bends))
	far := readPicture(t, s.get(t, "/api/v1/ground/picture?measure=skips&width=64&height=64&box=-100,36,-87,48", http.StatusOK))
	if n := far.painted(); n < 1 || n > 4 {
		t.Errorf("from afar %d pixels are painted", n)
	}
	x, y := (-93.61+180)/360, 0.5-math.Asinh(math.Tan(42.03*math.Pi/180))/(2*math.Pi)
	if i, j := int((x-far.Box[0])/(far.Box[2]-far.Box[0])*64), int((y-far.Box[1])/(far.Box[3]-far.Box[1])*64); far.class[j*64+i] == 0 {
		t.Errorf("nothing at %d, %d", i, j)
	}
	beside := readPicture(t, s.get(t, "/api/v1/ground/picture?measure=skips&width=64&height=64&box=-92,42,-91.9,42.1", http.StatusOK))
	if n := beside.painted(); n != 0 {
		t.Errorf("beside the field %d pixels are painted", n)
	}
	rapid.Check(t, func(r *rapid.T) {
		w, h, m := rapid.IntRange(16, 2048).Draw(r, "w"), rapid.IntRange(16, 2048).Draw(r, "h"), 0
		if min(w, h) > 80 {
			m = rapid.IntRange(0, 32).Draw(r, "margin")
		}
		p := readPicture(t, s.get(t, fmt.Sprintf("/api/v1/ground/picture?measure=skips&width=%d&height=%d&margin=%d", w, h, m), http.StatusOK))
		px, py := (p.Box[2]-p.Box[0])/float64(w), (p.Box[3]-p.Box[1])/float64(h)
		near := func(a, b float64) bool { return math.Abs(a-b) < 1e-6*px }
		if math.Abs(px-py) > 1e-6*px {
			r.Fatalf("pixels of %g by %g", px, py)
		}
		if !near(p.Box[0]+p.Box[2], p.Fitted[0]+p.Fitted[2]) || !near(p.Box[1]+p.Box[3], p.Fitted[1]+p.Fitted[3]) {
			r.Fatalf("%v is not about %v", p.Box, p.Fitted)
		}
		left, top := p.Box[0]+float64(m)*px, p.Box[1]+float64(m)*px
		if !near(left, p.Fitted[0]) && !near(top, p.Fitted[1]) || left > p.Fitted[0]+1e-6*px || top > p.Fitted[1]+1e-6*px {
			r.Fatalf("%v does not just hold %v", p.Box, p.Fitted)
		}
		if p.painted() == 0 {
			r.Fatal("nothing is painted")
		}
	})
	// By hand: 512 pixels are a tile of level 16 wide.
	if p := readPicture(t, s.get(t, "/api/v1/ground/picture?measure=skips&width=512&height=512&nearest=16", http.StatusOK)); math.Abs((p.Box[2]-p.Box[0])*(1<<16)-1) > 1e-6 || p.Level != 16 {
		t.Errorf("no nearer than 16: level %d, %g wide", p.Level, p.Box[2]-p.Box[0])
	}
	other := readPicture(t, s.get(t, "/api/v1/ground/picture?measure=skips&width=64&height=64&to=2026-04-30", http.StatusOK))
	if other.painted() != 0 || len(other.Box) != 0 {
		t.Errorf("on no day: %d pixels, box %v", other.painted(), other.Box)
	}
}

func TestPictureRefuses(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	for query, status := range map[string]int{
		"measure=nonsense&width=64&height=64":        http.StatusUnprocessableEntity,
		"width=64":                                   http.StatusUnprocessableEntity,
		"width=15&height=64":                         http.StatusUnprocessableEntity,
		"width=64&height=15":                         http.StatusUnprocessableEntity,
		"width=2049&height=64":                       http.StatusUnprocessableEntity,
		"width=64&height=2049":                       http.StatusUnprocessableEntity,
		"width=16&height=2048":                       http.StatusOK,
		"width=64&height=64&margin=-1":               http.StatusUnprocessableEntity,
		"width=64&height=64&margin=257":              http.StatusUnprocessableEntity,
		"width=64&height=64&nearest=25":              http.StatusUnprocessableEntity,
		"width=64&height=64&margin=200":              http.StatusOK,
		"width=64&height=64&nearest=0":               http.StatusOK,
		"width=64&height=64&box=1,2,3":               http.StatusUnprocessableEntity,
		"width=64&height=64&box=3,2,1,4":             http.StatusUnprocessableEntity,
		"width=64&height=64&box=1,2,3,NaN":           http.StatusUnprocessableEntity,
		"width=64&height=64&box=1,2,3,90":            http.StatusUnprocessableEntity,
		"width=64&height=64&box=1,2,Inf,4":           http.StatusUnprocessableEntity,
		"width=64&height=64&box=1,2,1.0000000001,60": http.StatusOK,
		"width=64&height=64&field=nowhere":           http.StatusOK,
		"width=64&height=64&finding=none":            http.StatusOK,
		"width=64&height=64&measure=liquid":          http.StatusOK,
	} {
		s.get(t, "/api/v1/ground/picture?"+query, status)
	}
	p := readPicture(t, serve(t, emptyBook(t)).get(t, "/api/v1/ground/picture?width=64&height=32", http.StatusOK))
	if p.painted() != 0 || p.W != 64 || p.H != 32 || len(p.Box) != 0 || len(p.Fitted) != 0 {
		t.Errorf("an empty logbook: %+v", p)
	}
}

// The picture of a finding is of its way, and of the measure that shows it.
func TestPictureOfAFinding(t *testing.T) {
	s := serve(t, plantedBook(t))
	var v web.GroundView
	if err := json.Unmarshal(s.get(t, "/api/v1/ground", http.StatusOK), &v); err != nil || len(v.Findings) == 0 {
		t.Fatalf("%d findings, %v", len(v.Findings), err)
	}
	for _, f := range v.Findings {
		var of web.GroundView
		query := url.Values{"finding": {f.ID}, "width": {"400"}, "height": {"300"}}.Encode()
		if err := json.Unmarshal(s.get(t, "/api/v1/ground?"+query, http.StatusOK), &of); err != nil {
			t.Fatal(err)
		}
		p := readPicture(t, s.get(t, "/api/v1/ground/picture?"+query, http.StatusOK))
		if p.Measure != of.Measure.ID {
			t.Errorf("%s: of %s, want %s", f.Sentence, p.Measure, of.Measure.ID)
		}
		if p.painted() == 0 {
			t.Errorf("%s: nothing is painted", f.Sentence)
		}
		for _, w := range f.Way.Coordinates.([]any) {
			for _, c := range w.([]any) {
				x := (c.([]any)[0].(float64) + 180) / 360
				if x < p.Fitted[0]-1e-12 || x > p.Fitted[2]+1e-12 {
					t.Errorf("%s: its way is not in the picture", f.Sentence)
				}
			}
		}
	}
}

// A picture that a browser has stays until what it shows changes, units too:
// the classes of the legend are round in them.
func TestPictureTag(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	const path = "/api/v1/ground/picture?measure=load&width=200&height=200"
	first := s.ask(http.MethodGet, path, nil)
	tag := first.Header().Get("ETag")
	if first.Code != http.StatusOK || tag == "" {
		t.Fatalf("%d, tag %q", first.Code, tag)
	}
	have := func(r *http.Request) { r.Header.Set("If-None-Match", tag) }
	if again := s.ask(http.MethodGet, path, nil, have); again.Code != http.StatusNotModified || again.Body.Len() != 0 {
		t.Errorf("the same tag: %d, %d bytes", again.Code, again.Body.Len())
	}
	for _, units := range []string{"metric", "us"} {
		if r := s.ask(http.MethodPatch, "/api/v1/settings", []byte(`{"units":"`+units+`"}`)); r.Code != http.StatusOK {
			t.Fatalf("%d: %s", r.Code, r.Body)
		}
		var v web.GroundView
		if err := json.Unmarshal(s.get(t, "/api/v1/ground?measure=load", http.StatusOK), &v); err != nil {
			t.Fatal(err)
		}
		w := s.ask(http.MethodGet, path, nil, have)
		if w.Code != http.StatusOK {
			t.Fatalf("%s: %d", units, w.Code)
		}
		if p := readPicture(t, w.Body.Bytes()); p.Classes != len(v.Legend.Classes) {
			t.Errorf("%s: %d classes, want %d", units, p.Classes, len(v.Legend.Classes))
		}
	}
}
