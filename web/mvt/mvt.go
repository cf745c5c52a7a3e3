// Package mvt writes vector tiles: the cells of a map, cut into squares, in whole
// numbers of a tile's own square.
//
// It takes rings of points and their properties and gives the bytes of one tile
// with one layer. Equal properties are written once. It reads no files and cuts
// nothing off: rings may reach beyond the tile.
//
// Sources: Mapbox Vector Tile Specification, version 2.1, 2016 (sections 4.1 to
// 4.4; CC BY 3.0); Protocol Buffers, Encoding (varint, length-delimited).
package mvt

import (
	"encoding/binary"
	"math"
)

// MIME is the type of a tile (specification, section 2.2).
const MIME = "application/vnd.mapbox-vector-tile"

// The numbers of the fields (specification, appendix A: vector_tile.proto).
const (
	tileLayer = 3

	layerName    = 1
	layerFeature = 2
	layerKey     = 3
	layerValue   = 4
	layerExtent  = 5
	layerVersion = 15

	featureTags     = 2
	featureType     = 3
	featureGeometry = 4

	valueDouble = 3
	valueBool   = 7

	polygon = 3 // of GeomType

	moveTo    = 1 // commands of a geometry
	lineTo    = 2
	closePath = 7
)

// The ways a field is written.
const (
	varint  = 0
	fixed64 = 1
	bytes   = 2
)

// Point is a place in a tile: from its left and from its top.
type Point struct{ X, Y int32 }

// Layer collects features; the zero one is not ready, see NewLayer.
type Layer struct {
	name     string
	extent   uint32
	features []byte
	n        int
	keys     []string
	values   []byte
	count    uint32 // of values
	doubles  map[uint64]uint32
	bools    [2]uint32 // place among the values, one more than it is
	tags     []byte
	geometry []byte
	ring     []Point
}

// NewLayer begins a layer of a tile whose side is extent units long. Features
// carry a value for each of the keys, in their order.
func NewLayer(name string, extent uint32, keys ...string) *Layer {
	return &Layer{name: name, extent: extent, keys: keys, doubles: map[uint64]uint32{}}
}

// Double gives the place of a number among the layer's values.
func (l *Layer) Double(x float64) uint32 {
	if x == 0 {
		x = 0 // not -0, which reads the same
	}
	k := math.Float64bits(x)
	at, ok := l.doubles[k]
	if !ok {
		at = l.count
		l.doubles[k] = at
		l.values = append(l.values, head(layerValue, bytes), 9, head(valueDouble, fixed64))
		l.values = binary.LittleEndian.AppendUint64(l.values, k)
		l.count++
	}
	return at
}

// Bool gives the place of yes or no among the layer's values.
func (l *Layer) Bool(yes bool) uint32 {
	var b byte
	if yes {
		b = 1
	}
	if l.bools[b] == 0 {
		l.values = append(l.values, head(layerValue, bytes), 2, head(valueBool, varint), b)
		l.count++
		l.bools[b] = l.count
	}
	return l.bools[b] - 1
}

// Polygon adds a polygon of one ring, whose last point is not the first again,
// with the places of its values, one a key. Points that follow each other at one
// place are one; the ring is turned clockwise as seen, as outer rings are
// (section 4.3.3.3). A ring that covers no ground is left out, false.
func (l *Layer) Polygon(ring []Point, values ...uint32) bool {
	if len(values) != len(l.keys) {
		panic("mvt: not a value a key")
	}
	l.ring = l.ring[:0]
	for _, p := range ring {
		if n := len(l.ring); n == 0 || l.ring[n-1] != p {
			l.ring = append(l.ring, p)
		}
	}
	for n := len(l.ring); n > 1 && l.ring[n-1] == l.ring[0]; n-- {
		l.ring = l.ring[:n-1]
	}
	area := int64(0) // twice, by the surveyor's formula, y downward
	for i, p := range l.ring {
		q := l.ring[(i+1)%len(l.ring)]
		area += int64(p.X)*int64(q.Y) - int64(q.X)*int64(p.Y)
	}
	if area == 0 {
		return false
	}
	l.tags = l.tags[:0]
	for i, v := range values {
		l.tags = binary.AppendUvarint(binary.AppendUvarint(l.tags, uint64(i)), uint64(v))
	}
	g, n := l.geometry[:0], len(l.ring)
	g = binary.AppendUvarint(g, moveTo|1<<3)
	at := Point{}
	for i := range n {
		p := l.ring[i]
		if area < 0 {
			p = l.ring[n-1-i]
		}
		if i == 1 {
			g = binary.AppendUvarint(g, lineTo|uint64(n-1)<<3)
		}
		g = binary.AppendUvarint(binary.AppendUvarint(g, zigzag(p.X-at.X)), zigzag(p.Y-at.Y))
		at = p
	}
	g = binary.AppendUvarint(g, closePath|1<<3)
	l.geometry = g
	size := 2 + field(len(l.tags)) + field(len(g))
	l.features = binary.AppendUvarint(append(l.features, head(layerFeature, bytes)), uint64(size))
	l.features = part(l.features, featureTags, l.tags)
	l.features = append(l.features, head(featureType, varint), polygon)
	l.features = part(l.features, featureGeometry, g)
	l.n++
	return true
}

// Tile gives the bytes of a tile of this layer alone; none without features,
// since a layer has at least one (section 4.1).
func (l *Layer) Tile() []byte {
	if l.n == 0 {
		return nil
	}
	front := part([]byte{head(layerVersion, varint), 2}, layerName, []byte(l.name))
	var back []byte
	for _, k := range l.keys {
		back = part(back, layerKey, []byte(k))
	}
	extent := binary.AppendUvarint([]byte{head(layerExtent, varint)}, uint64(l.extent))
	size := len(front) + len(l.features) + len(back) + len(l.values) + len(extent)
	out := make([]byte, 0, size+11)
	out = binary.AppendUvarint(append(out, head(tileLayer, bytes)), uint64(size))
	for _, b := range [][]byte{front, l.features, back, l.values, extent} {
		out = append(out, b...)
	}
	return out
}

// head is what stands before a field; all numbers are below 16.
func head(number, kind byte) byte { return number<<3 | kind }

// part appends a field of some bytes.
func part(out []byte, number byte, b []byte) []byte {
	return append(binary.AppendUvarint(append(out, head(number, bytes)), uint64(len(b))), b...)
}

// field is how long a field of n bytes is.
func field(n int) int {
	size := 2 + n
	for ; n >= 0x80; n >>= 7 {
		size++
	}
	return size
}

// zigzag writes small numbers of either sign as small ones (section 4.3.2).
func zigzag(x int32) uint64 { return uint64(uint32(x<<1) ^ uint32(x>>31)) }
