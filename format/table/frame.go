package table

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"evenstand/core/ground"
	"evenstand/format/unused"
)

// frame is the coordinate system of points: degrees, or metres of a UTM zone.
type frame struct {
	zone  ground.Zone // Number 0: degrees
	doubt string      // what a person should know of it
}

// place gives degrees of WGS 84.
func (f frame) place(x, y float64) (lon, lat float64) {
	if f.zone.Number == 0 {
		return x, y
	}
	// Beyond a zone's width and its neighbours' the series no longer holds.
	if !(math.Abs(x-500_000) <= 2_000_000) || !(math.Abs(y) <= 20_000_000) {
		return math.NaN(), math.NaN()
	}
	lat, lon = f.zone.FromUTM(x, y)
	return lon, lat
}

// nad83 is said of places on that datum. Source: NOAA National Geodetic
// Survey, NAD 83 lies 1 to 2 m from the frame of WGS 84 in the conterminous
// United States.
const nad83 = "The places are on the datum NAD 83 and are taken as WGS 84, from which they lie 1 to 2 m away. This matters only beside places of another receiver."

const inWGS84 = "Export it in WGS 84 (EPSG:4326)."

// epsgFrame knows a system by its number in the EPSG registry: geographic WGS
// 84 and NAD 83, and UTM on them (WGS 84 326zz north and 327zz south, NAD 83
// 269zz north).
func epsgFrame(code int) (frame, error) {
	switch {
	case code == 4326 || code == 4979:
		return frame{}, nil
	case code == 4269:
		return frame{doubt: nad83}, nil
	case code > 32600 && code <= 32660:
		return frame{zone: ground.Zone{Number: code - 32600}}, nil
	case code > 32700 && code <= 32760:
		return frame{zone: ground.Zone{Number: code - 32700, South: true}}, nil
	case code > 26900 && code <= 26923:
		return frame{zone: ground.Zone{Number: code - 26900}, doubt: nad83}, nil
	}
	return frame{}, fmt.Errorf("its places are in the coordinate system EPSG:%d, which is not read", code)
}

// namedFrame knows a system by a name such as urn:ogc:def:crs:EPSG::4326,
// EPSG:4326 or urn:ogc:def:crs:OGC:1.3:CRS84.
func namedFrame(name string) (frame, error) {
	upper := strings.ToUpper(strings.TrimSpace(name))
	if strings.HasSuffix(upper, "CRS84") || strings.HasSuffix(upper, "CRS84H") {
		return frame{}, nil
	}
	if i := strings.LastIndexAny(upper, ":/#"); strings.Contains(upper, "EPSG") && i >= 0 {
		if code, err := strconv.Atoi(upper[i+1:]); err == nil {
			return epsgFrame(code)
		}
	}
	return frame{}, fmt.Errorf("its places are in the coordinate system %s, which is not read", unused.Show([]byte(name)))
}

// wkt is a node of a coordinate system in well-known text: NAME["text", 1, …].
type wkt struct {
	name  string
	texts []string
	nums  []float64
	nodes []*wkt
}

// find gives the first node of a name, in itself or below.
func (w *wkt) find(names ...string) *wkt {
	for _, n := range names {
		if w.name == n {
			return w
		}
	}
	for _, c := range w.nodes {
		if f := c.find(names...); f != nil {
			return f
		}
	}
	return nil
}

// own gives the node of a name directly below.
func (w *wkt) own(name string) *wkt {
	for _, c := range w.nodes {
		if c.name == name {
			return c
		}
	}
	return nil
}

func (w *wkt) text() string {
	if w == nil || len(w.texts) == 0 {
		return ""
	}
	return w.texts[0]
}

const wktDeep = 20

var errWKT = errors.New("its coordinate system cannot be read")

// parseWKT reads one node and gives what follows it.
func parseWKT(s string, deep int) (*wkt, string, error) {
	s = strings.TrimSpace(s)
	i := strings.IndexAny(s, "[(")
	if i <= 0 || deep > wktDeep {
		return nil, s, errWKT
	}
	w := &wkt{name: strings.ToUpper(strings.TrimSpace(s[:i]))}
	s = s[i+1:]
	for {
		s = strings.TrimSpace(s)
		if s == "" {
			return nil, s, errWKT
		}
		switch {
		case s[0] == ']' || s[0] == ')':
			return w, s[1:], nil
		case s[0] == ',':
			s = s[1:]
		case s[0] == '"':
			end := strings.IndexByte(s[1:], '"')
			if end < 0 {
				return nil, s, errWKT
			}
			w.texts = append(w.texts, s[1:1+end])
			s = s[end+2:]
		default:
			end := strings.IndexAny(s, ",[](\")")
			if end <= 0 {
				return nil, s, errWKT
			}
			if s[end] == '[' || s[end] == '(' {
				c, rest, err := parseWKT(s, deep+1)
				if err != nil {
					return nil, s, err
				}
				w.nodes = append(w.nodes, c)
				s = rest
				continue
			}
			if f, err := strconv.ParseFloat(strings.TrimSpace(s[:end]), 64); err == nil {
				w.nums = append(w.nums, f)
			} // else a bare word, such as the direction of an axis
			s = s[end:]
		}
	}
}

// plainWord makes names of datums and parameters comparable.
func plainWord(s string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r >= 'A' && r <= 'Z':
			return r + 'a' - 'A'
		case r >= 'a' && r <= 'z', r >= '0' && r <= '9':
			return r
		}
		return -1
	}, s)
}

// wktFrame knows a system by well-known text as it stands in a .prj file
// (OGC 01-009, and the spellings of its many writers).
func wktFrame(prj string) (frame, error) {
	w, _, err := parseWKT(strings.TrimPrefix(prj, "\ufeff"), 0)
	if err != nil {
		return frame{}, err
	}
	projected := w.find("PROJCS", "PROJCRS")
	named := w.text()
	if projected != nil {
		named = projected.text()
	}
	refused := func(why string) (frame, error) {
		return frame{}, fmt.Errorf("its places are in the coordinate system %s, which is not read: %s", unused.Show([]byte(named)), why)
	}
	var f frame
	switch d := plainWord(w.must("DATUM", "ENSEMBLE").text()); {
	case strings.Contains(d, "wgs1984"), strings.Contains(d, "wgs84"), strings.Contains(d, "worldgeodeticsystem1984"):
	case strings.Contains(d, "northamerican1983"), strings.Contains(d, "northamericandatum1983"), strings.Contains(d, "nad1983"), strings.Contains(d, "nad83"):
		f.doubt = nad83
	default:
		return refused("its datum is " + unused.Show([]byte(w.must("DATUM", "ENSEMBLE").text())))
	}
	if m := w.find("PRIMEM"); m != nil && len(m.nums) > 0 && m.nums[0] != 0 {
		return refused("its longitudes are not counted from Greenwich")
	}
	geographic := w.find("GEOGCS", "GEOGCRS", "BASEGEOGCRS")
	if geographic == nil {
		return refused("it is not made of longitude and latitude")
	}
	if u := geographic.own("UNIT"); u != nil && (len(u.nums) == 0 || math.Abs(u.nums[0]-math.Pi/180) > 1e-9) {
		return refused("its angles are not in degrees")
	}
	if projected == nil {
		return f, nil
	}
	if p := plainWord(projected.must("PROJECTION", "METHOD").text()); p != "transversemercator" {
		return refused("it is projected in another way than UTM")
	}
	if u := projected.own("UNIT"); u == nil || len(u.nums) == 0 || u.nums[0] != 1 {
		return refused("its lengths are not in metres")
	}
	par := map[string]float64{}
	var walk func(w *wkt)
	walk = func(w *wkt) {
		if w.name == "PARAMETER" && len(w.nums) > 0 {
			par[plainWord(w.text())] = w.nums[0]
		}
		for _, c := range w.nodes {
			walk(c)
		}
	}
	walk(projected)
	first := func(names ...string) float64 {
		for _, n := range names {
			if v, ok := par[n]; ok {
				return v
			}
		}
		return math.NaN()
	}
	meridian := first("centralmeridian", "longitudeofnaturalorigin")
	zone := (meridian + 183) / 6
	north := first("falsenorthing")
	if !(zone >= 1 && zone <= 60) || zone != math.Trunc(zone) ||
		first("scalefactor", "scalefactoratnaturalorigin") != 0.9996 ||
		first("falseeasting") != 500_000 || north != 0 && north != 10_000_000 ||
		first("latitudeoforigin", "latitudeofnaturalorigin") != 0 {
		return refused("it is projected in another way than UTM")
	}
	f.zone = ground.Zone{Number: int(zone), South: north != 0}
	return f, nil
}

// must is find that gives an empty node instead of none.
func (w *wkt) must(names ...string) *wkt {
	if f := w.find(names...); f != nil {
		return f
	}
	return &wkt{}
}
