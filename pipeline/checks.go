package pipeline

import (
	"math"
	"slices"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/find"
	"evenstand/core/record"
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

	boxes   SettingsWatch  // nil: nobody watches
	over    int            // passes that were looked at for what was set
	set     []verify.Set   // what was taken as set
	touched []verify.Touch // rows to which something was done
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
			l.boxesSet()
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
	s.LeaveOut(l.checks.touched, card.Rows)
	return s
}

// done takes a line of a journal that says that something was done.
func (l *Live) done(e *evenstand.Entry) {
	if e.What == "fix" {
		l.arm(e.T, e.Rows, e.What, func(f *evenstand.Finding) bool { return verify.StoodOpen(f, e) })
	} else if s, ok := record.SettingOf(e); ok {
		l.changed(verify.Set{Lever: s.Lever, T: s.T, Rows: s.Rows, From: s.Was, To: s.To})
	}
}

// boxesSet takes what was set on boxes up to the end of a pass, which is when their
// levels tell. What was planted between a change and that counted for what was
// before, which a verdict only takes longer for.
func (l *Live) boxesSet() {
	if l.checks.boxes == nil || l.checks.over == l.s.cur {
		return
	}
	l.checks.over = l.s.cur
	for _, c := range l.checks.boxes.Changed(l.s.passes[:l.s.cur]) {
		l.changed(c)
	}
}

// toldWithin is how far apart two tellings of one change lie, by hand and by a box
// or by a box that knows more (judged, as for the journal of a book).
const toldWithin = 5 * 60 * evenstand.Second

// changed takes a setting that was changed, once.
func (l *Live) changed(c verify.Set) {
	k := &l.checks
	if rows := l.s.card.Rows; rows > 0 && len(c.Rows) >= rows {
		c.Rows = nil
	}
	if slices.ContainsFunc(k.set, func(o verify.Set) bool {
		apart := !math.IsNaN(o.To) && !math.IsNaN(c.To) && math.Abs(o.To-c.To) > 0.01*max(math.Abs(o.To), math.Abs(c.To))
		return o.Lever == c.Lever && !apart && max(o.T-c.T, c.T-o.T) <= toldWithin && (slices.Equal(o.Rows, c.Rows) || len(o.Rows) == 0 || len(c.Rows) == 0)
	}) {
		return
	}
	k.set = append(k.set, c)
	l.arm(c.T, c.Rows, "setting", c.StoodOpen)
}

// arm takes what was done to rows: it is checked where it can have been about a
// finding, and elsewhere these rows are peers no more.
func (l *Live) arm(at evenstand.Micros, rows evenstand.Rows, by string, about func(*evenstand.Finding) bool) {
	k := &l.checks
	touch := verify.Touch{T: at, Rows: rows}
	k.touched = append(k.touched, touch)
	for _, x := range k.all {
		if x.test == nil {
			continue
		}
		x.test.LeaveOut(touch, l.s.card.Rows)
		if about(&x.f) {
			x.test.Arm(at)
			x.by, x.said, x.begun = by, evenstand.VerdictOpen, false
		}
	}
}

// giveSlices hands on the stretches of the open pass that are over.
func (l *Live) giveSlices(t evenstand.Micros) {
	k, s := &l.checks, &l.s
	if len(k.all) == 0 {
		return
	}
	l.boxesSet()
	if s.cur >= len(s.passes) || !s.open {
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
