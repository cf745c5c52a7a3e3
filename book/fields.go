package book

import (
	"encoding/json"
	"fmt"
	"path"
	"strings"

	"evenstand"
)

// parseFields reads a GeoJSON text (RFC 7946) of field boundaries: a feature
// collection, a feature, or a bare polygon. A field's name is the feature's
// property "name", else the file's name.
func parseFields(name string, data []byte) ([]evenstand.Field, error) {
	var top struct {
		Type     string            `json:"type"`
		Features []json.RawMessage `json:"features"`
	}
	if err := json.Unmarshal(data, &top); err != nil {
		return nil, fmt.Errorf("not GeoJSON: %w", err)
	}
	stem := strings.TrimSuffix(name, path.Ext(name))
	var fields []evenstand.Field
	switch top.Type {
	case "FeatureCollection":
		for i, raw := range top.Features {
			fallback := stem
			if len(top.Features) > 1 {
				fallback = fmt.Sprintf("%s %d", stem, i+1)
			}
			f, err := parseFeature(fallback, raw)
			if err != nil {
				return nil, fmt.Errorf("feature %d: %w", i+1, err)
			}
			fields = append(fields, f)
		}
	case "Feature":
		f, err := parseFeature(stem, data)
		if err != nil {
			return nil, err
		}
		fields = append(fields, f)
	case "Polygon", "MultiPolygon":
		polygons, err := parsePolygons(data)
		if err != nil {
			return nil, err
		}
		fields = append(fields, evenstand.Field{Name: stem, Polygons: polygons})
	default:
		return nil, fmt.Errorf("type %q: want a Feature or FeatureCollection with Polygon or MultiPolygon", top.Type)
	}
	if len(fields) == 0 {
		return nil, fmt.Errorf("no field in it: want a Feature with a Polygon or MultiPolygon")
	}
	return fields, nil
}

func parseFeature(fallback string, data []byte) (evenstand.Field, error) {
	var f struct {
		Properties map[string]any  `json:"properties"`
		Geometry   json.RawMessage `json:"geometry"`
	}
	if err := json.Unmarshal(data, &f); err != nil {
		return evenstand.Field{}, err
	}
	name := fallback
	if n, ok := f.Properties["name"].(string); ok && strings.TrimSpace(n) != "" {
		name = strings.TrimSpace(n)
	}
	polygons, err := parsePolygons(f.Geometry)
	return evenstand.Field{Name: name, Polygons: polygons}, err
}

func parsePolygons(data []byte) ([][][][2]float64, error) {
	var g struct {
		Type        string          `json:"type"`
		Coordinates json.RawMessage `json:"coordinates"`
	}
	if err := json.Unmarshal(data, &g); err != nil {
		return nil, fmt.Errorf("a geometry is wanted: %w", err)
	}
	var many [][][][]float64 // positions may carry a height
	switch g.Type {
	case "MultiPolygon":
		if err := json.Unmarshal(g.Coordinates, &many); err != nil {
			return nil, err
		}
	case "Polygon":
		many = make([][][][]float64, 1)
		if err := json.Unmarshal(g.Coordinates, &many[0]); err != nil {
			return nil, err
		}
	default:
		return nil, fmt.Errorf("geometry %q: want Polygon or MultiPolygon", g.Type)
	}
	polygons := make([][][][2]float64, len(many))
	for i, polygon := range many {
		if len(polygon) == 0 {
			return nil, fmt.Errorf("polygon %d has no ring", i+1)
		}
		for _, ring := range polygon {
			if len(ring) < 4 {
				return nil, fmt.Errorf("polygon %d: a ring has %d corners: want at least 4, the last one the first again", i+1, len(ring))
			}
			r := make([][2]float64, len(ring))
			for k, p := range ring {
				if len(p) < 2 || p[0] < -180 || p[0] > 180 || p[1] < -90 || p[1] > 90 {
					return nil, fmt.Errorf("polygon %d, corner %d: want longitude and latitude in degrees", i+1, k+1)
				}
				r[k] = [2]float64{p[0], p[1]}
			}
			polygons[i] = append(polygons[i], r)
		}
	}
	return polygons, nil
}
