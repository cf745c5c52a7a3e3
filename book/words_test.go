package book_test

import (
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

// What could not be judged says what helps, and names files for the command line
// only; where no row could be judged at all, why is said.
func TestNotJudged(t *testing.T) {
	const (
		noPlace = "Seeds were logged but no position: nothing can be put on the ground, and no row can be judged. Read the receiver's log too."
		noSeeds = "Positions were logged but no seeds and no seed counts: nothing can be said of the rows. Read the log of the seed sensors too."
		some    = "The logs count the seeds of other rows only: nothing can be said of the rows 9-16. A file may be missing: bring all files of the log."
		apart   = "The target rate is logged but cannot be used without the spacing of the rows: a rate that is wrong on all rows cannot be seen. Say on the planter card how far the rows stand apart."
	)
	v := advise.Voice{Zone: time.UTC}
	day := func(notes ...string) book.DaySummary { return book.DaySummary{Day: "2026-05-02", Notes: notes} }
	src := func(g evenstand.Grade) []book.SourceReport { return []book.SourceReport{{Grade: g}} }
	for _, tt := range []struct {
		name  string
		days  []book.DaySummary
		grade evenstand.Grade
		none  string
		topic evenstand.Topic // of the first
		n     int
	}{
		{"nothing read", nil, evenstand.NoGrade, "", "", 0},
		{"all judged", []book.DaySummary{day()}, evenstand.GradeA, "", "", 0},
		{"no places", []book.DaySummary{day(noPlace)}, evenstand.GradeA, "no position was logged", evenstand.TopicLogs, 1},
		{"no places on one of two days", []book.DaySummary{day(noPlace), day()}, evenstand.GradeA, "", evenstand.TopicLogs, 1},
		{"no seeds", []book.DaySummary{day(noSeeds)}, evenstand.GradeD, "no seeds and no seed counts were logged", evenstand.TopicLogs, 1},
		{"some rows", []book.DaySummary{day(some)}, evenstand.GradeA, "", evenstand.TopicLogs, 1},
		{"no spacing", []book.DaySummary{day(apart)}, evenstand.GradeA, "", evenstand.TopicPlanter, 1},
		{"sections only", []book.DaySummary{day()}, evenstand.GradeC, "the best logs are of grade C (" + advise.GradeWords(evenstand.GradeC) + ")", evenstand.TopicLogs, 1},
		{"places only", []book.DaySummary{day()}, evenstand.GradeD, "no log says what each row did", evenstand.TopicLogs, 1},
	} {
		t.Run(tt.name, func(t *testing.T) {
			got := book.NotJudged(tt.days, src(tt.grade), v)
			if len(got) != tt.n || tt.n > 0 && got[0].Topic != tt.topic {
				t.Errorf("%+v", got)
			}
			for _, n := range got {
				if strings.Contains(n.Text, "BOOK/") || strings.Contains(n.Text, ".toml") {
					t.Errorf("a file is named: %s", n.Text)
				}
			}
			if none := book.NoRow(tt.days, src(tt.grade)); none != tt.none {
				t.Errorf("no row since %q, want %q", none, tt.none)
			}
		})
	}
	if got := book.Written(book.NotJudged([]book.DaySummary{day(apart)}, src(evenstand.GradeA), v)); len(got) != 1 || !strings.Contains(got[0], "(row_spacing_m in BOOK/planter/NAME.toml, then evenstand rebuild BOOK)") {
		t.Errorf("%q", got)
	}
}
