package verify_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/verify"
)

// change is the spec of a fix on row 1 of which nothing was known to be wrong.
func change(p verify.Plan) verify.Spec {
	s := spec(evenstand.KindRowSkips, doneAt)
	s.Plan, s.Change, s.Since, s.Sure, s.Beside = p, true, evenstand.NoTime, evenstand.NoTime, 3
	return s
}

// Rows to which something was done are no peers; where too few would be left it
// counts until then, or tells nothing if that was before.
func TestLeaveOut(t *testing.T) {
	touch := func(at evenstand.Micros, rows ...int) verify.Touch { return verify.Touch{T: at, Rows: rows} }
	before, later := evenstand.Micros(doneAt-evenstand.Second), evenstand.Micros(doneAt+evenstand.Second)
	for _, tt := range []struct {
		name    string
		touched []verify.Touch
		rows    int
		sick    string
		end     evenstand.Micros
		few     bool
	}{
		{"nothing", nil, 12, "", 0, false},
		{"its own row", []verify.Touch{touch(before, 1)}, 12, "", 0, false},
		{"some", []verify.Touch{touch(before, 1, 2, 3), touch(later, 3, 5)}, 12, "2-3,5", 0, false},
		{"four are left", []verify.Touch{touch(before, 2, 3, 4, 5, 6, 7, 8)}, 12, "2-8", 0, false},
		{"three are left, before", []verify.Touch{touch(before, 2, 3, 4, 5, 6, 7, 8, 9)}, 12, "", 0, true},
		{"three are left, at once", []verify.Touch{touch(doneAt, 2, 3, 4, 5, 6, 7, 8, 9)}, 12, "", 0, true},
		{"three are left, later", []verify.Touch{touch(later, 2, 3, 4, 5, 6), touch(before, 7, 8, 9)}, 12, "7-9", later, false},
		{"nobody knows how many rows there are", []verify.Touch{touch(before, 2)}, 0, "", 0, false},
	} {
		s := change(verify.ForRows()[0])
		s.LeaveOut(tt.touched, tt.rows)
		slices.Sort(s.Sick)
		if s.Sick.String() != tt.sick || s.End != tt.end || s.Few != tt.few {
			t.Errorf("%s: out %q, end %d, few %v", tt.name, s.Sick, s.End, s.Few)
		}
	}
	s := change(verify.ForRows()[0])
	s.Rows = nil
	if s.LeaveOut([]verify.Touch{touch(before, 2)}, 12); len(s.Sick) > 0 {
		t.Error("all rows have no peers that could be left out")
	}
}

// What comes once too few peers are left as they were counts for nothing.
func TestEnd(t *testing.T) {
	s := change(verify.ForRows()[0])
	s.End = doneAt + 300*4*evenstand.Second
	f, short := newField(rand.New(rand.NewPCG(5, 5)), 12), verify.New(s)
	s.End = 0
	long := verify.New(s)
	seen := evenstand.Number(0)
	for range 1500 {
		x := f.next(1, 1)
		if f.t >= doneAt+300*4*evenstand.Second { // the row gets three times worse then
			x = f.next(3, 1)
		} else if f.t > doneAt {
			seen = short.Answer().Seen
		}
		short.Add(x)
		long.Add(x)
	}
	if got := short.Answer(); !(seen > 0) || math.Abs(float64(got.Seen-seen)) > 2*perStretch || got.Verdict != evenstand.VerdictOpen {
		t.Errorf("%s after %v seeds, %v of them before the end", got.Verdict, got.Seen, seen)
	}
	if got := long.Answer(); got.Verdict != evenstand.VerdictFailed {
		t.Errorf("without an end: %s", got.Verdict)
	}
	// What is done anew after the end has too few peers.
	short.Arm(doneAt + 400*4*evenstand.Second)
	if says := short.CheckBack("fix", advise.Voice{}).Says; !strings.HasPrefix(says, "It cannot be told: too few") {
		t.Error(says)
	}
}

// Where too few rows are left as they were a change is not judged, whatever comes,
// and it says so.
func TestFew(t *testing.T) {
	for _, p := range verify.ForRows() {
		s := change(p)
		s.Few = true
		c := day(8, s, 1, 5, 1, 3, 1, 1200)
		if got := c.CheckBack("fix", advise.Voice{}); got.Verdict != evenstand.VerdictOpen || !strings.HasPrefix(got.Says, "It cannot be told: too few of the other rows") {
			t.Errorf("%s: %s %s", p.Measure, got.Verdict, got.Says)
		}
		s.Few = false
		if p.Measure == verify.Doubles { // the field has none
			continue
		}
		if got := day(8, s, 1, 5, 1, 3, 1, 1200).Verdict(); got != evenstand.VerdictFailed {
			t.Errorf("%s: with peers %s", p.Measure, got)
		}
	}
}

// A change is better only where it is so against its own past too: that the others
// got worse is no credit to it, and that they got better no blame.
func TestOnlyOthersChanged(t *testing.T) {
	for _, others := range []float64{3, 0.3} {
		for _, p := range []verify.Plan{verify.ForRows()[0], verify.ForRows()[2]} {
			f, c := newField(rand.New(rand.NewPCG(6, 6)), 12), verify.New(change(p))
			for range 1500 {
				x := f.next(1, 1)
				for i := range x.Rows {
					if r := &x.Rows[i]; r.Row > 1 && f.t >= doneAt {
						r.Singles.M2 *= others * others
						if r.Skips *= float32(others); r.Skips > r.Due {
							r.Skips = r.Due
						}
					}
				}
				c.Add(x)
			}
			if v := c.Verdict(); v != evenstand.VerdictOpen {
				t.Errorf("%s, the others times %v: %s", p.Measure, others, v)
			}
		}
	}
}

// A row that is left out while the test runs is as if it had never been a peer.
func TestLeftOutLater(t *testing.T) {
	for _, kind := range []string{evenstand.KindRowSkips, evenstand.KindRowBounce} {
		s := spec(kind, doneAt)
		touch := verify.Touch{T: doneAt + evenstand.Second, Rows: evenstand.Rows{1, 2, 3, 4}}
		told := spec(kind, doneAt)
		told.LeaveOut([]verify.Touch{touch}, 12)
		first, later := verify.New(told), verify.New(s)
		f := newField(rand.New(rand.NewPCG(9, 9)), 12)
		out := false
		for range 700 {
			x := f.next(1, 1)
			for i := range x.Rows {
				r := &x.Rows[i]
				if r.Row >= 2 && r.Row <= 4 { // rows of their own
					r.Skips *= 3
					r.Singles.M2 *= 2
				}
				if r.Row == 1 && f.t > s.Since { // at fault, and not cured
					r.Skips *= 4
					r.Singles.M2 *= 3
				}
			}
			if later.Answer().Seen >= 3 && !out {
				out = true
				later.LeaveOut(touch, 12)
				a, b := first.Answer(), later.Answer()
				if !(a.Seen > 0) {
					t.Fatal("nothing was seen")
				}
				for i, x := range [][2]evenstand.Number{{a.Peers, b.Peers}, {a.Before, b.Before}, {a.Usual, b.Usual}, {a.After, b.After}, {a.PeersHigh, b.PeersHigh}} {
					if !(math.Abs(float64(x[0]-x[1])) <= 1e-9) && !(math.IsNaN(float64(x[0])) && math.IsNaN(float64(x[1]))) {
						t.Errorf("%s, figure %d: known at first %v, later %v", kind, i, x[0], x[1])
					}
				}
			}
			first.Add(x)
			later.Add(x)
		}
		if a, b := first.Verdict(), later.Verdict(); a != b || a != evenstand.VerdictFailed {
			t.Errorf("%s: known at first %s, later %s", kind, a, b)
		}
	}
}

// The limits of what was are those of what is asked for now, not of what was asked
// for first: the past grows, and a plan may be known better later.
func TestLimitsAreOfNow(t *testing.T) {
	s := spec(evenstand.KindRowSkips, doneAt)
	f := newField(rand.New(rand.NewPCG(11, 11)), 12)
	looked, once := verify.New(s), verify.New(s)
	for range 900 {
		times := 1.0
		if f.t > s.Since {
			times = 4
		}
		x := f.next(times, 1)
		looked.Add(x)
		looked.Answer()
		once.Add(x)
	}
	if a, b := fmt.Sprintf("%+v", looked.Answer()), fmt.Sprintf("%+v", once.Answer()); a != b {
		t.Errorf("looked at all the time\n%s\nonce\n%s", a, b)
	}
	if a := once.Answer(); !(a.Line > a.Usual && a.Line < a.Before) {
		t.Errorf("the line %v does not lie between usual %v and before %v", a.Line, a.Usual, a.Before)
	}
}

// A level that goes the way the trouble moves it was set by nobody; what somebody
// wrote down, or a target of a box, was set.
func TestTroubleMovesLevels(t *testing.T) {
	low := &evenstand.Finding{Kind: evenstand.KindLowVacuum, Stage: evenstand.Raised, Rows: evenstand.Rows{1, 2}, Since: 10}
	for _, tt := range []struct {
		name     string
		from, to float64
		level    bool
		want     bool
	}{
		{"fell, as measured", 5000, 3500, true, false},
		{"rose, as measured", 3500, 5000, true, true},
		{"from nobody knows what, as measured", math.NaN(), 5000, true, false},
		{"turned down, written", 5000, 3500, false, true},
	} {
		s := verify.Set{Lever: "vacuum", T: 20, From: tt.from, To: tt.to, Level: tt.level}
		if got := s.StoodOpen(low); got != tt.want {
			t.Errorf("%s: %v", tt.name, got)
		}
	}
	other := verify.Set{Lever: "vacuum", T: 20, Rows: evenstand.Rows{5}, From: 1, To: 2}
	late := verify.Set{Lever: "vacuum", T: 5, From: 1, To: 2}
	if other.StoodOpen(low) || late.StoodOpen(low) {
		t.Error("other rows, or before it began")
	}
}

// Of all rows there are no others: it says what they are held against instead.
func TestAllRowsAreHeldAgainst(t *testing.T) {
	nan := math.NaN()
	limit := verify.Plan{How: verify.ByMean, Measure: verify.Spacing, More: true, Limit: 0.2, Adds: nan, Ratio: nan, Usual: nan}
	ratio := verify.For(&evenstand.Finding{Kind: evenstand.KindRateOff, Evidence: []evenstand.Evidence{{Name: "actual over target", Value: 0.95}}})
	fix := change(verify.ForRows()[0])
	of := func(p verify.Plan) verify.Spec {
		s := spec(evenstand.KindRowSkips, doneAt)
		s.Plan = p
		return s
	}
	short := spec(evenstand.KindRowSkips, doneAt)
	short.Start = short.Since // nothing of before
	for _, tt := range []struct {
		name, want string
		s          verify.Spec
	}{
		{"a fix", "held against the time before", fix},
		{"skips", "held against the time before", spec(evenstand.KindRowSkips, doneAt)},
		{"nothing of before", "held against what is usual", short},
		{"a limit", "the limit is 20%", of(limit)},
		{"a target", "held against the target", of(ratio)},
	} {
		tt.s.Rows = nil
		c := day(12, tt.s, 4, 4, 2, 2, 1, 700).CheckBack("fix", advise.Voice{})
		if !strings.Contains(c.Says, tt.want) || strings.Contains(c.Says, "other rows") {
			t.Errorf("%s: %s", tt.name, c.Says)
		}
	}
}
