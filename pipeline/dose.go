package pipeline

import (
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/find"
	"evenstand/core/ground"
	"evenstand/core/measure/cover"
)

// Dose is what went onto one row's stretch of a product, in m3 or kg.
type Dose struct {
	Pass    int32
	Row     int16
	Applied evenstand.Applied
	K       int32
	Length  float32 // m
	On      float32 // m of its way on which the row was on
	Off     float32 // m of its way on which it was off
	Amount  float32
}

// DosesOf gives what went onto stretches.
func DosesOf(ss []evenstand.Stretch, to []Dose) []Dose {
	for i := range ss {
		s := &ss[i]
		if s.Liquid > 0 {
			to = append(to, Dose{s.Pass, s.Row, evenstand.AppliedLiquid, s.K, s.Length, s.Way - s.Off, s.Off, s.Liquid})
		}
		if s.Granular > 0 {
			to = append(to, Dose{s.Pass, s.Row, evenstand.AppliedGranular, s.K, s.Length, s.Way - s.Off, s.Off, s.Granular})
		}
	}
	return to
}

// fed gives the rows of a planter that get a product, nil all, and whether
// other products go onto the same rows: what is logged is then their sum.
func fed(card *evenstand.Card, name string) (rows evenstand.Rows, mixed bool) {
	for _, t := range card.Tanks {
		if strings.EqualFold(strings.TrimSpace(t.Product), name) {
			rows = append(rows, t.Feeds...)
		}
	}
	for _, t := range card.Tanks {
		if strings.EqualFold(strings.TrimSpace(t.Product), name) {
			continue
		}
		for _, r := range t.Feeds {
			mixed = mixed || rows.Has(r)
		}
	}
	return rows, mixed
}

// season is the calendar year of a day.
func season(d evenstand.Day) string {
	year, _, _ := strings.Cut(string(d), "-")
	return year
}

// seasons are those of a field's days, in their order.
func seasons(days []FieldDay) (out []string) {
	for i := range days {
		if y := season(days[i].Date); !slices.Contains(out, y) {
			out = append(out, y)
		}
	}
	return out
}

// capOf gathers what went on of a product in a season.
func capOf(f ground.Frame, days []FieldDay, year string, limit evenstand.ProductLimit) find.Cap {
	c := find.Cap{Limit: limit}
	for n, tr := range trips(days) {
		d, p := tr.day, tr.pass
		if season(d.Date) != year || !(d.Card.RowSpacing > 0) {
			continue
		}
		rows, mixed := fed(&d.Card, limit.Name)
		track := passTrack(d.Track, p.Index)
		poses := make([]cover.Pose, len(track))
		for k, t := range track {
			poses[k] = poseOf(f, t)
		}
		for _, x := range d.Doses {
			if x.Pass != p.Index || x.Applied != limit.Applied || rows != nil && !rows.Has(int(x.Row)) {
				continue
			}
			y := d.Card.Y(int(x.Row))
			if math.IsNaN(y) {
				continue
			}
			c.Mixed = c.Mixed || mixed
			parts, way := d.workedOf(x)
			for _, s := range parts {
				w := cover.Swath{Pass: n, Left: y - d.Card.RowSpacing/2, Right: y + d.Card.RowSpacing/2, Error: p.PosError}
				if w.At = along(poses, track, p.S0+s[0], p.S0+s[1]); len(w.At) >= 2 {
					c.Doses = append(c.Doses, cover.Dosed{Swath: w, Rate: float64(x.Amount) / (way * d.Card.RowSpacing)})
				}
			}
		}
	}
	return c
}

// workedOf gives the parts of a stretch on which its product went on, m of the
// pass, and how long they are in all: all of it, but where the row was off. What
// is logged by the second begins late and ends early, which makes no more of it
// on less ground.
func (d *FieldDay) workedOf(x Dose) (parts [][2]float64, way float64) {
	from := float64(x.K) * evenstand.StretchLength
	to := from + float64(x.Length)
	if x.Off < 1 { // m
		return [][2]float64{{from, to}}, max(0.01, to-from)
	}
	for _, w := range d.Worked {
		if w.Pass != x.Pass || w.Applied != x.Applied || x.Row < w.From || x.Row > w.To {
			continue
		}
		if a, b := max(from, float64(w.S0)/1000), min(to, float64(w.S1)/1000); b > a {
			parts, way = append(parts, [2]float64{a, b}), way+b-a
		}
	}
	if way < 1 { // m
		return [][2]float64{{from, to}}, max(0.01, to-from)
	}
	return parts, max(way, float64(x.On))
}
