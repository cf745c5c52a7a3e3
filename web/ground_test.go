package web_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
	"evenstand/core/ground"
	"evenstand/core/measure/group"
	"evenstand/pipeline"
	"evenstand/web"
	"evenstand/web/mvt/mvttest"
)

const groundSpacing = 0.762

// driven is a made-up pass: its way from s = 0 to long, in a frame of metres.
type driven struct {
	long float64
	at   func(s float64) (e, n, heading float64)
}

// madeUp is a deriver that knows nothing of the logs: on every day the same
// passes, of which row r skips r × k of 100 places on stretch k.
func madeUp(frame ground.Frame, rows int, ways func(day int) []driven) book.Deriver {
	return func(_ context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		t := evenstand.FromTime(time.Date(2026, 5, 1, 13, 0, 0, 0, time.UTC))
		for _, s := range day.Streams {
			if s.Seeds != nil {
				_ = s.Seeds(func(x []evenstand.Seed) bool { t = x[0].T; return false })
			}
		}
		res := pipeline.Result{AsOf: t, Until: evenstand.NoTime}
		offset := 1000.0 // of the day's metres
		var track []evenstand.TrackPoint
		var ss []evenstand.Stretch
		nan := float32(math.NaN())
		all := ways(t.Time().Day())
		for i, w := range all {
			p := evenstand.Pass{Index: int32(i), Key: fmt.Sprintf("%s/%d", day.Date, i), Number: i + 1, Planter: day.Planter, Field: evenstand.Unassigned, Start: t, S0: offset, S1: offset + w.long}
			track, ss = track[:0], ss[:0]
			step := 0.45
			n := int(math.Ceil(w.long / step))
			for j := -3; j <= n+3; j++ {
				s := float64(j) * step
				e, north, heading := w.at(s)
				lat, lon := frame.ToGlobal(e, north)
				pass := p.Index
				if s < 0 || s > w.long {
					pass = -1
				}
				track = append(track, evenstand.TrackPoint{T: t + evenstand.FromSeconds((s+2)/2), Pass: pass, Lat: lat, Lon: lon, S: offset + s, Heading: heading, Speed: 2, SD: 0.02})
			}
			p.Start, p.End = t+evenstand.FromSeconds(1), t+evenstand.FromSeconds(w.long/2+1)
			t += evenstand.FromSeconds(w.long/2 + 20)
			offset += w.long + 50
			stretches := int(math.Ceil(w.long / evenstand.StretchLength))
			for row := 1; row <= rows; row++ {
				for k := range stretches {
					length := min(evenstand.StretchLength, w.long-float64(k)*evenstand.StretchLength)
					ss = append(ss, evenstand.Stretch{
						Pass: p.Index, Row: int16(row), K: int32(k), Length: float32(length), Way: float32(length), T: p.Start, Grade: evenstand.GradeA,
						Due: 100, Seeds: 100, Skips: float32(row * k % 100), Target: nan, LoadP5: nan, Liquid: nan, Granular: nan, PosError: nan,
						Load:  evenstand.Moments{N: 10, Sum: 10 * float64(400+row), M2: 5},
						Speed: evenstand.Moments{N: 10, Sum: 20, M2: 0.1},
					})
					if len(all) == 1 { // everything that can be logged, each told from the others
						st, x := &ss[len(ss)-1], float64(row*100+k)
						st.Doubles, st.Liquid, st.Granular = float32(k), float32(x)/1e5, float32(x)/1e4
						st.Singles = evenstand.Moments{N: 90, Sum: 90 * 0.16, M2: 0.01 + x*1e-5}
						for i, m := range []*evenstand.Moments{&st.Force, &st.Moisture, &st.Temperature, &st.Trash, &st.OffShare, &st.Vacuum} {
							*m = evenstand.Moments{N: float64(5 + i), Sum: x * float64(1+i), M2: 1}
						}
					}
				}
			}
			if err := out.Pass(p, nil, ss, nil); err != nil {
				return res, err
			}
			if err := out.Track(track); err != nil {
				return res, err
			}
		}
		return res, nil
	}
}

func groundBook(t testing.TB, frame ground.Frame, days, rows int, ways func(day int) []driven) *book.Book {
	t.Helper()
	return groundBookOf(t, frame, days, rows, "", ways)
}

// groundBookOf is one with more on the planter's card.
func groundBookOf(t testing.TB, frame ground.Frame, days, rows int, more string, ways func(day int) []driven) *book.Book {
	t.Helper()
	dir, in := filepath.Join(t.TempDir(), "spring"), t.TempDir()
	set := evenstand.NewSettings()
	set.Name, set.Zone = "spring", "America/Chicago"
	card := fmt.Sprintf("card = 1\nname = \"made up\"\nrows = %d\nrow_spacing_m = %g\n%s", rows, groundSpacing, more)
	if err := book.Create(dir, set, []book.File{{Name: "card.toml", Data: []byte(card)}}, nil); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(in, "season.gen"), fmt.Appendf(nil, "%d 1 1 2 7", days), 0o600); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(dir, book.Options{Derive: madeUp(frame, rows, ways)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = b.Close() })
	if _, err := b.Read(context.Background(), []string{in}, []evenstand.Format{booktest.Season{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	return b
}

// cell is a cell of a tile, its corners in the frame.
type cell struct {
	value, n float64
	few      bool
	ring     []ground.Point
	area     float64
}

// tile is one of the square of web maps: 2^z x 2^z of them.
type tile struct{ x, y, z int }

// tileAt gives the tile of a place.
// Source: OpenStreetMap wiki, Slippy map tilenames.
func tileAt(lat, lon float64, z int) tile {
	n := math.Ldexp(1, z)
	r := lat * math.Pi / 180
	return tile{int((lon + 180) / 360 * n), int((1 - math.Log(math.Tan(r)+1/math.Cos(r))/math.Pi) / 2 * n), z}
}

// place gives what lies at a place of the tile, counted in its sides.
func (t tile) place(x, y float64) (lat, lon float64) {
	n := math.Ldexp(1, t.z)
	return math.Atan(math.Sinh((1-2*(float64(t.y)+y)/n)*math.Pi)) * 180 / math.Pi, (float64(t.x)+x)/n*360 - 180
}

func cellsOf(t *testing.T, s *served, frame ground.Frame, measure string, tile tile) []cell {
	t.Helper()
	data := s.get(t, fmt.Sprintf("/api/v1/ground/tiles/%s/%d/%d/%d", measure, tile.z, tile.x, tile.y), http.StatusOK)
	if len(data) == 0 {
		return nil
	}
	layers, err := mvttest.Read(data)
	if err != nil || len(layers) != 1 || layers[0].Name != "cells" || layers[0].Extent != 4096 {
		t.Fatalf("tile %v: %d layers, %v", tile, len(layers), err)
	}
	var out []cell
	for _, f := range layers[0].Features {
		c := cell{value: f.Properties["value"].(float64), n: f.Properties["n"].(float64), few: f.Properties["few"].(bool)}
		for _, p := range f.Ring {
			lat, lon := tile.place(float64(p[0])/4096, float64(p[1])/4096)
			e, north := frame.ToLocal(lat, lon)
			c.ring = append(c.ring, ground.Point{e, north})
		}
		c.area = ground.Polygon{c.ring}.Area()
		out = append(out, c)
	}
	return out
}

// tileMiddle is a place in Iowa in the middle of a tile of level 18, so that a
// pass of 40 m about it lies in that one.
func tileMiddle() (ground.Frame, tile) {
	tile := tileAt(42.03, -93.61, 18)
	return ground.NewFrame(tile.place(0.5, 0.5)), tile
}

func northward(long, fromE, fromN float64) driven {
	return driven{long, func(s float64) (float64, float64, float64) { return fromE, fromN + s, 0 }}
}

// seamAt is how much wider the bar is drawn to each side: half a pixel of the
// level, a quarter of a metre at most. A pixel of level 0 is 40,075 km / 512.
func seamAt(z int) float64 {
	return min(0.25, 0.5*40075016.686/512*math.Cos(42.03*math.Pi/180)/math.Exp2(float64(z)))
}

func TestGroundCellsLieWhereTheRowsLie(t *testing.T) {
	frame, tile := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 16, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	cells := cellsOf(t, s, frame, "skips", tile)
	// 40 m are two stretches of 15 m and one of 10, of 16 rows.
	if len(cells) != 48 {
		t.Fatalf("%d cells, want 48", len(cells))
	}
	// By hand: row r of 16 lies (r - 8.5) x 0.762 m right of the middle, and
	// skips r x k of its 100 places.
	corners := func(row, k int) (w, s, e, n float64) {
		y := (float64(row) - 8.5) * groundSpacing
		w, e = y-groundSpacing/2, y+groundSpacing/2
		switch row {
		case 1:
			w -= seamAt(18)
		case 16:
			e += seamAt(18)
		}
		return w, -20 + 15*float64(k), e, -20 + min(40, 15*float64(k+1))
	}
	const unit = 114.0 / 4096 // m, what the tile's whole numbers can tell apart
	area := 0.0
	for _, c := range cells {
		area += c.area
		w, south, e, n := c.ring[0][0], c.ring[0][1], c.ring[0][0], c.ring[0][1]
		for _, p := range c.ring {
			w, south, e, n = min(w, p[0]), min(south, p[1]), max(e, p[0]), max(n, p[1])
		}
		row, k := int(math.Round((w+e)/2/groundSpacing+8.5)), int(math.Floor((south+21)/15))
		ww, ws, we, wn := corners(row, k)
		for i, d := range []float64{w - ww, south - ws, e - we, n - wn} {
			if math.Abs(d) > unit {
				t.Errorf("row %d stretch %d: side %d lies %.3f m off", row, k, i, d)
			}
		}
		if want := float64(row*k%100) / 100; math.Abs(c.value-want) > 1e-4 {
			t.Errorf("row %d stretch %d: %g, want %g", row, k, c.value, want)
		}
		if c.n != 100 {
			t.Errorf("row %d stretch %d rests on %g places, want 100", row, k, c.n)
		}
	}
	if want := 40 * (16*groundSpacing + 2*seamAt(18)); math.Abs(area-want) > 0.005*want {
		t.Errorf("the cells are %.2f m2, way times spacing and seams is %.2f", area, want)
	}
}

// The box of a pass reaches to the outer sides of its rows wherever they are
// mounted: a planter of four rows that all hang right of the middle is drawn in
// the tiles there, and the box ends with its outermost row.
func TestGroundRowsAside(t *testing.T) {
	frame, mid := tileMiddle()
	y := []float64{40.0, 40.762, 41.524, 60.0}
	s := serve(t, groundBookOf(t, frame, 1, 4, fmt.Sprintf("[geometry]\nrow_y_m = [%g, %g, %g, %g]\n", y[0], y[1], y[2], y[3]), func(int) []driven { return []driven{northward(30, 0, -20)} }))
	rows := map[int]bool{}
	for _, x := range []int{mid.x, mid.x + 1} {
		for _, c := range cellsOf(t, s, frame, "skips", tile{x, mid.y, mid.z}) {
			west, east := c.ring[0][0], c.ring[0][0]
			for _, p := range c.ring {
				west, east = min(west, p[0]), max(east, p[0])
			}
			at := -1
			for i, want := range y {
				if math.Abs((west+east)/2-want) < seamAt(18)/2+0.03 {
					at = i
				}
			}
			if at < 0 {
				t.Errorf("a cell from %.2f to %.2f m is no row's", west, east)
			}
			rows[at] = true
		}
	}
	if len(rows) != 4 {
		t.Errorf("rows drawn: %v, want all four", rows)
	}
	var v web.GroundView
	if err := json.Unmarshal(s.get(t, "/api/v1/ground", http.StatusOK), &v); err != nil {
		t.Fatal(err)
	}
	east, _ := frame.ToLocal(42.03, v.Bounds[2])
	if want := 60 + groundSpacing/2; math.Abs(east-want) > 0.05 {
		t.Errorf("the box ends %.2f m right of the middle, want %.2f", east, want)
	}
}

// A stretch that a pass ended on before it was whole, or on part of which the row
// was off, is hatched; whole ones with much to say are not.
func TestGroundHatchesParts(t *testing.T) {
	frame, tile := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	whole, part := 0, 0
	for _, c := range cellsOf(t, s, frame, "load", tile) {
		south := c.ring[0][1]
		for _, p := range c.ring {
			south = min(south, p[1])
		}
		last := south > 9 // 15 m each from 20 m south of the middle: the third is 10 m long
		if last {
			part++
		} else {
			whole++
		}
		if c.few != last {
			t.Errorf("the stretch from %.1f m: hatched %v, want %v", south, c.few, last)
		}
	}
	if whole != 8 || part != 4 {
		t.Errorf("%d whole and %d in part, want 8 and 4", whole, part)
	}
}

// Two passes with less than a pixel between them touch on every level; a row that
// was left out between two shows.
func TestGroundSeams(t *testing.T) {
	frame, _ := tileMiddle()
	for _, tt := range []struct {
		apart float64
		gap   bool
	}{{0.2, false}, {groundSpacing, true}} {
		wide := 4*groundSpacing + tt.apart
		s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(30, -wide/2, -15), northward(30, wide/2, -15)} }))
		lat, lon := frame.ToGlobal(0, 0)
		for _, z := range []int{16, 17, 18} {
			left, right := math.Inf(-1), math.Inf(1) // of the middle
			for _, c := range cellsOf(t, s, frame, "skips", tileAt(lat, lon, z)) {
				west, east := c.ring[0][0], c.ring[0][0]
				for _, p := range c.ring {
					west, east = min(west, p[0]), max(east, p[0])
				}
				if west+east < 0 {
					left = max(left, east)
				} else {
					right = min(right, west)
				}
			}
			if gap := right - left; gap > 0.03 != tt.gap {
				t.Errorf("level %d: %.2f m between passes that lie %.2f m apart", z, gap, tt.apart)
			}
		}
	}
}

// At every level the cells cover what was planted, once, and their mean is the
// measure's.
func TestGroundLevels(t *testing.T) {
	frame, _ := tileMiddle()
	const turn = 60.0 // m, radius
	ways := func(int) []driven {
		return []driven{
			northward(95, -30, -50),
			{turn * math.Pi / 2, func(s float64) (float64, float64, float64) { // a quarter turn to the right
				a := s / turn
				return 40 + turn*(1-math.Cos(a)), turn * math.Sin(a), a * 180 / math.Pi
			}},
		}
	}
	s := serve(t, groundBook(t, frame, 1, 16, ways))
	c := frame
	lat, lon := c.ToGlobal(0, 0)
	long := 95 + turn*math.Pi/2
	for z := 11; z <= 18; z++ {
		mid := tileAt(lat, lon, z)
		span := 1
		if z == 18 {
			span = 2
		}
		area, sum, n := 0.0, 0.0, 0.0
		seen := map[string]bool{}
		for x := mid.x - span; x <= mid.x+span; x++ {
			for y := mid.y - span; y <= mid.y+span; y++ {
				for _, c := range cellsOf(t, s, frame, "skips", tile{x, y, z}) {
					key := fmt.Sprintf("%.0f %.0f %g", c.ring[0][0]*3, c.ring[0][1]*3, c.value) // a cell on a border is in both tiles
					if z >= 15 && seen[key] {
						continue
					}
					seen[key] = true
					area, sum, n = area+c.area, sum+c.value*c.n, n+c.n
				}
			}
		}
		// Straight sides cut off bends, 1 % at this radius; far out the tile's
		// whole numbers are metres.
		if want := long * (16*groundSpacing + 2*seamAt(z)); z >= 15 && math.Abs(area-want) > 0.02*want {
			t.Errorf("level %d: %.0f m2, planted were %.0f", z, area, want)
		}
		truth, of := 0.0, 0.0
		for _, k := range []int{7, 7} { // ceil(95/15) and ceil(94.2/15)
			for row := 1; row <= 16; row++ {
				for j := range k {
					truth, of = truth+float64(row*j%100), of+100
				}
			}
		}
		if z >= 15 && (math.Abs(n-of) > 1e-3*of || math.Abs(sum-truth) > 2e-3*truth) {
			t.Errorf("level %d: %.1f of %.0f places, want %.0f of %.0f", z, sum, n, truth, of)
		}
		if z < 15 && n == 0 {
			t.Errorf("level %d: nothing", z)
		}
	}
}

func TestGroundAt(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 16, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	for _, c := range []struct {
		e, n  float64
		found bool
		row   int
		s     float64
		skips float64
	}{
		{-0.381, -12, true, 8, 8, 0},      // row 8 is half a spacing left of the middle
		{0.381, 12.5, true, 9, 32.5, .18}, // third stretch: 9 x 2 of 100
		{7.5 * groundSpacing, 0, true, 16, 20, .16},
		{10, 0, false, 0, 0, 0},
		{0, 30, false, 0, 0, 0},
	} {
		lat, lon := frame.ToGlobal(c.e, c.n)
		var at web.GroundAt
		if err := json.Unmarshal(s.get(t, fmt.Sprintf("/api/v1/ground/at?measure=skips&lat=%.9f&lon=%.9f", lat, lon), http.StatusOK), &at); err != nil {
			t.Fatal(err)
		}
		if at.Found != c.found || at.Row != c.row || math.Abs(at.S-c.s) > 0.05 {
			t.Errorf("at %g, %g: %+v", c.e, c.n, at)
			continue
		}
		if !c.found {
			continue
		}
		if v := at.Values[0]; v.Measure != "skips" || math.Abs(float64(v.Value)-c.skips) > 1e-6 {
			t.Errorf("at %g, %g: %+v, want skips %g", c.e, c.n, v, c.skips)
		}
		if at.From != max(0, at.S-30) || at.To != min(40, at.S+30) || !strings.HasPrefix(at.Says, fmt.Sprintf("Row %d, pass 1", c.row)) {
			t.Errorf("at %g, %g: %+v", c.e, c.n, at)
		}
	}
}

func TestGroundRefuses(t *testing.T) {
	frame, _ := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	for path, status := range map[string]int{
		"/ground?measure=nonsense":           http.StatusUnprocessableEntity,
		"/ground/tiles/nonsense/10/1/1":      http.StatusUnprocessableEntity,
		"/ground/tiles/skips/19/1/1":         http.StatusNotFound,
		"/ground/tiles/skips/-1/0/0":         http.StatusNotFound,
		"/ground/tiles/skips/3/8/0":          http.StatusNotFound,
		"/ground/tiles/skips/3/0/-1":         http.StatusNotFound,
		"/ground/tiles/skips/62/1/1":         http.StatusNotFound,
		"/ground/tiles/skips/x/1/1":          http.StatusUnprocessableEntity,
		"/ground/tiles/skips/3/0/0":          http.StatusOK,
		"/ground/at?lat=99&lon=0":            http.StatusUnprocessableEntity,
		"/ground/at?lon=0":                   http.StatusUnprocessableEntity,
		"/ground?field=nowhere":              http.StatusOK,
		"/ground?measure=liquid&from=2030-1": http.StatusOK,
	} {
		s.get(t, "/api/v1"+path, status)
	}
	for query, shown := range map[string]bool{"": true, "?field=unassigned": true, "?from=2026-05-01&to=2026-05-01": true, "?field=nowhere": false, "?from=2026-05-02": false, "?to=2026-04-30": false, "?planter=none": false} {
		var v web.GroundView
		if err := json.Unmarshal(s.get(t, "/api/v1/ground"+query, http.StatusOK), &v); err != nil || (len(v.Bounds) > 0) != shown || (len(v.Passes.Features) > 0) != shown {
			t.Errorf("%q: %v with %d passes, want shown %v; %v", query, v.Bounds, len(v.Passes.Features), shown, err)
		}
	}
	empty := serve(t, emptyBook(t))
	var v web.GroundView
	if err := json.Unmarshal(empty.get(t, "/api/v1/ground", http.StatusOK), &v); err != nil || len(v.Bounds) != 0 || len(v.Measures) != 0 {
		t.Errorf("an empty logbook: %+v, %v", v, err)
	}
}

// What the ground reads of the stretches gives every measure just what all of
// them would.
func TestStretchSumsAreThoseOfStretches(t *testing.T) {
	frame, _ := tileMiddle()
	b := groundBook(t, frame, 1, 16, func(int) []driven { return []driven{northward(40, 0, -20)} })
	read := func(f func(context.Context, string, evenstand.Day, func([]evenstand.Stretch) error) error) (out []evenstand.Stretch) {
		if err := f(t.Context(), "made up", "2026-05-01", func(ss []evenstand.Stretch) error { out = append(out, ss...); return nil }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	whole, sums := read(b.Stretches), read(b.StretchSums)
	if len(whole) != 48 || len(sums) != 48 {
		t.Fatalf("%d and %d stretches, want 48", len(whole), len(sums))
	}
	for _, m := range group.Measures() {
		for i := range whole {
			want, ok := m.Part(&whole[i], groundSpacing)
			got, too := m.Part(&sums[i], groundSpacing)
			if !ok || ok != too || want != got || whole[i].K != sums[i].K || whole[i].Row != sums[i].Row || whole[i].Pass != sums[i].Pass {
				t.Fatalf("%s of stretch %d: %v %v, want %v %v", m.ID, i, got, too, want, ok)
			}
		}
	}
}

// What the ground reads of the track are its places.
func TestPlacesAreThoseOfTheTrack(t *testing.T) {
	frame, _ := tileMiddle()
	b := groundBook(t, frame, 1, 16, func(int) []driven { return []driven{northward(40, 0, -20)} })
	read := func(f func(context.Context, string, evenstand.Day, func([]evenstand.TrackPoint) error) error) (out []evenstand.TrackPoint) {
		if err := f(t.Context(), "made up", "2026-05-01", func(ps []evenstand.TrackPoint) error { out = append(out, ps...); return nil }); err != nil {
			t.Fatal(err)
		}
		return out
	}
	track, places := read(b.Track), read(b.Places)
	if len(track) == 0 || len(track) != len(places) {
		t.Fatalf("%d and %d points", len(track), len(places))
	}
	for i, want := range track {
		got := places[i]
		if got.T != want.T || got.Lat != want.Lat || got.Lon != want.Lon || got.S != want.S || got.Heading != want.Heading {
			t.Fatalf("point %d: %+v, want %+v", i, got, want)
		}
	}
}

// A browser that has a tile is told that it still holds, until the logs say
// something else.
func TestGroundTileTag(t *testing.T) {
	frame, tile := tileMiddle()
	s := serve(t, groundBook(t, frame, 1, 4, func(int) []driven { return []driven{northward(40, 0, -20)} }))
	path := fmt.Sprintf("/api/v1/ground/tiles/skips/18/%d/%d", tile.x, tile.y)
	first := s.ask(http.MethodGet, path, nil)
	tag := first.Header().Get("ETag")
	if first.Code != http.StatusOK || tag == "" || first.Body.Len() == 0 {
		t.Fatalf("%d, tag %q, %d bytes", first.Code, tag, first.Body.Len())
	}
	again := s.ask(http.MethodGet, path, nil, func(r *http.Request) { r.Header.Set("If-None-Match", tag) })
	if again.Code != http.StatusNotModified || again.Body.Len() != 0 {
		t.Errorf("the same tag: %d, %d bytes", again.Code, again.Body.Len())
	}
	other := s.ask(http.MethodGet, path, nil, func(r *http.Request) { r.Header.Set("If-None-Match", `"other"`) })
	if other.Code != http.StatusOK || other.Body.Len() != first.Body.Len() {
		t.Errorf("another tag: %d, %d bytes", other.Code, other.Body.Len())
	}
}

// seasonWays makes 2,000 acres: 16 days of 53 passes of half a mile with 16 rows,
// 0.72 million stretches of a row, four days' fields side by side.
func seasonWays(day int) []driven {
	var out []driven
	for i := range 53 {
		e, north, long := (float64(i)+55*float64(day%4))*16*groundSpacing, 820*float64(day/4%4), 795.0
		if i%2 == 0 {
			out = append(out, northward(long, e, north))
		} else {
			out = append(out, driven{long, func(s float64) (float64, float64, float64) { return e, north + long - s, 180 }})
		}
	}
	return out
}

func BenchmarkGroundSeason(b *testing.B) {
	frame := ground.NewFrame(42.03, -93.61)
	days := 16
	if testing.Short() {
		days = 2
	}
	bk := groundBook(b, frame, days, 16, seasonWays)
	opt := web.Options{Book: bk, Version: "test"}
	ask := func(b *testing.B, h http.Handler, path string) int {
		w := (&served{nil, h}).ask(http.MethodGet, path, nil)
		if w.Code != http.StatusOK {
			b.Fatalf("%s: %d %s", path, w.Code, w.Body)
		}
		return w.Body.Len()
	}
	b.Run("first", func(b *testing.B) {
		cpu := used(b)
		for b.Loop() {
			s, err := web.New(opt)
			if err != nil {
				b.Fatal(err)
			}
			ask(b, s.Handler(), "/api/v1/ground?measure=skips")
			s.Close()
		}
		b.ReportMetric(float64((used(b)-cpu).Milliseconds())/float64(b.N), "cpu-ms/op")
	})
	s, err := web.New(opt)
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	ask(b, s.Handler(), "/api/v1/ground")
	b.Run("again", func(b *testing.B) {
		for b.Loop() {
			ask(b, s.Handler(), "/api/v1/ground?measure=load")
		}
	})
	b.Run("picture", func(b *testing.B) { // each of another width, so that none is there already
		cpu, wide := used(b), 0
		for b.Loop() {
			wide++
			ask(b, s.Handler(), fmt.Sprintf("/api/v1/ground/picture?measure=load&height=514&width=%d", 900+wide%100))
		}
		b.ReportMetric(float64((used(b)-cpu).Microseconds())/1000/float64(b.N), "cpu-ms/op")
	})
	lat, lon := frame.ToGlobal(1600, 1700)
	for z := 10; z <= 18; z++ {
		tile := tileAt(lat, lon, z)
		b.Run(fmt.Sprintf("tile-%d", z), func(b *testing.B) {
			n, cpu := 0, used(b)
			for b.Loop() {
				n = ask(b, s.Handler(), fmt.Sprintf("/api/v1/ground/tiles/load/%d/%d/%d?from=2026-05-01&to=2026-05-30", z, tile.x, tile.y))
			}
			b.ReportMetric(float64(n), "bytes")
			b.ReportMetric(float64((used(b)-cpu).Microseconds())/1000/float64(b.N), "cpu-ms/op")
		})
	}
}
