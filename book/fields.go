package book

import (
	"errors"
	"fmt"

	"evenstand"
	"evenstand/format/geo"
)

// parseFields reads a GeoJSON text (RFC 7946) of field boundaries. A boundary
// that cannot be used is refused with what to do, since a book with a part of
// a person's fields would misjudge what is still to plant.
func parseFields(name string, data []byte) ([]evenstand.Field, error) {
	r, err := geo.Read(name, data)
	if err != nil {
		return nil, err
	}
	for _, u := range r.Unused {
		return nil, fmt.Errorf("%s. %s", u.Why, u.Do)
	}
	if len(r.Fields) == 0 {
		return nil, errors.New("no field in it: want a Feature with a Polygon or MultiPolygon")
	}
	return r.Fields, nil
}
