package sim

import (
	"fmt"
	"math"
	"path/filepath"

	"evenstand"
)

// Stand counts two weeks later: so many places of a row and field, all rows at
// one place. Length and days are judgement.
const (
	countLength = 5.334 // m, 17.5 ft
	countLater  = 14 * 24 * 3600 * evenstand.Second
)

// count walks a pass two weeks later, where it is one that is counted.
func (w *world) count(lg *leg) {
	s := w.s
	if s.Output.Counts == 0 || lg.line.headland {
		return
	}
	every := max(1, lg.field.plan.Passes/s.Output.Counts)
	if w.inField%every != every/2 {
		return
	}
	g := stream(s.Seed, "stand count", -1, lg.pass)
	way := lg.way[lg.up-1] - lg.way[lg.down]
	k := int(between(g, 0.1, 0.9) * way / evenstand.StretchLength)
	t := (lg.seconds(lg.down) + lg.seconds(lg.up)) / 2
	for _, r := range w.rows {
		h := stream(s.Seed, "stand count", r.n, lg.pass)
		if k >= len(r.counts) || r.counts[k].places == 0 {
			continue
		}
		c := r.counts[k]
		seeds := float64(c.places-c.skips+c.doubles) * countLength / evenstand.StretchLength
		n := int(seeds)
		if uniform(h) < seeds-float64(n) {
			n++
		}
		p, plants := modeledStand, 0
		if w.board != nil {
			p = w.board.stand(nil, r.n, t)
		}
		for range n {
			if uniform(h) < p {
				plants++
			}
		}
		w.counted = append(w.counted, evenstand.Entry{
			T: s.t0 + evenstand.FromSeconds(math.Round(t/60)*60) + countLater, What: "count", Rows: evenstand.Rows{r.n}, Value: float64(plants),
			Note: fmt.Sprintf("in 17.5 ft: pass %d, %.0f m along", lg.pass, (float64(k)+0.5)*evenstand.StretchLength),
		})
	}
}

// writeCounts writes the counts in the plain layout, beside the boxes.
func (w *world) writeCounts(outDir string) error {
	if len(w.counted) == 0 {
		return nil
	}
	out, err := folder(w.s, filepath.Join(outDir, "counts"), "journal", "stand counts")
	if err == nil {
		err = out.Entries(w.counted)
	}
	if err != nil {
		return err
	}
	return out.Close()
}
