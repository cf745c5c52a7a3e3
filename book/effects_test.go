package book_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"path/filepath"
	"testing"

	"evenstand"
	"evenstand/book"
	"evenstand/book/booktest"
	"evenstand/core/advise"
	"evenstand/core/try/effect"
	"evenstand/pipeline"
)

const second = evenstand.Second

func voice(b *book.Book) advise.Voice {
	return advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
}

const wideCard = `card = 1
name = "24-row"
rows = 24
row_spacing_m = 0.762
`

// settleWide makes a day of a planter of 24 rows: passes of so many stretches with
// all that rows can tell, and a track at 5 Hz. Rows 1 to 8 skip more and see more
// trash from pass 20 on.
func settleWide(passes, stretches int) book.Deriver {
	return func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		res := pipeline.Result{AsOf: evenstand.NoTime, Until: evenstand.NoTime}
		start, err := day.Date.Start(day.Zone)
		if err != nil {
			return res, err
		}
		rnd := rand.New(rand.NewPCG(uint64(start), 1))
		now := start + 8*3600*second
		path := 0.0
		var track []evenstand.TrackPoint
		for pass := range passes {
			begin := now
			ss := make([]evenstand.Stretch, 0, 24*stretches)
			common := make([]float64, stretches)
			for k := range common {
				path = 0.95*path + 0.3*rnd.NormFloat64()
				common[k] = path
			}
			for row := range int16(24) {
				for k := range stretches {
					s := evenstand.Stretch{Pass: int32(pass), Row: row + 1, K: int32(k), Length: 15, Way: 15, T: begin + evenstand.Micros(6800*(k+1)-3400)*1000, Grade: evenstand.GradeA, Metered: true, Due: 94, Target: 0.16, Liquid: 0.01, Granular: 0.02}
					on := pass >= 20 && row < 8
					v := common[k] + 0.6*rnd.NormFloat64()
					s.Skips = float32(int(max(0, 1+rnd.NormFloat64())))
					trash := 0.10 + 0.01*v
					if on {
						s.Skips++
						trash += 0.05
					}
					s.Seeds = s.Due - s.Skips
					s.Doubles = float32(rnd.IntN(2))
					for range 90 {
						s.Singles.Add(0.16 + 0.02*rnd.NormFloat64())
					}
					s.Load.Add(500 + 50*v)
					s.Moisture.Add(0.2 + 0.01*v)
					s.Temperature.Add(12 + v)
					s.Trash.Add(trash)
					s.OffShare.Add(math.Max(0, 0.01*v))
					s.Speed.Add(2.2 + 0.1*rnd.NormFloat64())
					ss = append(ss, s)
				}
			}
			end := begin + evenstand.Micros(stretches)*6800*1000
			p := evenstand.Pass{Index: int32(pass), Key: fmt.Sprintf("%s %d", day.Planter, begin), Number: pass + 1, Planter: day.Planter, Field: evenstand.Unassigned, Start: begin, End: end, PosError: 0.1}
			if err := out.Pass(p, nil, ss, nil); err != nil {
				return res, err
			}
			for t := begin; t < end; t += second / 5 {
				north := float64(t-begin) / 6.8e6 * 15
				if pass%2 == 1 {
					north = float64(15*stretches) - north
				}
				track = append(track, evenstand.TrackPoint{T: t, Pass: int32(pass), Lat: 41.6 + north/111065.5, Lon: -93.5 + 18.3*float64(pass)/83300, Speed: 2.2})
			}
			now = end + 25*second
		}
		res.AsOf = now
		return res, out.Track(track)
	}
}

// wideSeason is a stored season of such days with four changes a day.
func wideSeason(t testing.TB, days, passes, stretches int) *book.Book {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "season")
	if err := book.Create(dir, settings(), []book.File{{Name: "wide.toml", Data: []byte(wideCard)}}, nil); err != nil {
		t.Fatal(err)
	}
	b, err := book.Open(dir, book.Options{Derive: settleWide(passes, stretches)})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { b.Close() })
	ctx := context.Background()
	in := folder(t, map[string][]byte{"season.gen": fmt.Appendf(nil, "%d 1 1 5 1", days)})
	if _, err := b.Read(ctx, []string{in}, []evenstand.Format{booktest.Season{}}, book.ReadOptions{}); err != nil {
		t.Fatal(err)
	}
	all, err := b.Days(ctx)
	if err != nil || len(all) != days {
		t.Fatalf("%d days, %v", len(all), err)
	}
	eight, _ := evenstand.ParseRows("1-8")
	for _, d := range all {
		start, err := d.Day.Start(b.Zone())
		if err != nil {
			t.Fatal(err)
		}
		pass := evenstand.Micros(stretches)*6800*1000 + 25*second
		for i, at := range []int{8, 20, 30, 40} {
			if at >= passes {
				break
			}
			e := evenstand.Entry{T: start + 8*3600*second + evenstand.Micros(at)*pass - 12*second, What: "setting", Note: "cleaner_pressure, was 30 psi", Value: 22, Unit: "psi"}
			switch i {
			case 0:
				e.Note, e.Value = "cleaner_pressure, was 22 psi", 30
			case 1:
				e.Rows = eight
			case 2:
				e.Note, e.Value, e.Unit = "vacuum, was 20 inH2O", 18, "inH2O"
			case 3:
				e.Note, e.Value, e.Rows = "cleaner_pressure, was 22 psi", 30, eight
			}
			if _, err := b.AddNote(ctx, d.Planter, []evenstand.Entry{e}, ""); err != nil {
				t.Fatal(err)
			}
		}
	}
	return b
}

// From the journal to what each change did.
func TestEffects(t *testing.T) {
	b := wideSeason(t, 3, 44, 30)
	ctx := context.Background()
	days, err := b.Effects(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if len(days) != 3 || len(days[0].Changes) != 4 {
		t.Fatalf("%d days, %d changes on the first", len(days), len(days[0].Changes))
	}
	for _, d := range days {
		for _, f := range d.Changes[1] {
			switch f.Measure {
			case "trash":
				if f.Verdict() != effect.More || math.Abs(f.Value-0.05) > 0.01 {
					t.Errorf("%s trash: %+v", d.Day, f)
				}
			case "skips":
				if f.Verdict() != effect.More || math.Abs(f.Value-1.0/94) > 0.005 {
					t.Errorf("%s skips: %+v", d.Day, f)
				}
			}
		}
	}
	told := book.TellEffects(days, "cleaner_pressure", "trash", voice(b))
	if len(told.Changes) != 9 || len(told.Curves) != 1 {
		t.Errorf("%d changes, %d curves", len(told.Changes), len(told.Curves))
	}
	for _, c := range told.Changes {
		t.Log(c.Says)
	}
	for _, c := range book.TellEffects(days, "", "", voice(b)).Curves {
		t.Log(c.Says)
	}
	t.Log(book.TellEffects(days, "", "", voice(b)).Changes[1].Says)
}

// 2,000 acres in 15 days: 29,500 steps of 24 rows, 60 changes, 11 measures, from the
// stretches; a fifth of it in the short form.
func BenchmarkEffects(b *testing.B) {
	days := 15
	if testing.Short() {
		days = 3
	}
	s := wideSeason(b, days, 49, 40)
	ctx := context.Background()
	for b.Loop() {
		s.Forget()
		if _, err := s.Effects(ctx); err != nil {
			b.Fatal(err)
		}
	}
	found, err := s.Effects(ctx)
	if err != nil {
		b.Fatal(err)
	}
	n := 0
	for _, d := range found {
		n += len(d.Changes)
	}
	if n != 4*days {
		b.Errorf("%d changes", n)
	}
}
