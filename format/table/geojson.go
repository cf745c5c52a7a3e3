package table

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"

	"evenstand/format/unused"
)

// Points in GeoJSON (RFC 7946): a collection of features, one feature, or
// features one behind the other, on lines of their own or after the sign RS
// (RFC 8142).

// lookFeatures is by how many features the columns are known, or by those that
// take lookBytes.
const (
	lookFeatures = 200
	lookBytes    = 4 << 20
)

// maxProps is how many properties become columns; no source.
const maxProps = 4096

// isGeoJSON tells by its head whether a file holds features.
func isGeoJSON(head []byte) bool {
	lead := bytes.TrimLeft(bytes.TrimPrefix(head, bom), " \r\n\t\x1e")
	return len(lead) > 0 && lead[0] == '{' && bytes.Contains(head, []byte(`"Feature`))
}

// property is one value of a feature.
type property struct {
	key  string
	cell Cell
}

// feature is one row to come.
type feature struct {
	props []property
	place bool // it has a point
	pos   [3]float64
	what  string // what it is instead of a point; empty: a point, or none
	at    int64
}

// features is an open GeoJSON text.
type features struct {
	told
	file  io.Closer
	count counter
	cut   *jsonCutter
	first bool // no feature of the list was met yet
	taken int  // bytes of features so far
	inArr bool // within the array of a collection
	inObj bool // within the object that holds it
	queue []feature
	known map[string]int
	geo   geometry
	frame frame
	n     int
	end   bool
	err   error
}

var (
	newKey  = reason{Why: "the property %s, which the first 200 features do not have", Do: "Nothing to do, unless it is wanted.", Of: "values", Each: true}
	overKey = reason{Why: fmt.Sprintf("a property beyond the first %d", maxProps), Do: "Export fewer columns.", Of: "values"}
)

func openGeoJSON(ctx context.Context, in fs.FS, ref Ref) (container, error) {
	g := &features{told: newTold(ctx, ref), known: map[string]int{}}
	f, err := in.Open(ref.path())
	if err != nil {
		return nil, g.fail(-1, openAgain, "%w", plainReason(err))
	}
	g.file, g.count = f, counter{ctx: ctx, r: f}
	b := bufio.NewReaderSize(&g.count, 64<<10)
	g.cut = newJSONCutter(b)
	if head, _ := b.Peek(len(bom)); bytes.Equal(head, bom) {
		if _, err := b.Discard(len(bom)); err != nil {
			return nil, err
		}
		g.cut.at = int64(len(bom))
	}
	height := false
	for len(g.queue) < lookFeatures && g.taken < lookBytes {
		x, ok := g.read()
		if !ok {
			break
		}
		for _, p := range x.props {
			i, have := g.known[p.key]
			if !have {
				if len(g.cols) >= maxProps {
					continue
				}
				i = len(g.cols)
				g.known[p.key] = i
				g.cols = append(g.cols, Column{Name: p.key})
			}
			if g.cols[i].Type == Empty {
				g.cols[i].Type = p.cell.Type
			}
		}
		height = height || !math.IsNaN(x.pos[2])
		g.queue = append(g.queue, x)
	}
	if len(g.queue) == 0 {
		f.Close()
		if g.err != nil {
			return nil, g.err
		}
		return nil, g.fail(-1, again, "it holds no features")
	}
	g.geo = g.addGeometry(height)
	return g, nil
}

// broken notes what ended the reading.
func (g *features) broken(err error) (feature, bool) {
	g.end = true
	if errors.Is(err, io.EOF) && !g.inArr && !g.inObj {
		return feature{}, false
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("it is cut short")
	} else {
		err = plainReason(err)
	}
	g.err = g.fail(g.cut.at, again, "%w", err)
	return feature{}, false
}

// read gives the next feature.
func (g *features) read() (feature, bool) {
	for !g.end {
		if g.inArr {
			more, err := g.goesOn(']', &g.first)
			if err != nil {
				return g.broken(err)
			}
			if more {
				if _, err := g.cut.peek(); err != nil {
					return g.broken(err)
				}
				at := g.cut.at
				raw, err := g.cut.value()
				if err != nil {
					return g.broken(err)
				}
				g.taken += len(raw)
				x, ok, err := g.feature(raw, at)
				if err != nil {
					return g.broken(err)
				}
				if !ok {
					continue
				}
				return x, true
			}
			g.inArr = false
		}
		x, whole, err := g.object()
		if err != nil {
			return g.broken(err)
		}
		if whole {
			return x, true
		}
	}
	return feature{}, false
}

// goesOn tells whether a list or an object has another member, and goes past
// what parts it from the one before, or past the end.
func (g *features) goesOn(end byte, first *bool) (bool, error) {
	b, err := g.cut.peek()
	switch {
	case err != nil:
		return false, err
	case b == end:
		_, err := g.cut.take(string(end))
		return false, err
	case *first:
		*first = false
		return true, nil
	}
	_, err = g.cut.take(",")
	return true, err
}

// object goes on in a top-level object, up to the array of its features or to
// its end; whole: it was a feature itself.
func (g *features) object() (x feature, whole bool, err error) {
	first := !g.inObj
	if first {
		if _, err := g.cut.take("{"); err != nil {
			return x, false, err
		}
		g.inObj = true
	}
	at := g.cut.at - 1
	parts := map[string]json.RawMessage{}
	for {
		more, err := g.goesOn('}', &first)
		if err != nil {
			return x, false, err
		}
		if !more {
			break
		}
		key, err := g.cut.text()
		if err != nil {
			return x, false, err
		}
		if _, err := g.cut.take(":"); err != nil {
			return x, false, err
		}
		switch key {
		case "features":
			if _, err := g.cut.take("["); err != nil {
				return x, false, err
			}
			if err := g.system(parts["crs"]); err != nil {
				return x, false, err
			}
			g.inArr, g.first = true, true
			return x, false, nil
		case "type", "geometry", "properties", "crs":
			raw, err := g.cut.value()
			if err != nil {
				return x, false, err
			}
			g.taken += len(raw)
			if parts[key] = bytes.Clone(raw); key == "crs" {
				if err := g.system(raw); err != nil {
					return x, false, err
				}
			}
		default: // what lies in it may be of any size
			if err := g.cut.pass(); err != nil {
				return x, false, err
			}
		}
	}
	g.inObj = false
	if string(parts["type"]) == `"Feature"` {
		for _, raw := range parts {
			if !json.Valid(raw) {
				return x, false, errDamaged
			}
		}
		x, whole = g.made(parts["geometry"], parts["properties"], at)
	}
	return x, whole, nil
}

var errDamaged = errors.New("a feature is damaged")

// system checks a member crs, as texts before RFC 7946 have it.
func (g *features) system(raw json.RawMessage) error {
	var crs *struct {
		Properties struct {
			Name string `json:"name"`
		} `json:"properties"`
	}
	if len(raw) == 0 || json.Unmarshal(raw, &crs) != nil || crs == nil {
		return nil
	}
	f, err := namedFrame(crs.Properties.Name)
	if err != nil {
		return fmt.Errorf("%w. %s", err, inWGS84)
	}
	g.frame = f
	if f.doubt != "" && len(g.asked) == 0 {
		g.asked = append(g.asked, f.doubt)
	}
	return nil
}

func (g *features) feature(raw json.RawMessage, at int64) (x feature, ok bool, err error) {
	var f struct {
		Geometry   json.RawMessage `json:"geometry"`
		Properties json.RawMessage `json:"properties"`
	}
	switch err := json.Unmarshal(raw, &f); {
	case err != nil && !json.Valid(raw):
		return x, false, errDamaged
	case err != nil:
		g.at = Place{Line: g.n + 1, Offset: at}
		g.add(&badShape, "something that is no feature")
		return x, false, nil
	}
	x, ok = g.made(f.Geometry, f.Properties, at)
	return x, ok, nil
}

// made takes geometry and properties apart.
func (g *features) made(shape, props json.RawMessage, at int64) (feature, bool) {
	g.n++
	x := feature{at: at, pos: [3]float64{math.NaN(), math.NaN(), math.NaN()}}
	var geo *struct {
		Type string          `json:"type"`
		At   json.RawMessage `json:"coordinates"`
	}
	if len(shape) > 0 && json.Unmarshal(shape, &geo) == nil && geo != nil {
		var pos []float64
		switch geo.Type {
		case "Point":
			if json.Unmarshal(geo.At, &pos) != nil {
				x.what = "a point that cannot be read"
			}
		case "MultiPoint":
			var many [][]float64
			if json.Unmarshal(geo.At, &many) != nil || len(many) != 1 {
				x.what = "a group of several points"
			} else {
				pos = many[0]
			}
		default:
			x.what = "a " + geo.Type
		}
		if x.what == "" && len(pos) >= 2 {
			x.place = true
			copy(x.pos[:], pos[:min(3, len(pos))])
		}
	}
	if len(props) > 0 {
		x.props = flat(props)
	}
	return x, true
}

// flat reads the members of an object in their order; what lies in another
// object, or in a list, is left as its text.
func flat(raw json.RawMessage) []property {
	d := json.NewDecoder(bytes.NewReader(raw))
	d.UseNumber()
	if t, err := d.Token(); err != nil || t != json.Delim('{') {
		return nil
	}
	var out []property
	for d.More() {
		key, err := d.Token()
		if err != nil {
			return out
		}
		var v json.RawMessage
		if d.Decode(&v) != nil {
			return out
		}
		name, _ := key.(string)
		out = append(out, property{name, jsonCell(v)})
	}
	return out
}

func jsonCell(raw json.RawMessage) Cell {
	switch c := bytes.TrimSpace(raw); {
	case len(c) == 0, string(c) == "null":
		return Cell{}
	case string(c) == "true":
		return Cell{Type: Flag, Num: 1}
	case string(c) == "false":
		return Cell{Type: Flag}
	case c[0] == '"':
		var s string
		if json.Unmarshal(c, &s) != nil || s == "" {
			return Cell{}
		}
		return Cell{Type: Words, Text: []byte(s)}
	case c[0] == '-' || c[0] >= '0' && c[0] <= '9':
		var v float64
		if json.Unmarshal(c, &v) != nil {
			return Cell{}
		}
		return Cell{Type: Number, Num: v}
	default:
		return Cell{Type: Words, Text: bytes.Clone(c)}
	}
}

func (g *features) next() (bool, error) {
	for {
		if err := g.each(); err != nil {
			return false, err
		}
		var x feature
		if len(g.queue) > 0 {
			x = g.queue[0]
			g.queue = g.queue[1:]
		} else {
			var ok bool
			if x, ok = g.read(); !ok {
				return false, g.err
			}
		}
		g.at = Place{Line: g.at.Line + 1, Offset: x.at}
		if x.what != "" {
			g.add(&badShape, x.what)
			continue
		}
		g.clear()
		for _, p := range x.props {
			if i, ok := g.known[p.key]; ok {
				g.cells[i] = p.cell
			} else if len(g.known) >= maxProps {
				g.add(&overKey, "")
			} else {
				g.add(&newKey, unused.Show([]byte(p.key)))
			}
		}
		if x.place {
			g.set(g.geo, g.frame, x.pos[0], x.pos[1], x.pos[2])
		}
		return true, nil
	}
}

func (g *features) bytes() int64 { return g.count.n }
func (g *features) close() error { return g.file.Close() }
