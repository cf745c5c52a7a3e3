package book

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"maps"
	"os"
	"path"
	"path/filepath"
	"slices"
	"sort"
	"strings"
	"time"

	"evenstand"
	"evenstand/format/archive"
	"evenstand/format/files"
)

// An input is what was handed to one read: a folder, a zip or a file. In the
// book it is a list of names and hashes; the bytes lie under originals/.
//
// When an input is read again with more in it, or with logs that grew, the new
// one takes the place of the old one, which is retired; what only the old one
// had is carried over. So no log is ever live twice.

// input is an input of the ledger.
type input struct {
	id    int64
	name  string
	kind  string
	files map[string]original // by path inside the input
}

// original is a file's content.
type original struct {
	sum  string
	size int64
	data bool // a log; not a companion that explains one
}

// growthFloor is the shortest file that is looked for in a longer one. Below
// it there may be no more than a header, with which many files begin.
const growthFloor = 256

// originalPath gives the place of a content.
func (b *Book) originalPath(sum string) string { return b.path(originalsDir, sum[:2], sum) }

// opened is an input before it is in the book.
type opened struct {
	name, kind string
	fsys       fs.FS
	close      func() error
}

// openInput opens a folder, a zip or a single file.
func openInput(p string) (*opened, error) {
	info, err := os.Stat(p)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &Error{p, errors.New("there is no such file or folder"), "Check the spelling, and that the stick or drive is plugged in"}
	}
	if err != nil {
		return nil, &Error{p, err, "The file must be readable"}
	}
	abs, err := filepath.Abs(p)
	if err != nil {
		abs = p
	}
	o := &opened{name: filepath.Base(abs), close: func() error { return nil }}
	switch {
	case info.IsDir():
		o.kind, o.fsys = "folder", os.DirFS(p)
		return o, nil
	case strings.EqualFold(filepath.Ext(p), ".zip"):
		f, err := os.Open(p)
		if err != nil {
			return nil, &Error{p, err, "The file must be readable"}
		}
		z, err := archive.Open(f, info.Size(), archive.Usual())
		if err != nil {
			f.Close()
			if refused := (*archive.Refused)(nil); errors.As(err, &refused) {
				return nil, &Error{p, err, archive.Do}
			}
			return nil, &Error{p, fmt.Errorf("the zip cannot be read: %w", err), "Copy it again; it may have been cut off"}
		}
		o.kind, o.fsys, o.close = "zip", z, f.Close
		return o, nil
	}
	o.kind, o.fsys = "file", oneFile{os.DirFS(filepath.Dir(p)), filepath.Base(p)}
	return o, nil
}

// oneFile shows one file of a folder alone.
type oneFile struct {
	fsys fs.FS
	name string
}

// Open opens the file, or the folder that holds only it.
func (o oneFile) Open(name string) (fs.File, error) {
	if name == "." {
		info, err := fs.Stat(o.fsys, o.name)
		if err != nil {
			return nil, err
		}
		return &listing{name: ".", entries: []fs.DirEntry{fs.FileInfoToDirEntry(info)}}, nil
	}
	if name != o.name {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	return o.fsys.Open(name)
}

// listing is an open folder of a made-up file system.
type listing struct {
	name    string
	entries []fs.DirEntry
	at      int
}

// Stat describes the folder.
func (l *listing) Stat() (fs.FileInfo, error) { return folderInfo(path.Base(l.name)), nil }

// Read says that a folder has no bytes.
func (l *listing) Read([]byte) (int, error) {
	return 0, &fs.PathError{Op: "read", Path: l.name, Err: errors.New("is a folder")}
}

// Close does nothing.
func (l *listing) Close() error { return nil }

// ReadDir lists the folder.
func (l *listing) ReadDir(n int) ([]fs.DirEntry, error) {
	rest := l.entries[l.at:]
	if n <= 0 {
		l.at = len(l.entries)
		return rest, nil
	}
	if len(rest) == 0 {
		return nil, io.EOF
	}
	rest = rest[:min(n, len(rest))]
	l.at += len(rest)
	return rest, nil
}

// folderInfo and fileInfo describe entries of a made-up file system.
type folderInfo string

func (f folderInfo) Name() string     { return string(f) }
func (folderInfo) Size() int64        { return 0 }
func (folderInfo) Mode() fs.FileMode  { return fs.ModeDir | 0o555 }
func (folderInfo) ModTime() time.Time { return time.Time{} }
func (folderInfo) IsDir() bool        { return true }
func (folderInfo) Sys() any           { return nil }

type fileInfo struct {
	name string
	size int64
}

func (f fileInfo) Name() string     { return f.name }
func (f fileInfo) Size() int64      { return f.size }
func (fileInfo) Mode() fs.FileMode  { return 0o444 }
func (fileInfo) ModTime() time.Time { return time.Time{} }
func (fileInfo) IsDir() bool        { return false }
func (fileInfo) Sys() any           { return nil }

// inputFS shows an input's files under their names, from the originals.
type inputFS struct {
	b     *Book
	files map[string]original
}

// Open opens a file or a folder.
func (f *inputFS) Open(name string) (fs.File, error) {
	if !fs.ValidPath(name) {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrInvalid}
	}
	if o, ok := f.files[name]; ok {
		file, err := os.Open(f.b.originalPath(o.sum))
		if err != nil {
			return nil, &fs.PathError{Op: "open", Path: name, Err: err}
		}
		return &originalFile{file, fileInfo{path.Base(name), o.size}}, nil
	}
	prefix := name + "/"
	if name == "." {
		prefix = ""
	}
	seen := map[string]fs.DirEntry{}
	for p, o := range f.files {
		rest, ok := strings.CutPrefix(p, prefix)
		if !ok {
			continue
		}
		if first, _, deeper := strings.Cut(rest, "/"); deeper {
			seen[first] = fs.FileInfoToDirEntry(folderInfo(first))
		} else {
			seen[rest] = fs.FileInfoToDirEntry(fileInfo{rest, o.size})
		}
	}
	if len(seen) == 0 && name != "." {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrNotExist}
	}
	l := &listing{name: name}
	for _, k := range sortedKeys(seen) {
		l.entries = append(l.entries, seen[k])
	}
	return l, nil
}

type originalFile struct {
	*os.File
	info fileInfo
}

// Stat gives the name that the file came with.
func (f *originalFile) Stat() (fs.FileInfo, error) { return f.info, nil }

// liveInputs loads the inputs that no newer one replaced, by id.
func (b *Book) liveInputs(ctx context.Context) ([]*input, error) {
	rows, err := b.db.QueryContext(ctx, `SELECT i.id, i.name, i.kind, f.path, f.sha256, f.size, f.data
		FROM inputs i JOIN files f ON f.input = i.id
		WHERE i.id NOT IN (SELECT input FROM retired) ORDER BY i.id, f.path`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var ins []*input
	for rows.Next() {
		var in input
		var p string
		var o original
		if err := rows.Scan(&in.id, &in.name, &in.kind, &p, &o.sum, &o.size, &o.data); err != nil {
			return nil, err
		}
		if len(ins) == 0 || ins[len(ins)-1].id != in.id {
			in.files = map[string]original{}
			ins = append(ins, &in)
		}
		ins[len(ins)-1].files[p] = o
	}
	return ins, rows.Err()
}

// found is what the formats see in an input.
type found struct {
	format evenstand.Format
	source evenstand.Source
}

// find asks every format for its sources. claimed gives every claimed file;
// true for those that are a log of some source.
func find(ctx context.Context, fsys fs.FS, formats []evenstand.Format) (sources []found, claimed map[string]bool, unused []evenstand.Unused, err error) {
	claimed = map[string]bool{}
	taker := map[string]string{} // which format took a file
	var from []string            // which format spoke of what was not used
	for _, f := range formats {
		srcs, files, un, err := f.Find(ctx, fsys)
		if ctx.Err() != nil {
			return nil, nil, nil, ctx.Err()
		}
		if err != nil {
			unused = append(unused, evenstand.Unused{Offset: -1, Count: 1, Of: "files", Why: fmt.Sprintf("looking for %s: %v", f.Name(), err)})
			from = append(from, f.Name())
		}
		mine := map[string]bool{}
		for _, p := range files {
			if _, taken := claimed[p]; !taken {
				claimed[p] = false
				mine[p] = true
				taker[p] = f.Name()
			}
		}
		for _, s := range srcs {
			ok := true
			for _, p := range s.Files {
				if _, taken := claimed[p]; taken && !mine[p] {
					ok = false // an earlier format took it
				}
			}
			if !ok {
				continue
			}
			for _, p := range s.Files {
				claimed[p] = true
				mine[p] = true
				taker[p] = f.Name()
			}
			s.Format = f.Name()
			sources = append(sources, found{f, s})
		}
		for _, u := range un {
			unused = append(unused, u)
			from = append(from, f.Name())
		}
	}
	// What one format cannot use as a whole another one reads.
	kept := unused[:0]
	for i, u := range unused {
		if by := taker[u.File]; by == "" || by == from[i] || u.Of != "files" || u.Line > 0 {
			kept = append(kept, u)
		}
	}
	unused = kept
	return sources, claimed, unused, nil
}

// listFiles lists all files of an input in order, with their sizes, and what
// of it may not be looked into. The error is of the input as a whole.
func listFiles(fsys fs.FS) (names []string, sizes map[string]int64, closed []evenstand.Unused, err error) {
	sizes = map[string]int64{}
	err = fs.WalkDir(fsys, ".", func(p string, d fs.DirEntry, err error) error {
		shut := func(err error) {
			if !files.Leftover(p) {
				closed = append(closed, evenstand.Unused{File: p, Offset: -1, Count: 1, Of: "files", Why: files.Reason(err), Do: "Check that it may be read."})
			}
		}
		switch {
		case err != nil && p == ".":
			return err
		case err != nil:
			shut(err)
			if d != nil && d.IsDir() {
				return fs.SkipDir
			}
			return nil
		case d.IsDir():
			return nil
		}
		info, err := d.Info()
		if err != nil {
			shut(err)
			return nil
		}
		if !info.Mode().IsRegular() { // a link of a zip is a file with the place it leads to; nobody follows it
			if !files.Leftover(p) {
				closed = append(closed, evenstand.Unused{File: p, Offset: -1, Count: 1, Of: "files", Why: "it is no file but a link or a device", Do: "Bring what it leads to, if it is a log."})
			}
			return nil
		}
		names = append(names, p)
		sizes[p] = info.Size()
		return nil
	})
	sort.Strings(names)
	return names, sizes, closed, err
}

// inputError is an error of a file that was to be copied, not of the book.
type inputError struct{ error }

// Unwrap gives what was wrong.
func (e inputError) Unwrap() error { return e.error }

// store streams a file into the originals and gives its hash. marks are
// lengths, rising, at which the hash so far is wanted too.
func (b *Book) store(ctx context.Context, fsys fs.FS, name string, marks []int64, progress func(int64)) (o original, prefixes map[int64]string, err error) {
	in, err := fsys.Open(name)
	if err != nil {
		return o, nil, inputError{err}
	}
	defer in.Close()
	tmp := b.path(tmpDir, "original")
	w, err := b.disk.create(tmp, true)
	if err != nil {
		return o, nil, writeError(b.dir, "copying "+name, err)
	}
	prefixes = map[int64]string{}
	buf := make([]byte, 1<<20)
	for {
		if ctx.Err() != nil {
			w.drop()
			return o, nil, ctx.Err()
		}
		want := buf
		for len(marks) > 0 && marks[0] <= w.size {
			if marks[0] == w.size {
				prefixes[w.size] = w.hex()
			}
			marks = marks[1:]
		}
		if len(marks) > 0 && marks[0]-w.size < int64(len(want)) {
			want = want[:marks[0]-w.size]
		}
		n, rerr := in.Read(want)
		if n > 0 {
			if _, err := w.Write(want[:n]); err != nil {
				w.drop()
				return o, nil, writeError(b.dir, "copying "+name, err)
			}
			progress(int64(n))
		}
		if errors.Is(rerr, io.EOF) {
			break
		}
		if rerr != nil {
			w.drop()
			return o, nil, inputError{rerr}
		}
	}
	if len(marks) > 0 && marks[0] == w.size {
		prefixes[w.size] = w.hex()
	}
	o = original{sum: w.hex(), size: w.size}
	to := b.originalPath(o.sum)
	if info, err := os.Stat(to); err == nil && info.Size() == o.size {
		w.drop() // known, or left there by a run that was stopped
		return o, prefixes, nil
	}
	if err := w.keep(); err != nil {
		os.Remove(tmp)
		return o, nil, writeError(b.dir, "copying "+name, err)
	}
	if err := os.Chmod(tmp, 0o444); err != nil {
		return o, nil, writeError(b.dir, "copying "+name, err)
	}
	fresh := false
	if _, err := os.Stat(filepath.Dir(to)); err != nil {
		if err := os.MkdirAll(filepath.Dir(to), 0o755); err != nil {
			return o, nil, writeError(b.dir, "copying "+name, err)
		}
		fresh = true
	}
	if err := os.Rename(tmp, to); err != nil {
		return o, nil, writeError(b.dir, "copying "+name, err)
	}
	err = syncDir(filepath.Dir(to))
	if fresh {
		err = errors.Join(err, syncDir(b.path(originalsDir)))
	}
	return o, prefixes, writeError(b.dir, "copying "+name, err)
}

// take brings an input into the book: copies what the formats claim, and tells
// what is new about it. in is nil when nothing was.
func (b *Book) take(ctx context.Context, o *opened, formats []evenstand.Format, rep *Report, tell func(Progress)) (in *input, err error) {
	names, sizes, closed, err := listFiles(o.fsys)
	if err != nil {
		return nil, &Error{o.name, err, "The folder must be readable"}
	}
	sources, claimed, unused, err := find(ctx, o.fsys, formats)
	if err != nil {
		return nil, err
	}
	said := map[string]bool{}
	for _, u := range unused {
		said[u.File] = true
	}
	// One sentence for what cannot be read, whoever tried.
	begin := len(rep.Unused)
	shut := func(u evenstand.Unused) {
		mine := slices.DeleteFunc(rep.Unused[begin:], func(v evenstand.Unused) bool { return v.File == u.File && v.Of == "files" })
		rep.Unused = append(rep.Unused[:begin+len(mine)], u)
	}
	rep.Unused = append(rep.Unused, unused...)
	for _, u := range closed {
		shut(u)
	}
	live, err := b.liveInputs(ctx)
	if err != nil {
		return nil, ledgerError(b.path(ledgerName), err)
	}
	var total, done int64
	for _, n := range names {
		if _, ok := claimed[n]; ok && len(sources) > 0 {
			total += sizes[n]
		}
	}
	in = &input{name: o.name, kind: o.kind, files: map[string]original{}}
	grown := map[string]string{} // path to the hash of its shorter form
	logs := false                // whether any was copied
	fileReport := map[string]*FileReport{}
	var order []string
	for _, n := range names {
		r := &FileReport{Path: n, Size: sizes[n], State: "unused"}
		fileReport[n] = r
		order = append(order, n)
		isLog, ok := claimed[n]
		if !ok || len(sources) == 0 {
			switch {
			case files.Leftover(n):
				r.State, r.Why = "ignored", "left there by an operating system"
			case ok:
				r.Why = "no log that can be used goes with it"
			default:
				why, do := files.Strange(n)
				r.Why = "in no format that this program reads"
				if !said[n] {
					rep.Unused = append(rep.Unused, evenstand.Unused{File: n, Offset: -1, Count: 1, Of: "files", Why: why, Do: do})
				}
			}
			continue
		}
		var marks []int64
		if isLog {
			marks = shorter(live, n, sizes[n])
		}
		name := n
		orig, prefixes, err := b.store(ctx, o.fsys, n, marks, func(k int64) {
			done += k
			tell(Progress{Doing: "copying", Name: name, Done: done, Total: total})
		})
		if unread := (inputError{}); errors.As(err, &unread) {
			r.Why = files.Reason(unread.error)
			shut(evenstand.Unused{File: n, Offset: -1, Count: 1, Of: "files", Why: r.Why, Do: "Check that it may be read, or copy it from the box again."})
			continue
		}
		if err != nil {
			return nil, err
		}
		logs = logs || isLog
		orig.data = isLog
		in.files[n] = orig
		r.Hash, r.Size, r.State = orig.sum, orig.size, "new"
		for _, l := range live {
			for p, old := range l.files {
				switch {
				case old.sum == orig.sum:
					r.State = "known"
				case isLog && old.data && old.size < orig.size && prefixes[old.size] == old.sum && strings.EqualFold(path.Base(p), path.Base(n)):
					grown[n] = old.sum
				}
			}
		}
		if grown[n] != "" && r.State == "new" {
			r.State = "grown"
		}
	}
	for _, n := range order {
		rep.Files = append(rep.Files, *fileReport[n])
	}
	if !logs {
		return nil, nil
	}
	return in, b.record(ctx, in, live, grown)
}

// shorter gives, rising, the lengths of live logs of the same name that are
// shorter than a file.
func shorter(live []*input, name string, size int64) []int64 {
	var marks []int64
	for _, l := range live {
		for p, o := range l.files {
			if o.data && o.size >= growthFloor && o.size < size && strings.EqualFold(path.Base(p), path.Base(name)) {
				marks = append(marks, o.size)
			}
		}
	}
	slices.Sort(marks)
	return slices.Compact(marks)
}

// record writes an input into the ledger unless a live one holds all of it,
// carries over what only older ones had, and retires those. in.id is 0 when
// nothing was new.
func (b *Book) record(ctx context.Context, in *input, live []*input, grown map[string]string) error {
	type pair struct{ old, new string } // the same log in both
	var retired []*input
	for _, l := range live {
		var pairs []pair
		for _, p := range sortedKeys(in.files) {
			o := in.files[p]
			if !o.data {
				continue
			}
			for _, q := range sortedKeys(l.files) {
				old := l.files[q]
				if o.size < growthFloor && !sameBeside(in, p, l, q) {
					continue // too short to tell one log from another
				}
				if old.data && (old.sum == o.sum || grown[p] == old.sum && strings.EqualFold(path.Base(p), path.Base(q))) {
					pairs = append(pairs, pair{q, p})
				}
			}
		}
		if within(in, l) {
			in.id = 0
			return nil
		}
		if len(pairs) == 0 {
			continue
		}
		// Where a file of the old input lies in the new one.
		move := func(q string) (string, bool) {
			best, found := "", false
			longest := -1
			for _, pr := range pairs {
				po, pn := stems(pr.old, pr.new)
				if rest, ok := strings.CutPrefix(q, po); ok && len(po) > longest {
					best, found, longest = pn+rest, true, len(po)
				}
			}
			return best, found
		}
		// All of the new input in the old one?
		back := map[string]original{}
		for q, o := range l.files {
			if p, ok := move(q); ok {
				back[p] = o
			}
		}
		same := true
		for p, o := range in.files {
			if back[p].sum != o.sum {
				same = false
			}
		}
		if same {
			in.id = 0
			return nil
		}
		// Carry over, then see whether the old input is still needed.
		needed := false
		for _, q := range sortedKeys(l.files) {
			old := l.files[q]
			p, ok := move(q)
			if ok {
				if _, there := in.files[p]; !there {
					in.files[p] = old
				}
			}
			if !old.data {
				continue
			}
			held := false
			for np, o := range in.files {
				if o.sum == old.sum || grown[np] == old.sum {
					held = true
				}
			}
			needed = needed || !held
		}
		if !needed {
			retired = append(retired, l)
		}
	}
	err := inTx(ctx, b.db, func(tx *sql.Tx) error {
		at := b.now()
		if err := tx.QueryRowContext(ctx, "INSERT INTO inputs (at, name, kind) VALUES (?, ?, ?) RETURNING id", at, in.name, in.kind).Scan(&in.id); err != nil {
			return err
		}
		for _, p := range sortedKeys(in.files) {
			o := in.files[p]
			if _, err := tx.ExecContext(ctx, "INSERT INTO files (input, path, sha256, size, data) VALUES (?, ?, ?, ?, ?)", in.id, p, o.sum, o.size, o.data); err != nil {
				return err
			}
		}
		for _, l := range retired {
			if _, err := tx.ExecContext(ctx, "INSERT INTO retired (input, at, by) VALUES (?, ?, ?)", l.id, at, in.id); err != nil {
				return err
			}
		}
		return nil
	})
	return ledgerError(b.path(ledgerName), err)
}

// within tells whether every file of an input stands in another one under the
// same name.
func within(in, l *input) bool {
	for p, o := range in.files {
		if l.files[p].sum != o.sum {
			return false
		}
	}
	return true
}

// sameBeside tells whether two files and all that stands beside them are the
// same: a log too short to be told by itself is told by what explains it.
func sameBeside(a *input, p string, b *input, q string) bool {
	beside := func(in *input, p string) map[string]string {
		out := map[string]string{}
		for f, o := range in.files {
			if path.Dir(f) == path.Dir(p) {
				out[path.Base(f)] = o.sum
			}
		}
		return out
	}
	return path.Base(p) == path.Base(q) && maps.Equal(beside(a, p), beside(b, q))
}

// stems takes the longest common end off two paths, whole parts only, and
// gives what stands before it.
func stems(a, b string) (string, string) {
	for {
		da, fa := path.Split(a)
		db, fb := path.Split(b)
		if !strings.EqualFold(fa, fb) {
			return a + "/", b + "/" // two names for one file: nothing else moves with it
		}
		if da == "" || db == "" {
			return da, db
		}
		ta, tb := strings.TrimSuffix(da, "/"), strings.TrimSuffix(db, "/")
		if !strings.EqualFold(path.Base(ta), path.Base(tb)) {
			return da, db
		}
		a, b = ta, tb
	}
}
