package sim

import (
	"math"
	"testing"
)

// steady drives a long arc and gives the radius of the bar at its end, and the
// bar's turning over its speed.
func steady(t *testing.T, text string, r float64) (radius, curve float64) {
	t.Helper()
	s, err := Parse(text + "[drive]\nguidance_sd_m = 0.0\nstop_share = 0.0\nhalts_per_hour = 0.0\n[[field]]\nname = \"a\"\npasses = 1\nlength_m = 120\n")
	if err != nil {
		t.Fatal(err)
	}
	l := line{from: xy{r, 0}, dir: math.Pi / 2, curve: 1 / r, length: 2 * r}
	lg := s.newTractor().drivePass(1, s.newField(s.Fields[0]), &l, 0)
	if !lg.works() {
		t.Fatal("the planter never came down")
	}
	i := lg.up - 50
	return math.Hypot(lg.bx[i], lg.by[i]), lg.w[i] / lg.v[i]
}

// On a circle a trailer settles where its axle line points at the centre. By
// hand: the antenna runs at R, the pin a behind it on the tangent at
// sqrt(R²+a²), the bar L behind the pin at sqrt(R²+a²-L²). R 60, a 2.6, L 7.1:
// sqrt(3600+6.76-50.41) = 59.636 m. Mounted, the bar stays on the tangent:
// sqrt(60²+9.7²) = 60.779 m.
func TestBarOnACircle(t *testing.T) {
	for _, tt := range []struct {
		name, planter string
		want          float64
	}{
		{"trailed", "[planter]\nhitch = \"trailed\"\n", 59.636},
		{"mounted", "[planter]\nhitch = \"mounted\"\n", 60.779},
	} {
		t.Run(tt.name, func(t *testing.T) {
			r, curve := steady(t, tt.planter, 60)
			if math.Abs(r-tt.want) > 0.01 {
				t.Errorf("the bar runs at %.3f m, want %.3f", r, tt.want)
			}
			if tt.name == "trailed" && math.Abs(1/curve-r) > 0.05 {
				t.Errorf("the bar turns about %.3f m, but lies at %.3f", 1/curve, r)
			}
		})
	}
}

// The speed at a tick is the way from the tick before to the one after, over
// the time between them: the sum of which a box that logs it makes the way.
func TestSpeedAtATick(t *testing.T) {
	s, err := Parse("[drive]\nguidance_sd_m = 0.0\n[[field]]\nname = \"a\"\npasses = 1\nlength_m = 120\n")
	if err != nil {
		t.Fatal(err)
	}
	lg := s.newTractor().drivePass(1, s.newField(s.Fields[0]), &line{dir: math.Pi / 2, length: 100}, 0)
	for i := 1; i+1 < lg.n; i++ {
		way := math.Hypot(lg.ax[i+1]-lg.ax[i-1], lg.ay[i+1]-lg.ay[i-1])
		if got := lg.speed(i); math.Abs(got-way/(2*tick)) > 1e-6 {
			t.Fatalf("speed at tick %d is %.6f m/s, want %.6f", i, got, way/(2*tick))
		}
	}
}

// Quantiles of the standard normal as printed in statistical tables.
func TestQuantiles(t *testing.T) {
	for _, tt := range []struct{ p, want float64 }{{0.5, 0}, {0.9, 1.2815516}, {0.95, 1.6448536}, {0.975, 1.9599640}, {0.999, 3.0902323}, {0.0001, -3.7190165}, {0.25, -0.6744898}} {
		if got := quantile32(uint32(tt.p * (1 << 32))); math.Abs(got-tt.want) > 3e-5 {
			t.Errorf("quantile of %g = %.7f, want %.7f", tt.p, got, tt.want)
		}
	}
}

// A wander keeps its standard deviation and its memory: the correlation over
// one time constant is 1/e.
func TestWander(t *testing.T) {
	g := stream(3, "test", -1, 0)
	w := newWander(20, 0.2, normal(g))
	var xs []float64
	for range 2_000_000 {
		xs = append(xs, w.step(normal(g)))
	}
	var v, c float64
	for i := range xs[100:] {
		v += xs[i] * xs[i]
		c += xs[i] * xs[i+100]
	}
	if n := float64(len(xs) - 100); math.Abs(v/n-1) > 0.03 || math.Abs(c/v-math.Exp(-1)) > 0.03 {
		t.Errorf("variance %.3f, correlation over 20 s %.3f; want 1 and 0.368", v/n, c/v)
	}
}
