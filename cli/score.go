package cli

import (
	"context"
	"errors"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"sort"

	"evenstand"
	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/sim"
	"evenstand/sim/score"
)

func scoreCommand() command {
	return command{
		name: "score", args: "BOOK TRUTH", what: "hold a logbook's findings against the truth of a simulated day",
		least: 2, most: 2, reports: true,
		help: `
TRUTH is the folder that evenstand simulate made. It says recall, precision,
false findings in ten hours, delay, causes, money and places.`,
		run: func(ctx context.Context, c *call, _ any) error {
			dir := c.args[1]
			if _, err := os.Stat(dir); err != nil {
				return missing(dir, err)
			}
			if filepath.Ext(dir) == ".jsonl" {
				dir = filepath.Dir(dir)
			}
			truth, err := sim.ReadTruth(dir)
			if err != nil {
				return err
			}
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			w, err := b.Worklist(ctx, true)
			if err != nil {
				return err
			}
			rep := score.Score(w.Findings, truth)
			told, err := clocks(ctx, b)
			if err != nil {
				return err
			}
			rep.Clocks = score.Clocks(told, &truth, rep.Days[0].Title())
			if rep.Places, err = places(ctx, b, dir, truth, score.Shown(told, &truth, "seed monitor")); err != nil {
				return err
			}
			if c.json {
				return rep.WriteJSON(c.Stdout)
			}
			return rep.WriteText(c.Stdout)
		},
	}
}

// clocks gives what the book says of the clocks of its sources.
func clocks(ctx context.Context, b *book.Book) (out []score.Told, err error) {
	sources, err := b.Sources(ctx)
	if err != nil {
		return nil, err
	}
	for _, s := range sources {
		t := score.Told{
			Source: s.Name, From: string(s.ClockFrom), At: s.ClockAt, Offset: float64(s.ClockOffset), Error: float64(s.ClockError),
		}
		if d := float64(s.Drift); !math.IsNaN(d) {
			t.Drift = d * 1e-6
		}
		for _, p := range s.ClockSet {
			t.Parts = append(t.Parts, score.Part{From: p.From, To: p.To, At: p.At, Offset: float64(p.Offset), Error: float64(p.Error), Drift: 1e-6 * float64(p.Drift)})
		}
		out = append(out, t)
	}
	return out, nil
}

// places says how far the book's seeds lie from where they truly do.
func places(ctx context.Context, b *book.Book, dir string, truth sim.Truth, shown func(evenstand.Micros) evenstand.Micros) ([]score.Position, error) {
	seeds, err := sim.ReadSeeds(dir)
	if errors.Is(err, fs.ErrNotExist) || (err == nil && len(seeds) == 0) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	days, err := b.Days(ctx)
	if err != nil {
		return nil, err
	}
	var points []score.Point
	var placed []evenstand.PlacedSeed
	for _, d := range days {
		card, err := b.Card(d.Planter, d.Day)
		if err != nil {
			return nil, err
		}
		var track []evenstand.TrackPoint
		if err := b.Track(ctx, d.Planter, d.Day, func(t []evenstand.TrackPoint) error {
			track = append(track, t...)
			return nil
		}); err != nil {
			return nil, err
		}
		passes, err := b.Passes(ctx, d.Planter, d.Day)
		if err != nil {
			return nil, err
		}
		for _, p := range passes {
			var want []sim.SeedTruth
			for _, s := range seeds {
				if t := shown(s.T); t >= p.Start-2*evenstand.Second && t <= p.End+2*evenstand.Second {
					want = append(want, s)
				}
			}
			if len(want) == 0 {
				continue
			}
			if placed, err = b.Seeds(ctx, placed[:0], d.Planter, d.Day, p.Index); err != nil {
				return nil, err
			}
			byRow := map[int][]evenstand.PlacedSeed{}
			for _, s := range placed {
				byRow[int(s.Row)] = append(byRow[int(s.Row)], s)
			}
			lo := sort.Search(len(track), func(i int) bool { return track[i].T >= p.Start-evenstand.Second })
			hi := sort.Search(len(track), func(i int) bool { return track[i].T > p.End+3*evenstand.Second }) // a little beyond its lift
			way := ground.NewWay(track[lo:hi])
			for _, t := range want {
				row := byRow[t.Row]
				at := shown(t.T)
				i := sort.Search(len(row), func(i int) bool { return row[i].T >= at })
				best := -1
				for j := max(0, i-1); j < len(row) && j <= i; j++ {
					if best < 0 || abs(row[j].T-at) < abs(row[best].T-at) {
						best = j
					}
				}
				if best < 0 || abs(row[best].T-at) > 20_000 {
					continue
				}
				if lat, lon, _, ok := way.At(p.S0+float64(row[best].S)/1000, card.Y(t.Row)); ok {
					points = append(points, score.Point{T: t.T + row[best].T - at, Row: t.Row, Lat: lat, Lon: lon, Error: p.PosError})
				}
			}
		}
	}
	return score.Places(seeds, truth.Passes, points), nil
}

func abs(t evenstand.Micros) evenstand.Micros {
	if t < 0 {
		return -t
	}
	return t
}
