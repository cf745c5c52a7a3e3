package pipeline

import (
	"math"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/find"
	"evenstand/core/verify"
)

// checks are the check-backs of a feed: one that learns from each finding that
// stands raised, and counts once a line of the journal says that something was
// done about it. It knows nothing of before the finding was raised, which the
// settled answer does.
type checks struct {
	all   []*liveCheck
	pass  int   // of which stretches were given
	given int32 // of that pass
	rows  []evenstand.Stretch
}

// liveCheck is the check-back of one finding.
type liveCheck struct {
	n     int
	f     evenstand.Finding
	test  *verify.Test
	by    string
	said  string // the verdict that was told
	begun bool   // that it counts was told
}

// notYet is when something is done of which nobody has said anything.
const notYet = evenstand.Micros(math.MaxInt64 / 4)

// follow takes what became of findings.
func (l *Live) follow(cs []find.Change) {
	k := &l.checks
	for i := range cs {
		c := &cs[i]
		switch c.What {
		case find.ChangeRaised:
			x := &liveCheck{n: c.N, f: c.Finding}
			if p := verify.For(&c.Finding); p.How != verify.None {
				x.test = verify.New(l.spec(&c.Finding, p))
			}
			k.all = append(k.all, x)
		case find.ChangeTaken:
			for j, x := range k.all {
				if x.n == c.N {
					k.all = append(k.all[:j], k.all[j+1:]...)
					break
				}
			}
		default:
			for _, x := range k.all {
				if x.n == c.N {
					x.f = c.Finding
					if x.test != nil {
						until := evenstand.NoTime
						if x.f.Until != nil {
							until = *x.f.Until
						}
						x.test.Knows(verify.For(&x.f), until)
					}
				}
			}
		}
	}
}

func (l *Live) spec(f *evenstand.Finding, p verify.Plan) verify.Spec {
	card := &l.s.card
	s := verify.Spec{Plan: p, Rows: f.Rows, Since: f.Since, Sure: f.Since, Until: evenstand.NoTime, At: notYet, Start: evenstand.NoTime, Before: math.NaN(), Spacing: card.RowSpacing, Cells: card.Cells(1)}
	if !(s.Spacing > 0) {
		s.Spacing = math.NaN()
	}
	if len(f.Rows) > 0 {
		s.Cells = card.Cells(f.Rows[0])
	}
	if card.Rows > 0 && len(f.Rows) >= card.Rows {
		s.Rows = nil
	}
	if x, ok := advise.Figure(f, p.Measure); ok && p.How == verify.ByShare {
		s.Before = x
	}
	for _, x := range l.checks.all {
		if x.f.Until == nil && len(x.f.Rows) > 0 && 2*len(x.f.Rows) < card.Rows && !f.Rows.Has(x.f.Rows[0]) {
			s.Sick = append(s.Sick, x.f.Rows...)
		}
	}
	return s
}

// done takes a line of a journal that says that something was done.
func (l *Live) done(e *evenstand.Entry) {
	for _, x := range l.checks.all {
		if x.test != nil && verify.StoodOpen(&x.f, e) {
			x.test.Arm(e.T)
			x.by, x.said, x.begun = e.What, evenstand.VerdictOpen, false
		}
	}
}

// giveSlices hands on the stretches of the open pass that are over.
func (l *Live) giveSlices(t evenstand.Micros) {
	k, s := &l.checks, &l.s
	if len(k.all) == 0 || s.cur >= len(s.passes) || !s.open {
		return
	}
	p := &s.passes[s.cur]
	if k.pass != s.cur+1 {
		k.pass, k.given = s.cur+1, 0
	}
	// One more stretch must be behind, for seeds come later than places.
	over := int32((l.cursor.At(t).S-p.S0)/evenstand.StretchLength) - 1
	for ; k.given < over; k.given++ {
		k.rows = k.rows[:0]
		best := 0.0
		for _, r := range s.rows {
			if k.given < r.strBase {
				continue
			}
			st := *r.stretch(k.given)
			st.Pass, st.Length, st.Way, st.T = p.Index, evenstand.StretchLength, evenstand.StretchLength, t
			if r.xref > 0 {
				best = max(best, float64(st.Due)*r.xref/evenstand.StretchLength)
			}
			k.rows = append(k.rows, st)
		}
		for i := range k.rows {
			if best > 0.8 { // the others plant: a row that is silent misses
				s.silentGround(s.rows[int(k.rows[i].Row)-1], &k.rows[i], 1)
			}
		}
		for _, x := range k.all {
			if x.test != nil {
				x.test.Add(&verify.Slice{Lowered: p.Start, Rows: k.rows})
			}
		}
	}
}

// checked gives what is new of the check-backs.
func (l *Live) checked(t evenstand.Micros) (out []find.Change) {
	for _, x := range l.checks.all {
		if x.test == nil || x.by == "" {
			continue
		}
		v := x.test.Verdict()
		began := !x.begun && x.test.Counts()
		if v == x.said && !began {
			continue
		}
		x.said, x.begun = v, x.begun || began
		f := x.f
		cb := x.test.CheckBack(x.by, l.voice())
		f.CheckBack = &cb
		if v != evenstand.VerdictOpen {
			f.Status = evenstand.Checked
		}
		out = append(out, find.Change{What: find.ChangeChecked, N: x.n, At: t, Finding: f})
	}
	return out
}

func (l *Live) voice() advise.Voice {
	v := l.s.day.Voice
	v.AsOf = l.now
	return v
}

// Checks gives the check-backs that count, by the number of their finding.
func (l *Live) Checks() map[int]evenstand.CheckBack {
	out := map[int]evenstand.CheckBack{}
	for _, x := range l.checks.all {
		if x.test != nil && x.by != "" {
			out[x.n] = x.test.CheckBack(x.by, l.voice())
		}
	}
	return out
}
