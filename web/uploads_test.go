package web_test

import (
	"archive/zip"
	"bytes"
	"compress/flate"
	"context"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"io/fs"
	"math/rand/v2"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"runtime/debug"
	"runtime/metrics"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/format/bus"
	"evenstand/format/iso11783"
	"evenstand/format/nmea0183"
	"evenstand/format/plain"
	"evenstand/format/recipe"
	"evenstand/web"
)

// begin opens an upload.
func (s *served) begin(t *testing.T) string {
	t.Helper()
	var out struct{ ID string }
	w := s.ask("POST", "/api/v1/uploads", nil)
	if err := json.Unmarshal(w.Body.Bytes(), &out); err != nil || out.ID == "" {
		t.Fatalf("%d: %v: %s", w.Code, err, w.Body)
	}
	return out.ID
}

// bring brings one file and gives the status.
func (s *served) bring(id, name string, data []byte) int {
	return s.ask("PUT", "/api/v1/uploads/"+id+"/file?path="+url.QueryEscape(name), data, header("Content-Type", "application/octet-stream")).Code
}

// left lists the files that stand in a logbook's place for uploads.
func left(t *testing.T, b *book.Book) []string {
	t.Helper()
	var out []string
	dir := filepath.Join(b.Dir(), "incoming")
	err := filepath.WalkDir(dir, func(p string, d fs.DirEntry, err error) error {
		if os.IsNotExist(err) {
			return nil
		}
		if err == nil && !d.IsDir() {
			rel, _ := filepath.Rel(dir, p)
			_, rel, _ = strings.Cut(filepath.ToSlash(rel), "/brought/") // the upload's own folder
			out = append(out, rel)
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// sound has the logbook looked through.
func sound(t *testing.T, b *book.Book) {
	t.Helper()
	if faults, err := b.Check(context.Background()); err != nil || len(faults) > 0 {
		t.Errorf("the logbook: %q, %v", faults, err)
	}
}

// Names that lead elsewhere, or that some system takes for something else than
// a file, are refused on every system.
func TestUploadNames(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b)
	id := s.begin(t)
	for _, name := range []string{
		"", ".", "..", "../x.csv", "a/../../x.csv", "a/../b.csv", "/etc/x.csv", "//host/share", "/", "a//b", "a/", "./a.csv",
		`..\x.csv`, `a\b.csv`, `C:\x.csv`, "C:x.csv", "c:/x.csv", "x.csv:stream", "a\x00.csv", "a\nb.csv", "a\x7f", "\u0085x", "a\xff.csv", "a?", "a*b", "<x>", `"x"`, "a|b",
		"CON", "con", "NUL", "nul.csv", "aux.tar.gz", "PRN", "COM1", "com9.txt", "LPT1", "COM¹", "CONIN$", "conout$", "a/NUL/b.csv", "NUL .csv", "machine/CON.",
		"x.", "x ", "x..", "a./b.csv", "a /b.csv", "...", " ", ". .", strings.Repeat("x", 256), strings.Repeat("x/", 40) + "x", strings.Repeat(strings.Repeat("x", 200)+"/", 12) + "x",
	} {
		if got := s.bring(id, name, []byte("x")); got != http.StatusUnprocessableEntity {
			t.Errorf("%.40q: %d", name, got)
		}
	}
	if l := left(t, b); len(l) > 0 {
		t.Errorf("left: %q", l)
	}
	good := []string{"x.csv", ".hidden", "a/b/c.csv", "Größe 5 %.csv", "console.log", "com10.txt", "a..b", "nulls.csv", "北.csv", strings.Repeat("y", 255), "a b/c d.csv", "TASKDATA/TASKDATA.XML"}
	for _, name := range good {
		if got := s.bring(id, name, []byte("x")); got != http.StatusNoContent {
			t.Errorf("%.40q: %d", name, got)
		}
	}
	if l := left(t, b); len(l) != len(good) {
		t.Errorf("left: %q", l)
	}
	// The same twice, and a file where a folder is.
	for _, name := range []string{"x.csv", "a", "x.csv/y.csv", "a/b/c.csv/d"} {
		if got := s.bring(id, name, []byte("other")); got != http.StatusConflict {
			t.Errorf("%s again: %d", name, got)
		}
	}
	if w := s.ask("DELETE", "/api/v1/uploads/"+id, nil); w.Code/100 != 2 {
		t.Errorf("giving it up: %d", w.Code)
	}
	if l := left(t, b); len(l) > 0 {
		t.Errorf("left: %q", l)
	}
	for _, id := range []string{id, "x", "..", "%2e%2e", "..%2f..", strings.Repeat("f", 24)} {
		if got := s.bring(id, "x.csv", nil); got/100 == 2 {
			t.Errorf("upload %q: %d", id, got)
		}
	}
	sound(t, b)
}

func FuzzUploadName(f *testing.F) {
	for _, n := range []string{"a/b.csv", "../x", "NUL", `C:\x`, "x. ", "a\x00"} {
		f.Add(n)
	}
	f.Fuzz(func(t *testing.T, name string) {
		local, err := web.SafePath(name)
		if err != nil {
			return
		}
		if !filepath.IsLocal(local) || filepath.ToSlash(local) != name || strings.ContainsAny(name, "\x00\\:") || regexp.MustCompile(`(?i)(^|/)(nul|con|com1)(\.[^/]*)?(/|$)`).MatchString(name) {
			t.Errorf("%q becomes %q", name, local)
		}
	})
}

func TestUploadLimits(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, func(o *web.Options) {
		o.Uploads = web.UploadLimits{Files: 3, Bytes: 1000, Open: 2, Idle: time.Second}
	})
	id := s.begin(t)
	for name, want := range map[string]int{"big": 413} {
		if got := s.bring(id, name, make([]byte, 1001)); got != want {
			t.Errorf("%s: %d", name, got)
		}
	}
	for _, x := range []struct{ size, want int }{{600, 204}, {401, 413}, {400, 204}, {1, 413}, {0, 204}, {0, 413}} {
		name := fmt.Sprintf("f%d-%d", x.size, x.want)
		w := s.ask("PUT", "/api/v1/uploads/"+id+"/file?path="+name, make([]byte, x.size))
		if w.Code != x.want {
			t.Errorf("%d bytes: %d, want %d: %s", x.size, w.Code, x.want, w.Body)
		}
		if w.Code != 204 {
			detail(t, w)
		}
	}
	// Bytes of unknown length, which no header tells.
	other := s.begin(t)
	w := s.ask("PUT", "/api/v1/uploads/"+other+"/file?path=x", make([]byte, 1001), func(r *http.Request) { r.ContentLength = -1 })
	if w.Code != http.StatusRequestEntityTooLarge {
		t.Errorf("of unknown length: %d", w.Code)
	}
	if l := left(t, b); len(l) != 3 {
		t.Errorf("left: %q", l)
	}
	// No more uploads than there may be; one whose page went away makes room.
	if w := s.ask("POST", "/api/v1/uploads", nil); w.Code != http.StatusTooManyRequests {
		t.Errorf("a third: %d", w.Code)
	}
	time.Sleep(1100 * time.Millisecond)
	s.begin(t)
	if got := s.bring(id, "late", nil); got != http.StatusNotFound {
		t.Errorf("the one that made room: %d", got)
	}
	sound(t, b)
}

// A file that is cut off leaves nothing, and one that trickles in is given up.
func TestUploadCutOff(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, func(o *web.Options) { o.Uploads = web.UploadLimits{Pause: 300 * time.Millisecond} })
	addr := s.listen(t)
	id := s.begin(t)
	put := func(name string, length int) net.Conn {
		c, err := net.Dial("tcp", addr)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(c, "PUT /api/v1/uploads/%s/file?path=%s HTTP/1.1\r\nHost: %s\r\nContent-Length: %d\r\n\r\n", id, name, addr, length)
		return c
	}
	c := put("cut.csv", 1<<20)
	c.Write(make([]byte, 1<<19))
	for range 100 { // until it is being written
		if len(left(t, b)) > 0 {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if l := left(t, b); len(l) != 1 {
		t.Errorf("nothing comes: %q", l)
	}
	c.Close()
	slow := put("slow.csv", 1<<20)
	defer slow.Close()
	go func() {
		for range 100 {
			if _, err := slow.Write([]byte("x")); err != nil {
				return
			}
			time.Sleep(50 * time.Millisecond)
		}
	}()
	silent := put("silent.csv", 10)
	defer silent.Close()
	broken := put("broken.csv", 10)
	fmt.Fprint(broken, "0123")
	broken.(*net.TCPConn).CloseWrite()
	answer, _ := io.ReadAll(broken)
	if !bytes.Contains(answer, []byte(" 400 ")) || !bytes.Contains(answer, []byte("did not come whole")) {
		t.Errorf("cut off: %s", answer)
	}
	broken.Close()
	chunked, err := net.Dial("tcp", addr)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(chunked, "PUT /api/v1/uploads/%s/file?path=chunk.csv HTTP/1.1\r\nHost: %s\r\nTransfer-Encoding: chunked\r\n\r\n5\r\nhello\r\n", id, addr)
	chunked.Close()
	deadline := time.Now().Add(5 * time.Second)
	for len(left(t, b)) > 0 && time.Now().Before(deadline) {
		time.Sleep(20 * time.Millisecond)
	}
	if l := left(t, b); len(l) > 0 {
		t.Errorf("left: %q", l)
	}
	// The upload goes on.
	if got := s.bring(id, "cut.csv", []byte("whole")); got != http.StatusNoContent {
		t.Errorf("again: %d", got)
	}
	sound(t, b)
}

// all are the readers that the program has.
func all() ([]evenstand.Format, error) {
	return []evenstand.Format{iso11783.Format{Zone: "America/Chicago"}, bus.Format{Zone: "America/Chicago"}, nmea0183.Format{}, plain.Format{}, recipe.Format{}}, nil
}

// job waits for a piece of work to end.
func (s *served) job(t *testing.T, id string) web.Job {
	t.Helper()
	for deadline := time.Now().Add(2 * time.Minute); time.Now().Before(deadline); time.Sleep(5 * time.Millisecond) {
		var l web.JobList
		if err := json.Unmarshal(s.get(t, "/api/v1/jobs", http.StatusOK), &l); err != nil {
			t.Fatal(err)
		}
		for _, j := range l.Jobs {
			if j.ID == id && j.State != "waiting" && j.State != "running" {
				return j
			}
		}
	}
	t.Fatal("it does not end")
	return web.Job{}
}

// peakHeap gives the most memory that was in use while f ran.
func peakHeap(f func()) uint64 {
	defer debug.SetGCPercent(debug.SetGCPercent(50))
	runtime.GC()
	sample := []metrics.Sample{{Name: "/memory/classes/heap/objects:bytes"}, {Name: "/memory/classes/heap/stacks:bytes"}}
	look := func() uint64 {
		metrics.Read(sample)
		return sample[0].Value.Uint64() + sample[1].Value.Uint64()
	}
	before := look()
	most := before
	done, stopped := make(chan struct{}), make(chan struct{})
	go func() {
		defer close(stopped)
		for {
			most = max(most, look())
			select {
			case <-done:
				return
			case <-time.After(5 * time.Millisecond):
			}
		}
	}()
	f()
	close(done)
	<-stopped
	return most - before
}

type entry struct {
	name string
	data []byte
	mode fs.FileMode
}

func zipOf(t testing.TB, es ...entry) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for _, e := range es {
		h := &zip.FileHeader{Name: e.name, Method: zip.Deflate}
		if e.mode != 0 {
			h.SetMode(e.mode)
		}
		w, err := z.CreateHeader(h)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(e.data); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// bomb is a zip of one file that is size bytes of zeros: what packs best.
func bomb(t testing.TB, name string, size int64) []byte {
	t.Helper()
	var b, packed bytes.Buffer
	w, err := flate.NewWriter(&packed, flate.BestSpeed)
	if err != nil {
		t.Fatal(err)
	}
	sum := crc32.NewIEEE()
	zeros := make([]byte, 1<<20)
	for range size >> 20 {
		sum.Write(zeros)
		if _, err := w.Write(zeros); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	z := zip.NewWriter(&b)
	raw, err := z.CreateRaw(&zip.FileHeader{Name: name, Method: zip.Deflate, CRC32: sum.Sum32(), CompressedSize64: uint64(packed.Len()), UncompressedSize64: uint64(size)})
	if err == nil {
		_, err = raw.Write(packed.Bytes())
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// understated has a zip's list of files state small sizes.
func understated(z []byte) []byte {
	z = bytes.Clone(z)
	for at := 0; ; {
		i := bytes.Index(z[at:], []byte("PK\x01\x02"))
		if i < 0 {
			return z
		}
		binary.LittleEndian.PutUint32(z[at+i+24:], 1000)
		at += i + 4
	}
}

const seedsHeader = "time,row,flag\n"

// What strangers made is read, or refused with a sentence, and does no harm: the
// logbook is sound, memory stays flat, and nothing lies outside.
func TestHostileUploads(t *testing.T) {
	if testing.Short() {
		t.Skip("it makes and reads some bombs")
	}
	if raceOn {
		t.Skip("the race detector spoils the memory and takes minutes: make proof runs it without")
	}
	junk := make([]byte, 1<<20)
	r := rand.NewChaCha8([32]byte{7})
	_, _ = r.Read(junk)
	many := make([]entry, 100_000)
	for i := range many {
		many[i] = entry{name: fmt.Sprintf("d%d/%d.csv", i%100, i)}
	}
	sheet := func(part []byte) []byte {
		return zipOf(t, entry{name: "[Content_Types].xml", data: []byte(`<Types/>`)},
			entry{name: "xl/workbook.xml", data: []byte(`<workbook xmlns:r="r"><sheets><sheet name="a" sheetId="1" r:id="r1"/></sheets></workbook>`)},
			entry{name: "xl/_rels/workbook.xml.rels", data: []byte(`<Relationships><Relationship Id="r1" Type="x/worksheet" Target="worksheets/sheet1.xml"/></Relationships>`)},
			entry{name: "xl/sharedStrings.xml", data: part}, entry{name: "xl/worksheets/sheet1.xml", data: part})
	}
	inner := bomb(t, "seeds.csv", 1<<30)
	nested := zipOf(t, entry{name: "a.zip", data: inner})
	for range 3 {
		nested = zipOf(t, entry{name: "a.zip", data: nested}, entry{name: "b.zip", data: nested})
	}
	shared := zipOf(t, entry{name: "0.csv", data: junk}) // entries of the list that all point at the first file
	{
		at, end := bytes.Index(shared, []byte("PK\x01\x02")), bytes.Index(shared, []byte("PK\x05\x06"))
		const n = 50
		line, tail := shared[at:end], bytes.Clone(shared[end:])
		binary.LittleEndian.PutUint16(tail[8:], n)
		binary.LittleEndian.PutUint16(tail[10:], n)
		binary.LittleEndian.PutUint32(tail[12:], uint32(n*len(line)))
		list := bytes.Repeat(line, n)
		for i := range n {
			copy(list[i*len(line)+46:], fmt.Sprint(i%10)) // another name
		}
		shared = slices.Concat(shared[:at], list, tail)
	}
	small := zipOf(t, entry{name: "seed/seeds.csv", data: []byte(seedsHeader + strings.Repeat("2026-05-01T13:00:00Z,1,\n", 1000))})
	tests := []struct {
		name  string
		files []entry
		state string // of the job
		want  string // in what it says
	}{
		{"zip slip", []entry{{name: "x.zip", data: zipOf(t, entry{name: "../../../evil.csv", data: junk}, entry{name: "/evil.csv", data: junk})}}, "failed", "x.zip: the zip holds two files of the name evil.csv"},
		{"zip slip by other ways", []entry{{name: "x.zip", data: zipOf(t, entry{name: "../../../evil1.csv", data: junk}, entry{name: "/tmp/evil2.csv", data: junk}, entry{name: `..\..\evil3.csv`, data: junk})}}, "done", ""},
		{"zip bomb", []entry{{name: "x.zip", data: inner}}, "failed", "is said to unpack to more than"},
		{"zip bomb in a folder", []entry{{name: "d/x.zip", data: inner}, {name: "x.csv", data: junk}}, "done", "is said to unpack to more than"},
		{"bomb that understates", []entry{{name: "x.zip", data: understated(inner)}}, "done", ""},
		{"nested zips", []entry{{name: "x.zip", data: nested}}, "done", ""},
		{"nested zips in a folder", []entry{{name: "d/x.zip", data: nested}, {name: "d/y.zip", data: zipOf(t, entry{name: "z.zip", data: inner})}}, "done", ""},
		{"100,000 entries", []entry{{name: "x.zip", data: zipOf(t, many...)}}, "failed", "holds 100000 files, more than the 20000"},
		{"entries that share bytes", []entry{{name: "x.zip", data: shared}}, "failed", "share the same bytes"},
		{"links", []entry{{name: "x.zip", data: zipOf(t, entry{name: "seeds.csv", data: []byte("/etc/passwd"), mode: fs.ModeSymlink | 0o777}, entry{name: "track.csv", data: []byte("../../ledger.db"), mode: fs.ModeSymlink | 0o777}, entry{name: "dev", mode: fs.ModeDevice | 0o666})}}, "done", "it is no file but a link or a device"},
		{"cut zip", []entry{{name: "x.zip", data: small[:len(small)/2]}}, "failed", "the zip cannot be read"},
		{"no zip", []entry{{name: "x.zip", data: junk}}, "failed", "the zip cannot be read"},
		{"empty zip", []entry{{name: "x.zip", data: zipOf(t)}}, "done", ""},
		{"garbage under known names", []entry{
			{name: "TASKDATA/TASKDATA.XML", data: junk},
			{name: "TASKDATA/TLG00001.BIN", data: junk},
			{name: "TASKDATA/TLG00001.XML", data: junk},
			{name: "seeds.csv", data: junk},
			{name: "track.csv", data: junk},
			{name: "readings.csv", data: junk},
			{name: "journal.csv", data: junk},
			{name: "source.toml", data: junk},
			{name: "a.log", data: junk},
			{name: "a.nmea", data: junk},
			{name: "a.xlsx", data: junk},
			{name: "a.parquet", data: junk},
			{name: "a.shp", data: junk},
			{name: "a.dbf", data: junk},
			{name: "a.shx", data: junk},
			{name: "a.geojson", data: junk},
			{name: "a.json", data: junk},
			{name: "b.txt", data: junk},
			{name: "b.tsv", data: junk},
		}, "done", ""},
		{"zeros under known names", []entry{
			{name: "TASKDATA/TASKDATA.XML", data: make([]byte, 8<<20)},
			{name: "seeds.csv", data: make([]byte, 8<<20)},
			{name: "a.log", data: make([]byte, 8<<20)},
			{name: "a.nmea", data: make([]byte, 8<<20)},
			{name: "a.csv", data: make([]byte, 8<<20)},
			{name: "a.geojson", data: make([]byte, 8<<20)},
			{name: "a.shp", data: make([]byte, 8<<20)},
		}, "done", ""},
		{"XML that refers to itself", []entry{{name: "TASKDATA/TASKDATA.XML", data: []byte(`<?xml version="1.0"?><!DOCTYPE l [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;&a;&a;&a;&a;"><!ENTITY c "&b;&b;&b;&b;&b;&b;&b;&b;"><!ENTITY x SYSTEM "file:///etc/passwd">]><ISO11783_TaskData VersionMajor="4"><TSK A="&c;&x;"/></ISO11783_TaskData>`)}}, "done", ""},
		{"deep XML", []entry{{name: "TASKDATA/TASKDATA.XML", data: []byte(strings.Repeat("<a>", 2_000_000))}}, "done", ""},
		{"deep JSON", []entry{{name: "a.geojson", data: []byte(`{"type":"FeatureCollection","features":` + strings.Repeat("[", 4_000_000))}}, "done", ""},
		{"workbook bomb", []entry{{name: "a.xlsx", data: sheet(bytes.Repeat([]byte("<si><t>a</t></si>"), 5_000_000))}}, "done", ""},
		{"workbook bomb of zeros", []entry{{name: "a.xlsx", data: sheet(make([]byte, 200<<20))}}, "done", ""},
		{"one long line", []entry{{name: "seeds.csv", data: append([]byte(seedsHeader), bytes.Repeat([]byte("9"), 64<<20)...)}}, "done", ""},
	}
	passwd, _ := os.ReadFile("/etc/passwd")
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			b := emptyBook(t)
			s := serve(t, b, func(o *web.Options) { o.Formats = all })
			id := s.begin(t)
			for _, f := range tt.files {
				if got := s.bring(id, f.name, f.data); got != http.StatusNoContent {
					t.Fatalf("%s: %d", f.name, got)
				}
			}
			var j web.Job
			begun := time.Now()
			peak := peakHeap(func() {
				if err := json.Unmarshal(s.ask("POST", "/api/v1/uploads/"+id+"/read", nil).Body.Bytes(), &j); err != nil {
					t.Fatal(err)
				}
				j = s.job(t, j.ID)
			})
			said := j.Error
			if j.Result != nil {
				said += strings.Join(j.Result.Says, " ") + " " + strings.Join(j.Result.Unused, " ")
			}
			t.Logf("%s in %v, %d MB: %.300s", j.State, time.Since(begun).Round(time.Millisecond), peak>>20, said)
			if j.State != tt.state || !strings.Contains(said, tt.want) {
				t.Errorf("%s: %.1000s\nwant %s: %q", j.State, said, tt.state, tt.want)
			}
			if strings.TrimSpace(said) == "" {
				t.Error("it says nothing")
			}
			if len(passwd) > 0 && strings.Contains(said, "root:x:") {
				t.Error("a file of this computer was read")
			}
			if peak > 300<<20 {
				t.Errorf("%d MB of memory", peak>>20)
			}
			if took := time.Since(begun); took > time.Minute {
				t.Errorf("it took %v", took)
			}
			for deadline := time.Now().Add(5 * time.Second); len(left(t, b)) > 0; time.Sleep(5 * time.Millisecond) {
				if time.Now().After(deadline) {
					t.Fatalf("left: %q", left(t, b))
				}
			}
			if strings.Contains(said, b.Dir()) {
				t.Error("it names a place that nobody knows")
			}
			root := filepath.Dir(b.Dir())
			if err := filepath.WalkDir(root, func(p string, d fs.DirEntry, err error) error {
				if err == nil && strings.Contains(d.Name(), "evil") {
					t.Errorf("%s was written", p)
				}
				return err
			}); err != nil {
				t.Error(err)
			}
			sound(t, b)
			// And a good one is read after it.
			id = s.begin(t)
			s.bring(id, "good.zip", small)
			_ = json.Unmarshal(s.ask("POST", "/api/v1/uploads/"+id+"/read", nil).Body.Bytes(), &j)
			if j = s.job(t, j.ID); j.State != "done" {
				t.Errorf("a good one after it: %s %s", j.State, j.Error)
			}
		})
	}
}

// What waits makes no room for others, and there is a bound to it.
func TestWaitingUploadsStay(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b), func(o *web.Options) {
		o.Uploads = web.UploadLimits{Open: 1, Wait: 2, Idle: time.Nanosecond}
	})
	first := s.readFiles(t, map[string]string{"a.csv": german}).Tables[0]
	s.begin(t)
	s.begin(t) // makes the other go
	if got := s.waiting(t); len(got.Tables) != 1 || got.Tables[0].Upload != first.Upload {
		t.Errorf("what waits was pushed out: %+v", got)
	}
	s.readFiles(t, map[string]string{"b.csv": strings.ReplaceAll(german, "Motor", "Pumpe")})
	if says := s.send(t, http.MethodPost, "/api/v1/uploads", nil, http.StatusTooManyRequests, nil); !strings.Contains(says, "leave it") {
		t.Error(says)
	}
	s.send(t, http.MethodDelete, "/api/v1/uploads/"+first.Upload, nil, http.StatusOK, nil)
	s.begin(t)
}

func (s *served) waiting(t *testing.T) web.UnknownTables {
	t.Helper()
	var w web.UnknownTables
	s.send(t, http.MethodGet, "/api/v1/tables", nil, http.StatusOK, &w)
	return w
}

// What waits is there again after the program was stopped and started, and the
// rest of what came is not.
func TestWaitingOverRestart(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	was := s.readFiles(t, map[string]string{"stick/Monitor.csv": german}).Tables[0]
	half := s.begin(t)
	if c := s.bring(half, "half.csv", []byte("x")); c != http.StatusNoContent {
		t.Fatal(c)
	}
	s.Close()
	if l := left(t, b); slices.ContainsFunc(l, func(n string) bool { return strings.HasSuffix(n, "half.csv") }) {
		t.Errorf("left: %q", l)
	}
	if err := os.MkdirAll(filepath.Join(b.Dir(), "incoming", "crashed", "brought"), 0o700); err != nil {
		t.Fatal(err)
	}
	s = serve(t, b, withRecipes(t, b))
	if l := left(t, b); len(l) != 2 { // the table, and for what it waits
		t.Errorf("left: %q", l)
	}
	got := s.waiting(t).Tables
	if len(got) != 1 || got[0].Upload != was.Upload || got[0].Name != was.Name || !slices.Equal(got[0].Lines, was.Lines) {
		t.Fatalf("%+v, want %+v", got, was)
	}
	var p web.ProposalView
	s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(got[0], nil), http.StatusOK, &p)
	if len(p.Columns) != 6 {
		t.Errorf("%+v", p)
	}
	s.send(t, http.MethodDelete, "/api/v1/uploads/"+was.Upload, nil, http.StatusOK, nil)
	if l := left(t, b); len(l) != 0 {
		t.Errorf("left: %q", l)
	}
}

// Several zips dropped at once: the tables of each can be explained, and what one
// recipe reads is read, the other waits on.
func TestTablesOfSeveralZips(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b, withRecipes(t, b))
	done := s.readFiles(t, map[string]string{
		"mon.zip": string(zipOf(t, entry{name: "log.csv", data: []byte(german)})),
		"a.zip":   string(zipOf(t, entry{name: "log.csv", data: []byte("zeit;Pumpe\n1;2\n2;3\n")})),
	})
	if len(done.Tables) != 2 || done.Tables[0].Path != "a.zip/log.csv" || done.Tables[1].Path != "mon.zip/log.csv" || done.Tables[1].Name != "mon.zip, log.csv" {
		t.Fatalf("%+v", done)
	}
	for i, column := range []string{"Pumpe", "Motor"} {
		var p web.ProposalView
		s.send(t, http.MethodPost, "/api/v1/recipes/propose", ask(done.Tables[i], nil), http.StatusOK, &p)
		if n := len(p.Columns); n == 0 || p.Columns[n-1].Name != column {
			t.Errorf("table %d: %+v", i, p.Columns)
		}
	}
	name := ask(done.Tables[1], map[string]string{"zone": "UTC", "rows": "left", "column Schardruck [kg]": "gauge_wheel_load, machine, kg", "column Motor": "none"})
	name.Box = "monitor"
	var k web.Kept
	s.send(t, http.MethodPost, "/api/v1/recipes", name, http.StatusOK, &k)
	if len(k.Jobs) != 1 {
		t.Fatalf("%+v", k)
	}
	again := s.await(t, k.Jobs[0].ID)
	if len(again.Tables) != 1 || again.Tables[0].Path != "a.zip/log.csv" || len(again.Sources) == 0 {
		t.Errorf("%+v", again)
	}
}

// A reading again that is stopped or fails keeps what was brought and offers it
// again, and so does a first one that is stopped.
func TestUnreadStays(t *testing.T) {
	b := emptyBook(t)
	hold, bad := make(chan struct{}), false
	s := serve(t, b, withRecipes(t, b), func(o *web.Options) {
		formats := o.Formats
		o.Formats = func() ([]evenstand.Format, error) {
			<-hold
			if bad {
				return nil, errors.New("the disk is full")
			}
			return formats()
		}
	})
	up := s.begin(t)
	if c := s.bring(up, "Monitor.csv", []byte(german)); c != http.StatusNoContent {
		t.Fatal(c)
	}
	read := func() string {
		t.Helper()
		var j web.Job
		s.send(t, http.MethodPost, "/api/v1/uploads/"+up+"/read", nil, http.StatusOK, &j)
		return j.ID
	}
	id := read()
	until(t, "it runs", func() bool { return s.jobStates(t)[id] == "running" })
	s.send(t, http.MethodDelete, "/api/v1/uploads/"+up, nil, http.StatusConflict, nil)
	s.send(t, http.MethodDelete, "/api/v1/jobs/"+id, nil, http.StatusOK, nil)
	close(hold)
	until(t, "the stopped one is offered again", func() bool { return len(s.waiting(t).Unread) == 1 })
	if w := s.waiting(t).Unread[0]; w.Upload != up || w.Files != 1 || !slices.Equal(w.Names, []string{"Monitor.csv"}) || w.Why != "Its reading was stopped." {
		t.Errorf("%+v", w)
	}
	if got := s.await(t, read()); len(got.Tables) != 1 {
		t.Fatalf("%+v", got)
	}
	until(t, "it waits to be explained", func() bool { w := s.waiting(t); return len(w.Unread) == 0 && len(w.Tables) == 1 })
	bad = true
	id = read()
	until(t, "it fails", func() bool { return s.jobStates(t)[id] == "failed" })
	until(t, "the failed one is offered again", func() bool { w := s.waiting(t); return len(w.Unread) == 1 && w.Unread[0].Why == "The disk is full." })
	bad = false
	if got := s.await(t, read()); len(got.Tables) != 1 {
		t.Fatalf("%+v", got)
	}
}

// An upload that is given up while one of its tables is looked at leaves nothing.
func TestGivenUpWhileAsked(t *testing.T) {
	b := emptyBook(t)
	in, on := make(chan struct{}), make(chan struct{})
	slow := false
	s := serve(t, b, withRecipes(t, b), func(o *web.Options) {
		formats := o.Formats
		o.Formats = func() ([]evenstand.Format, error) {
			if slow { // a recipe is being kept
				in <- struct{}{}
				<-on
			}
			return formats()
		}
	})
	tab := s.readFiles(t, map[string]string{"Monitor.csv": german}).Tables[0]
	slow = true
	name := ask(tab, map[string]string{"zone": "UTC", "rows": "left", "column Schardruck [kg]": "gauge_wheel_load, machine, kg"})
	name.Box = "monitor"
	body, err := json.Marshal(name)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		s.ask(http.MethodPost, "/api/v1/recipes", body)
	}()
	<-in
	s.send(t, http.MethodDelete, "/api/v1/uploads/"+tab.Upload, nil, http.StatusOK, nil)
	slow = false
	close(on)
	<-ended
	if l := left(t, b); len(l) != 0 {
		t.Errorf("left: %q", l)
	}
}
