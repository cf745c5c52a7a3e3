package book

import (
	"context"

	"evenstand/core/paper"
	"evenstand/core/record"
)

// PaperList is which papers there are, who gets what, and the application records.
type PaperList struct {
	Schema  int           `json:"schema"`
	Papers  []paper.Kind  `json:"papers"`
	For     []paper.For   `json:"for"`
	State   string        `json:"state" doc:"Two letters; empty: nobody said"`
	Names   []paper.Name  `json:"elements" doc:"That a record can have"`
	Asks    []paper.Ask   `json:"asks" doc:"Who asks for which, by when, with the source"`
	Records []PaperRecord `json:"records"`
	Fields  []string      `json:"fields"`
	First   string        `json:"first" doc:"Day; empty: nothing was read"`
	Last    string        `json:"last"`
	Advice  string        `json:"advice" doc:"What stands on every paper"`
}

// PaperRecord is a record in a list.
type PaperRecord struct {
	ID      string `json:"id"`
	Title   string `json:"title"`
	Missing int    `json:"missing" doc:"Elements"`
	By      string `json:"by" doc:"By when the first is wanted; empty: nobody says"`
}

// PaperList gives it.
func (b *Book) PaperList(ctx context.Context, w PaperWish, o record.Options) (PaperList, error) {
	w.What, w.For = "applications", ""
	l := PaperList{Schema: 1, Papers: paper.What(), For: paper.Fors(), Records: []PaperRecord{}, Fields: []string{}, Advice: paper.NoAdvice}
	for i := range l.For {
		if l.For[i].Leave == nil {
			l.For[i].Leave = []string{}
		}
	}
	p, err := b.papers(ctx, w, o)
	if err != nil {
		return l, err
	}
	l.State, l.Names, l.Asks = p.c.Rules.State, p.c.Rules.Names, p.c.Rules.Asks
	d := paper.Applications(p.records, p.c)
	for i := range d.Sections {
		s := &d.Sections[i]
		r := PaperRecord{ID: s.Record, Title: s.Title, Missing: len(s.Missing)}
		r.By = paper.FirstBy(&p.records[i], p.c)
		l.Records = append(l.Records, r)
	}
	names := map[string]bool{}
	for _, x := range p.all {
		if x.Passes == 0 {
			continue
		}
		if day := string(x.Day); l.First == "" || day < l.First {
			l.First = day
		}
		l.Last = max(l.Last, string(x.Day))
		for _, f := range x.Planted {
			names[f.Field] = true
		}
	}
	l.Fields = append(l.Fields, sortedKeys(names)...)
	return l, nil
}
