// Package mvttest reads vector tiles back for tests, strictly: what version 2.1
// of the specification does not allow is an error, and so is what our tiles do
// not use. It shares no code with the writer.
package mvttest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

// Layer is a layer as it stands in a tile.
type Layer struct {
	Name     string
	Extent   int
	Features []Feature
}

// Feature is one polygon of one ring, its last point the first again.
type Feature struct {
	Ring       [][2]int
	Properties map[string]any // float64 or bool
}

// fields calls f for every field of a message.
func fields(b []byte, f func(number int, v uint64, data []byte) error) error {
	for len(b) > 0 {
		tag, n := binary.Uvarint(b)
		if n <= 0 {
			return errors.New("a field's number is cut off")
		}
		b = b[n:]
		var v uint64
		var data []byte
		switch tag & 7 {
		case 0:
			if v, n = binary.Uvarint(b); n <= 0 {
				return errors.New("a number is cut off")
			}
			b = b[n:]
		case 1:
			if len(b) < 8 {
				return errors.New("a double is cut off")
			}
			v, b = binary.LittleEndian.Uint64(b), b[8:]
		case 2:
			long, n := binary.Uvarint(b)
			if n <= 0 || long > uint64(len(b)-n) {
				return errors.New("a field is cut off")
			}
			data, b = b[n:n+int(long)], b[n+int(long):]
		default:
			return fmt.Errorf("a field of kind %d", tag&7)
		}
		if err := f(int(tag>>3), v, data); err != nil {
			return err
		}
	}
	return nil
}

func numbers(b []byte) ([]uint64, error) {
	var out []uint64
	for len(b) > 0 {
		v, n := binary.Uvarint(b)
		if n <= 0 || v > math.MaxUint32 {
			return nil, errors.New("not a 32-bit number")
		}
		out, b = append(out, v), b[n:]
	}
	return out, nil
}

// Read reads a tile.
func Read(tile []byte) ([]Layer, error) {
	var out []Layer
	return out, fields(tile, func(number int, _ uint64, data []byte) error {
		if number != 3 {
			return fmt.Errorf("field %d of a tile", number)
		}
		l, err := layer(data)
		out = append(out, l)
		return err
	})
}

func layer(b []byte) (Layer, error) {
	l := Layer{Extent: 4096}
	var features [][]byte
	var keys []string
	var values []any
	version := uint64(1)
	err := fields(b, func(number int, v uint64, data []byte) error {
		switch number {
		case 1:
			l.Name = string(data)
		case 2:
			features = append(features, data)
		case 3:
			keys = append(keys, string(data))
		case 4:
			return fields(data, func(number int, v uint64, _ []byte) error {
				switch number {
				case 3:
					values = append(values, math.Float64frombits(v))
				case 7:
					values = append(values, v == 1)
				default:
					return fmt.Errorf("a value of kind %d", number)
				}
				return nil
			})
		case 5:
			l.Extent = int(v)
		case 15:
			version = v
		default:
			return fmt.Errorf("field %d of a layer", number)
		}
		return nil
	})
	switch {
	case err != nil:
		return l, err
	case version != 2 || l.Name == "" || len(features) == 0:
		return l, fmt.Errorf("layer %q of version %d with %d features", l.Name, version, len(features))
	}
	seen := map[any]bool{}
	for _, v := range values {
		if seen[v] {
			return l, fmt.Errorf("the value %v is there twice", v)
		}
		seen[v] = true
	}
	for _, b := range features {
		f, err := feature(b, keys, values)
		if err != nil {
			return l, err
		}
		l.Features = append(l.Features, f)
	}
	return l, nil
}

func feature(b []byte, keys []string, values []any) (Feature, error) {
	f := Feature{Properties: map[string]any{}}
	kind := uint64(0)
	var tags, geometry []uint64
	err := fields(b, func(number int, v uint64, data []byte) (err error) {
		switch number {
		case 2:
			tags, err = numbers(data)
		case 3:
			kind = v
		case 4:
			geometry, err = numbers(data)
		default:
			err = fmt.Errorf("field %d of a feature", number)
		}
		return err
	})
	if err != nil {
		return f, err
	}
	if kind != 3 || len(tags)%2 != 0 {
		return f, fmt.Errorf("kind %d, %d tags", kind, len(tags))
	}
	for i := 0; i < len(tags); i += 2 {
		if tags[i] >= uint64(len(keys)) || tags[i+1] >= uint64(len(values)) {
			return f, fmt.Errorf("tag %v of %d keys and %d values", tags[i:i+2], len(keys), len(values))
		}
		f.Properties[keys[tags[i]]] = values[tags[i+1]]
	}
	f.Ring, err = ring(geometry)
	return f, err
}

// ring reads one ring: a move, lines, and the close (section 4.3.4.4).
func ring(g []uint64) ([][2]int, error) {
	x, y := 0, 0
	var out [][2]int
	for step, want := range []uint64{1, 2, 7} {
		if len(g) == 0 || g[0]&7 != want {
			return nil, fmt.Errorf("command %d: %v, want %d", step, g, want)
		}
		count := int(g[0] >> 3)
		g = g[1:]
		if want == 7 {
			if count != 1 || len(g) != 0 {
				return nil, fmt.Errorf("a close of %d, %d numbers behind it", count, len(g))
			}
			break
		}
		if want == 1 && count != 1 || want == 2 && count < 2 || len(g) < 2*count {
			return nil, fmt.Errorf("command %d counts %d", want, count)
		}
		for range count {
			dx, dy := int(int32(g[0]>>1)^-int32(g[0]&1)), int(int32(g[1]>>1)^-int32(g[1]&1))
			if want == 2 && dx == 0 && dy == 0 {
				return nil, errors.New("a line of no length")
			}
			x, y, g = x+dx, y+dy, g[2:]
			out = append(out, [2]int{x, y})
		}
	}
	out = append(out, out[0])
	area := 0
	for i := range len(out) - 1 {
		area += out[i][0]*out[i+1][1] - out[i+1][0]*out[i][1]
	}
	if area <= 0 || out[len(out)-2] == out[0] {
		return nil, fmt.Errorf("twice the area is %d, want it above 0", area)
	}
	return out, nil
}
