package web

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"time"
	"unicode"

	"github.com/danielgtaylor/huma/v2"

	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/format/table"
)

// uploads are the files that a page is bringing: each goes to disk as it comes,
// into a folder of the logbook of its own, from which it is read like a stick.
// What waits (for its tables to be explained, or to be read again after a stop or
// a failure) is kept until it is read or given up, also while the program is not
// running; the rest of what was left by a stop is swept at the next start.
type uploads struct {
	mu   sync.Mutex
	most UploadLimits
	dir  string
	byID map[string]*upload
}

type upload struct {
	dir   string
	files int
	bytes int64
	last  time.Time
	busy  int
	taken bool // being read
	gone  bool // given up while files were still coming

	tables []UnknownTable // that were not read; it waits for them to be explained
	unread string         // why it was not read to the end; it waits to be read again
}

// waits tells whether an upload stays until it is read or given up.
func (x *upload) waits() bool { return len(x.tables) > 0 || x.unread != "" }

// UploadLimits are what the page may bring; zero is the usual.
type UploadLimits struct {
	Files int           // of one upload: 20,000
	Bytes int64         // of one upload: 64 GiB; a season's sticks are some gigabytes
	Open  int           // uploads at once: 8
	Wait  int           // uploads that wait to be explained or read again: 32
	Pause time.Duration // without another 64 KiB, before a file is given up: two minutes
	Idle  time.Duration // before an upload that waits makes room for another: ten minutes
}

func (l UploadLimits) orUsual() UploadLimits {
	return UploadLimits{
		Files: cmp.Or(l.Files, 20_000), Bytes: cmp.Or(l.Bytes, 64<<30), Open: cmp.Or(l.Open, 8), Wait: cmp.Or(l.Wait, 32),
		Pause: cmp.Or(l.Pause, 2*time.Minute), Idle: cmp.Or(l.Idle, 10*time.Minute),
	}
}

// uploadStep is how much must come within a pause: a client that sends a byte
// now and then is as dead as one that sends none.
const uploadStep = 64 << 10

// incoming is the folder of the logbook that files come into; whole is the name
// under which files that came without a folder are read.
const (
	incoming = "incoming"
	whole    = "brought"
)

// waitsName is the file beside what was brought that says for what it waits.
const waitsName = "waits.json"

// waitsJSON is its content.
type waitsJSON struct {
	Files  int            `json:"files"`
	Unread string         `json:"unread,omitempty"`
	Tables []waitingTable `json:"tables,omitempty"`
}

type waitingTable struct {
	UnknownTable
	Input int       `json:"input"`
	Ref   table.Ref `json:"ref"`
}

// keep writes down for what an upload waits, or that it does not.
func (x *upload) keep() error {
	name := filepath.Join(x.dir, waitsName)
	if !x.waits() {
		if err := os.Remove(name); !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		return nil
	}
	w := waitsJSON{Files: x.files, Unread: x.unread}
	for _, t := range x.tables {
		w.Tables = append(w.Tables, waitingTable{t, t.input, t.ref})
	}
	data, err := json.Marshal(w)
	if err != nil {
		return err
	}
	if err := os.WriteFile(name+".new", data, 0o600); err != nil {
		return err
	}
	return os.Rename(name+".new", name)
}

// restore finds an upload that waited when the program ended.
func restore(dir, id string) *upload {
	data, err := os.ReadFile(filepath.Join(dir, waitsName))
	var w waitsJSON
	if err != nil || json.Unmarshal(data, &w) != nil {
		return nil
	}
	x := &upload{dir: dir, files: w.Files, unread: w.Unread, last: time.Now()}
	inputs := brought(dir)
	for _, t := range w.Tables {
		if t.Input < 0 || t.Input >= len(inputs) || len(t.Ref.Files) == 0 {
			continue
		}
		t.Upload, t.input, t.ref = id, t.Input, t.Ref
		x.tables = append(x.tables, t.UnknownTable)
	}
	if info, err := os.Stat(filepath.Join(dir, whole)); err != nil || !info.IsDir() || !x.waits() {
		return nil
	}
	return x
}

func (u *uploads) open(b *book.Book, most UploadLimits) error {
	u.most = most.orUsual()
	u.dir = filepath.Join(b.Dir(), incoming)
	u.byID = map[string]*upload{}
	entries, err := os.ReadDir(u.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, e := range entries {
		if x := restore(filepath.Join(u.dir, e.Name()), e.Name()); x != nil {
			u.byID[e.Name()] = x
		}
	}
	return u.sweep()
}

// sweep removes what does not wait.
func (u *uploads) sweep() error {
	entries, err := os.ReadDir(u.dir)
	for _, e := range entries {
		if x := u.byID[e.Name()]; x == nil || !x.waits() {
			err = errors.Join(err, os.RemoveAll(filepath.Join(u.dir, e.Name())))
		}
	}
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	_ = os.Remove(u.dir) // when it is empty
	return err
}

// begin opens an upload. When there are too many, the one that has dawdled
// longest makes room: its page was closed. What waits to be explained or read
// again makes none.
func (u *uploads) begin() (string, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	coming, oldest := 0, ""
	for id, x := range u.byID {
		if x.waits() {
			continue
		}
		coming++
		if !x.taken && x.busy == 0 && time.Since(x.last) > u.most.Idle && (oldest == "" || x.last.Before(u.byID[oldest].last)) {
			oldest = id
		}
	}
	switch {
	case len(u.byID)-coming >= u.most.Wait:
		return "", huma.Error429TooManyRequests("Too much waits that was brought and not read. Explain some of it, or leave it, under Bring logs.")
	case coming < u.most.Open:
	case oldest == "":
		return "", huma.Error429TooManyRequests("Too much is being brought in at once. Wait until it has been read.")
	default:
		u.drop(oldest)
	}
	var b [12]byte
	_, _ = rand.Read(b[:])
	id := hex.EncodeToString(b[:])
	dir := filepath.Join(u.dir, id)
	if err := os.MkdirAll(filepath.Join(dir, whole), 0o700); err != nil {
		return "", err
	}
	u.byID[id] = &upload{dir: dir, last: time.Now()}
	return id, nil
}

// release ends what was busy with an upload, and removes one that was given up
// meanwhile. u.mu is held.
func (x *upload) release() {
	x.busy--
	x.last = time.Now()
	if x.gone && x.busy == 0 {
		_ = os.RemoveAll(x.dir)
	}
}

// drop gives an upload up. Files that still come are thrown away as they end, and
// what is being looked at once that ends.
func (u *uploads) drop(id string) {
	x := u.byID[id]
	if x == nil || x.taken {
		return
	}
	delete(u.byID, id)
	if x.gone = true; x.busy == 0 {
		_ = os.RemoveAll(x.dir)
	}
}

// Bounds of names, as the common systems have them: no part longer than 255
// bytes, no whole longer than fits a path of 4096 with the logbook's before it.
const (
	longestPart = 255
	longestName = 2000
	deepestName = 32
)

// devices are names that Windows takes for something else than a file, with any
// ending and in any case ("Naming Files, Paths, and Namespaces", Windows App
// Development documentation).
var devices = regexp.MustCompile(`(?i)^(CON|PRN|AUX|NUL|CONIN\$|CONOUT\$|(COM|LPT)[0-9¹²³])[ .]*(\..*)?$`)

// safePath refuses names that would lead out of the folder, or that a system
// takes for something else. They are the same on every system, so that a
// logbook may be carried from one to another.
func safePath(name string) (string, error) {
	bad := fmt.Errorf("%q is no name for a file to bring in. Rename it and try again", printable(name))
	if !fs.ValidPath(name) || name == "." || len(name) > longestName || strings.Count(name, "/") >= deepestName ||
		strings.ContainsFunc(name, func(r rune) bool { return unicode.IsControl(r) || strings.ContainsRune(`<>:"|?*\`, r) }) {
		return "", bad
	}
	for part := range strings.SplitSeq(name, "/") {
		if len(part) > longestPart || strings.TrimRight(part, ". ") != part || devices.MatchString(part) {
			return "", bad
		}
	}
	local := filepath.FromSlash(name)
	if !filepath.IsLocal(local) {
		return "", bad
	}
	return local, nil
}

// put streams one file of an upload to disk.
func (s *Server) put(w http.ResponseWriter, r *http.Request) {
	u := &s.uploads
	local, err := safePath(r.URL.Query().Get("path"))
	if err != nil {
		problem(w, http.StatusUnprocessableEntity, sentence(err.Error()))
		return
	}
	u.mu.Lock()
	x := u.byID[r.PathValue("id")]
	switch {
	case x == nil || x.taken || x.waits():
		u.mu.Unlock()
		problem(w, http.StatusNotFound, "That upload is over. Drop the files again.")
		return
	case x.files >= u.most.Files:
		u.mu.Unlock()
		problem(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("More than %s files. Bring the folder in parts, or say evenstand read BOOK FOLDER.", advise.Thousands(int64(u.most.Files))))
		return
	}
	x.files++
	x.busy++
	u.mu.Unlock()
	n, err := s.save(w, r, x, local)
	u.mu.Lock()
	if err != nil {
		x.files--
		x.bytes -= n
	}
	if x.gone {
		err = errGone
	}
	x.release()
	u.mu.Unlock()
	_ = http.NewResponseController(w).SetWriteDeadline(time.Now().Add(answerTime)) // the body may have taken long
	switch {
	case err == nil:
		w.WriteHeader(http.StatusNoContent)
	case errors.Is(err, errGone):
		problem(w, http.StatusNotFound, "That upload is over. Drop the files again.")
	case errors.Is(err, errRoom):
		problem(w, http.StatusRequestEntityTooLarge, "That is more than can be brought in at once. Bring it in parts, or say evenstand read BOOK FOLDER.")
	case errors.Is(err, fs.ErrExist):
		problem(w, http.StatusConflict, "Two files have the same name "+filepath.ToSlash(local)+".")
	case errors.Is(err, errCut):
		problem(w, http.StatusBadRequest, "The file did not come whole. Bring it again; nothing in the logbook was changed.")
	default:
		s.log.Error("upload failed", "error", err)
		problem(w, http.StatusInternalServerError, sentence("the file could not be kept: "+err.Error()+". Is the disk full? Nothing in the logbook was changed"))
	}
}

// What can be wrong with a file that comes.
var (
	errRoom = errors.New("more than may be brought")
	errCut  = errors.New("it was cut off")
	errGone = errors.New("the upload was given up")
)

// room takes so many bytes of what an upload may bring.
func (u *uploads) room(x *upload, n int64) error {
	u.mu.Lock()
	defer u.mu.Unlock()
	switch {
	case x.gone:
		return errGone
	case x.bytes+n > u.most.Bytes:
		return errRoom
	}
	x.bytes += n
	return nil
}

// save writes a file that comes; n is what it took of the upload's room. After
// an error nothing of it is left.
func (s *Server) save(w http.ResponseWriter, r *http.Request, x *upload, local string) (n int64, err error) {
	if r.ContentLength > s.uploads.most.Bytes {
		return 0, errRoom
	}
	root, err := os.OpenRoot(filepath.Join(x.dir, whole)) // nothing that is opened in it leads out
	if err != nil {
		return 0, err
	}
	defer root.Close()
	for d := filepath.Dir(local); d != "."; d = filepath.Dir(d) {
		if info, err := root.Stat(d); err == nil && !info.IsDir() {
			return 0, fs.ErrExist // a file where a folder is wanted
		}
	}
	if d := filepath.Dir(local); d != "." {
		if err := root.MkdirAll(d, 0o700); err != nil {
			return 0, err
		}
	}
	f, err := root.OpenFile(local, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return 0, err
	}
	defer func() {
		if err = errors.Join(err, f.Close()); err != nil {
			_ = root.Remove(local)
		}
	}()
	control := http.NewResponseController(w)
	buf := make([]byte, 32<<10)
	for next := int64(0); ; {
		if n >= next {
			_ = control.SetReadDeadline(time.Now().Add(s.uploads.most.Pause))
			next = n + uploadStep
		}
		k, rerr := r.Body.Read(buf)
		if k > 0 {
			if err := s.uploads.room(x, int64(k)); err != nil {
				return n, err
			}
			n += int64(k)
			if _, err := f.Write(buf[:k]); err != nil {
				return n, err
			}
		}
		switch {
		case rerr == io.EOF:
			if r.ContentLength >= 0 && n != r.ContentLength {
				return n, errCut
			}
			_ = control.SetReadDeadline(time.Time{}) // the server sets the one for what comes next
			return n, nil
		case rerr != nil:
			return n, errors.Join(errCut, rerr)
		}
	}
}

// UploadBegun is the answer to opening an upload.
type UploadBegun struct {
	ID string `json:"id"`
}

func (s *Server) beginUpload(context.Context, *nothing) (UploadBegun, error) {
	id, err := s.uploads.begin()
	return UploadBegun{id}, err
}

type uploadIn struct {
	ID string `path:"id"`
}

// readUpload starts reading what an upload brought.
func (s *Server) readUpload(_ context.Context, in *uploadIn) (Job, error) {
	u := &s.uploads
	u.mu.Lock()
	x := u.byID[in.ID]
	switch {
	case x == nil || x.taken:
		u.mu.Unlock()
		return Job{}, notFound("that upload is over. Drop the files again")
	case x.busy > 0:
		u.mu.Unlock()
		return Job{}, huma.Error409Conflict("Files are still coming in.")
	case x.files == 0:
		u.mu.Unlock()
		return Job{}, refuse("no file was brought")
	}
	x.taken = true
	dir, again := x.dir, x.waits()
	u.mu.Unlock()
	var left []UnknownTable
	look := func(ctx context.Context, rep *book.Report) []UnknownTable {
		left = s.unknown(ctx, in.ID, dir, rep)
		return left
	}
	return s.jobs.read(brought(dir), look, func(ended Job) {
		u.mu.Lock()
		x.taken, x.last = false, time.Now()
		switch {
		case ended.State == "done":
			x.tables, x.unread = left, ""
		case ended.State == "stopped":
			x.unread = "Its reading was stopped."
		case again:
			x.unread = ended.Error
		} // what cannot be read at the first go is as it is on the stick
		err := x.keep()
		waits := x.waits()
		if !waits {
			delete(u.byID, in.ID)
		}
		u.mu.Unlock()
		if !waits {
			err = os.RemoveAll(dir)
		}
		if err != nil {
			s.log.Error("what was brought could not be kept or removed", "error", err)
		}
		s.changed("recipes")
	}), nil
}

// brought is what an upload is read as: the zips, where it brought nothing else;
// the one folder or file that it brought, under its own name; or all of it.
func brought(dir string) []string {
	all := filepath.Join(dir, whole)
	entries, err := os.ReadDir(all)
	if err != nil {
		return []string{all}
	}
	var zips []string
	for _, e := range entries {
		if !e.IsDir() && strings.EqualFold(filepath.Ext(e.Name()), ".zip") {
			zips = append(zips, filepath.Join(all, e.Name()))
		}
	}
	switch {
	case len(zips) > 0 && len(zips) == len(entries):
		return zips
	case len(entries) == 1:
		return []string{filepath.Join(all, entries[0].Name())}
	}
	return []string{all}
}

// dropUpload gives an upload up.
func (s *Server) dropUpload(_ context.Context, in *uploadIn) (struct{}, error) {
	u := &s.uploads
	u.mu.Lock()
	defer u.mu.Unlock()
	x := u.byID[in.ID]
	switch {
	case x == nil:
		return struct{}{}, nil
	case x.taken:
		return struct{}{}, huma.Error409Conflict("It is being read. Stop the reading first.")
	}
	waited := x.waits()
	u.drop(in.ID)
	if waited {
		s.changed("recipes")
	}
	return struct{}{}, nil
}
