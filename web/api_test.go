package web_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"net/http"
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"
)

var update = flag.Bool("update", false, "rewrite the golden files with what the code returns now")

// The document that the server gives is the one that the page's types are made
// from: openapi.json, which `make ui` reads.
func TestOpenAPI(t *testing.T) {
	s := serve(t, emptyBook(t))
	got := s.get(t, "/api/v1/openapi.json", http.StatusOK)
	var pretty bytes.Buffer
	if err := json.Indent(&pretty, got, "", " "); err != nil {
		t.Fatal(err)
	}
	pretty.WriteByte('\n')
	if *update {
		if err := os.WriteFile("openapi.json", pretty.Bytes(), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile("openapi.json")
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(string(want), pretty.String()); d != "" {
		t.Errorf("openapi.json is not what the server says (go test ./web -update, then make ui): (-want +got):\n%s", d)
	}
}
