package ground

import (
	"math"
	"sort"

	"evenstand"
)

// Way is a stretch of a track in a flat frame about its first point, by which
// places beside it are found.
type Way struct {
	frame Frame
	pts   []wayPoint
	last  int // where the last place was looked for
}

type wayPoint struct{ s, e, n, heading float64 }

// NewWay makes it of points in order of S; those without a place are left out. No
// point of it is further from the first than a frame is exact (see Frame).
func NewWay(track []evenstand.TrackPoint) *Way {
	w := &Way{}
	for i := range track {
		p := &track[i]
		if math.IsNaN(p.Lat) || math.IsNaN(p.Lon) || math.IsNaN(p.Heading) {
			continue
		}
		if w.pts == nil {
			w.frame = NewFrame(p.Lat, p.Lon)
			w.pts = make([]wayPoint, 0, len(track)-i)
		}
		e, n := w.frame.ToLocal(p.Lat, p.Lon)
		w.pts = append(w.pts, wayPoint{p.S, e, n, p.Heading})
	}
	return w
}

// At gives the place y m right of the way at s, and the heading there in degrees;
// between two points the way is straight and the heading turns evenly. False
// beyond its ends. Places asked for in order of s are found at once.
func (w *Way) At(s, y float64) (lat, lon, heading float64, ok bool) {
	n := len(w.pts)
	if n == 0 || math.IsNaN(s) || math.IsNaN(y) || s < w.pts[0].s || s > w.pts[n-1].s {
		return math.NaN(), math.NaN(), math.NaN(), false
	}
	i := w.last
	if i < 1 || i >= n || w.pts[i-1].s > s || w.pts[i].s < s {
		if i = w.last + 1; i < 1 || i >= n || w.pts[i-1].s > s || w.pts[i].s < s {
			i = max(1, sort.Search(n, func(i int) bool { return w.pts[i].s >= s }))
		}
	}
	if n == 1 {
		i = 0
	}
	w.last = i
	a, b := &w.pts[max(0, i-1)], &w.pts[i]
	f := 0.0
	if b.s > a.s {
		f = (s - a.s) / (b.s - a.s)
	}
	turn := math.Mod(b.heading-a.heading+540, 360) - 180
	heading = math.Mod(a.heading+f*turn+360, 360)
	sin, cos := math.Sincos(heading * deg)
	lat, lon = w.frame.ToGlobal(a.e+f*(b.e-a.e)+y*cos, a.n+f*(b.n-a.n)-y*sin)
	return lat, lon, heading, true
}
