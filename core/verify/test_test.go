package verify_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/verify"
)

// field makes stretches of a planter: rates wander by soil that all rows share
// and by what is each row's own, with a memory of 20 s and a CV of 0.25.
type field struct {
	rnd    *rand.Rand
	rows   int
	soil   float64
	own    []float64
	base   []float64 // healthy skips of each row
	t      evenstand.Micros
	k      int32
	low    evenstand.Micros
	better float64 // times the rate of all rows
	scat   float64
}

func newField(rnd *rand.Rand, rows int) *field {
	f := &field{rnd: rnd, rows: rows, own: make([]float64, rows+1), base: make([]float64, rows+1), better: 1, scat: 0.16}
	for r := range f.base {
		f.base[r] = 0.012 * math.Exp(0.15*rnd.NormFloat64()) // methods document, section r
		f.own[r] = rnd.NormFloat64()
	}
	return f
}

const perStretch = 94

// next makes a stretch; of row 1 times is by how much it skips more, and wide by
// how much it scatters more.
func (f *field) next(times, wide float64) *verify.Slice {
	if f.k == 50 || f.low == 0 {
		f.k = 0
		f.t += 20 * evenstand.Second
		f.low = f.t
	}
	f.t += evenstand.FromSeconds(3.75)
	keep := math.Exp(-3.75 / 20)
	f.soil = keep*f.soil + math.Sqrt(1-keep*keep)*f.rnd.NormFloat64()
	s := &verify.Slice{Lowered: f.low}
	for r := 1; r <= f.rows; r++ {
		f.own[r] = keep*f.own[r] + math.Sqrt(1-keep*keep)*f.rnd.NormFloat64()
		p, sd := f.base[r]*f.better*math.Exp(0.18*f.soil+0.18*f.own[r]-0.03), f.scat*math.Exp(0.05*f.soil+0.05*f.own[r])
		if r == 1 {
			p *= times
			sd *= wide
		}
		st := evenstand.Stretch{Row: int16(r), K: f.k, T: f.t, Length: 15, Way: 15, Grade: evenstand.GradeA, Due: perStretch, Target: 0.16}
		for range perStretch {
			if f.rnd.Float64() < p {
				st.Skips++
			} else {
				st.Seeds++
			}
		}
		n := float64(st.Seeds)
		sd *= 1 + 0.7/math.Sqrt(n)*f.rnd.NormFloat64()
		st.Singles = evenstand.Moments{N: n, Sum: n * 0.16, M2: n * (0.16 * sd) * (0.16 * sd)}
		st.Speed.Add(4)
		s.Rows = append(s.Rows, st)
	}
	f.k++
	return s
}

func spec(kind string, at evenstand.Micros) verify.Spec {
	p := verify.For(&evenstand.Finding{Kind: kind})
	return verify.Spec{Plan: p, Rows: evenstand.Rows{1}, Since: 200 * 4 * evenstand.Second, Sure: 200 * 4 * evenstand.Second, Until: evenstand.NoTime, At: at, Start: evenstand.NoTime, Before: math.NaN(), Cells: 40, Spacing: 0.762}
}

const doneAt = 400 * 4 * evenstand.Second

// day feeds a test a day on which row 1 is at fault from 800 s on; at 1,600 s
// something is done, and from then on it is as said.
func day(seed uint64, s verify.Spec, bad, then, wide, thenWide, better float64, most int) *verify.Test {
	f := newField(rand.New(rand.NewPCG(seed, stream(17))), 12)
	t := verify.New(s)
	for range most {
		x := f.next(1, 1)
		switch {
		case f.t >= s.At:
			f.better = better
			x = f.next(then, thenWide)
		case f.t >= s.Since:
			x = f.next(bad, wide)
		}
		t.Add(x)
	}
	return t
}

// A row that skips four times as often and is cured is told to be, one that is
// not is told not to be, and where better soil halves the skips of all rows the
// same fault is no better for it.
func TestPeersAreWatched(t *testing.T) {
	n := runs(20, 200)
	s := spec(evenstand.KindRowSkips, doneAt)
	for _, tt := range []struct {
		name         string
		then, better float64
		want         string
	}{{"cured", 1, 1, evenstand.VerdictWorked}, {"not cured", 4, 1, evenstand.VerdictFailed}, {"not cured, better soil", 4, 0.4, evenstand.VerdictFailed}, {"cured, worse soil", 1, 2.2, evenstand.VerdictWorked}} {
		right, wrong := 0, 0
		for i := range n {
			switch v := day(uint64(i), s, 4, tt.then, 1, 1, tt.better, 1500).Verdict(); v {
			case tt.want:
				right++
			case evenstand.VerdictOpen:
			default:
				wrong++
			}
		}
		t.Logf("%s: right %d, wrong %d of %d", tt.name, right, wrong, n)
		if float64(right) < 0.9*float64(n) || float64(wrong) > 0.05*float64(n)+1 {
			t.Errorf("%s: right %d, wrong %d of %d", tt.name, right, wrong, n)
		}
	}
}

// The scatter of spacings is held against that of the peers on the same ground.
func TestSpacing(t *testing.T) {
	n := runs(20, 200)
	s := spec(evenstand.KindRowBounce, doneAt)
	for _, tt := range []struct {
		name string
		then float64
		want string
	}{{"cured", 1, evenstand.VerdictWorked}, {"not cured", 1.5, evenstand.VerdictFailed}} {
		right, wrong := 0, 0
		for i := range n {
			switch v := day(uint64(i)+900, s, 1, 1, 1.5, tt.then, 1, 1200).Verdict(); v {
			case tt.want:
				right++
			case evenstand.VerdictOpen:
			default:
				wrong++
			}
		}
		if float64(right) < 0.9*float64(n) || wrong > n/20+1 {
			t.Errorf("%s: right %d, wrong %d of %d", tt.name, right, wrong, n)
		}
	}
}

// Rows that nothing was wrong with and that nothing was done to but a line in
// the journal: the three tests together are wrong no more often than one in
// twenty, looked at after every stretch.
func TestNothingChanged(t *testing.T) {
	n, wrong := runs(30, 1000), 0
	for i := range n {
		f := newField(rand.New(rand.NewPCG(uint64(i), stream(23))), 12)
		var ts []*verify.Test
		for _, p := range verify.ForRows() {
			s := spec(evenstand.KindRowSkips, doneAt)
			s.Plan, s.Change, s.Since, s.Sure, s.Beside = p, true, evenstand.NoTime, evenstand.NoTime, 3
			ts = append(ts, verify.New(s))
		}
		for range 1500 {
			x := f.next(1, 1)
			for _, c := range ts {
				c.Add(x)
			}
		}
		for _, c := range ts {
			if c.Verdict() != evenstand.VerdictOpen {
				wrong++
				break
			}
		}
	}
	t.Logf("wrong %d of %d", wrong, n)
	if float64(wrong) > 0.05*float64(n)+2.5*math.Sqrt(0.05*float64(n)) {
		t.Errorf("wrong %d of %d", wrong, n)
	}
}

// It is counted from the next lowering on, after two turns of the disc; what
// works and comes back is said to have come back; the state does not grow.
func TestCourse(t *testing.T) {
	s := spec(evenstand.KindRowSkips, doneAt)
	f := newField(rand.New(rand.NewPCG(4, 4)), 12)
	c := verify.New(s)
	for f.t < doneAt {
		times := 1.0
		if f.t > s.Since {
			times = 4
		}
		c.Add(f.next(times, 1))
	}
	v := advise.Voice{}
	if got := c.CheckBack("done", v); got.Since != evenstand.NoTime || !strings.Contains(got.Says, "next lowering") {
		t.Errorf("%+v", got.Says)
	}
	for f.k < 50 { // the pass goes on: it was said from the seat
		c.Add(f.next(1, 1))
	}
	if got := c.CheckBack("done", v); got.Since != evenstand.NoTime {
		t.Errorf("counted before the next lowering: %s", got.Says)
	}
	c.Add(f.next(1, 1))
	if got := c.CheckBack("done", v); got.Since == evenstand.NoTime || got.Seen > 0 {
		t.Errorf("the first turns count: %s", got.Says)
	}
	c.Add(f.next(1, 1))
	c.Add(f.next(1, 1))
	got := c.CheckBack("done", v)
	if !(got.Seen > 0) || got.Verdict == evenstand.VerdictOpen && !(got.NeedSeen > 0 && got.NeedSeconds > 0 && got.NeedArea > 0) {
		t.Errorf("%+v", got)
	}
	for range 400 {
		c.Add(f.next(1, 1))
		if c.Verdict() == evenstand.VerdictWorked {
			break
		}
	}
	if c.Verdict() != evenstand.VerdictWorked {
		t.Fatalf("not worked: %s", c.CheckBack("done", v).Says)
	}
	for range 200 {
		c.Add(f.next(6, 1))
	}
	if got := c.CheckBack("done", v); got.Verdict != evenstand.VerdictFailed || !got.CameBack || len(got.Course) > 60 {
		t.Errorf("it came back: %s", got.Says)
	}
}

// Every kind of finding has a test or an honest reason why there is none.
func TestKinds(t *testing.T) {
	for _, k := range strings.Fields("row-stopped row-left-off blocked-cell weak-cell row-skips row-doubles low-vacuum rate-off starved-row row-bounce sensor-doubt clock-off row-drive speed-spacing turn-rate recurring-upset source-silent position-doubt dry-furrow cold-furrow dirty-furrow cleaner-upset slot-open granular-row-off granular-rate-off label-cap liquid-row-low liquid-row-high liquid-rate-off seed-without-liquid liquid-without-seed puddle contact-loss overload lot-mismatch force-hunting flow-hunting pump-limit refill-soon tank-disagrees fill-imbalance unplanted-left late-section guess-row overlap cover-gap offset-doubt") {
		p := verify.For(&evenstand.Finding{Kind: k})
		if p.How == verify.None && (p.Why == "" || p.Why == "Planting does not show it.") {
			t.Errorf("%s: neither a test nor a reason", k)
		}
	}
}

// A stopped row, a cell and a row that was left off are there or gone.
func TestThereOrGone(t *testing.T) {
	for _, kind := range []string{evenstand.KindRowStopped, evenstand.KindBlockedCell} {
		for _, cured := range []bool{true, false} {
			s := spec(kind, doneAt)
			bad := 60.0 // of 1.2 %
			if kind == evenstand.KindBlockedCell {
				bad = 3.1
				s.Plan.Adds = 0.97 / 40
			}
			then, want := bad, evenstand.VerdictFailed
			if cured {
				then, want = 1, evenstand.VerdictWorked
			}
			right := 0
			for i := range 20 {
				if day(uint64(i)+50, s, bad, then, 1, 1, 1, 700).Verdict() == want {
					right++
				}
			}
			if right < 18 {
				t.Errorf("%s, cured %v: right %d of 20", kind, cured, right)
			}
		}
	}
}

// Several may ask one test at a time; make race tells.
func TestAskedAtOnce(t *testing.T) {
	s := spec(evenstand.KindRowSkips, doneAt)
	c := day(3, s, 4, 4, 1, 1, 1, 390) // nothing was counted since it was done
	var wg sync.WaitGroup
	for range 4 {
		wg.Go(func() { c.CheckBack("done", advise.Voice{}) })
	}
	wg.Wait()
}
