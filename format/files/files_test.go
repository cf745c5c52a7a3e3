package files_test

import (
	"context"
	"errors"
	"io/fs"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand/format/files"
)

// closed is an input of which one folder cannot be read.
type closed struct {
	fstest.MapFS
	folder string
}

func (c closed) ReadDir(name string) ([]fs.DirEntry, error) {
	if name == c.folder {
		return nil, &fs.PathError{Op: "open", Path: name, Err: fs.ErrPermission}
	}
	return c.MapFS.ReadDir(name)
}

func TestWalk(t *testing.T) {
	in := fstest.MapFS{}
	for _, name := range []string{"b.csv", "a/c.csv", "a/._c.csv", ".hidden", "__MACOSX/a/x.csv", ".Trash-1000/files/b.csv", "$RECYCLE.BIN/b.csv", "shut/x.csv", "a/Thumbs.db"} {
		in[name] = &fstest.MapFile{Data: []byte("x")}
	}
	in["pipe"] = &fstest.MapFile{Mode: fs.ModeNamedPipe}
	var got []string
	take := func(name string) { got = append(got, name) }
	shut, err := files.Walk(t.Context(), closed{in, "shut"}, take)
	if err != nil || !slices.Equal(got, []string{"a/c.csv", "b.csv"}) || len(shut) != 1 || shut[0].File != "shut" || shut[0].Why != "it cannot be read: permission denied" {
		t.Errorf("%v, %v, %+v", got, err, shut)
	}
	for name := range in {
		if want := name != "pipe" && name != "shut/x.csv" && !slices.Contains(got, name); files.Leftover(name) != want {
			t.Errorf("%s is left over: %t", name, !want)
		}
	}
	if shut, err := files.Walk(t.Context(), closed{in, ".Trash-1000"}, func(string) {}); err != nil || len(shut) != 0 {
		t.Errorf("what was thrown away is missed: %v, %+v", err, shut)
	}
	if _, err := files.Walk(t.Context(), closed{in, "."}, take); !errors.Is(err, fs.ErrPermission) {
		t.Errorf("an input that cannot be read: %v", err)
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, err := files.Walk(ctx, in, take); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// What no box logs is told from what may be a log: a person is not sent to export
// a photo as task data.
func TestStrange(t *testing.T) {
	for _, tt := range []struct{ name, why, do string }{
		{"stick/IMG_0042.JPG", "it is a picture", "journal"},
		{"setup.pdf", "made to be looked at", "as a table"},
		{"walk.mov", "it is a film", "journal"},
		{"box/log.dat", "in no format that this program reads", "Export it from the box"},
		{"jpg", "in no format that this program reads", "Export it from the box"},
	} {
		if why, do := files.Strange(tt.name); !strings.Contains(why, tt.why) || !strings.Contains(do, tt.do) {
			t.Errorf("%s: %q, %q", tt.name, why, do)
		}
	}
}
