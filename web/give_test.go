package web_test

import (
	"archive/zip"
	"bytes"
	"net/http"
	"strings"
	"testing"

	"evenstand/give"
	"evenstand/web"
)

// A table comes as a zip with what its columns mean; what cannot be answered is
// refused before an answer begins.
func TestGive(t *testing.T) {
	s := serve(t, plantedBook(t))
	var list web.GiveList
	s.send(t, http.MethodGet, "/api/v1/give", nil, http.StatusOK, &list)
	if len(list.Tables) != len(give.Tables()) || list.First == "" || len(list.Fields) == 0 {
		t.Fatalf("%+v", list)
	}
	w := s.ask("GET", "/api/v1/give/findings?as=csv", nil)
	if d := w.Header().Get("Content-Disposition"); w.Code != http.StatusOK || !strings.HasPrefix(d, `attachment; filename="`) || !strings.HasSuffix(d, `findings.zip"`) {
		t.Fatalf("%d %s", w.Code, d)
	}
	z, err := zip.NewReader(bytes.NewReader(w.Body.Bytes()), int64(w.Body.Len()))
	if err != nil || len(z.File) != 2 || z.File[0].Name != "findings.csv" || z.File[1].Name != "findings.csv-metadata.json" {
		t.Fatalf("%v, %v", err, z)
	}
	for _, bad := range []string{"field", "seeds?from=may", "seeds?field=nowhere", "field?field=nowhere", "seeds?planter=nobody", "milk", "seeds?as=docx"} {
		if w := s.ask("GET", "/api/v1/give/"+bad, nil); w.Code != http.StatusUnprocessableEntity {
			t.Errorf("%s: %d", bad, w.Code)
		}
	}
}

// What planting again is asked with and cannot be is said as a sentence, and is no
// fault of the server.
func TestReplantRefuses(t *testing.T) {
	s := serve(t, emptyBook(t))
	for _, body := range []map[string]any{
		{"again": "2026-05-20", "new_stand": 30000, "zones": []map[string]any{{"stand": 12000}}},
		{"again": "soon", "new_stand": 30000, "zones": []map[string]any{{"stand": 12000}}, "planted": "2026-04-30"},
	} {
		s.send(t, http.MethodPost, "/api/v1/replant", body, http.StatusUnprocessableEntity, nil)
	}
}
