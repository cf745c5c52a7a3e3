package score

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/sim"
)

// Report is the score of one or more days. Its lists merge; Summary draws the
// figures from them.
type Report struct {
	Days    []Day      `json:"days"`
	Matches []Match    `json:"matches"`
	Missed  []Miss     `json:"missed"`
	False   []Stray    `json:"false_findings"`
	Excused []Stray    `json:"excused"`   // true of a distractor or beside a fault: neither right nor false
	Upsets  int        `json:"upsets"`    // kept aside
	Hinted  int        `json:"suspected"` // not raised, not scored
	Places  []Position `json:"places,omitempty"`
	Clocks  []Clock    `json:"clocks,omitempty"`
	Taken   []Taken    `json:"taken"` // what each fault was taken for
}

// Day is one simulated day.
type Day struct {
	Scenario string  `json:"scenario"`
	Seed     uint64  `json:"seed"`
	Hours    float64 `json:"machine_hours"`
	Seeds    float64 `json:"seeds"`
	Faults   int     `json:"faults"`     // that happened, distractors aside
	Demanded int     `json:"detectable"` // of these
	Distract int     `json:"distractors"`
}

// Title names the day in lists.
func (d Day) Title() string { return fmt.Sprintf("%s, seed %d", d.Scenario, d.Seed) }

// Match is a fault that was found.
type Match struct {
	Day        string  `json:"day"`
	Fault      string  `json:"fault"`
	Kind       string  `json:"kind"`
	Found      string  `json:"found_as"`
	Finding    string  `json:"finding"`
	Detectable bool    `json:"detectable"`
	DelayS     float64 `json:"delay_s"`          // from the fault's start to the alarm, log time
	DelayTurns float64 `json:"delay_turns"`      // the same in turns of the disc while planting
	PlantingS  float64 `json:"delay_planting_s"` // the same in seconds of planting: turns and fills left out
	StartS     float64 `json:"start_error_s"`
	Jaccard    float64 `json:"rows_overlap"`
	Cause      string  `json:"first_cause"`
	CauseRight bool    `json:"cause_right"`
	CauseOdds  float64 `json:"cause_odds"` // probability given to the causes that count as right
	Money      *Money  `json:"money,omitempty"`
	Lasts      *Lasts  `json:"lasts,omitempty"` // of what was about to run out
}

// Lasts is the ground that was left in a tank or the seed boxes when they were
// filled, m2, beside the 90 % interval that was said.
type Lasts struct {
	Of   string  `json:"of"`
	True float64 `json:"true_m2"`
	Low  float64 `json:"low_m2"`
	Mid  float64 `json:"mid_m2"`
	High float64 `json:"high_m2"`
}

// Inside tells whether the truth lies within low to high.
func (l Lasts) Inside() bool { return l.True >= l.Low && l.True <= l.High }

// Money is the true loss beside what was said of it.
type Money struct {
	True float64 `json:"true"`
	Low  float64 `json:"low"`
	Mid  float64 `json:"mid"`
	High float64 `json:"high"`
}

// Inside tells whether the truth lies within low to high.
func (m Money) Inside() bool { return m.True >= m.Low && m.True <= m.High }

// Miss is a fault that should have been found.
type Miss struct {
	Day    string         `json:"day"`
	Fault  string         `json:"fault"`
	Kind   string         `json:"kind"`
	Rows   evenstand.Rows `json:"rows"`
	Params string         `json:"params"`
	Why    string         `json:"why"` // the nearest finding, and what keeps it from matching
}

// Stray is a raised finding that matches no fault.
type Stray struct {
	Day     string           `json:"day"`
	Finding string           `json:"finding"`
	Kind    string           `json:"kind"`
	Rows    evenstand.Rows   `json:"rows"`
	Since   evenstand.Micros `json:"since"`
	Alarm   evenstand.Micros `json:"alarm"`
	Why     string           `json:"why"`
}

// Score holds the findings of one day against its truth.
func Score(findings []evenstand.Finding, truth sim.Truth) Report {
	d := Day{Scenario: truth.Day.Scenario, Seed: truth.Day.Seed, Hours: truth.Day.Hours, Seeds: truth.Day.Seen}
	day := d.Title()
	var r Report
	var faults []*sim.Fault
	for i := range truth.Faults {
		f := &truth.Faults[i]
		switch {
		case !f.Happened:
		case f.Distract:
			d.Distract++
		default:
			d.Faults++
			if f.Detectable {
				d.Demanded++
			}
			faults = append(faults, f)
		}
	}
	r.Days = []Day{d}
	var raised []*evenstand.Finding
	for i := range findings {
		f := &findings[i]
		switch {
		case f.Kind == evenstand.KindUpset:
			r.Upsets++
		case f.Kind == evenstand.KindStopPays || f.Kind == evenstand.KindGoOnPays || f.Kind == evenstand.KindSettingBetter: // they rest on the others
		case f.Stage != evenstand.Raised:
			r.Hinted++
		default:
			raised = append(raised, f)
		}
	}
	at := workOf(truth.Passes)
	match := at.assign(raised, faults)
	found := map[*sim.Fault]bool{}
	for i, f := range raised {
		if t := match[i]; t != nil {
			found[t] = true
			r.Matches = append(r.Matches, compare(day, f, t, &truth))
		}
	}
	r.Taken = at.takenFor(day, raised, match, truth.Faults)
	for i, f := range raised {
		if match[i] != nil {
			continue
		}
		s := Stray{Day: day, Finding: f.ID, Kind: f.Kind, Rows: f.Rows, Since: f.Since, Alarm: f.Alarm}
		if by := at.excuse(f, truth.Faults); by != nil {
			s.Why = fmt.Sprintf("true beside %s (%s)", by.ID, by.Kind)
			r.Excused = append(r.Excused, s)
			continue
		}
		s.Why = "nothing of the kind was wrong there"
		if t := at.nearest(f, truth.Faults); t != nil {
			s.Why = at.apart(f, t, found[t])
		}
		r.False = append(r.False, s)
	}
	for _, t := range faults {
		if found[t] || !t.Detectable {
			continue
		}
		m := Miss{Day: day, Fault: t.ID, Kind: t.Kind, Rows: t.Rows, Params: params(t), Why: "no finding near it"}
		for _, f := range findings {
			if evenstand.Family(f.Kind) == evenstand.Family(t.Kind) && overlap(f.Rows, t.Rows) > 0 {
				m.Why = at.apart(&f, t, false)
				if f.Stage != evenstand.Raised {
					m.Why = "suspected only"
				}
			}
		}
		r.Missed = append(r.Missed, m)
	}
	return r
}

// overlap is the share of rows in common; a fault of no row in particular is
// of the same rows as a finding of none.
func overlap(a, b evenstand.Rows) float64 {
	if len(a) == 0 && len(b) == 0 {
		return 1
	}
	return a.Jaccard(b)
}

// assign matches findings and faults one to one, as many as possible, nearer
// starts first (augmenting paths; Kuhn 1955).
func (w work) assign(fs []*evenstand.Finding, ts []*sim.Fault) []*sim.Fault {
	owner := make([]int, len(ts))
	for i := range owner {
		owner[i] = -1
	}
	choices := make([][]int, len(fs))
	order := make([]int, len(fs))
	for i, f := range fs {
		order[i] = i
		for j, t := range ts {
			if w.fits(f, t) {
				choices[i] = append(choices[i], j)
			}
		}
		slices.SortStableFunc(choices[i], func(a, b int) int { return cmp.Compare(w.distance(f, ts[a]), w.distance(f, ts[b])) })
	}
	slices.SortStableFunc(order, func(a, b int) int {
		near := func(i int) evenstand.Micros {
			if len(choices[i]) == 0 {
				return math.MaxInt64
			}
			return w.distance(fs[i], ts[choices[i][0]])
		}
		return cmp.Compare(near(a), near(b))
	})
	var try func(i int, seen []bool) bool
	try = func(i int, seen []bool) bool {
		for _, j := range choices[i] {
			if seen[j] {
				continue
			}
			seen[j] = true
			if owner[j] < 0 || try(owner[j], seen) {
				owner[j] = i
				return true
			}
		}
		return false
	}
	for _, i := range order {
		try(i, make([]bool, len(ts)))
	}
	out := make([]*sim.Fault, len(fs))
	for j, i := range owner {
		if i >= 0 {
			out[i] = ts[j]
		}
	}
	return out
}

// compare fills a match.
func compare(day string, f *evenstand.Finding, t *sim.Fault, truth *sim.Truth) Match {
	m := Match{Day: day, Fault: t.ID, Kind: t.Kind, Found: f.Kind, Finding: f.ID, Detectable: t.Detectable, Jaccard: overlap(f.Rows, t.Rows)}
	m.StartS = (f.Since - t.From).Seconds()
	m.DelayS = (f.Alarm - t.From).Seconds()
	var places float64
	places, m.PlantingS = planted(truth.Passes, t.From, f.Alarm)
	m.DelayTurns = places / float64(max(truth.Day.Cells, 1))
	m.Cause = firstCause(f)
	for _, c := range f.Causes {
		if slices.Contains(t.Causes, c.Cause) {
			m.CauseOdds += c.Probability
		}
	}
	m.CauseRight = slices.Contains(t.Causes, m.Cause)
	low, mid, high := float64(f.Money.SoFar.Low), float64(f.Money.SoFar.Mid), float64(f.Money.SoFar.High)
	// The range holds "if the named cause is right": a dead sensor loses
	// nothing, and a finding that named another cause is not held to that.
	other := (t.Cause == evenstand.CauseSensor) != (m.Cause == evenstand.CauseSensor)
	other = other || t.Kind == evenstand.KindTurnRate // the simulator puts no money on it
	other = other || t.Kind == evenstand.KindDirtyFurrow
	other = other || evenstand.OfField(t.Kind) // nor on the ground of a field, but for what can still be planted
	if !math.IsNaN(low) && !math.IsNaN(high) && f.Money.Unit != "" && !other {
		m.Money = &Money{True: t.Loss.Seed + t.Loss.Yield, Low: low, Mid: mid, High: high}
		if f.Money.Unit == "bu" {
			m.Money.True = t.Bushels
		}
	}
	if t.Kind == evenstand.KindRefillSoon {
		m.Lasts = lasts(f, t)
	}
	return m
}

// lasts compares how far what runs out first goes, where finding and truth speak
// of the same.
func lasts(f *evenstand.Finding, t *sim.Fault) *Lasts {
	var l *Lasts
	for _, e := range f.Evidence {
		name, ok := strings.CutPrefix(e.Name, "left: ")
		switch {
		case e.Name == "lasts":
			l = &Lasts{True: t.Params["area_m2"], Low: float64(e.Low), Mid: float64(e.Value), High: float64(e.High)}
		case ok && l != nil:
			l.Of = name
			if (name == "seed") != (t.Variant == "seed") || l.True < 0 { // no box holds less than nothing
				return nil
			}
			return l
		}
	}
	return nil
}

// planted counts a row's places due between two instants, and the seconds in
// which the planter was down.
func planted(passes []sim.PassTruth, from, to evenstand.Micros) (places, seconds float64) {
	for _, p := range passes {
		a, b := max(p.Start, from), min(p.End, to)
		if b > a {
			seconds += (b - a).Seconds()
			places += p.Places * float64(b-a) / float64(p.End-p.Start)
		}
	}
	return places, seconds
}

// excuse gives the fault or distractor that makes a finding true though it is
// not the finding that was asked for.
func (w work) excuse(f *evenstand.Finding, ts []sim.Fault) *sim.Fault {
	for i := range ts {
		t := &ts[i]
		if !t.Happened || !slices.Contains(t.Excused, f.Kind) {
			continue
		}
		// Ground that was left is said of a field, whatever left it; of no rows in
		// particular it is under or beside the bar.
		if f.Kind == evenstand.KindUnplantedLeft && (overlap(f.Rows, t.Rows) > 0 || len(f.Rows) == 0 && len(t.Rows) >= 8 && w.near(f.Since, t)) || overlap(f.Rows, t.Rows) >= 0.5 && w.near(f.Since, t) {
			return t
		}
	}
	return nil
}

// nearest gives the fault that a stray finding most likely means: of its
// family first, else on its rows at its time.
func (w work) nearest(f *evenstand.Finding, ts []sim.Fault) *sim.Fault {
	var best *sim.Fault
	score := 0.0
	for i := range ts {
		t := &ts[i]
		if !t.Happened || overlap(f.Rows, t.Rows) == 0 {
			continue
		}
		s := overlap(f.Rows, t.Rows)
		if evenstand.Family(f.Kind) == evenstand.Family(t.Kind) {
			s += 2
		}
		if w.near(f.Since, t) {
			s += 2
		}
		if s > score && s >= 2 {
			best, score = t, s
		}
	}
	return best
}

// apart says why a finding and a fault do not match.
func (w work) apart(f *evenstand.Finding, t *sim.Fault, taken bool) string {
	what := fmt.Sprintf("%s (%s, rows %s)", t.ID, t.Kind, t.Rows)
	switch {
	case evenstand.Family(f.Kind) != evenstand.Family(t.Kind):
		return fmt.Sprintf("said of %s", what)
	case overlap(f.Rows, t.Rows) < 0.5:
		return fmt.Sprintf("rows %s, but %s", f.Rows, what)
	case w.distance(f, t) > w.slack(t):
		return fmt.Sprintf("starts %v away from %s", time.Duration(f.Since-t.From)*time.Microsecond/time.Second*time.Second, what)
	case taken:
		return fmt.Sprintf("second finding of %s", what)
	}
	return "another finding was nearer to " + what
}

func params(t *sim.Fault) string {
	s := fmt.Sprintf("%s, %.0f turns", t.Variant, t.Turns)
	for _, k := range slices.Sorted(maps.Keys(t.Params)) {
		s += fmt.Sprintf(", %s %.4g", k, t.Params[k])
	}
	return s
}

// Merge adds other days to the report.
func (r *Report) Merge(o Report) {
	r.Days = append(r.Days, o.Days...)
	r.Matches = append(r.Matches, o.Matches...)
	r.Missed = append(r.Missed, o.Missed...)
	r.False = append(r.False, o.False...)
	r.Excused = append(r.Excused, o.Excused...)
	r.Places = append(r.Places, o.Places...)
	r.Clocks = append(r.Clocks, o.Clocks...)
	r.Taken = append(r.Taken, o.Taken...)
	r.Upsets += o.Upsets
	r.Hinted += o.Hinted
}
