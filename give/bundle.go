package give

import (
	"archive/zip"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"evenstand/book"
)

// bundle is what a field's zip holds, and how.
var bundle = []struct {
	what What
	as   As
}{
	{Fields, GeoJSON}, {Passes, GeoJSON}, {Stretches, CSV}, {Findings, CSV}, {Seeds, Parquet}, {Readings, Parquet},
}

// Field writes all that there is of a field into one zip: boundary and passes as
// GeoJSON, stretches and findings as CSV, seeds and readings as Parquet, and a text that says what they are. told hears how many of the tables are done.
func Field(ctx context.Context, b *book.Book, f Filter, out io.Writer, told func(done, total int)) ([]Made, error) {
	z := zip.NewWriter(out)
	create := InZip(z)
	var all []Made
	var text strings.Builder
	fmt.Fprintf(&text, "What a planter did in %s. WGS 84, SI units, times in UTC. Beside each\ntable stands what its columns mean.\n\n", f.Field)
	for i, t := range bundle {
		if told != nil {
			told(i, len(bundle))
		}
		m, err := Write(ctx, b, t.what, t.as, f, string(t.what), create, nil)
		if err != nil && !errors.Is(err, ErrEmpty) {
			return all, err
		}
		def, _ := Find(t.what)
		fmt.Fprintf(&text, "%-10s %d rows. %s.\n", m.What, m.Rows, def.Title)
		all = append(all, m)
	}
	w, err := create("README.txt")
	if err == nil {
		_, err = io.WriteString(w, text.String())
	}
	return all, errors.Join(err, z.Close())
}

// InZip makes files in a zip, one after the other. A date must stand there, and is
// always the same: the same book gives the same bytes.
func InZip(z *zip.Writer) func(name string) (io.WriteCloser, error) {
	return func(name string) (io.WriteCloser, error) {
		w, err := z.CreateHeader(&zip.FileHeader{Name: name, Method: zip.Deflate, Modified: time.Date(1980, 1, 1, 0, 0, 0, 0, time.UTC)})
		return inZip{w}, err
	}
}

// inZip is a file of a zip, which is closed by the next.
type inZip struct{ io.Writer }

func (inZip) Close() error { return nil }
