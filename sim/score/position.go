package score

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/sim"
)

// Point is where a seed was said to lie.
type Point struct {
	T        evenstand.Micros // when the sensor saw it, on the one clock
	Row      int
	Lat, Lon float64
	Error    float64 // m, half-width of the 90 % interval that was stated; NaN unknown
}

// Position is how far seeds were said to lie from where they truly do.
type Position struct {
	Of  string           `json:"of"` // straights or curves
	N   int              `json:"n"`
	RMS evenstand.Number `json:"rms_m"`
	P95 evenstand.Number `json:"p95_m"`
	In  Share            `json:"inside"` // the stated error, of those that have one
}

// near is how far the time of a point may lie from the true time of a seed to
// be that seed: the log's millisecond and some rounding on the way.
const near evenstand.Micros = 2000

// Places compares points with the true places of seeds, split into straight
// and curved passes. Points and truths are matched by row and time; seeds
// without a point are left out.
func Places(truth []sim.SeedTruth, passes []sim.PassTruth, points []Point) []Position {
	curved := map[int]bool{}
	for _, p := range passes {
		curved[p.Pass] = p.Curve != 0
	}
	byRow := map[int][]Point{}
	for _, p := range points {
		byRow[p.Row] = append(byRow[p.Row], p)
	}
	for _, ps := range byRow {
		slices.SortFunc(ps, func(a, b Point) int { return int(a.T - b.T) })
	}
	var off [2][]float64
	in := [2]Share{{Share: evenstand.Unknown}, {Share: evenstand.Unknown}}
	for _, s := range truth {
		ps := byRow[s.Row]
		i, _ := slices.BinarySearchFunc(ps, s.T-near, func(p Point, t evenstand.Micros) int {
			if p.T < t {
				return -1
			}
			return 1
		})
		best := -1
		for ; i < len(ps) && ps[i].T <= s.T+near; i++ {
			if best < 0 || abs(ps[i].T-s.T) < abs(ps[best].T-s.T) {
				best = i
			}
		}
		if best < 0 {
			continue
		}
		k := 0
		if curved[s.Pass] {
			k = 1
		}
		d := metres(s.Lat, s.Lon, ps[best].Lat, ps[best].Lon)
		off[k] = append(off[k], d)
		if e := ps[best].Error; e > 0 {
			in[k].add(d <= e)
		}
	}
	var out []Position
	for k, name := range []string{"straights", "curves"} {
		if len(off[k]) == 0 {
			continue
		}
		sum := 0.0
		for _, d := range off[k] {
			sum += d * d
		}
		out = append(out, Position{name, len(off[k]), evenstand.Number(math.Sqrt(sum / float64(len(off[k])))), quantile(off[k], 0.95), in[k]})
	}
	return out
}

func abs(m evenstand.Micros) evenstand.Micros { return max(m, -m) }

// metres between two near places on the WGS 84 ellipsoid, by its radii of
// curvature there (good to a millimetre over a hundred metres).
func metres(lat1, lon1, lat2, lon2 float64) float64 {
	const a, e2 = 6378137.0, 0.00669437999014132
	phi := (lat1 + lat2) / 2 * math.Pi / 180
	s := math.Sin(phi)
	w := math.Sqrt(1 - e2*s*s)
	north := (lat2 - lat1) * math.Pi / 180 * a * (1 - e2) / (w * w * w)
	east := (lon2 - lon1) * math.Pi / 180 * a / w * math.Cos(phi)
	return math.Hypot(north, east)
}
