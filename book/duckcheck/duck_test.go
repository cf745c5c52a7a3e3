//go:build cgo

package duckcheck

import (
	"context"
	"database/sql"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	_ "github.com/duckdb/duckdb-go/v2" // registers the driver "duckdb"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
	"evenstand/format/column"
	"evenstand/give"
)

// season makes a book of about the given number of seeds and gives its open
// book and its seed files.
func season(t testing.TB, seeds int) (*book.Book, []book.SeedFile) {
	t.Helper()
	// 24 rows, passes of 400 s: 120,000 places a pass; 13 passes a day.
	const passes = 13
	days := max(1, seeds/(passes*120_000))
	dir := filepath.Join(t.TempDir(), "season")
	s := evenstand.NewSettings()
	s.Name, s.Zone = "made up", "America/Chicago"
	if err := book.Create(dir, s, nil, nil); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(dir, book.Options{Derive: booktest.Settle})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	in := filepath.Join(t.TempDir(), "season.gen")
	if err := os.WriteFile(in, fmt.Appendf(nil, "%d %d 24 400 1", days, passes), 0o644); err != nil {
		t.Fatal(err)
	}
	began := time.Now()
	if _, err := b.Read(context.Background(), []string{in}, []evenstand.Format{booktest.Season{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	t.Logf("read in %.1f s; peak memory so far %s", time.Since(began).Seconds(), peak())
	return b, seedFiles(t, dir)
}

func seedFiles(t testing.TB, dir string) []book.SeedFile {
	paths, err := filepath.Glob(filepath.Join(dir, "data", "*", "seeds.parquet"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no seeds: %v", err)
	}
	var files []book.SeedFile
	for _, p := range paths {
		files = append(files, book.SeedFile{Path: p, Day: evenstand.Day(filepath.Base(filepath.Dir(p))[:10])})
	}
	return files
}

// peak gives the program's peak resident memory, as Linux says it.
func peak() string {
	data, err := os.ReadFile("/proc/self/status")
	if err != nil {
		return "not known here"
	}
	for line := range strings.Lines(string(data)) {
		if v, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			return strings.TrimSpace(v)
		}
	}
	return "not known here"
}

func duck(t testing.TB) *sql.DB {
	t.Helper()
	db, err := sql.Open("duckdb", "")
	if err != nil {
		t.Fatal(err)
	}
	db.SetMaxOpenConns(1)
	if _, err := db.Exec("SET threads = 2"); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { db.Close() })
	return db
}

func list(files []book.SeedFile) string {
	var quoted []string
	for _, f := range files {
		quoted = append(quoted, "'"+strings.ReplaceAll(f.Path, "'", "''")+"'")
	}
	return "[" + strings.Join(quoted, ", ") + "]"
}

// grouped is the question: row by stretch, from the seeds.
const grouped = `SELECT filename, pass, "row", s_mm // 15000 AS k, count(*) AS seeds, sum(missing) AS skips, count(*) FILTER ("double") AS doubles,
	count(*) FILTER (gap_mm >= 0) AS gaps, coalesce(sum(gap_mm) FILTER (gap_mm >= 0), 0) AS total, coalesce(sum(gap_mm::BIGINT * gap_mm) FILTER (gap_mm >= 0), 0) AS squares,
	stddev_samp(gap_mm) FILTER (gap_mm >= 0) AS sd
	FROM read_parquet(%s, filename = true) GROUP BY ALL`

// TestGroupsAgree compares every cell of the group-by with DuckDB's over the
// same files; sums of whole numbers must be equal, deviations to 9 digits.
func TestGroupsAgree(t *testing.T) {
	b, files := season(t, 3_000_000)
	day := map[string]evenstand.Day{}
	for _, f := range files {
		day[f.Path] = f.Day
	}
	type key struct {
		day    evenstand.Day
		pass   int32
		row, k int
	}
	ours := map[key]book.SeedCell{}
	if err := b.GroupByStretch(context.Background(), 2, func(p *book.PassCells) error {
		for i, cells := range p.Rows {
			for k, c := range cells {
				if c.Seeds > 0 {
					ours[key{p.Day, p.Pass, i + 1, k}] = c
				}
			}
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	rows, err := duck(t).Query(fmt.Sprintf(grouped, list(files)))
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	n := 0
	for rows.Next() {
		var file string
		var k key
		var c book.SeedCell
		var skips, total, squares float64
		var sd sql.NullFloat64
		if err := rows.Scan(&file, &k.pass, &k.row, &k.k, &c.Seeds, &skips, &c.Doubles, &c.Gaps, &total, &squares, &sd); err != nil {
			t.Fatal(err)
		}
		k.day = day[file]
		c.Skips, c.Sum, c.Squares = int32(skips), int64(total), int64(squares)
		got, ok := ours[k]
		if !ok || got != c {
			t.Fatalf("%+v: ours %+v, DuckDB %+v", k, got, c)
		}
		// Of one gap there is no deviation: NULL there, NaN here, never 0.
		if sd.Valid == math.IsNaN(got.SD()) || sd.Valid && math.Abs(sd.Float64-got.SD()) > 1e-9*sd.Float64+1e-9 {
			t.Fatalf("%+v: deviation %v, DuckDB %v", k, got.SD(), sd)
		}
		n++
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	if n != len(ours) || n < 1000 {
		t.Errorf("%d groups, DuckDB has %d", len(ours), n)
	}
}

// TestForeignFilesReadRight writes our seeds again with DuckDB, which codes by
// dictionary and makes every column optional, and reads them with our reader.
func TestForeignFilesReadRight(t *testing.T) {
	_, files := season(t, 1_600_000)
	db := duck(t)
	coded := 0
	sums := func(files []book.SeedFile) (out [6]int64) {
		err := book.GroupFiles(context.Background(), files, 2, func(p *book.PassCells) error {
			weigh(&out, p)
			out[0] += int64(p.Pass) * 1_000_003
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	want := sums(files)
	if want[1] == 0 || want[2] == 0 {
		t.Fatalf("nothing to compare: %v", want)
	}
	for _, opts := range []string{"", ", COMPRESSION zstd", ", PARQUET_VERSION v2", ", COMPRESSION uncompressed, DICTIONARY_SIZE_LIMIT 1000000"} {
		t.Run(opts, func(t *testing.T) {
			dir := t.TempDir()
			var foreign []book.SeedFile
			for i, f := range files {
				to := filepath.Join(dir, strconv.Itoa(i)+".parquet")
				// One row group a pass: DuckDB closes a group at the given size,
				// so each pass is written alone where there are several.
				q := fmt.Sprintf(`COPY (SELECT * FROM read_parquet('%s') WHERE pass = 2 ORDER BY pass, "row", t_us) TO '%s' (FORMAT parquet, ROW_GROUP_SIZE 2000000%s)`, f.Path, to, opts)
				if _, err := db.Exec(q); err != nil {
					t.Fatal(err)
				}
				foreign = append(foreign, book.SeedFile{Path: to, Day: f.Day})
			}
			one := onePass(t, db, files)
			if got := sums(foreign); got != one {
				t.Errorf("sums %v, want %v", got, one)
			}
			checkDictionary(t, foreign[0].Path)
			var how string
			if err := db.QueryRow(fmt.Sprintf(`SELECT string_agg(DISTINCT encodings, ' ') FROM parquet_metadata('%s') WHERE path_in_schema = 'row'`, foreign[0].Path)).Scan(&how); err != nil {
				t.Fatal(err)
			}
			if strings.Contains(how, "DICTIONARY") {
				coded++
			}
		})
	}
	if coded == 0 {
		t.Error("DuckDB coded the rows by a dictionary in none of the files; the trap was not tried")
	}
}

// weigh adds up a pass's cells with weights, so that places matter.
func weigh(out *[6]int64, p *book.PassCells) {
	for row, cells := range p.Rows {
		for i, c := range cells {
			w := int64((row*131+i)%97 + 1)
			for k, v := range []int64{int64(c.Seeds), int64(c.Skips), int64(c.Doubles), int64(c.Gaps), c.Sum, c.Squares} {
				out[k] += w * v
			}
		}
	}
}

// onePass gives the same weighted sums of pass 2, reckoned by DuckDB.
func onePass(t *testing.T, db *sql.DB, files []book.SeedFile) (out [6]int64) {
	t.Helper()
	err := book.GroupFiles(context.Background(), files, 1, func(p *book.PassCells) error {
		if p.Pass != 2 {
			return nil
		}
		weigh(&out, p)
		out[0] += int64(p.Pass) * 1_000_003
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	// And the plain sums by DuckDB, so that both of our readings cannot be
	// wrong in the same way.
	var seeds, skips, gaps int64
	if err := db.QueryRow(fmt.Sprintf(`SELECT count(*), sum(missing)::BIGINT, (sum(gap_mm) FILTER (gap_mm >= 0))::BIGINT FROM read_parquet(%s) WHERE pass = 2`, list(files))).Scan(&seeds, &skips, &gaps); err != nil {
		t.Fatal(err)
	}
	var n, s, g int64
	err = book.GroupFiles(context.Background(), files, 1, func(p *book.PassCells) error {
		if p.Pass == 2 {
			for _, cells := range p.Rows {
				for _, c := range cells {
					n, s, g = n+int64(c.Seeds), s+int64(c.Skips), g+c.Sum
				}
			}
		}
		return nil
	})
	if err != nil || n != seeds || s != skips || g != gaps {
		t.Fatalf("pass 2: %d %d %d, DuckDB %d %d %d, %v", n, s, g, seeds, skips, gaps, err)
	}
	return out
}

// checkDictionary makes sure that the foreign file is foreign enough: the
// column "row" must hold values of rows, not their numbers in a dictionary.
func checkDictionary(t *testing.T, path string) {
	t.Helper()
	f, err := column.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := column.Numbers[int32](f, 0, "row", -1)
	if err != nil {
		t.Fatal(err)
	}
	defer p.Close()
	vs, err := p.Next()
	if err != nil || vs[0] != 1 {
		t.Errorf("first row %v, %v: want 1", vs[:min(3, len(vs))], err)
	}
}

// TestSpeed times the group-by against DuckDB over the same files, two threads
// each, in the same run, alternating. EVENSTAND_SEEDS says how many seeds (64
// million in make measure); without it a small season is timed and only
// reported.
func TestSpeed(t *testing.T) {
	seeds := 8_000_000
	if v := os.Getenv("EVENSTAND_SEEDS"); v != "" {
		n, err := strconv.Atoi(v)
		if err != nil {
			t.Fatalf("EVENSTAND_SEEDS=%s: want a number", v)
		}
		seeds = n
	} else if testing.Short() {
		t.Skip("short")
	}
	runtime.GOMAXPROCS(2)
	b, files := season(t, seeds)
	var size int64
	for _, f := range files {
		info, err := os.Stat(f.Path)
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	db := duck(t)
	whole := fmt.Sprintf("SELECT count(*), sum(seeds)::BIGINT, sum(skips)::BIGINT, sum(squares)::DOUBLE FROM ("+
		strings.Replace(grouped, ",\n\tstddev_samp(gap_mm) FILTER (gap_mm >= 0) AS sd", "", 1)+")", list(files))
	theirs := func() (time.Duration, [3]int64) {
		began := time.Now()
		var out [3]int64
		var squares float64
		if err := db.QueryRow(whole).Scan(&out[0], &out[1], &out[2], &squares); err != nil {
			t.Fatal(err)
		}
		return time.Since(began), out
	}
	// DuckDB may be faster file by file, without grouping by the name.
	each := func() (time.Duration, [3]int64) {
		began := time.Now()
		var out [3]int64
		for i := range files {
			q := fmt.Sprintf(`SELECT count(*), sum(seeds)::BIGINT, sum(skips)::BIGINT, sum(squares)::DOUBLE FROM (SELECT pass, "row", s_mm // 15000 AS k, count(*) AS seeds, sum(missing) AS skips,
				count(*) FILTER ("double") AS doubles, count(*) FILTER (gap_mm >= 0) AS gaps, sum(gap_mm) FILTER (gap_mm >= 0) AS total,
				sum(gap_mm::BIGINT * gap_mm) FILTER (gap_mm >= 0) AS squares FROM read_parquet(%s) GROUP BY ALL)`, list(files[i:i+1]))
			var one [3]int64
			var squares float64
			if err := db.QueryRow(q).Scan(&one[0], &one[1], &one[2], &squares); err != nil {
				t.Fatal(err)
			}
			for k := range out {
				out[k] += one[k]
			}
		}
		return time.Since(began), out
	}
	ours := func() (time.Duration, [3]int64) {
		began := time.Now()
		var out [3]int64
		if err := b.GroupByStretch(context.Background(), 2, func(p *book.PassCells) error {
			for _, cells := range p.Rows {
				for i := range cells {
					if c := &cells[i]; c.Seeds > 0 {
						out[0]++
						out[1] += int64(c.Seeds)
						out[2] += int64(c.Skips)
					}
				}
			}
			return nil
		}); err != nil {
			t.Fatal(err)
		}
		return time.Since(began), out
	}
	best := [3]time.Duration{math.MaxInt64, math.MaxInt64, math.MaxInt64}
	for range 3 {
		var sums [3][3]int64
		for i, run := range []func() (time.Duration, [3]int64){ours, theirs, each} {
			took, out := run()
			best[i], sums[i] = min(best[i], took), out
		}
		if sums[0] != sums[1] || sums[0] != sums[2] {
			t.Fatalf("sums differ: %v", sums)
		}
	}
	ratio := min(best[1], best[2]).Seconds() / best[0].Seconds()
	_, sums := ours()
	t.Logf("%d seeds, %d groups, %d files, %.0f MB: ours %.2f s, DuckDB %.2f s in one query, %.2f s file by file; best of 3, 2 threads each: %.1f times as fast; peak memory %s",
		sums[1], sums[0], len(files), float64(size)/1e6, best[0].Seconds(), best[1].Seconds(), best[2].Seconds(), ratio, peak())
	if seeds >= 60_000_000 && ratio < 2.5 {
		t.Errorf("%.2f times as fast as DuckDB, want 2.5", ratio)
	}
}

// What is handed out as Parquet is what the book holds, as DuckDB reads it, and
// says of itself that it is GeoParquet.
func TestGivenSeeds(t *testing.T) {
	b, _ := season(t, 1_500_000)
	dir := t.TempDir()
	made, err := give.Write(t.Context(), b, give.Seeds, give.Parquet, give.Filter{}, "seeds", func(name string) (io.WriteCloser, error) { return os.Create(filepath.Join(dir, name)) }, nil)
	if err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("duckdb", "")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	file := filepath.Join(dir, "seeds.parquet")
	var rows, missing, doubles int64
	var gaps float64
	if err := db.QueryRow(`SELECT count(*), sum(missing), count(*) FILTER ("double"), sum(gap_m) FROM read_parquet(?)`, file).Scan(&rows, &missing, &doubles, &gaps); err != nil {
		t.Fatal(err)
	}
	days, err := b.Days(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var seeds, wantMissing, wantDoubles, wantGaps int64
	var got []evenstand.PlacedSeed
	for _, d := range days {
		passes, err := b.Passes(t.Context(), d.Planter, d.Day)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range passes {
			if got, err = b.Seeds(t.Context(), got[:0], d.Planter, d.Day, p.Index); err != nil {
				t.Fatal(err)
			}
			for i := range got {
				seeds++
				wantMissing += int64(got[i].Missing)
				if got[i].Double {
					wantDoubles++
				}
				if got[i].Gap >= 0 {
					wantGaps += int64(got[i].Gap)
				}
			}
		}
	}
	if rows != made.Rows || rows != seeds || missing != wantMissing || doubles != wantDoubles || math.Abs(gaps-float64(wantGaps)/1000) > 1e-6*gaps {
		t.Errorf("DuckDB reads %d seeds, %d missing, %d doubles, %.3f m of gaps; the book has %d, %d, %d, %.3f", rows, missing, doubles, gaps, seeds, wantMissing, wantDoubles, float64(wantGaps)/1000)
	}
	var geo string
	if err := db.QueryRow(`SELECT decode(value) FROM parquet_kv_metadata(?) WHERE decode(key) = 'geo'`, file).Scan(&geo); err != nil || !strings.Contains(geo, `"version":"1.1.0"`) {
		t.Errorf("no GeoParquet: %v, %s", err, geo)
	}
}
