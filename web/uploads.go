package web

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"evenstand/book"
	"evenstand/core/advise"
)

// uploads are the files that a page is bringing: each goes to disk as it comes,
// into a folder of the logbook of its own, from which it is read like a stick.
// What was left there by a stop is swept at the next start.
type uploads struct {
	mu   sync.Mutex
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
}

// Limits of what one upload may bring: a season's sticks are some gigabytes.
const (
	mostFiles   = 20_000
	mostBytes   = 64 << 30
	mostUploads = 8
	uploadPause = 2 * time.Minute // without a byte, before a file that hangs is given up
	uploadLives = 12 * time.Hour
)

// incoming is the folder of the logbook that files come into; whole is the name
// under which files that came without a folder are read.
const (
	incoming = "incoming"
	whole    = "brought"
)

func (u *uploads) open(b *book.Book) error {
	u.dir = filepath.Join(b.Dir(), incoming)
	u.byID = map[string]*upload{}
	return os.RemoveAll(u.dir)
}

func (u *uploads) clear() { _ = os.RemoveAll(u.dir) }

// begin opens an upload.
func (u *uploads) begin() (string, error) {
	u.mu.Lock()
	defer u.mu.Unlock()
	for id, x := range u.byID {
		if !x.taken && x.busy == 0 && time.Since(x.last) > uploadLives {
			_ = os.RemoveAll(x.dir)
			delete(u.byID, id)
		}
	}
	if len(u.byID) >= mostUploads {
		return "", huma.Error429TooManyRequests("Too much is being brought in at once. Wait until it has been read.")
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

// safePath refuses names that would lead out of the folder, or that a system
// takes for something else.
func safePath(name string) (string, error) {
	name = path.Clean(strings.ReplaceAll(name, `\`, "/"))
	bad := fmt.Errorf("%q is no name for a file to bring in. Rename it and try again", printable(name))
	if !fs.ValidPath(name) || name == "." || len(name) > 400 || strings.ContainsFunc(name, func(r rune) bool { return r < ' ' || strings.ContainsRune(`<>:"|?*`, r) }) {
		return "", bad
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
	case x == nil || x.taken:
		u.mu.Unlock()
		problem(w, http.StatusNotFound, "That upload is over. Drop the files again.")
		return
	case x.files >= mostFiles:
		u.mu.Unlock()
		problem(w, http.StatusRequestEntityTooLarge, fmt.Sprintf("More than %s files. Bring the folder in parts, or say evenstand read BOOK FOLDER.", advise.Thousands(mostFiles)))
		return
	}
	x.files++
	x.busy++
	room := mostBytes - x.bytes
	u.mu.Unlock()
	n, err := s.save(w, r, x, local, room)
	u.mu.Lock()
	x.bytes += n
	x.busy--
	x.last = time.Now()
	if err != nil {
		x.files--
		x.bytes -= n
	}
	u.mu.Unlock()
	var big *http.MaxBytesError
	switch {
	case err == nil:
		w.WriteHeader(http.StatusNoContent)
	case errors.As(err, &big):
		problem(w, http.StatusRequestEntityTooLarge, "That is more than can be brought in at once. Bring it in parts, or say evenstand read BOOK FOLDER.")
	case errors.Is(err, fs.ErrExist):
		problem(w, http.StatusConflict, "Two files have the same name "+local+".")
	default:
		s.log.Error("upload failed", "error", err)
		problem(w, http.StatusInternalServerError, sentence("the file could not be kept: "+err.Error()+". Is the disk full? Nothing in the logbook was changed"))
	}
}

func (s *Server) save(w http.ResponseWriter, r *http.Request, x *upload, local string, room int64) (n int64, err error) {
	root, err := os.OpenRoot(filepath.Join(x.dir, whole)) // nothing that is opened in it leads out
	if err != nil {
		return 0, err
	}
	defer root.Close()
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
	body := http.MaxBytesReader(w, r.Body, room)
	buf := make([]byte, 256<<10)
	for {
		_ = control.SetReadDeadline(time.Now().Add(uploadPause))
		k, rerr := body.Read(buf)
		if k > 0 {
			if _, err := f.Write(buf[:k]); err != nil {
				return n, err
			}
			n += int64(k)
		}
		switch {
		case rerr == io.EOF:
			if r.ContentLength >= 0 && n != r.ContentLength {
				return n, io.ErrUnexpectedEOF
			}
			return n, nil
		case rerr != nil:
			return n, rerr
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
	dir := x.dir
	u.mu.Unlock()
	return s.jobs.read([]string{brought(dir)}, func() {
		u.mu.Lock()
		delete(u.byID, in.ID)
		u.mu.Unlock()
		_ = os.RemoveAll(dir)
	}), nil
}

// brought is what an upload is read as: the one folder, zip or file that it
// brought, under its own name, or all of it.
func brought(dir string) string {
	all := filepath.Join(dir, whole)
	if entries, err := os.ReadDir(all); err == nil && len(entries) == 1 {
		return filepath.Join(all, entries[0].Name())
	}
	return all
}

// dropUpload gives an upload up.
func (s *Server) dropUpload(_ context.Context, in *uploadIn) (struct{}, error) {
	u := &s.uploads
	u.mu.Lock()
	defer u.mu.Unlock()
	if x := u.byID[in.ID]; x != nil && !x.taken && x.busy == 0 {
		_ = os.RemoveAll(x.dir)
		delete(u.byID, in.ID)
	}
	return struct{}{}, nil
}
