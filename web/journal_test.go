package web_test

import (
	"net/http"
	"strconv"
	"testing"

	"evenstand/web"
)

// The journal holds a day: what people wrote and what the boxes logged, and the
// days that there are.
func TestJournalOfADay(t *testing.T) {
	b := emptyBook(t)
	s := serve(t, b)
	var j web.Journal
	s.send(t, http.MethodGet, "/api/v1/journal", nil, http.StatusOK, &j)
	if j.Day != "" || len(j.Days) != 0 || j.Notes == nil || j.Boxes == nil {
		t.Fatalf("an empty logbook: %+v", j)
	}
	// 9:00 am and 9:10 am in Chicago, which is five hours behind UTC in May.
	s.readFiles(t, map[string]string{
		"stick/seeds.csv":   seedsHeader + "2026-05-02T14:00:00Z,1,\n2026-05-02T14:00:01Z,1,\n",
		"stick/journal.csv": "time,what,rows,value,unit,note\n2026-05-02T14:00:00Z,refill,,,,seed boxes filled\n2026-05-02T14:10:00Z,remark,1-2,,,vacuum low\n",
	})
	var note web.NoteView
	s.send(t, http.MethodPost, "/api/v1/journal", map[string]string{"text": "cleaners 22 psi", "at": "2026-05-02 9:05 am"}, http.StatusOK, &note)
	if note.Date != "2026-05-02" {
		t.Errorf("%+v", note)
	}
	s.send(t, http.MethodPost, "/api/v1/journal", map[string]string{"text": "remark walked the field", "at": "2026-05-04 9:05 am"}, http.StatusOK, nil)

	s.send(t, http.MethodGet, "/api/v1/journal", nil, http.StatusOK, &j)
	if j.Day != "2026-05-04" || len(j.Notes) != 1 || len(j.Boxes) != 0 || len(j.Days) != 2 {
		t.Errorf("the newest: %+v", j)
	}
	if d := j.Days[1]; d.Day != "2026-05-02" || d.Mine != 1 || d.Boxes != 2 || d.Label != "May 2, 2026" {
		t.Errorf("%+v", d)
	}
	j = web.Journal{}
	s.send(t, http.MethodGet, "/api/v1/journal?day=2026-05-02", nil, http.StatusOK, &j)
	if len(j.Notes) != 1 || len(j.Boxes) != 2 {
		t.Fatalf("%+v", j)
	}
	if x := j.Boxes[0]; x.Says != "Remark, rows 1-2: vacuum low" || x.Clock != "9:10 am" || x.What != "remark" || x.Source == "" {
		t.Errorf("%+v", x)
	}
	if x := j.Boxes[1]; x.Says != "Seed boxes filled, the whole planter" || x.Clock != "9:00 am" {
		t.Errorf("%+v", x)
	}
	// Taken back, it is there and does not count.
	s.send(t, http.MethodDelete, "/api/v1/journal/"+strconv.FormatInt(note.ID, 10), nil, http.StatusOK, nil)
	j = web.Journal{}
	s.send(t, http.MethodGet, "/api/v1/journal?day=2026-05-02", nil, http.StatusOK, &j)
	if len(j.Notes) != 1 || !j.Notes[0].TakenBack || j.Days[1].Mine != 0 {
		t.Errorf("%+v", j)
	}
	s.send(t, http.MethodGet, "/api/v1/journal?day=yesterday", nil, http.StatusUnprocessableEntity, nil)
}

// A note is corrected by its amount, its time, its rows or its words; it is shown
// as it was, and what cannot be is said.
func TestNoteIsCorrected(t *testing.T) {
	s := serve(t, emptyBook(t))
	var n web.NoteView
	s.send(t, http.MethodPost, "/api/v1/journal", map[string]any{"text": "closers 30 to 40 psi rows 3,4", "at": "2026-05-02 2:05 pm"}, http.StatusOK, &n)
	path := "/api/v1/journal/" + strconv.FormatInt(n.ID, 10)
	says := func(body map[string]any, want string) {
		t.Helper()
		n = web.NoteView{}
		s.send(t, http.MethodPatch, path, body, http.StatusOK, &n)
		if len(n.Lines) != 1 || n.Clock+" "+n.Lines[0].Says != want {
			t.Errorf("%v: %s %+v", body, n.Clock, n.Lines)
		}
	}
	says(map[string]any{"amount": 45, "try": true}, "2:05 pm Closing-wheel pressure set to 45 psi (was 30 psi), rows 3-4")
	says(map[string]any{"amount": 45}, "2:05 pm Closing-wheel pressure set to 45 psi (was 30 psi), rows 3-4")
	says(map[string]any{"at": "2026-05-02 14:20", "rows": "all"}, "2:20 pm Closing-wheel pressure set to 45 psi (was 30 psi), the whole planter")
	says(map[string]any{"text": "cleaners 22 psi row 1"}, "2:20 pm Row-cleaner pressure set to 22 psi, row 1")
	s.send(t, http.MethodPatch, path, map[string]any{"text": "cleaners 22 psi row 1"}, http.StatusUnprocessableEntity, nil)
	s.send(t, http.MethodPatch, path, map[string]any{}, http.StatusUnprocessableEntity, nil)
	s.send(t, http.MethodPatch, path, map[string]any{"amount": 4000}, http.StatusUnprocessableEntity, nil)
	s.send(t, http.MethodPatch, "/api/v1/journal/99", map[string]any{"text": "hot"}, http.StatusNotFound, nil)
	var h web.NoteHistory
	s.send(t, http.MethodGet, path+"/history", nil, http.StatusOK, &h)
	if len(h.Versions) != 4 || h.Versions[0].Lines[0].Says != "Closing-wheel pressure set to 40 psi (was 30 psi), rows 3-4" || h.Versions[0].Now || !h.Versions[3].Now {
		t.Errorf("%+v", h)
	}
	s.send(t, http.MethodGet, "/api/v1/journal/99/history", nil, http.StatusNotFound, nil)
	var j web.Journal
	s.send(t, http.MethodGet, "/api/v1/journal?day=2026-05-02", nil, http.StatusOK, &j)
	if len(j.Notes) != 1 || j.Notes[0].Edits != 3 || j.Notes[0].Logged == nil || j.Notes[0].Followed == nil {
		t.Errorf("%+v", j.Notes)
	}
}
