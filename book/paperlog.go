package book

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/paper"
)

// applied gives what the logs tell of liquid and granules on the days from from to
// to (empty: all), by field, day and tank.
func (b *Book) applied(ctx context.Context, days []DaySummary, from, to evenstand.Day, field string) ([]paper.Logged, error) {
	var out []paper.Logged
	for i := range days {
		d := &days[i]
		if d.Passes == 0 || from != "" && d.Day < from || to != "" && d.Day > to {
			continue
		}
		of, err := b.appliedOn(ctx, d)
		if err != nil {
			return nil, err
		}
		for _, l := range of {
			if field == "" || l.Field == field {
				out = append(out, l)
			}
		}
	}
	return out, nil
}

// tanksOf gives the tanks that hold a liquid, or granules: what the limits of
// products say of its name, else what the name of tank and product says. A tank
// that says neither holds a liquid.
func (b *Book) tanksOf(card *evenstand.Card, a evenstand.Applied) (out []evenstand.Tank) {
	limits := b.Settings().Products
	for _, t := range card.Tanks {
		is := evenstand.AppliedLiquid
		words := strings.ToLower(t.Name + " " + t.Product)
		for _, w := range []string{"granul", "hopper", "dry ", "box"} {
			if strings.Contains(words, w) {
				is = evenstand.AppliedGranular
			}
		}
		for _, l := range limits {
			if l.Name != "" && strings.EqualFold(l.Name, strings.TrimSpace(t.Product)) {
				is = l.Applied
			}
		}
		if is == a {
			out = append(out, t)
		}
	}
	return out
}

// onlyProduct gives the one product of a kind that the logbook's limits name, empty where there is none or several.
func (b *Book) onlyProduct(a evenstand.Applied) string {
	var names []string
	for _, l := range b.Settings().Products {
		if l.Applied == a && !slices.Contains(names, l.Name) {
			names = append(names, l.Name)
		}
	}
	if len(names) == 1 {
		return names[0]
	}
	return ""
}

func (b *Book) appliedOn(ctx context.Context, d *DaySummary) ([]paper.Logged, error) {
	card, err := b.settledCard(d.Planter, d.Day)
	if err != nil {
		return nil, err
	}
	passes, err := b.Passes(ctx, d.Planter, d.Day)
	if err != nil {
		return nil, err
	}
	at := map[int32]*evenstand.Pass{}
	for i := range passes {
		at[passes[i].Index] = &passes[i]
	}
	kinds := []evenstand.Applied{evenstand.AppliedLiquid, evenstand.AppliedGranular}
	// Which tanks feed each row; what several feed together is logged as one.
	feeds := map[evenstand.Applied]map[int16]string{}
	product := map[string]string{}
	for _, a := range kinds {
		feeds[a] = map[int16]string{}
		tanks := b.tanksOf(&card, a)
		for row := 1; row <= card.Rows; row++ {
			var nums, names []string
			for _, t := range tanks {
				if len(t.Feeds) == 0 && len(tanks) == 1 || t.Feeds.Has(row) {
					nums = append(nums, fmt.Sprint(t.Number))
					if p := strings.TrimSpace(t.Product); p != "" && !slices.Contains(names, p) {
						names = append(names, p)
					}
				}
			}
			key := strings.Join(nums, ",")
			feeds[a][int16(row)] = key
			product[a.String()+key] = strings.Join(names, " and ")
		}
		if p := a.String(); product[p] == "" {
			product[p] = b.onlyProduct(a)
		}
	}
	type key struct {
		field, tanks string
		a            evenstand.Applied
	}
	sums := map[key]*paper.Logged{}
	var order []key
	err = b.Stretches(ctx, d.Planter, d.Day, func(ss []evenstand.Stretch) error {
		for i := range ss {
			s := &ss[i]
			p := at[s.Pass]
			if p == nil {
				continue
			}
			for _, a := range kinds {
				x := float64(s.Liquid)
				if a == evenstand.AppliedGranular {
					x = float64(s.Granular)
				}
				if !(x > 0) {
					continue
				}
				k := key{p.Field, feeds[a][s.Row], a}
				l := sums[k]
				if l == nil {
					n := paper.NoLog()
					n.Planter, n.Day, n.Field, n.Applied, n.Tanks = d.Planter, d.Day, p.Field, a, k.tanks
					n.Amount, n.Area, n.Start, n.End = 0, 0, p.Start, p.End
					n.Product = product[a.String()+k.tanks]
					l = &n
					sums[k], order = l, append(order, k)
				}
				l.Amount += x
				if way := float64(s.Way - s.Off); way > 0 {
					l.Area += way * card.RowSpacing // NaN where nobody said it
				}
				l.Start, l.End = min(l.Start, p.Start), max(l.End, p.End)
			}
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	var out []paper.Logged
	v := advise.Voice{Zone: b.Zone(), Units: b.Settings().Units}
	for _, k := range order {
		l := sums[k]
		if l.Crop = card.Crop(1); l.Crop == "" {
			l.Crop = b.Settings().Crop
		}
		l.Equipment = card.Name
		if l.Equipment == "" {
			l.Equipment = d.Planter
		}
		if card.Rows > 0 && card.RowSpacing > 0 {
			l.Equipment += fmt.Sprintf(" (planter of %d rows, %s apart)", card.Rows, v.Length(card.RowSpacing))
		}
		l.Lat, l.Lon = b.middle(k.field)
		if strings.Contains(l.Tanks, ",") {
			l.Says = append(l.Says, "Tanks "+l.Tanks+" feed the same rows: the logs tell only how much of them went on together.")
		}
		out = append(out, *l)
	}
	slices.SortStableFunc(out, func(x, y paper.Logged) int {
		return strings.Compare(x.Field+x.Applied.String()+x.Tanks, y.Field+y.Applied.String()+y.Tanks)
	})
	return out, nil
}

// middle gives the middle of the largest ring of a field's boundary in degrees, NaN
// without one.
func (b *Book) middle(field string) (lat, lon float64) {
	lat, lon = math.NaN(), math.NaN()
	most := 0.0
	for _, f := range b.Fields() {
		if f.Name != field {
			continue
		}
		for _, p := range f.Polygons {
			if len(p) == 0 || len(p[0]) < 3 {
				continue
			}
			ring, area, x, y := p[0], 0.0, 0.0, 0.0
			o := ring[0] // near zero, so that digits are kept
			for i := range ring {
				a, c := ring[i], ring[(i+1)%len(ring)]
				ax, ay, cx, cy := a[0]-o[0], a[1]-o[1], c[0]-o[0], c[1]-o[1]
				w := ax*cy - cx*ay
				area, x, y = area+w, x+w*(ax+cx), y+w*(ay+cy)
			}
			if math.Abs(area) > most {
				most = math.Abs(area)
				lon, lat = o[0]+x/(3*area), o[1]+y/(3*area)
			}
		}
	}
	return lat, lon
}
