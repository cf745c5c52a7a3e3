package column_test

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"

	"github.com/andybalholm/brotli"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/klauspost/compress/gzip"
	"github.com/klauspost/compress/zstd"
	"github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
	"pgregory.net/rapid"

	"evenstand/format/column"
)

// made is a file of one column made by hand, so that it can lie.
type made struct {
	name   string // of a field of row
	kind   format.Type
	null   bool
	codec  format.CompressionCodec
	rows   int64
	pages  []madePage
	footer func(*format.FileMetaData)
}

type madePage struct {
	header format.PageHeader // sizes of 0 become the true ones
	body   []byte
}

func (m made) bytes(t testing.TB) []byte {
	t.Helper()
	var p thrift.CompactProtocol
	b := []byte("PAR1")
	for _, page := range m.pages {
		if page.header.CompressedPageSize == 0 {
			page.header.CompressedPageSize = int32(len(page.body))
		}
		if page.header.UncompressedPageSize == 0 {
			page.header.UncompressedPageSize = int32(len(page.body))
		}
		h, err := thrift.Marshal(&p, &page.header)
		if err != nil {
			t.Fatal(err)
		}
		b = append(append(b, h...), page.body...)
	}
	repetition := format.Required
	if m.null {
		repetition = format.Optional
	}
	meta := format.FileMetaData{
		Version: 1,
		Schema: thrift.Slice[format.SchemaElement]{
			{Name: "root", NumChildren: thrift.New[int32](1)},
			{Name: m.name, Type: thrift.New(m.kind), RepetitionType: thrift.New(repetition), TypeLength: thrift.New[int32](3)},
		},
		NumRows: m.rows,
		RowGroups: thrift.Slice[format.RowGroup]{{NumRows: m.rows, Columns: thrift.Slice[format.ColumnChunk]{{MetaData: format.ColumnMetaData{
			Type: m.kind, Codec: m.codec, NumValues: m.rows, DataPageOffset: 4, TotalCompressedSize: int64(len(b) - 4), TotalUncompressedSize: int64(len(b) - 4),
			Encoding: thrift.Slice[format.Encoding]{format.Plain}, PathInSchema: thrift.Slice[string]{m.name},
		}}}}},
	}
	if m.footer != nil {
		m.footer(&meta)
	}
	f, err := thrift.Marshal(&p, &meta)
	if err != nil {
		t.Fatal(err)
	}
	b = binary.LittleEndian.AppendUint32(append(b, f...), uint32(len(f)))
	return append(b, "PAR1"...)
}

func v1(values int32, coding format.Encoding, body ...byte) madePage {
	return madePage{format.PageHeader{Type: format.DataPage, DataPageHeader: thrift.New(format.DataPageHeader{NumValues: values, Encoding: coding, DefinitionLevelEncoding: format.RLE, RepetitionLevelEncoding: format.RLE})}, body}
}

func v2(values, nulls, levels int32, coding format.Encoding, body ...byte) madePage {
	return madePage{format.PageHeader{Type: format.DataPageV2, DataPageHeaderV2: thrift.New(format.DataPageHeaderV2{NumValues: values, NumNulls: nulls, NumRows: values, Encoding: coding, DefinitionLevelsByteLength: levels})}, body}
}

func dict(values int32, body ...byte) madePage {
	return madePage{format.PageHeader{Type: format.DictionaryPage, DictionaryPageHeader: thrift.New(format.DictionaryPageHeader{NumValues: values, Encoding: format.Plain})}, body}
}

func (p madePage) sized(packed, unpacked int32) madePage {
	p.header.CompressedPageSize, p.header.UncompressedPageSize = packed, unpacked
	return p
}

// uvarints writes numbers as the delta code and the runs do.
func uvarints(vs ...uint64) (b []byte) {
	for _, v := range vs {
		b = binary.AppendUvarint(b, v)
	}
	return b
}

func packed(t testing.TB, n int, writer func(io.Writer) io.WriteCloser) []byte {
	t.Helper()
	var b bytes.Buffer
	w := writer(&b)
	zeros := make([]byte, 1<<20)
	for ; n > 0; n -= len(zeros) {
		if _, err := w.Write(zeros[:min(n, len(zeros))]); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// lie is a file that states more than it holds, and what is said of it.
type lie struct {
	name string
	file made
	want string
}

// lies are sound files but for one number in a page or in the footer.
func lies(t testing.TB) []lie {
	const much = math.MaxInt32
	const big = 1 << 26 // what the packed pages unpack to
	zip := func(w io.Writer) io.WriteCloser { return gzip.NewWriter(w) }
	bro := func(w io.Writer) io.WriteCloser { return brotli.NewWriterLevel(w, 5) }
	zst := func(w io.Writer) io.WriteCloser {
		z, err := zstd.NewWriter(w)
		if err != nil {
			t.Fatal(err)
		}
		return z
	}
	z, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	count := uvarints(128, 4, much, 2)
	shares := func() (b []byte) { // 4,000 texts, each the one before and a letter
		for _, first := range []uint64{0, 1} { // begins of 0, 1, 2 … bytes; rests of 1, 1, 1 …
			b = append(b, uvarints(128, 4, 4000, 2*first)...)
			for left := 3999; left > 0; left -= 128 {
				b = append(b, byte(2-2*first), 0, 0, 0, 0)
			}
		}
		return append(b, bytes.Repeat([]byte{'a'}, 4000)...)
	}()
	one := func(name string, kind format.Type, p ...madePage) made {
		return made{name: name, kind: kind, rows: 4, pages: p}
	}
	null := func(name string, kind format.Type, p ...madePage) made {
		m := one(name, kind, p...)
		m.null = true
		return m
	}
	with := func(m made, codec format.CompressionCodec) made { m.codec = codec; return m }
	of := func(m made, rows int64, footer func(*format.FileMetaData)) made {
		m.rows, m.footer = rows, footer
		return m
	}
	plain := v2(4, 0, 0, format.Plain, make([]byte, 16)...)
	texts := []byte{1, 0, 0, 0, 'a', 0xff, 0xff, 0xff, 0xff, 'b'}
	deep := func(m *format.FileMetaData) {
		m.Schema = nil
		for range 100_000 {
			m.Schema = append(m.Schema, format.SchemaElement{Name: "a", NumChildren: thrift.New[int32](1)})
		}
	}
	return []lie{
		{"delta of 32 bits", one("d", format.Int32, v2(4, 0, 0, format.DeltaBinaryPacked, count...)), "said to be 2147483647, and the page has 4"},
		{"delta of 64 bits", one("e", format.Int64, v1(4, format.DeltaBinaryPacked, count...)), "said to be 2147483647, and the page has 4"},
		{"delta, packed", with(one("e", format.Int64, v2(4, 0, 0, format.DeltaBinaryPacked, z.EncodeAll(count, nil)...).sized(0, int32(len(count)))), format.Zstd), "said to be 2147483647, and the page has 4"},
		{"delta, blocks", one("d", format.Int32, v2(4, 0, 0, format.DeltaBinaryPacked, uvarints(128<<40, 4, 4, 2)...)), "blocks of 140737488355328 in 4 parts"},
		{"delta, parts", one("d", format.Int32, v2(4, 0, 0, format.DeltaBinaryPacked, uvarints(128, 1<<60, 4, 2)...)), "in 1152921504606846976 parts"},
		{"delta, width", one("d", format.Int32, v2(4, 0, 0, format.DeltaBinaryPacked, append(uvarints(128, 4, 4, 2, 0), 200, 0, 0, 0)...)), "a step of 200 bits"},
		{"delta, end", one("d", format.Int32, v2(4, 0, 0, format.DeltaBinaryPacked, append(uvarints(128, 4, 4, 2, 0), 32, 0, 0, 0, 1)...)), "they end early"},
		{"values", one("d", format.Int32, v2(much, 0, 0, format.DeltaBinaryPacked, count...)), "hold 2147483647 values, where the row group has 4 rows left"},
		{"values below none", one("d", format.Int32, v1(-4, format.Plain, make([]byte, 16)...)), "hold -4 values"},
		{"too few values", one("d", format.Int32, v1(4, format.Plain, make([]byte, 15)...)), "4 values, which take 16 bytes, in 15"},
		{"too few pages", one("d", format.Int32, v1(3, format.Plain, make([]byte, 12)...)), "the pages end with 1 rows of the group left"},
		{"unpacked", one("d", format.Int32, plain.sized(0, much)), "said to unpack to 2147483647 bytes"},
		{"unpacked below none", one("d", format.Int32, plain.sized(0, -1)), "said to unpack to -1 bytes"},
		{"packed", one("d", format.Int32, plain.sized(much, 16)), "said to take 2147483647 bytes"},
		{"zstd", with(one("d", format.Int32, v2(4, 0, 0, format.Plain, packed(t, big, zst)...).sized(0, 16)), format.Zstd), "unpacking it"},
		{"zstd, stated", with(one("d", format.Int32, v2(4, 0, 0, format.Plain, z.EncodeAll(make([]byte, big), nil)...).sized(0, 16)), format.Zstd), "unpacking it"},
		{"snappy", with(one("d", format.Int32, v2(4, 0, 0, format.Plain, uvarints(math.MaxUint32)...).sized(0, 16)), format.Snappy), "more in it than its header says"},
		{"gzip", with(one("d", format.Int32, v2(4, 0, 0, format.Plain, packed(t, big, zip)...).sized(0, 16)), format.Gzip), "more in it than its header says"},
		{"brotli", with(one("d", format.Int32, v1(4, format.Plain, packed(t, big, bro)...).sized(0, 16)), format.Brotli), "more in it than its header says"},
		{"lz4", with(one("d", format.Int32, v1(4, format.Plain, append(append([]byte{0x1f, 0, 1, 0}, bytes.Repeat([]byte{255}, 1000)...), 0, 0)...).sized(0, 16)), format.Lz4Raw), "unpacking it"},
		{"codec", with(one("d", format.Int32, plain), 77), "packed with"},
		{"coding", one("d", format.Int32, v2(4, 0, 0, 77, 0)), "which is not read"},
		{"dictionary", one("d", format.Int32, dict(much, make([]byte, 16)...), plain), "said to hold 2147483647 values, in 16 bytes"},
		{"dictionary of texts", one("i", format.ByteArray, dict(much, make([]byte, 16)...), plain), "said to hold 2147483647 values, in 16 bytes"},
		{"no dictionary", one("d", format.Int32, v2(4, 0, 0, format.RLEDictionary, 1, 8, 0)), "there is none"},
		{"references", one("d", format.Int32, dict(1, 1, 0, 0, 0), v2(4, 0, 0, format.RLEDictionary, 1, 8, 1)), "value 1 of a dictionary of 1"},
		{"references of texts", one("i", format.ByteArray, dict(1, 1, 0, 0, 0, 'a'), v2(4, 0, 0, format.RLEDictionary, 1, 8, 1)), "value 1 of a dictionary of 1"},
		{"packed references", one("d", format.Int32, dict(1, 1, 0, 0, 0), v2(4, 0, 0, format.RLEDictionary, append([]byte{32}, uvarints(1<<62|1)...)...)), "they end early"},
		{"width of references", one("d", format.Int32, dict(1, 1, 0, 0, 0), v2(4, 0, 0, format.RLEDictionary, 33, 8, 1)), "no possible width"},
		{"levels", null("d", format.Int32, v1(4, format.Plain, 0xff, 0xff, 0xff, 0xff, 8, 1)), "levels are said to take 4294967295 of 6 bytes"},
		{"levels of version 2", null("d", format.Int32, v2(4, 0, much, format.Plain, 8, 1)), "levels are said to take 0 and 2147483647 of 2 bytes"},
		{"levels below none", null("d", format.Int32, v2(4, 0, -1, format.Plain, 8, 1)), "levels are said to take 0 and -1"},
		{"levels that end", null("d", format.Int32, v2(4, 0, 2, format.Plain, 6, 1)), "levels: they end early"},
		{"no levels", null("d", format.Int32, v2(4, 1, 0, format.Plain, make([]byte, 12)...)), "does not say which 1 of 4 values are missing"},
		{"states", one("h", format.Boolean, v2(4, 0, 0, format.RLE, 0xff, 0xff, 0xff, 0xff, 8, 1)), "do not fit"},
		{"text", one("i", format.ByteArray, v2(4, 0, 0, format.Plain, texts...)), "they end early"},
		{"lengths of texts", one("i", format.ByteArray, v2(4, 0, 0, format.DeltaLengthByteArray, count...)), "said to be 2147483647, and the page has 4"},
		{"length of a text", one("i", format.ByteArray, v2(1, 0, 0, format.DeltaLengthByteArray, uvarints(128, 4, 1, 2*much)...)), "they end early"},
		{"texts that begin the same", of(one("i", format.ByteArray, v2(4000, 0, 0, format.DeltaByteArray, shares...)), 4000, nil), "more than the rows"},
		{"width of a text", of(one("i", format.FixedLenByteArray, plain), 4, func(m *format.FileMetaData) { m.Schema[1].TypeLength.V = much }), "which take"},
		{"rows", of(one("d", format.Int32, plain), 1<<40, nil), "1099511627776 rows in"},
		{"rows of the group", of(one("d", format.Int32, plain), 4, func(m *format.FileMetaData) { m.RowGroups[0].NumRows = 1 << 20 }), "1048576 rows, and its column \"d\" 4 values"},
		{"rows below none", of(one("d", format.Int32, plain), -4, nil), "num_rows=-4 is negative"},
		{"where a column is", of(one("d", format.Int32, plain), 4, func(m *format.FileMetaData) { m.RowGroups[0].Columns[0].MetaData.DataPageOffset = 1 << 40 }), "lie at byte 1099511627776"},
		{"bytes of a column", of(one("d", format.Int32, plain), 4, func(m *format.FileMetaData) { m.RowGroups[0].Columns[0].MetaData.TotalCompressedSize = 1 << 62 }), "with 4611686018427387904 bytes"},
		{"columns over one another", of(one("d", format.Int32, plain), 4, func(m *format.FileMetaData) {
			for range 100 {
				m.RowGroups = append(m.RowGroups, m.RowGroups[0])
			}
		}), "take more than"},
		{"columns within one another", of(one("d", format.Int32, plain), 4, deep), "deep within one another"},
		{"columns of a group", of(one("d", format.Int32, plain), 4, func(m *format.FileMetaData) {
			for range 60_000 {
				m.Schema = append(m.Schema, format.SchemaElement{Type: thrift.New(format.Int32)})
				m.RowGroups = append(m.RowGroups, m.RowGroups[0])
			}
			m.Schema[0].NumChildren.V = 60_001
		}), "columns and its schema 60001"},
	}
}

// allocated gives the bytes asked for since the program started.
func allocated() uint64 {
	s := []metrics.Sample{{Name: "/gc/heap/allocs:bytes"}}
	metrics.Read(s)
	return s[0].Value.Uint64()
}

// readAll reads what is there of every group into rows.
func readAll(path string) error {
	f, err := column.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	for g := range f.Groups() {
		if _, err := column.Rows(f, g, nil, row{}); err != nil {
			return err
		}
	}
	return nil
}

// A page that states more than it holds gives an error that says where, before
// much memory is asked for: less than what the rows and bytes of a small file
// may take.
func TestPageLies(t *testing.T) {
	for _, tt := range lies(t) {
		t.Run(tt.name, func(t *testing.T) {
			data := tt.file.bytes(t)
			p := filepath.Join(t.TempDir(), "x.parquet")
			if err := os.WriteFile(p, data, 0o644); err != nil {
				t.Fatal(err)
			}
			before := allocated()
			err := readAll(p)
			asked := allocated() - before
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("%v, want one with %q", err, tt.want)
			}
			if !strings.Contains(err.Error(), p) {
				t.Errorf("%v does not name the file", err)
			}
			var at *column.PageError
			if errors.As(err, &at) {
				if at.Group != 0 || at.Column != tt.file.name || at.Page < 0 || at.Offset < 4 || at.Offset > int64(len(data)) {
					t.Errorf("%v is not where it is", err)
				}
			} else if !strings.Contains(err.Error(), "not a whole Parquet file") {
				t.Errorf("%v says neither page nor footer", err)
			}
			if most := uint64(24<<20 + 64*len(data)); asked > most {
				t.Errorf("%d bytes asked for, of a file of %d", asked, len(data))
			}
		})
	}
}

// Files of another writer come back the same whatever their codec, the version
// of their pages and their codings. The writer is the library's own.
func TestOtherWriters(t *testing.T) {
	type plain struct {
		A *int32   `parquet:"a,optional"`
		B int32    `parquet:"b,dict"`
		C int32    `parquet:"c"`
		D int32    `parquet:"d,split"`
		E int64    `parquet:"e"`
		F float32  `parquet:"f"`
		G *float64 `parquet:"g,split,optional"`
		H *bool    `parquet:"h,optional"`
		I string   `parquet:"i,delta"`
	}
	type other struct {
		A int32    `parquet:"a,delta"`
		B *int32   `parquet:"b,dict,optional"`
		C int32    `parquet:"c,delta,optional"` // 0 is null
		D int32    `parquet:"d,dict"`
		E int64    `parquet:"e,delta,optional"` // 0 is null
		F *float32 `parquet:"f,dict,optional"`
		G float64  `parquet:"g"`
		H bool     `parquet:"h"`
		I [3]byte  `parquet:"i"`
	}
	dir := t.TempDir()
	rapid.Check(t, func(rt *rapid.T) {
		codec := rapid.SampledFrom([]compress.Codec{&parquet.Uncompressed, &parquet.Snappy, &parquet.Gzip, &parquet.Brotli, &parquet.Zstd, &parquet.Lz4Raw}).Draw(rt, "codec")
		opts := []parquet.WriterOption{
			parquet.Compression(codec), parquet.DataPageVersion(rapid.IntRange(1, 2).Draw(rt, "version")),
			parquet.PageBufferSize(rapid.SampledFrom([]int{64, 1000, 1 << 18}).Draw(rt, "page")),
		}
		few := rapid.IntRange(1, 40).Draw(rt, "few") // different values
		one := rapid.Custom(func(rt *rapid.T) row {
			v := rapid.IntRange(-few, few).Draw(rt, "v")
			return row{
				int8(v), uint8(v), int16(v), rapid.Int32().Draw(rt, "d") >> rapid.IntRange(0, 31).Draw(rt, "shift"), rapid.Int64().Draw(rt, "e"),
				float32(v), float64(v), v > 0, fmt.Sprintf("%3d", v)[:3],
			}
		})
		rows := rapid.SliceOfN(one, 1, 400).Draw(rt, "rows")
		gone := rapid.SampledFrom([]int{1 << 30, 2, 5, 1}).Draw(rt, "gone") // every so many a null
		none := row{1, 2, 3, 4, 5, 6, 7, true, "none"}
		want := make([]row, len(rows))
		var b bytes.Buffer
		var err error
		if rapid.Bool().Draw(rt, "other") {
			w := parquet.NewGenericWriter[other](&b, opts...)
			for i, r := range rows {
				o := other{A: int32(r.A), D: r.D, G: r.G, H: r.H, I: [3]byte([]byte(r.I))}
				want[i] = r
				if i%gone == gone-1 {
					want[i].B, want[i].F = none.B, none.F
				} else {
					x := int32(r.B)
					o.B, o.C, o.E, o.F = &x, int32(r.C), r.E, &r.F
				}
				if o.C == 0 {
					want[i].C = none.C
				}
				if o.E == 0 {
					want[i].E = none.E
				}
				if _, err = w.Write([]other{o}); err != nil {
					rt.Fatal(err)
				}
			}
			err = w.Close()
		} else {
			w := parquet.NewGenericWriter[plain](&b, opts...)
			for i, r := range rows {
				o := plain{B: int32(r.B), C: int32(r.C), D: r.D, E: r.E, F: r.F, I: r.I}
				want[i] = r
				if i%gone == gone-1 {
					want[i].A, want[i].G, want[i].H = none.A, none.G, none.H
				} else {
					x := int32(r.A)
					o.A, o.G, o.H = &x, &r.G, &r.H
				}
				if _, err = w.Write([]plain{o}); err != nil {
					rt.Fatal(err)
				}
			}
			err = w.Close()
		}
		if err != nil {
			rt.Fatal(err)
		}
		p := filepath.Join(dir, "x.parquet")
		if err := os.WriteFile(p, b.Bytes(), 0o644); err != nil {
			rt.Fatal(err)
		}
		f, err := column.Open(p)
		if err != nil {
			rt.Fatal(err)
		}
		defer f.Close()
		got, err := column.Rows(f, 0, nil, none)
		if err != nil {
			rt.Fatal(err)
		}
		if diff := cmp.Diff(want, got, cmpopts.EquateNaNs()); diff != "" {
			rt.Fatalf("(-want +got):\n%s", diff)
		}
	})
}

// sound are files made by hand, and the rows that stand in them; D is −1 where
// it is not their column.
func sound() []struct {
	name string
	file made
	want []row
} {
	of := func(name string, kind format.Type, rows int64, pages ...madePage) made {
		return made{name: name, kind: kind, rows: rows, pages: pages}
	}
	cat := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	three := []row{{D: -1, I: "row 7"}, {D: -1, I: "row 8"}, {D: -1, I: "row 8"}}
	nulls := of("d", format.Int32, 2, v2(2, 2, 0, format.Plain))
	nulls.null = true
	// Levels in one run of two zeros; there is nothing that a dictionary would be
	// needed for.
	noTexts := of("i", format.ByteArray, 6,
		v1(2, format.RLEDictionary, 2, 0, 0, 0, 4, 0), v2(2, 2, 2, format.RLEDictionary, 4, 0), v2(2, 2, 0, format.RLEDictionary))
	noTexts.null = true
	behind := of("d", format.Int32, 1, v1(1, format.Plain, 7, 0, 0, 0))
	behind.footer = func(m *format.FileMetaData) { m.RowGroups[0].Columns[0].MetaData.DictionaryPageOffset = 8 }
	some := of("d", format.Int32, 6,
		v1(3, format.Plain, 2, 0, 0, 0, 3, 5, 7, 0, 0, 0, 9, 0, 0, 0), // a group of eight levels: 1, 0, 1
		v2(3, 1, 2, format.Plain, 3, 5, 7, 0, 0, 0, 9, 0, 0, 0))
	some.null = true
	return []struct {
		name string
		file made
		want []row
	}{
		{"texts by their lengths", of("i", format.ByteArray, 3, v2(3, 0, 0, format.DeltaLengthByteArray, cat(
			uvarints(128, 4, 3, 10, 0), []byte{0, 0, 0, 0}, []byte("row 7row 8row 8"))...)), three},
		// They begin as the one before with 0, 4 and 5 bytes, and go on with 5, 1
		// and 0. Steps of 4 and 1 are 1 (zigzag 2) and 3 and 0 more, in two bits;
		// steps of −4 and −1 are −4 (zigzag 7) and 0 and 3 more.
		{"texts by what they share", of("i", format.ByteArray, 3, v2(3, 0, 0, format.DeltaByteArray, cat(
			uvarints(128, 4, 3, 0, 2), []byte{2, 0, 0, 0}, []byte{3, 0, 0, 0, 0, 0, 0, 0},
			uvarints(128, 4, 3, 10, 7), []byte{2, 0, 0, 0}, []byte{12, 0, 0, 0, 0, 0, 0, 0}, []byte("row 78"))...)), three},
		{"texts of one width", of("i", format.FixedLenByteArray, 2, v1(1, format.Plain, 'a', 'b', 'c'), v1(1, format.ByteStreamSplit, 'd', 'e', 'f')), []row{{D: -1, I: "abc"}, {D: -1, I: "def"}}},
		// 2 is PLAIN_DICTIONARY, as older writers say.
		{"texts of a dictionary", of("i", format.ByteArray, 3, dict(2, 1, 0, 0, 0, 'a', 1, 0, 0, 0, 'b'), v1(3, 2, 1, 3, 5)), []row{{D: -1, I: "b"}, {D: -1, I: "a"}, {D: -1, I: "b"}}},
		// Two of 1, and of a group of eight the first three: 1, 0 and 1.
		{"states in runs", of("h", format.Boolean, 5, v2(5, 0, 0, format.RLE, 4, 0, 0, 0, 4, 1, 3, 5)), []row{{D: -1, H: true}, {D: -1, H: true}, {D: -1, H: true}, {D: -1}, {D: -1, H: true}}},
		{"states", of("h", format.Boolean, 3, v1(3, format.Plain, 5)), []row{{D: -1, H: true}, {D: -1}, {D: -1, H: true}}},
		{"deltas", of("d", format.Int32, 3, v2(3, 0, 0, format.DeltaBinaryPacked, cat(uvarints(128, 4, 3, 0, 2), []byte{2, 0, 0, 0}, []byte{3, 0, 0, 0, 0, 0, 0, 0})...)), []row{{D: 0}, {D: 4}, {D: 5}}},
		{"deltas of 64 bits", of("e", format.Int64, 2, v1(2, format.DeltaBinaryPacked, cat(uvarints(128, 4, 2, 6, 13), []byte{0, 0, 0, 0})...)), []row{{D: -1, E: 3}, {D: -1, E: -4}}},
		{"numbers of a dictionary", of("d", format.Int32, 3, dict(2, 7, 0, 0, 0, 9, 0, 0, 0), v2(3, 0, 0, format.RLEDictionary, 1, 4, 1, 2, 0)), []row{{D: 9}, {D: 9}, {D: 7}}},
		{"split numbers", of("f", format.Float, 1, v2(1, 0, 0, format.ByteStreamSplit, 0, 0, 0x80, 0x3f)), []row{{D: -1, F: 1}}},
		{"some values", some, []row{{D: 7}, {D: -1}, {D: 9}, {D: 7}, {D: -1}, {D: 9}}},
		{"no values", nulls, []row{{D: -1}, {D: -1}}},
		{"no texts and no dictionary", noTexts, slices.Repeat([]row{{D: -1}}, 6)},
		{"a dictionary said to lie behind its values", behind, []row{{D: 7}}},
		{"an index page", of("d", format.Int32, 1, madePage{format.PageHeader{Type: format.IndexPage}, []byte{1}}, v1(1, format.Plain, 7, 0, 0, 0)), []row{{D: 7}}},
	}
}

// What other writers may write and the library's does not comes back too. The
// bytes are written by hand after Encodings.md of Apache Parquet.
func TestByHand(t *testing.T) {
	for _, tt := range sound() {
		t.Run(tt.name, func(t *testing.T) {
			got, err := column.Rows(opened(t, tt.file.bytes(t)), 0, nil, row{D: -1})
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(tt.want, got); diff != "" {
				t.Errorf("(-want +got):\n%s", diff)
			}
		})
	}
}

// A row group without rows may have columns without pages, of which some writers
// say that they lie at byte 0.
func TestGroupsWithoutRows(t *testing.T) {
	m := made{name: "d", kind: format.Int32, rows: 1, pages: []madePage{v1(1, format.Plain, 7, 0, 0, 0)}}
	m.footer = func(m *format.FileMetaData) {
		column := m.RowGroups[0].Columns[0]
		column.MetaData.NumValues, column.MetaData.DataPageOffset = 0, 0
		column.MetaData.TotalCompressedSize, column.MetaData.TotalUncompressedSize = 0, 0
		empty := format.RowGroup{Columns: thrift.Slice[format.ColumnChunk]{column}}
		m.RowGroups = thrift.Slice[format.RowGroup]{empty, m.RowGroups[0], empty}
	}
	f := opened(t, m.bytes(t))
	for g, want := range [][]row{nil, {{D: 7}}, nil} {
		got, err := column.Rows(f, g, nil, row{})
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Errorf("row group %d (-want +got):\n%s", g, diff)
		}
	}
	// With rows, or with pages, it must lie in the file.
	for name, wrong := range map[string]func(*format.RowGroup){
		"rows":  func(g *format.RowGroup) { g.NumRows, g.Columns[0].MetaData.NumValues = 1, 1 },
		"bytes": func(g *format.RowGroup) { g.Columns[0].MetaData.TotalCompressedSize = 1 },
	} {
		m := m
		sound := m.footer
		m.footer = func(m *format.FileMetaData) {
			sound(m)
			m.RowGroups[2].Columns = slices.Clone(m.RowGroups[2].Columns)
			wrong(&m.RowGroups[2])
		}
		p := filepath.Join(t.TempDir(), "x.parquet")
		if err := os.WriteFile(p, m.bytes(t), 0o644); err != nil {
			t.Fatal(err)
		}
		if err := readAll(p); err == nil || !strings.Contains(err.Error(), "said to lie at byte 0") {
			t.Errorf("%s at byte 0: %v", name, err)
		}
	}
}

// A header is read whole however long it is: here with a least value of 100,000
// bytes, and pages of more than is read at once.
func TestLongHeadersAndPages(t *testing.T) {
	const n = 1 << 20
	p := v1(n, format.Plain, make([]byte, 4*n)...)
	p.header.DataPageHeader.V.Statistics = format.Statistics{MinValue: bytes.Repeat([]byte{1}, 400_000)}
	last := v1(1, format.Plain, 7, 0, 0, 0)
	got, err := column.Values[int64](opened(t, made{name: "d", kind: format.Int32, rows: n + 1, pages: []madePage{p, last}}.bytes(t)), 0, "d", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	if len(got) != n+1 || got[0] != 0 || got[n] != 7 {
		t.Errorf("%d values, the last %d", len(got), got[len(got)-1])
	}
}
