package table

import "evenstand"

// Kind is how a table is stored.
type Kind string

// The kinds.
const (
	Text      Kind = "text"      // CSV, TSV and others with a separator
	Workbook  Kind = "workbook"  // a sheet of an XLSX file
	Parquet   Kind = "parquet"   // Parquet and GeoParquet
	GeoJSON   Kind = "geojson"   // points with properties
	Shapefile Kind = "shapefile" // points with a dBASE table, loose or in a zip
)

// Ref names one table inside an input.
type Ref struct {
	Kind  Kind
	Files []string // the file, or the parts of a shapefile; slash-separated
	Sheet string   // of a workbook; empty elsewhere
	// Inside is the path within a zip that itself lies in the input; Files is
	// then the zip alone. Empty for a file that lies in the input itself.
	Inside string
}

// CellType says what a cell holds.
type CellType uint8

// The types. A text table has Empty and Words only: what a word means hangs on
// the recipe's decimal sign and time pattern.
const (
	Empty   CellType = iota
	Words            // Cell.Text
	Number           // Cell.Num
	Instant          // Cell.T, a moment
	Local            // Cell.T, date and time of a wall clock, as if it were UTC
	Flag             // Cell.Num is 0 or 1
	Shape            // Cell.Text is a line or an area as WKB, in degrees of WGS 84; for writing only
)

// Cell is one value of a row. Text is only lent, until the next row.
type Cell struct {
	Type CellType
	Text []byte
	Num  float64
	T    evenstand.Micros
}

// Column is one column of a table.
type Column struct {
	Name string // as written; a table without a header has "column 1" and so on
	Unit string // from a line of units under the header, empty without one
	// Type is what the container declares or the first rows hold; Empty unknown.
	Type CellType
	// Width is how many bytes the words of a column may have in a dBASE table, 254
	// at most; 0: 40. Only writing asks for it.
	Width int
}

// The columns that a geometry becomes, in degrees of WGS 84. Height, in metres,
// is there when the geometry has it.
const (
	LongitudeColumn = "geometry longitude"
	LatitudeColumn  = "geometry latitude"
	HeightColumn    = "geometry height"
)

// ShapeColumn is the column of lines and areas, which are only written.
const ShapeColumn = "geometry"

// Dialect is how a text table is written. What is zero is found out by looking.
type Dialect struct {
	Encoding  string // "utf-8", "utf-16le", "utf-16be", "latin-1" (read as Windows-1252)
	Separator byte   // ',', ';', '\t', '|' or ' ' (any number of blanks)
	Decimal   byte   // '.' or ','
	Header    int    // line of the header, from 1; -1 none
	Units     int    // line of the units, from 1; -1 none
}

// Place says where a row stands.
type Place struct {
	Line   int   // from 1; of Parquet, workbooks and shapefiles the row, header not counted
	Offset int64 // first byte of the row, -1 unknown
}
