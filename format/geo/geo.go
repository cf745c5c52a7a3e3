package geo

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"

	"evenstand"
)

// Result is what a file of boundaries gave.
type Result struct {
	Fields []evenstand.Field // rings closed, outer ones first and counterclockwise, holes clockwise
	Notes  []string          // what was mended, whole sentences
	Unused []evenstand.Unused
}

// object is any GeoJSON object.
type object struct {
	Type        string          `json:"type"`
	Features    json.RawMessage `json:"features"`
	Geometry    json.RawMessage `json:"geometry"`
	Geometries  json.RawMessage `json:"geometries"`
	Coordinates json.RawMessage `json:"coordinates"`
	Properties  json.RawMessage `json:"properties"`
	CRS         json.RawMessage `json:"crs"`
}

type reader struct {
	file string
	out  Result
	at   map[string]int // index of a field by name
}

// Read reads the boundaries of a file. A field's name is the property name or
// field, else the file's own; features of one name are parts of one field. The
// error says that the file as a whole is no GeoJSON; a feature that cannot be
// used is in Unused, and the others are read.
func Read(name string, data []byte) (Result, error) {
	r := &reader{file: name, at: map[string]int{}}
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	if len(bytes.TrimSpace(data)) == 0 {
		return r.out, fmt.Errorf("%s: the file is empty", name)
	}
	var o object
	if err := json.Unmarshal(data, &o); err != nil {
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			at := min(int(syntax.Offset), len(data))
			return r.out, fmt.Errorf("%s, line %d: no GeoJSON: %w. Send the whole file, saved as GeoJSON", name, 1+bytes.Count(data[:at], []byte("\n")), err)
		}
		return r.out, fmt.Errorf("%s: no GeoJSON: %w. Save the boundaries as GeoJSON", name, err)
	}
	if crs := reference(o.CRS); crs != "" {
		return r.out, fmt.Errorf("%s: coordinates in %s. Save the boundaries in WGS 84, as longitude and latitude", name, crs)
	}
	switch o.Type {
	case "FeatureCollection":
		var features []json.RawMessage
		if err := json.Unmarshal(o.Features, &features); err != nil {
			return r.out, fmt.Errorf("%s: a FeatureCollection without a list of features. Save the boundaries as GeoJSON", name)
		}
		for i, f := range features {
			r.feature(f, fmt.Sprintf("feature %d", i+1))
		}
	case "Feature":
		r.feature(data, "the feature")
	case "Polygon", "MultiPolygon", "GeometryCollection":
		r.geometry(o, r.base(), "the geometry")
	case "":
		return r.out, fmt.Errorf("%s: JSON, but no GeoJSON: it has no type. Save the boundaries as GeoJSON", name)
	default:
		r.unused("a "+word(o.Type)+" is no boundary", "Draw the field as a polygon.")
	}
	return r.out, nil
}

// reference gives the name of a coordinate system that is not the RFC's, from
// the member that GeoJSON had before it.
func reference(crs json.RawMessage) string {
	var c struct {
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	}
	if json.Unmarshal(crs, &c) != nil || c.Properties.Name == "" {
		return ""
	}
	name := strings.ToUpper(c.Properties.Name)
	if strings.HasSuffix(name, "CRS84") || strings.HasSuffix(name, "4326") {
		return ""
	}
	return word(c.Properties.Name)
}

// word makes a text of the file fit for a sentence.
func word(s string) string {
	s = strings.ToValidUTF8(s, "?")
	if len(s) > 60 {
		s = strings.ToValidUTF8(s[:60], "") + "…"
	}
	return strconv.Quote(s)
}

// base is the field's name after its file.
func (r *reader) base() string {
	b := path.Base(strings.ReplaceAll(r.file, `\`, "/"))
	if i := strings.IndexByte(b, '.'); i > 0 {
		b = b[:i]
	}
	return b
}

func (r *reader) unused(why, do string) {
	r.out.Unused = append(r.out.Unused, evenstand.Unused{File: r.file, Offset: -1, Count: 1, Of: "records", Why: why, Do: do})
}

func (r *reader) note(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); !slices.Contains(r.out.Notes, s) {
		r.out.Notes = append(r.out.Notes, s)
	}
}

func (r *reader) feature(data []byte, what string) {
	var f, g object
	if json.Unmarshal(data, &f) != nil || f.Type != "Feature" {
		r.unused(what+" is none: its type is not Feature", "Save the boundaries as GeoJSON.")
		return
	}
	name := fieldName(f.Properties)
	if name == "" {
		name = r.base()
	} else {
		what += " (" + word(name) + ")"
	}
	if name == evenstand.Unassigned {
		r.unused(what+" has a name that stands for ground in no field", "Give it another name.")
		return
	}
	if json.Unmarshal(f.Geometry, &g) != nil || g.Type == "" {
		r.unused(what+" has no geometry", "Draw the field as a polygon.")
		return
	}
	r.geometry(g, name, what)
}

// fieldName finds the name among the properties, in any letter case.
func fieldName(properties json.RawMessage) string {
	var p map[string]json.RawMessage
	if json.Unmarshal(properties, &p) != nil {
		return ""
	}
	for _, want := range []string{"name", "field"} {
		var keys []string
		for k := range p {
			if strings.EqualFold(k, want) {
				keys = append(keys, k)
			}
		}
		slices.Sort(keys)
		for _, k := range keys {
			var s string
			var n json.Number
			if json.Unmarshal(p[k], &s) == nil {
				s = strings.Join(strings.Fields(strings.ToValidUTF8(s, "")), " ")
			} else if json.Unmarshal(p[k], &n) == nil {
				s = n.String()
			}
			if s != "" {
				return s
			}
		}
	}
	return ""
}

// geometry takes the polygons of a geometry into the field of that name. A
// geometry with one bad ring is left out whole: half a field would be worse
// than none.
func (r *reader) geometry(g object, name, what string) {
	polygons, err := r.polygons(g, name, 0)
	if err != nil {
		var bad *badShape
		if errors.As(err, &bad) {
			r.unused(what+": "+bad.why, bad.do)
		}
		return
	}
	if i, ok := r.at[name]; ok {
		r.note("Several outlines are named %s: they are taken as parts of one field.", word(name))
		r.out.Fields[i].Polygons = append(r.out.Fields[i].Polygons, polygons...)
		return
	}
	r.at[name] = len(r.out.Fields)
	r.out.Fields = append(r.out.Fields, evenstand.Field{Name: name, Polygons: polygons})
}

// badShape is what keeps a geometry from being used.
type badShape struct{ why, do string }

func (b *badShape) Error() string { return b.why }

// deepest is how far geometry collections may be nested; the RFC advises none.
const deepest = 4

func (r *reader) polygons(g object, name string, depth int) ([][][][2]float64, error) {
	// A position has two numbers or more; any other kind of value is an error.
	var raw [][][][]float64
	shape := &badShape{"the coordinates are no list of rings of positions", "Save the boundaries as GeoJSON."}
	switch g.Type {
	case "Polygon":
		var one [][][]float64
		if json.Unmarshal(g.Coordinates, &one) != nil {
			return nil, shape
		}
		raw = append(raw, one)
	case "MultiPolygon":
		if json.Unmarshal(g.Coordinates, &raw) != nil {
			return nil, shape
		}
	case "GeometryCollection":
		var parts []object
		if json.Unmarshal(g.Geometries, &parts) != nil || depth >= deepest {
			return nil, &badShape{"a geometry collection that cannot be read", "Draw the field as a polygon."}
		}
		var out [][][][2]float64
		for _, p := range parts {
			ps, err := r.polygons(p, name, depth+1)
			if err != nil {
				return nil, err
			}
			out = append(out, ps...)
		}
		if len(out) == 0 {
			return nil, &badShape{"an empty geometry", "Draw the field as a polygon."}
		}
		return out, nil
	default:
		return nil, &badShape{"a " + word(g.Type) + " is no boundary", "Draw the field as a polygon."}
	}
	var out [][][][2]float64
	for _, rings := range raw {
		p, err := r.polygon(rings, name)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	if len(out) == 0 {
		return nil, &badShape{"an empty geometry", "Draw the field as a polygon."}
	}
	return out, nil
}

func (r *reader) polygon(raw [][][]float64, name string) ([][][2]float64, error) {
	var rings [][][2]float64
	outer, most := 0, 0.0
	for i, positions := range raw {
		ring, err := readRing(positions)
		if err != nil {
			return nil, err
		}
		if n := len(ring); n > 0 && ring[0] != ring[n-1] {
			ring = append(ring, ring[0])
			r.note("A ring of %s was not closed; its last point is joined to its first.", word(name))
		}
		a := math.Abs(area(ring))
		if len(ring) < 4 || a == 0 {
			return nil, &badShape{fmt.Sprintf("ring %d has no area: it needs three corners that do not lie on one line", i+1), "Draw the field again."}
		}
		if a > most {
			outer, most = i, a
		}
		rings = append(rings, ring)
	}
	if len(rings) == 0 {
		return nil, &badShape{"a polygon without a ring", "Draw the field as a polygon."}
	}
	if outer != 0 {
		rings[0], rings[outer] = rings[outer], rings[0]
		r.note("A hole of %s came before the outline; the largest ring is taken as the outline.", word(name))
	}
	turn(rings)
	return rings, nil
}

func readRing(positions [][]float64) ([][2]float64, error) {
	ring := make([][2]float64, 0, len(positions)+1)
	for _, p := range positions {
		if len(p) < 2 {
			return nil, &badShape{"a position of fewer than two numbers", "Save the boundaries as GeoJSON."}
		}
		lon, lat := p[0], p[1]
		switch {
		case math.Abs(lon) <= 180 && math.Abs(lat) <= 90:
		case math.Abs(lon) <= 90 && math.Abs(lat) <= 180:
			return nil, &badShape{fmt.Sprintf("the position %g, %g has its coordinates in the wrong order", lon, lat), "GeoJSON puts longitude first, then latitude: save the file again."}
		case math.Abs(lon) > 1000 || math.Abs(lat) > 1000:
			return nil, &badShape{fmt.Sprintf("the position %g, %g seems to be in metres or feet of a map projection", lon, lat), "Save the boundaries in WGS 84, as longitude and latitude in degrees."}
		default:
			return nil, &badShape{fmt.Sprintf("the position %g, %g is not on the earth", lon, lat), "Longitude goes from -180 to 180 and latitude from -90 to 90."}
		}
		ring = append(ring, [2]float64{lon, lat})
	}
	return ring, nil
}

// area gives the area of a closed ring in square degrees, positive when it
// runs counterclockwise.
func area(ring [][2]float64) float64 {
	a := 0.0
	for i := 1; i < len(ring); i++ {
		x0, y0 := ring[i-1][0]-ring[0][0], ring[i-1][1]-ring[0][1]
		x1, y1 := ring[i][0]-ring[0][0], ring[i][1]-ring[0][1]
		a += x0*y1 - x1*y0
	}
	return a / 2
}

// turn makes the outer ring run counterclockwise and the holes clockwise (RFC
// 7946, section 3.1.6).
func turn(rings [][][2]float64) {
	for i, ring := range rings {
		if (area(ring) > 0) != (i == 0) {
			slices.Reverse(ring)
		}
	}
}

// Write writes fields as a FeatureCollection, a feature a field, with the
// property name. It leaves the fields as they are. A position is written with
// all its digits, so that Read gives it back the same.
func Write(fields []evenstand.Field) []byte {
	b := []byte(`{"type": "FeatureCollection", "features": [`)
	for i, f := range fields {
		if i > 0 {
			b = append(b, ',')
		}
		name, err := json.Marshal(strings.ToValidUTF8(f.Name, "?"))
		if err != nil {
			panic(err) // a text always has a JSON form
		}
		b = append(b, "\n"+`{"type": "Feature", "properties": {"name": `...)
		b = append(b, name...)
		b = append(b, `}, "geometry": {"type": "`...)
		if len(f.Polygons) == 1 {
			b = append(b, `Polygon", "coordinates": `...)
			b = appendPolygon(b, f.Polygons[0])
		} else {
			b = append(b, `MultiPolygon", "coordinates": [`...)
			for j, p := range f.Polygons {
				if j > 0 {
					b = append(b, ", "...)
				}
				b = appendPolygon(b, p)
			}
			b = append(b, ']')
		}
		b = append(b, "}}"...)
	}
	return append(b, "\n]}\n"...)
}

func appendPolygon(b []byte, p [][][2]float64) []byte {
	rings := make([][][2]float64, len(p))
	for i, ring := range p {
		rings[i] = slices.Clone(ring)
		if n := len(ring); n > 0 && ring[0] != ring[n-1] {
			rings[i] = append(rings[i], ring[0])
		}
	}
	turn(rings)
	b = append(b, '[')
	for i, ring := range rings {
		if i > 0 {
			b = append(b, ", "...)
		}
		b = append(b, '[')
		for j, p := range ring {
			if j > 0 {
				b = append(b, ", "...)
			}
			b = append(b, '[')
			b = strconv.AppendFloat(b, p[0], 'f', -1, 64)
			b = append(b, ", "...)
			b = strconv.AppendFloat(b, p[1], 'f', -1, 64)
			b = append(b, ']')
		}
		b = append(b, ']')
	}
	return append(b, ']')
}
