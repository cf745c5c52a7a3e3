package booktest

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"math/rand/v2"
	"path"
	"slices"
	"time"

	"evenstand"
	"evenstand/pipeline"
)

// Season is a made-up format: a file season.gen of one line, "days passes rows
// seconds seed", stands for that many days of planting. It makes a book of any
// size without first writing a log of that size.
type Season struct{}

// Name gives the format's name.
func (Season) Name() string { return "made-up season" }

// Find takes every file named *.gen.
func (Season) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	names, err := fs.Glob(in, "*.gen")
	for _, n := range names {
		nan := math.NaN()
		sources = append(sources, evenstand.Source{Name: path.Base(n), Files: []string{n}, Grade: evenstand.GradeA, ClockOffset: nan, ClockError: nan, Latency: nan})
		claimed = append(claimed, n)
	}
	return sources, claimed, nil, err
}

// place is the time between two seeds at 2 m/s and 0.16 m.
const place = 80_000 * time.Microsecond

// Read streams the seeds in time order.
func (Season) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	text, err := fs.ReadFile(in, src.Files[0])
	if err != nil {
		return src, err
	}
	var days, passes, rows, seconds int
	var seed uint64
	if _, err := fmt.Sscan(string(text), &days, &passes, &rows, &seconds, &seed); err != nil {
		return src, fmt.Errorf("%s: want days, passes, rows, seconds and seed: %w", src.Files[0], err)
	}
	r := rand.New(rand.NewPCG(seed, 1))
	buf := make([]evenstand.Seed, 0, 4096)
	at := make([]evenstand.Micros, rows)
	for d := range days {
		start := evenstand.FromTime(time.Date(2026, 5, 1, 13, 0, 0, 0, time.UTC).AddDate(0, 0, d))
		for p := range passes {
			begin := start + evenstand.Micros(p)*evenstand.Micros(seconds+60)*evenstand.Second
			for range time.Duration(seconds) * time.Second / place {
				for row := range rows { // one place of the disc on every row
					at[row] = begin + evenstand.Micros(row*1000)
				}
				for row := range rows {
					u := r.Uint64()
					t := at[row] + evenstand.Micros(u>>32%900)
					switch {
					case u%128 == 0: // a skip
					case u%128 == 1: // a double
						buf = append(buf, evenstand.Seed{T: t, Row: int16(row + 1)})
						fallthrough
					default:
						if u%128 == 1 {
							t += 3 // and its twin, microseconds later, to keep the order simple
						}
						buf = append(buf, evenstand.Seed{T: t, Row: int16(row + 1)})
					}
					if len(buf) > 4000 {
						if err := sink.Seeds(buf); err != nil {
							return src, err
						}
						buf = buf[:0]
					}
				}
				begin += evenstand.FromSeconds(place.Seconds())
			}
			if ctx.Err() != nil {
				return src, ctx.Err()
			}
		}
	}
	sink.Progress(int64(len(text)))
	return src, sink.Seeds(buf)
}

// Settle is a deriver that knows no clocks and no ground: the planter goes
// straight ahead at 2 m/s, and a pause of half a minute parts two passes. The
// places wobble by some millimetres, as real ones do.
func Settle(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
	res := pipeline.Result{AsOf: evenstand.NoTime, Until: evenstand.NoTime}
	var rows [evenstand.MaxRows + 1][]evenstand.Seed
	var placed []evenstand.PlacedSeed
	r := rand.New(rand.NewPCG(7, 7))
	index := int32(0)
	start, last := evenstand.NoTime, evenstand.NoTime
	finish := func() error {
		if start == evenstand.NoTime {
			return nil
		}
		placed = placed[:0]
		for row := range rows {
			before := int32(-1)
			for _, s := range rows[row] {
				p := evenstand.PlacedSeed{T: s.T, Row: s.Row, S: int32((s.T-start)/500) + int32(r.Uint32()%61), Gap: -1, Cell: int16(len(placed) % 40), Off: int16(r.Uint32()%200) - 100}
				p.S = max(p.S, before)
				if before >= 0 {
					p.Gap = p.S - before
					switch {
					case p.Gap <= 80:
						p.Class, p.Double = evenstand.Multiple, true
					case p.Gap <= 240:
						p.Class = evenstand.Single
					default:
						p.Class, p.Missing = evenstand.Skip, uint8(min(255, (p.Gap+80)/160-1))
					}
				}
				before = p.S
				placed = append(placed, p)
			}
			rows[row] = rows[row][:0]
		}
		p := evenstand.Pass{Index: index, Key: fmt.Sprintf("%s %d", day.Planter, start), Number: int(index) + 1, Planter: day.Planter, Field: evenstand.Unassigned, Start: start, End: last}
		index++
		start = evenstand.NoTime
		return out.Pass(p, [][]evenstand.PlacedSeed{placed}, nil, nil)
	}
	for _, s := range slices.Backward(day.Streams) {
		if s.Seeds == nil {
			continue
		}
		var fail error
		err := s.Seeds(func(seeds []evenstand.Seed) bool {
			for _, x := range seeds {
				if start != evenstand.NoTime && x.T-last > 30*evenstand.Second {
					if fail = finish(); fail != nil {
						return false
					}
				}
				if start == evenstand.NoTime {
					start = x.T
				}
				last = x.T
				rows[x.Row] = append(rows[x.Row], x)
			}
			return ctx.Err() == nil
		})
		if err == nil {
			err = fail
		}
		if err == nil {
			err = finish()
		}
		if err != nil {
			return res, err
		}
	}
	res.AsOf = last
	return res, ctx.Err()
}
