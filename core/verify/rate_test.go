package verify_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"testing"

	"evenstand/core/stat"
	"evenstand/core/verify"
)

// long tells whether the long runs are asked for; docs/measured.md names their
// figures.
func long() bool { return os.Getenv("EVENSTAND_VERIFY") == "long" }

// stream gives a number of a generator: other runs than those that the methods were
// chosen on where EVENSTAND_STREAM says so.
func stream(usual uint64) uint64 {
	if n, err := strconv.ParseUint(os.Getenv("EVENSTAND_STREAM"), 10, 64); err == nil {
		return n + usual
	}
	return usual
}

func runs(short, long_ int) int {
	if long() {
		return long_
	}
	return short
}

// places draws how many misses there are until the next look; wandering rates
// have a memory of 20 s at 25 places a second.
type places struct {
	rnd      *rand.Rand
	p        float64
	cv, keep float64
	z        float64
}

func (s *places) next() float64 {
	p := s.p
	if s.cv > 0 {
		s.z = s.keep*s.z + math.Sqrt(1-s.keep*s.keep)*s.rnd.NormFloat64()
		p *= math.Exp(s.cv*s.z - s.cv*s.cv/2)
	}
	if s.rnd.Float64() < p {
		return 1
	}
	return 0
}

// told runs a check-back until it says something.
func told(rnd *rand.Rand, line, p, phi, cv float64, most int) (verdict int, seeds float64) {
	r := verify.Rate{Worked: line, Failed: line, Phi: phi}
	s := places{rnd: rnd, p: p, cv: cv, keep: math.Exp(-1 / (20 * 25.0)), z: rnd.NormFloat64()}
	for i := range most { // looked at after every seed
		if v := r.Add(s.next(), 1); v != 0 {
			return v, float64(i + 1)
		}
	}
	return 0, float64(most)
}

// check-values.json, cs-stop: one path of counts per 20 seeds, with the line at
// the middle of 5 % and 1.2 %.
func TestStopsWhereCheckValuesSay(t *testing.T) {
	counts := []float64{0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0, 0}
	line := verify.Line(0.05, 0.012)
	r := verify.Rate{Worked: line, Failed: line}
	for i, y := range counts {
		if v := r.Add(y, 20); v != 0 {
			if n := 20 * (i + 1); n != 460 || v != 1 {
				t.Errorf("%d after %d seeds, want worked after 460", v, n)
			}
			return
		}
	}
	t.Error("never stopped")
}

// The table of section i of the methods document: what becomes of rates after a
// fix at 5 % before and 1.2 % on healthy rows. It was made looking every 20
// seeds, 400 runs.
func TestTableOfTheMethods(t *testing.T) {
	n := runs(120, 2000)
	line := verify.Line(0.05, 0.012)
	for _, tt := range []struct {
		p              float64
		worked, failed float64
		seeds          float64 // 0: not decided
	}{{0.05, 0, 1, 460}, {0.035, 0.003, 0.998, 2340}, {0.0245, 0.018, 0.013, 0}, {0.018, 1, 0, 4240}, {0.012, 1, 0, 880}} {
		rnd := rand.New(rand.NewPCG(stream(3), uint64(1e5*tt.p)))
		worked, failed := 0.0, 0.0
		var seeds []float64
		for range n {
			v, s := told(rnd, line, tt.p, 1, 0, 20000)
			worked += 1 - float64(min(1, abs(v-1)))
			failed += 1 - float64(min(1, abs(v+1)))
			seeds = append(seeds, s)
		}
		worked, failed = worked/float64(n), failed/float64(n)
		med := stat.Median(seeds)
		t.Logf("rate %.2f%%: worked %.3f, failed %.3f, seeds %.0f (document %.3f %.3f %.0f)", 100*tt.p, worked, failed, med, tt.worked, tt.failed, tt.seeds)
		slack := 3*math.Sqrt(0.02/float64(n)) + 0.01
		if math.Abs(worked-tt.worked) > slack || math.Abs(failed-tt.failed) > slack {
			t.Errorf("rate %.2f%%: worked %.3f, failed %.3f; the document has %.3f and %.3f", 100*tt.p, worked, failed, tt.worked, tt.failed)
		}
		wide := 0.20
		if !long() {
			wide = 0.30 // the median of few runs
		}
		if tt.seeds > 0 && math.Abs(med/tt.seeds-1) > wide {
			t.Errorf("rate %.2f%%: %.0f seeds, the document has %.0f", 100*tt.p, med, tt.seeds)
		}
	}
}

// Seeds until "worked" when it is healed.
func TestSeedsUntilWorked(t *testing.T) {
	n := runs(60, 1000)
	for before, want := range map[float64]float64{0.10: 320, 0.05: 880, 0.03: 2480, 0.02: 11320} {
		if before == 0.02 && !long() {
			continue
		}
		rnd := rand.New(rand.NewPCG(stream(5), uint64(1e4*before)))
		line := verify.Line(before, 0.012)
		var seeds []float64
		for range n {
			_, s := told(rnd, line, 0.012, 1, 0, 60000)
			seeds = append(seeds, s)
		}
		med := stat.Median(seeds)
		r := verify.Rate{Worked: line, Failed: line}
		t.Logf("before %.0f%%: %.0f seeds (document %.0f); said beforehand %.0f", 100*before, med, want, r.Need(0.012))
		wide := 0.20
		if !long() {
			wide = 0.35
		}
		if math.Abs(med/want-1) > wide {
			t.Errorf("before %.0f%%: %.0f seeds, the document has %.0f", 100*before, med, want)
		}
		if said := r.Need(0.012); math.Abs(said/want-1) > 0.20 {
			t.Errorf("before %.0f%%: %.0f seeds are said beforehand, the document has %.0f", 100*before, said, want)
		}
	}
}

// Looked at after every seed up to 50,000, a rate that lies on the line is
// called on either side no more often than 5 times in 100; with rates that
// wander the counts must be divided by φ.
func TestErrorRateOfShares(t *testing.T) {
	n := runs(60, 2000)
	most := 20000
	if long() {
		most = 50000
	}
	line := verify.Line(0.05, 0.012)
	for _, tt := range []struct {
		name    string
		cv, phi float64
		most    float64
	}{{"by chance", 0, 1, 0.05}, {"wandering, as if by chance", 0.25, 1, 1}, {"wandering, φ 1.8", 0.25, 1.8, 0.05}} {
		rnd := rand.New(rand.NewPCG(stream(37), uint64(100*tt.phi)+uint64(10*tt.cv)))
		wrong := 0.0
		for range n {
			if v, _ := told(rnd, line, line, tt.phi, tt.cv, most); v != 0 {
				wrong++
			}
		}
		wrong /= float64(n)
		t.Logf("%s: wrong %.3f", tt.name, wrong)
		if wrong > tt.most+2.5*math.Sqrt(0.05*0.95/float64(n)) {
			t.Errorf("%s: wrong %.3f", tt.name, wrong)
		}
	}
}

// Wald's test on a cell that is cleared, and one that is not, looked at after
// every place: neither is called the other more often than 5 times in 100, also
// where the rate wanders and the counts are divided by φ.
func TestGone(t *testing.T) {
	n := runs(400, 10000)
	for _, tt := range []struct{ p, cv, phi float64 }{{0.037, 0, 1}, {0.012, 0, 1}, {0.037, 0.25, 1.8}, {0.012, 0.25, 1.8}} {
		rnd := rand.New(rand.NewPCG(stream(9), uint64(1e4*tt.p)+uint64(10*tt.phi)))
		wrong := 0.0
		var seeds []float64
		for range n {
			g := verify.Gone{Bad: 0.037, Good: 0.012, Phi: tt.phi}
			s := places{rnd: rnd, p: tt.p, cv: tt.cv, keep: math.Exp(-1 / (20 * 25.0)), z: rnd.NormFloat64()}
			k, v := 0.0, 0
			for v == 0 {
				v = g.Add(s.next(), 1)
				k++
			}
			if v > 0 == (tt.p == 0.037) {
				wrong++
			}
			seeds = append(seeds, k)
		}
		wrong /= float64(n)
		t.Logf("rate %.1f%%, CV %.2f, φ %.1f: wrong %.4f, %.0f seeds", 100*tt.p, tt.cv, tt.phi, wrong, stat.Median(seeds))
		if wrong > 0.05+2*math.Sqrt(0.05*0.95/float64(n)) {
			t.Errorf("rate %.1f%%, CV %.2f, φ %.1f: wrong %.4f", 100*tt.p, tt.cv, tt.phi, wrong)
		}
	}
}

// means draws means of stretches that resemble their neighbours; slow adds soil
// that changes over a hundred stretches.
type means struct {
	rnd    *rand.Rand
	rho    float64
	z, s   float64
	slow   float64
	begins bool
}

func (m *means) next(level float64) float64 {
	if !m.begins {
		m.z, m.s, m.begins = m.rnd.NormFloat64(), m.rnd.NormFloat64(), true
	}
	m.z = m.rho*m.z + math.Sqrt(1-m.rho*m.rho)*m.rnd.NormFloat64()
	m.s = 0.97*m.s + math.Sqrt(1-0.97*0.97)*m.rnd.NormFloat64()
	return level + m.z + m.slow*m.s
}

// A mean that lies on the line is called on either side no more often than 5
// times in 100, looked at after every mean up to 1,000, also where neighbours
// resemble each other. The spread is learnt from 60 or 200 means before.
func TestErrorRateOfMeans(t *testing.T) {
	n := runs(300, 4000)
	for _, tt := range []struct {
		rho, slow float64
		before    int
		most      float64
	}{{0, 0, 60, 0.05}, {0.3, 0, 60, 0.05}, {0.5, 0, 60, 0.05}, {0.5, 0, 200, 0.05}, {0.8, 0, 60, 0.05}, {0.8, 0, 200, 0.05}, {0.5, 0.5, 200, 0.05}} {
		name := fmt.Sprintf("rho %.1f slow %.1f before %d", tt.rho, tt.slow, tt.before)
		rnd := rand.New(rand.NewPCG(stream(11), uint64(100*tt.rho)+uint64(tt.before)))
		wrong, plain := 0.0, 0.0
		var ns []float64
		for range n {
			src := means{rnd: rnd, rho: tt.rho, slow: tt.slow}
			var s verify.Spread
			for range tt.before {
				s.Add(src.next(0))
			}
			s.Next()
			m := verify.Mean{}
			missed, pl := false, false
			for range 1000 {
				x := src.next(0)
				s.Add(x)
				m.Sum += x
				m.N++
				v, times, df := s.Of()
				m.Var, m.Times, m.DF = v, times, df
				missed = missed || m.Verdict() != 0
				pl = pl || math.Abs(m.Sum/m.N) > math.Sqrt(v)*stat.NormalHalfWidth(m.N, 0.1, 0.05)
				if missed && pl {
					break
				}
			}
			if missed {
				wrong++
			}
			if pl {
				plain++
			}
			// Healed by three of its spreads: how many means that takes.
			h := verify.Mean{Worked: 0, Failed: 0, Var: m.Var, Times: m.Times, DF: m.DF}
			ns = append(ns, h.Need(-1.5*math.Sqrt(m.Var)))
		}
		wrong /= float64(n)
		plain /= float64(n)
		slices.Sort(ns)
		t.Logf("%s: wrong %.3f, plain %.3f; means until a cure by 1.5 spreads is known %.0f", name, wrong, plain, ns[len(ns)/2])
		if wrong > tt.most+2.5*math.Sqrt(0.05*0.95/float64(n)) {
			t.Errorf("%s: wrong %.3f", name, wrong)
		}
	}
}

func abs(x int) int { return max(x, -x) }
