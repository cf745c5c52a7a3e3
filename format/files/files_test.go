package files_test

import (
	"context"
	"errors"
	"io/fs"
	"slices"
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
