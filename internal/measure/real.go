package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"

	"evenstand"
	"evenstand/book"
	"evenstand/pipeline"
)

// shared gives the folder of the samples, or "".
func (p *program) shared() string {
	dir := os.Getenv("EVENSTAND_SHARED")
	if dir == "" {
		dir = filepath.Join(p.root, "..", "shared")
	}
	if _, err := os.Stat(filepath.Join(dir, "samples", "planter-32row", "TASKDATA.XML")); err != nil {
		return ""
	}
	return dir
}

// real reads the log of a real planter of 32 rows. What is wanted stands in
// samples/README.md, worked out there by an independent script.
func (p *program) real(ctx context.Context) ([]Figure, error) {
	const command = "go run ./internal/measure real"
	shared := p.shared()
	if shared == "" {
		return []Figure{{What: "a real log of 32 rows", Value: "the samples are not here (set EVENSTAND_SHARED)", Verdict: Untried, Command: command}}, nil
	}
	dir := filepath.Join(p.work, "real")
	if _, err := p.run(ctx, "new", dir, "--zone", "Europe/Berlin", "--units", "metric"); err != nil {
		return nil, err
	}
	var said struct {
		Sources []struct {
			Notes []string `json:"notes"`
		} `json:"sources"`
	}
	if err := p.into(ctx, &said, "read", dir, filepath.Join(shared, "samples", "planter-32row")); err != nil {
		return nil, err
	}
	joined := false
	for _, s := range said.Sources {
		joined = joined || slices.Contains(s.Notes, "3 logs joined into 745 columns and 3633 records.")
	}
	var w evenstand.Worklist
	if err := p.into(ctx, &w, "worklist", dir, "--all"); err != nil {
		return nil, err
	}
	stopped, rhythm, likeliest, metres := false, 0, 0.0, 0.0
	var causes int
	for _, f := range w.Findings {
		if f.Family == "cell" {
			rhythm++
		}
		if f.Kind == evenstand.KindRowStopped && f.Stage == evenstand.Raised && slices.Equal(f.Rows, evenstand.Rows{2}) {
			stopped, causes = true, len(f.Causes)
			for _, c := range f.Causes {
				likeliest = max(likeliest, c.Probability)
			}
			for _, e := range f.Evidence {
				if e.Name == "metres without seed" {
					metres += float64(e.Value)
				}
			}
		}
	}
	rows, worst, skips, err := worstRow(ctx, dir)
	if err != nil {
		return nil, err
	}
	return []Figure{
		{What: "a real log of 32 rows: three logs joined", Value: yes(joined, "745 columns, 3,633 records", "not joined so"), Target: "745 columns, 3,633 records", Verdict: judge(joined), Command: command},
		{What: "the same: rows", Value: fmt.Sprint(rows), Target: "32", Verdict: judge(rows == 32), Command: command},
		{
			What: "the same: row 2 reported as row-stopped, causes offered and none asserted", Value: yes(stopped, fmt.Sprintf("reported, %.0f m without seed; %d causes, the likeliest %.2f", metres, causes, likeliest), "not reported"),
			Target: "reported, no cause over 0.5", Verdict: judge(stopped && causes > 1 && likeliest <= 0.5), Command: command,
		},
		{What: "the same: the worst skipper of the working rows", Value: fmt.Sprintf("row %d, %.2f%%", worst, 100*skips), Target: "row 13", Verdict: judge(worst == 13), Command: command},
		{What: "the same: findings that claim a rhythm, without seed times", Value: fmt.Sprint(rhythm), Target: "0", Verdict: judge(rhythm == 0), Command: command},
	}, nil
}

func yes(ok bool, one, other string) string {
	if ok {
		return one
	}
	return other
}

// worstRow gives the number of rows in a book's stretches and the row with the
// largest share of skips among those that dropped seed over half of the way of
// the busiest row.
func worstRow(ctx context.Context, dir string) (rows, worst int, share float64, err error) {
	b, err := book.Open(dir, book.Options{Derive: pipeline.Settle})
	if err != nil {
		return 0, 0, 0, err
	}
	defer b.Close()
	days, err := b.Days(ctx)
	if err != nil {
		return 0, 0, 0, err
	}
	var due, skips [evenstand.MaxRows + 1]float64
	for _, d := range days {
		if err := b.Stretches(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
			for i := range ss {
				due[ss[i].Row] += float64(ss[i].Due)
				skips[ss[i].Row] += float64(ss[i].Skips)
				rows = max(rows, int(ss[i].Row))
			}
			return nil
		}); err != nil {
			return 0, 0, 0, err
		}
	}
	most := slices.Max(due[:])
	for r := range due {
		if due[r] > most/2 && skips[r]/due[r] > share {
			worst, share = r, skips[r]/due[r]
		}
	}
	return rows, worst, share, nil
}
