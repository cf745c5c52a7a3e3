package mvt_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenstand/web/mvt"
	"evenstand/web/mvt/mvttest"
)

var update = flag.Bool("update", false, "rewrite the golden files with what the code returns now")

// The polygon of the specification's example, section 4.3.5.4: (3,6), (8,12),
// (20,34), closed, is written 9 6 12 18 10 12 24 44 15.
func TestExampleOfTheSpecification(t *testing.T) {
	l := mvt.NewLayer("l", 4096)
	if !l.Polygon([]mvt.Point{{X: 3, Y: 6}, {X: 8, Y: 12}, {X: 20, Y: 34}}) {
		t.Fatal("left out")
	}
	if want := []byte{9, 6, 12, 18, 10, 12, 24, 44, 15}; !bytes.Contains(l.Tile(), append([]byte{0x22, byte(len(want))}, want...)) {
		t.Errorf("% d does not hold % d", l.Tile(), want)
	}
}

// sample is a tile with a cell of each kind; testdata holds it for the readers of
// the page's tests.
func sample() (*mvt.Layer, []mvttest.Feature) {
	l := mvt.NewLayer("cells", 4096, "value", "n", "few")
	var want []mvttest.Feature
	for i := range 40 {
		x, y := int32(100*i-300), int32(37*i%5000-200)
		p := []mvt.Point{{X: x, Y: y}, {X: x + 90, Y: y + 3}, {X: x + 90, Y: y + 3}, {X: x + 88, Y: y + 60}, {X: x - 1, Y: y + 55}}
		v, n, few := math.Round(1e4*math.Sin(float64(i)/5))/1e4, float64(i%3), i%4 == 0
		l.Polygon(p, l.Double(v), l.Double(n), l.Bool(few))
		ring := [][2]int{{int(x), int(y)}, {int(x) + 90, int(y) + 3}, {int(x) + 88, int(y) + 60}, {int(x) - 1, int(y) + 55}, {int(x), int(y)}}
		want = append(want, mvttest.Feature{Ring: ring, Properties: map[string]any{"value": v, "n": n, "few": few}})
	}
	return l, want
}

func TestSample(t *testing.T) {
	l, want := sample()
	said, err := json.MarshalIndent(want, "", " ")
	if err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string][]byte{"cells.mvt": l.Tile(), "cells.json": said} {
		path := filepath.Join("testdata", name)
		if *update {
			if err := os.WriteFile(path, got, 0o600); err != nil {
				t.Fatal(err)
			}
		}
		kept, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(kept, got) {
			t.Errorf("%s is not what is written now", path)
		}
	}
}

// What is written is read back by another reader: rings of any winding, with
// points at one place, beyond the tile, with properties shared or not.
func TestReadBack(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		l := mvt.NewLayer("cells", 4096, "value", "few")
		var want []mvttest.Feature
		for range rapid.IntRange(0, 30).Draw(t, "features") {
			var ring []mvt.Point
			for range rapid.IntRange(0, 9).Draw(t, "points") {
				ring = append(ring, mvt.Point{X: rapid.Int32Range(-5000, 9000).Draw(t, "x"), Y: rapid.Int32Range(-3, 3).Draw(t, "y")})
			}
			v, few := rapid.Float64Range(-10, 10).Draw(t, "value"), rapid.Bool().Draw(t, "few")
			if v == 0 {
				v = 0 // not -0
			}
			var area int
			for i, p := range ring {
				q := ring[(i+1)%len(ring)]
				area += int(p.X)*int(q.Y) - int(q.X)*int(p.Y)
			}
			if ok := l.Polygon(ring, l.Double(v), l.Bool(few)); ok != (area != 0) {
				t.Fatalf("%v covers %d, written %v", ring, area, ok)
			}
			if area == 0 {
				continue
			}
			f := mvttest.Feature{Properties: map[string]any{"value": v, "few": few}}
			for i := range ring {
				p := ring[i]
				if area < 0 {
					p = ring[len(ring)-1-i]
				}
				if q := [2]int{int(p.X), int(p.Y)}; len(f.Ring) == 0 || f.Ring[len(f.Ring)-1] != q {
					f.Ring = append(f.Ring, q)
				}
			}
			want = append(want, f)
		}
		tile := l.Tile()
		if len(want) == 0 {
			if tile != nil {
				t.Fatal("a tile of nothing")
			}
			return
		}
		layers, err := mvttest.Read(tile)
		if err != nil || len(layers) != 1 || layers[0].Name != "cells" || layers[0].Extent != 4096 || len(layers[0].Features) != len(want) {
			t.Fatalf("%+v, %v", layers, err)
		}
		for i, f := range layers[0].Features {
			if fmt.Sprint(f.Properties) != fmt.Sprint(want[i].Properties) || !sameRing(f.Ring, want[i].Ring) {
				t.Fatalf("feature %d: %v, want %v", i, f, want[i])
			}
		}
	})
}

// sameRing tells whether two rings are the same wherever they begin.
func sameRing(a, b [][2]int) bool {
	open := func(r [][2]int) [][2]int {
		for len(r) > 1 && r[len(r)-1] == r[0] {
			r = r[:len(r)-1]
		}
		return r
	}
	a, b = open(a), open(b)
	if len(a) != len(b) {
		return false
	}
	for shift := range a {
		same := true
		for i := range a {
			same = same && a[(i+shift)%len(a)] == b[i]
		}
		if same {
			return true
		}
	}
	return false
}

// GDAL reads the tile: so many features, polygons, and their fields.
func TestGDAL(t *testing.T) {
	ogrinfo, err := exec.LookPath("ogrinfo")
	if err != nil {
		t.Skip("no ogrinfo (GDAL) here: the tile is not read by it")
	}
	l, want := sample()
	path := filepath.Join(t.TempDir(), "0.pbf")
	if err := os.WriteFile(path, l.Tile(), 0o600); err != nil {
		t.Fatal(err)
	}
	out, err := exec.CommandContext(t.Context(), ogrinfo, "-al", "MVT:"+path).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	s := string(out)
	for _, has := range []string{"Layer name: cells", fmt.Sprintf("Feature Count: %d", len(want)), "value: Real", "n: Real", "few: Integer(Boolean)"} {
		if !strings.Contains(s, has) {
			t.Errorf("ogrinfo does not say %q", has)
		}
	}
	within := 0 // it cuts off what lies beyond the tile
	for _, f := range want {
		x0, y0, x1, y1 := f.Ring[0][0], f.Ring[0][1], f.Ring[0][0], f.Ring[0][1]
		for _, p := range f.Ring {
			x0, y0, x1, y1 = min(x0, p[0]), min(y0, p[1]), max(x1, p[0]), max(y1, p[1])
		}
		if x1 > 0 && y1 > 0 && x0 < 4096 && y0 < 4096 {
			within++
		}
	}
	if n := strings.Count(s, "POLYGON (("); n != within {
		t.Errorf("%d polygons, want %d", n, within)
	}
	if strings.Contains(s, "ERROR") || strings.Contains(s, "Warning") {
		t.Errorf("it complains: %s", s)
	}
}

// The reader of the tests refuses what the specification does not allow.
func TestReaderIsStrict(t *testing.T) {
	l, _ := sample()
	good := l.Tile()
	refused := 0
	for i := range good {
		bad := bytes.Clone(good)
		bad[i] ^= 0x41
		if _, err := mvttest.Read(bad); err != nil {
			refused++
		}
	}
	if _, err := mvttest.Read(good[:len(good)-1]); err == nil {
		t.Error("a tile that is cut off is read")
	}
	if refused < len(good)/3 {
		t.Errorf("of %d damaged tiles %d were refused", len(good), refused)
	}
}

func BenchmarkPolygon(b *testing.B) {
	b.ReportAllocs()
	ring := make([]mvt.Point, 4)
	for b.Loop() {
		l := mvt.NewLayer("cells", 4096, "value", "n", "few")
		for i := range int32(1000) {
			ring[0], ring[1], ring[2], ring[3] = mvt.Point{X: i, Y: 0}, mvt.Point{X: i + 3, Y: 0}, mvt.Point{X: i + 3, Y: 40}, mvt.Point{X: i, Y: 40}
			l.Polygon(ring, l.Double(float64(i%97)), l.Double(90), l.Bool(i%7 == 0))
		}
		if l.Tile() == nil {
			b.Fatal("nothing")
		}
	}
	b.ReportMetric(float64(b.N)*1000/b.Elapsed().Seconds(), "cells/s")
}
