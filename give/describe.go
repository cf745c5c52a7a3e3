package give

import (
	"encoding/json"
	"errors"
	"io"

	"evenstand/format/table"
)

// csvw is the metadata of a table as CSV on the Web has it (W3C 2015, Metadata
// Vocabulary for Tabular Data; from memory).
type csvw struct {
	Context string     `json:"@context"`
	URL     string     `json:"url,omitempty"`
	Title   string     `json:"dc:title"`
	Rows    int64      `json:"evenstand:rows"`
	Schema  csvwSchema `json:"tableSchema"`
}

type csvwSchema struct {
	Columns []csvwColumn `json:"columns"`
}

type csvwColumn struct {
	Name string `json:"name"`
	Says string `json:"dc:description"`
	Type string `json:"datatype"`
	Null string `json:"null"`
}

var csvwTypes = map[table.CellType]string{
	table.Words: "string", table.Number: "double", table.Instant: "dateTime", table.Flag: "boolean", table.Shape: "string",
}

var endings = map[As]string{Parquet: "parquet", GeoJSON: "geojson", Shapefile: "shp"}

// describe writes what the columns mean beside the table.
func describe(t *Table, as As, base string, create func(string) (io.WriteCloser, error), rows int64) error {
	m := csvw{Context: "http://www.w3.org/ns/csvw", Title: t.Title, Rows: rows}
	name := base + "." + endings[as] + "-columns.json"
	if as == CSV {
		m.URL, name = base+".csv", base+".csv-metadata.json"
	}
	for _, c := range t.Columns {
		col := csvwColumn{Name: c.Name, Says: c.Says, Type: csvwTypes[c.Type]}
		switch {
		case as == CSV:
			col.Name = csvName(c.Name)
			if c.Type == table.Flag {
				col.Type = "integer" // 0 and 1
			}
		case c.Name == table.LongitudeColumn || c.Name == table.LatitudeColumn || c.Type == table.Shape:
			continue // they are the geometry
		}
		m.Schema.Columns = append(m.Schema.Columns, col)
	}
	text, err := json.MarshalIndent(m, "", " ")
	if err != nil {
		return err
	}
	f, err := create(name)
	if err != nil {
		return err
	}
	_, err = f.Write(append(text, '\n'))
	return errors.Join(err, f.Close())
}
