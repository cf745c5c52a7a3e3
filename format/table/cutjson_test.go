package table

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"io"
	"strings"
	"testing"
	"testing/iotest"
)

func cutterOf(data []byte) *jsonCutter {
	return newJSONCutter(bufio.NewReaderSize(iotest.HalfReader(bytes.NewReader(data)), 16))
}

// By hand: values of each kind, one behind the other, are given as they are
// written, or passed over, and the place is that of the next byte.
func TestJSONCutter(t *testing.T) {
	const text = " \x1e{\"a\":[1,{\"]\":\"}\"}],\"b\\\"\":\"\\\\\"} \n[ ] \"x, \\\" y\"\t-1.5e+3,true]"
	c := cutterOf([]byte(text))
	for _, want := range []string{`{"a":[1,{"]":"}"}],"b\"":"\\"}`, `[ ]`, `"x, \" y"`, `-1.5e+3`} {
		at := int64(strings.Index(text, want) + len(want))
		if got, err := c.value(); string(got) != want || err != nil || c.at != at {
			t.Errorf("%q at %d, %v, want %q at %d", got, c.at, err, want, at)
		}
	}
	if _, err := c.value(); err == nil || !strings.Contains(err.Error(), "value") {
		t.Errorf("a comma for a value: %v", err)
	}
	if b, err := c.take(",;"); b != ',' || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	if err := c.pass(); err != nil {
		t.Error(err)
	}
	if b, err := c.peek(); b != ']' || err != nil {
		t.Errorf("%q, %v", b, err)
	}
	if _, err := c.take("}"); err == nil {
		t.Error("took what was not wanted")
	}
	if _, err := c.take("]"); err != nil || c.at != int64(len(text)) {
		t.Errorf("at %d of %d, %v", c.at, len(text), err)
	}
	if _, err := c.value(); !errors.Is(err, io.EOF) {
		t.Errorf("at the end: %v", err)
	}
}

// Whatever encoding/json takes for a value is one.
func FuzzJSONCutter(f *testing.F) {
	for _, s := range []string{`{"a":[1,"\"]"]}`, ` "x\\" `, `-1e5`, `[[],{}]`, `{"type":"FeatureCollection","features":[]}`, `[1`, `"`} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := cutterOf(data).value()
		over := cutterOf(data)
		if no := over.pass(); (no == nil) != (err == nil) {
			t.Fatalf("given: %v, passed over: %v", err, no)
		}
		if !json.Valid(data) || bytes.IndexByte(data, 0x1e) >= 0 {
			return
		}
		want := bytes.Trim(data, " \t\r\n")
		if err != nil || !bytes.Equal(got, want) || over.at != int64(bytes.Index(data, want)+len(want)) {
			t.Fatalf("%q, %v, want %q; passed to %d", got, err, want, over.at)
		}
	})
}
