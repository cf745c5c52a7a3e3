package cover_test

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"evenstand/core/ground"
	"evenstand/core/measure/cover"
)

// geos runs the general-purpose geometry library GEOS (Debian package
// geos-bin, LGPL) over polygons in text; the test is left out where it is not
// installed.
func geos(t *testing.T, op string, a []string, b string) string {
	t.Helper()
	if _, err := exec.LookPath("geosop"); err != nil {
		t.Skip("geosop (Debian: geos-bin) is not installed: areas are not compared with GEOS")
	}
	file := filepath.Join(t.TempDir(), "a.wkt")
	if err := os.WriteFile(file, []byte(strings.Join(a, "\n")+"\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	args := []string{"-a", file}
	if b != "" {
		other := filepath.Join(t.TempDir(), "b.wkt")
		if err := os.WriteFile(other, []byte(b+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
		args = append(args, "-b", other)
	}
	if len(a) > 1 {
		args = append(args, "-c")
	}
	cmd := exec.Command("geosop", append(args, "-f", "wkt", op)...)
	var out, errs bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &errs
	if err := cmd.Run(); err != nil {
		t.Fatalf("geosop %s: %v\n%s", op, err, errs.String())
	}
	return strings.TrimSpace(out.String())
}

func area(t *testing.T, wkt string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(geos(t, "area", []string{wkt}, ""), 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}

func wkt(r ground.Ring) string {
	var b strings.Builder
	b.WriteString("POLYGON ((")
	for i := range len(r) + 1 {
		if i > 0 {
			b.WriteString(", ")
		}
		fmt.Fprintf(&b, "%.17g %.17g", r[i%len(r)][0], r[i%len(r)][1])
	}
	b.WriteString("))")
	return b.String()
}

// quads are a swath's ground as the test makes it: corners from pose to pose.
// The poses of the tests are not thinned by it.
func quads(s cover.Swath) []string {
	var out []string
	for i := 1; i < len(s.At); i++ {
		a, b := s.At[i-1], s.At[i]
		out = append(out, wkt(ground.Ring{a.Right(s.Left), b.Right(s.Left), b.Right(s.Right), a.Right(s.Right)}))
	}
	return out
}

// field makes n passes of 400 m up and down, w metres wide, whose distance is
// off by an error, with two passes across at the ends: the world of the methods
// document, section m.
func field(n int, w, sd float64, seed uint64) []cover.Swath {
	r := rand.New(rand.NewPCG(seed, 1))
	var out []cover.Swath
	for i := range n {
		s := cover.Swath{Pass: i, Left: -w / 2, Right: w / 2, Error: 1.645 * sd}
		off := sd * r.NormFloat64()
		for k := range 101 {
			e := float64(i)*w + off + 0.02*math.Sin(float64(k)/7+off)
			p := cover.Pose{E: e, N: float64(k) * 4}
			if i%2 == 1 {
				p = cover.Pose{E: e, N: 400 - float64(k)*4, Psi: math.Pi}
			}
			s.At = append(s.At, p)
		}
		out = append(out, s)
	}
	for i, y := range []float64{10, 390} {
		s := cover.Swath{Pass: n + i, Left: -w / 2, Right: w / 2, Error: 1.645 * sd}
		for k := range 101 {
			s.At = append(s.At, cover.Pose{E: float64(k)/100*float64(n)*w - w/2, N: y, Psi: math.Pi / 2})
		}
		out = append(out, s)
	}
	return out
}

func TestAgainstGEOS(t *testing.T) {
	for name, swaths := range map[string][]cover.Swath{
		"up and down, and across":      field(20, 12.19, 0.05, 7),
		"a poor signal":                field(12, 9.14, 0.3, 8),
		"circles":                      {circle(0, 60, 12.19, 1.2), circle(1, 60+12.4, 12.19, 1.2)},
		"tighter than half its width":  {circle(0, 4, 12.19, 0.7)},
		"sections of one pass":         halves(field(6, 12.19, 0.05, 9)),
		"a bow that crosses its start": {circle(0, 40, 12.19, 2.4)},
	} {
		t.Run(name, func(t *testing.T) {
			var all []string
			passes := map[int][]string{}
			for _, s := range swaths {
				q := quads(s)
				all = append(all, q...)
				passes[s.Pass] = append(passes[s.Pass], q...)
			}
			if name == "tighter than half its width" { // the inner edge goes backwards: the hull of each piece
				all = all[:0]
				for _, s := range swaths {
					for _, q := range quads(s) {
						all = append(all, geos(t, "convexHull", []string{q}, ""))
					}
				}
				passes = map[int][]string{0: all}
			}
			union := geos(t, "unaryUnion", all, "")
			want := area(t, union)
			sum := 0.0
			for _, q := range passes {
				sum += area(t, geos(t, "unaryUnion", q, ""))
			}
			got, err := cover.Measure(nil, swaths)
			if err != nil {
				t.Fatal(err)
			}
			// The must is half a percent; poses that are left out move edges by 2 cm.
			if d := math.Abs(got.Worked-want) / want; d > 1e-3 {
				t.Errorf("worked %.3f m2, GEOS %.3f", got.Worked, want)
			}
			if d := math.Abs(got.Twice - (sum - want)); d > 1e-3*want {
				t.Errorf("twice %.3f m2, GEOS %.3f", got.Twice, sum-want)
			}
			if got.Doubt {
				t.Errorf("the scan gives %v, the polygons %.3f", cover.Scan(swaths, 0.25), got.Worked)
			}
		})
	}
}

func circle(pass int, radius, w, turns float64) cover.Swath {
	s := cover.Swath{Pass: pass, Left: -w / 2, Right: w / 2, Error: 0.04}
	n := int(turns * 2 * math.Pi * math.Max(radius, 10))
	for k := range n + 1 {
		a := turns * 2 * math.Pi * float64(k) / float64(n)
		sn, cs := math.Sincos(a)
		s.At = append(s.At, cover.Pose{E: radius * sn, N: radius * cs, Psi: a + math.Pi/2})
	}
	return s
}

func halves(swaths []cover.Swath) []cover.Swath {
	var out []cover.Swath
	for _, s := range swaths {
		l, r := s, s
		l.Right, r.Left = 0, 0
		r.At = r.At[:len(r.At)/2]
		out = append(out, l, r)
	}
	return out
}

func region(rings ...ground.Ring) *ground.Region {
	r := &ground.Region{Name: "test", Polygons: []ground.Polygon{ground.Polygon(rings)}}
	return r
}

func rectangle(e0, n0, e1, n1 float64) ground.Ring {
	return ground.Ring{{e0, n0}, {e1, n0}, {e1, n1}, {e0, n1}}
}

// A gap is found where it is at least as wide as a row and 20 m long, with its
// size; a clean field has none. 0.762 m is a row of 30 in.
func TestGaps(t *testing.T) {
	const w = 12.192
	clean := func(seed uint64) []cover.Swath { return field(10, w, 0.02, seed)[:10] }
	boundary := region(rectangle(-w/2-0.4, -0.4, 9.5*w+0.4, 400.4))
	for seed := range uint64(20) {
		f, err := cover.Measure(boundary, clean(seed))
		if err != nil {
			t.Fatal(err)
		}
		if len(f.Gaps) > 0 {
			t.Errorf("a clean field, seed %d: a gap %.2f m wide and %.1f m long", seed, f.Gaps[0].Width, f.Gaps[0].Length)
		}
	}
	for _, long := range []float64{20, 40, 152} {
		for seed := range uint64(10) {
			swaths := clean(seed)
			// row 5 of 16 does not plant from 100 m on
			s := swaths[4]
			from, to := 25, 25+int(long/4)
			left := s.Left + 4*0.762
			parts := []cover.Swath{s, s, s, s}
			parts[0].Right = left
			parts[1].Left, parts[1].Right, parts[1].At = left, left+0.762, s.At[:from+1]
			parts[2].Left, parts[2].Right, parts[2].At = left, left+0.762, s.At[to:]
			parts[3].Left = left + 0.762
			swaths = append(append(append([]cover.Swath{}, swaths[:4]...), parts...), swaths[5:]...)
			f, err := cover.Measure(boundary, swaths)
			if err != nil {
				t.Fatal(err)
			}
			if len(f.Gaps) != 1 {
				t.Fatalf("%g m of a row, seed %d: %d gaps", long, seed, len(f.Gaps))
			}
			g := f.Gaps[0]
			if math.Abs(g.Length-long) > 0.5 || math.Abs(g.Width-0.762) > 0.08 || math.Abs(g.Area-long*0.762) > 0.1*long*0.762 || g.Border > 0 {
				t.Errorf("%g m of a row: %.2f m by %.3f m, %.1f m2, border %.2f", long, g.Length, g.Width, g.Area, g.Border)
			}
		}
	}
}

// Ground that was not planted at the boundary lies there, and holes of the
// boundary are no gaps.
func TestBorderAndHoles(t *testing.T) {
	const w = 12.192
	swaths := field(10, w, 0.02, 3)[:10]
	hole := rectangle(40, 100, 60, 130)
	b := region(rectangle(-w/2, 0, 12.5*w, 400), hole)
	f, err := cover.Measure(b, swaths)
	if err != nil {
		t.Fatal(err)
	}
	if len(f.Gaps) != 1 || f.Gaps[0].Border < 0.4 {
		t.Fatalf("gaps %+v, want one, half of it along the boundary", f.Gaps)
	}
	// 3 widths of 400 m are left, but for the metre along three sides
	if want := (3*w - 1) * 398; math.Abs(f.Gaps[0].Area-want) > 0.01*want {
		t.Errorf("left %.0f m2, want %.0f", f.Gaps[0].Area, want)
	}
	if want := 13 * w * 400 * 1.0; math.Abs(f.Area-(want-600)) > 1 {
		t.Errorf("field %.1f m2", f.Area)
	}
	if want := 10*w*400 - 600; math.Abs(f.Inside-want) > 0.002*want {
		t.Errorf("inside %.1f m2, want %.1f", f.Inside, want)
	}
}

// Whatever the swaths: what is worked is no more than the sum of them and no
// less than the largest, the order does not count, and a pass said again adds
// its own area to what is worked twice.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 4).Draw(t, "passes")
		var swaths []cover.Swath
		sum, largest := 0.0, 0.0
		for i := range n {
			w := rapid.Float64Range(0.5, 20).Draw(t, "width")
			p := cover.Pose{E: rapid.Float64Range(-50, 50).Draw(t, "e"), N: rapid.Float64Range(-50, 50).Draw(t, "n"), Psi: rapid.Float64Range(-3, 3).Draw(t, "psi")}
			s := cover.Swath{Pass: i, Left: -w / 2, Right: w / 2, Error: 0.04, At: []cover.Pose{p}}
			turn := rapid.Float64Range(-0.04, 0.04).Draw(t, "turn")
			for range rapid.IntRange(3, 40).Draw(t, "steps") {
				p.Psi += turn
				sn, cs := math.Sincos(p.Psi)
				p.E, p.N = p.E+2*sn, p.N+2*cs
				s.At = append(s.At, p)
			}
			one, err := cover.Measure(nil, []cover.Swath{s})
			if err != nil {
				t.Fatal(err)
			}
			sum, largest = sum+one.Worked, math.Max(largest, one.Worked)
			swaths = append(swaths, s)
		}
		f, err := cover.Measure(nil, swaths)
		if err != nil {
			t.Fatal(err)
		}
		tol := 2e-3*sum + 0.1 // poses are left out within 2 cm, others where the course is another
		if f.Worked > sum+tol || f.Worked < largest-tol || math.Abs(f.Worked+f.Twice-sum) > tol {
			t.Fatalf("worked %v, twice %v of %v, the largest %v", f.Worked, f.Twice, sum, largest)
		}
		if f.Doubt {
			t.Fatalf("the scan gives %v, the polygons %v", cover.Scan(swaths, 0.25), f.Worked)
		}
		again := append(append([]cover.Swath{}, swaths...), swaths[0])
		again[len(again)-1].Pass = n
		g, err := cover.Measure(nil, again)
		if err != nil {
			t.Fatal(err)
		}
		one, _ := cover.Measure(nil, swaths[:1])
		if math.Abs(g.Worked-f.Worked) > tol || math.Abs(g.Twice-f.Twice-one.Worked) > tol {
			t.Fatalf("a pass again: worked %v after %v, twice %v after %v, it has %v", g.Worked, f.Worked, g.Twice, f.Twice, one.Worked)
		}
	})
}

func BenchmarkMeasure(b *testing.B) {
	swaths := field(40, 12.19, 0.05, 1)
	for b.Loop() {
		if _, err := cover.Measure(nil, swaths); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkScan(b *testing.B) {
	swaths := field(40, 12.19, 0.05, 1)
	for b.Loop() {
		cover.Scan(swaths, 0.25)
	}
}

// A field whose passes run at 45 degrees into a straight edge, a row a piece:
// 36 rows of 30 in, 66 ha.
func BenchmarkPointRows(b *testing.B) {
	const rows, gap = 36, 0.762
	var swaths []cover.Swath
	for pass := range 30 {
		for r := range rows {
			y := (float64(r) - 17.5) * gap
			c := float64(pass)*rows*gap + y // across the passes
			s := cover.Swath{Pass: pass, Left: y - gap/2, Right: y + gap/2, Error: 0.04}
			sn, cs := math.Sincos(math.Pi / 4)
			for k := range 201 {
				along := c + float64(k)*4
				mid := float64(pass) * rows * gap
				s.At = append(s.At, cover.Pose{E: along*sn + mid*cs, N: along*cs - mid*sn, Psi: math.Pi / 4})
			}
			swaths = append(swaths, s)
		}
	}
	for b.Loop() {
		if _, err := cover.Measure(nil, swaths); err != nil {
			b.Fatal(err)
		}
	}
}
