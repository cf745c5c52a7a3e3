package book

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"evenstand"
	"evenstand/core/advise"
	"evenstand/core/price"
	"evenstand/core/stat"
	"evenstand/core/try"
	"evenstand/core/try/balance"
	"evenstand/core/try/effect"
)

const second = evenstand.Second

var psi = evenstand.PSI

// cleanersTried is a day of 16 rows on which the row cleaners of rows 1 to 8 were
// set from 22 psi to 28, to 20 and back: more of it means less trash and a
// little less moisture, whatever the ground does.
func cleanersTried(t *testing.T) *standing {
	t.Helper()
	const rows, passes, steps, wide = 16, 12, 40, 0.762
	changes := []try.Change{}
	at := func(pass int) evenstand.Micros { return evenstand.Micros(pass) * 400 * second }
	set := []float64{22, 28, 20, 22, 28}
	for i, pass := range []int{2, 4, 6, 8} {
		x := try.Change{Lever: "cleaner_pressure", T: at(pass), Early: at(pass), Late: at(pass), From: set[i] * psi, To: set[i+1] * psi}
		for r := 1; r <= 8; r++ {
			x.Rows = append(x.Rows, r)
		}
		changes = append(changes, x)
	}
	// The last is taken back, so that all rows stand at 22 again.
	back := changes[3]
	back.T, back.From, back.To = at(10), 28*psi, 22*psi
	back.Early, back.Late = back.T, back.T
	changes = append(changes, back)
	follow := try.Follow("cleaner_pressure", changes)
	p := try.NewPanel("p", "2026-05-02", rows, wide, measuresOf(append(slices.Clone(effect.Names), "speed", "vacuum", "force")))
	r := stat.NewRand(7, "cleaners tried")
	ground := 0.0
	for pass := range passes {
		var ss []evenstand.Stretch
		for k := range steps {
			ground = 0.95*ground + 0.01*r.NormFloat64()
			for row := 1; row <= rows; row++ {
				s := evenstand.Stretch{Pass: int32(pass), Row: int16(row), K: int32(k), Length: 15, Way: 15, T: at(pass) + evenstand.Micros(8*k)*second}
				v := follow.Value(row, s.T)
				if math.IsNaN(v) {
					v = 22 * psi
				}
				u := (v/psi - 22) / 8
				s.Trash.Add(0.12 - 0.02*u + 0.003*u*u + ground + 0.006*r.NormFloat64())
				s.Moisture.Add(0.22 - 0.003*u + 0.004*r.NormFloat64())
				s.Speed.Add(2.2)
				ss = append(ss, s)
			}
		}
		p.Add(&evenstand.Pass{Index: int32(pass), Start: at(pass), End: at(pass) + 320*second, Field: "north place", S1: 600}, ss)
	}
	card := evenstand.NewCard()
	card.Rows, card.RowSpacing = rows, wide
	set1 := evenstand.NewSettings()
	set1.Limits = []evenstand.Limit{
		{Of: evenstand.SeedZoneMoisture, Least: 0.18, Most: math.NaN()},
		{Of: evenstand.CleanerPressure, Least: 10 * psi, Most: 50 * psi},
	}
	tried := Tried{Changes: changes}
	for _, f := range effect.NewDay(p, changes).Effects() {
		tried.Found = append(tried.Found, f)
		if f.Known() {
			tried.Effects = append(tried.Effects, f.Effect)
		}
	}
	s := &standing{
		set: set1, day: &DaySummary{Planter: "p", Day: "1970-01-01", AsOf: at(passes), Passes: passes}, card: card, p: p, tried: tried,
		field: "north place", left: 40 * evenstand.Acre, pass: 600, v: advise.Voice{Zone: time.UTC, Units: evenstand.US},
	}
	s.look()
	return s
}

func leverNamed(t *testing.T, name string) balance.Lever {
	t.Helper()
	l, ok := balance.LeverOf(name)
	if !ok {
		t.Fatal(name)
	}
	return l
}

func TestLever(t *testing.T) {
	s := cleanersTried(t)
	x, ok := s.lever(leverNamed(t, "cleaner_pressure"))
	if !ok || x.Unit != "" || math.Abs(x.Now-22*psi) > 1 {
		t.Fatalf("%v: %+v", ok, x)
	}
	a := x.Advice
	if a.Verdict != balance.Try || a.Next <= x.Now || a.Next > 50*psi || a.Rows != 8 {
		t.Fatalf("%s at %g psi on %d rows: %s", a.Verdict, a.Next/psi, a.Rows, x.Said.Sentence)
	}
	for _, want := range []string{"Try the row cleaners at ", "likely less trash in the slot", "seed-zone moisture stays within your limit"} {
		if !strings.Contains(x.Said.Sentence, want) {
			t.Errorf("%q: want %q", x.Said.Sentence, want)
		}
	}
	t.Log(x.Said.Sentence, x.Said.Rests, x.Assumed)
	fs := settingBetter([]Lever{x})
	if len(fs) != 1 || fs[0].Kind != evenstand.KindSettingBetter || fs[0].Sentence != x.Said.Sentence || fs[0].Money.Unit != "" || fs[0].ID == "" {
		t.Fatalf("%+v", fs)
	}
	if e := fs[0].Evidence[0]; e.Unit != "kPa" || math.Abs(float64(e.Value)-22*psi/1000) > 0.1 {
		t.Errorf("stands at %+v", e)
	}
	w := ViewBalance([]Lever{x}, s.v)
	if len(w.Levers) != 1 || len(w.Levers[0].Panels) != 2 || w.Levers[0].Shown.Unit != "psi" || w.Levers[0].Note == "" {
		t.Errorf("%+v", w.Levers)
	}

	// Without limits nothing is tried, and what is missing is said.
	s.set.Limits = s.set.Limits[:1]
	x, ok = s.lever(leverNamed(t, "cleaner_pressure"))
	if !ok || x.Advice.Verdict != balance.Cannot || len(x.Needs) != 1 || len(settingBetter([]Lever{x})) != 0 {
		t.Errorf("without limits: %s, %q", x.Advice.Verdict, x.Needs)
	}
	// What nobody set, logs or limits is nobody's matter.
	if _, ok := s.lever(leverNamed(t, "closer_pressure")); ok {
		t.Error("closing wheels that nobody speaks of")
	}
}

// What some rows are at is left until it can be told, then kept or set back.
func TestTrying(t *testing.T) {
	s := cleanersTried(t)
	s.tried.Changes = s.tried.Changes[:4] // rows 1 to 8 stand at 28
	x, _ := s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Advice.Verdict != balance.Keep || math.Abs(x.Now-22*psi) > 1 || !strings.Contains(x.Said.Sentence, "of all rows to 28 psi") || len(settingBetter([]Lever{x})) != 1 {
		t.Errorf("%s now %g psi, %q", x.Advice.Verdict, x.Now/psi, x.Said.Sentence)
	}
	t.Log(x.Said.Sentence, x.Said.Note)
	s.tried.Changes[3].T = s.p.Steps[len(s.p.Steps)-8].T
	x, _ = s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Advice.Verdict != balance.Trying || !strings.Contains(x.Trying, "28 psi on rows 1 to 8 since ") || len(settingBetter([]Lever{x})) != 0 {
		t.Errorf("%s %q", x.Advice.Verdict, x.Trying)
	}
	t.Log(x.Said.Sentence)
	s = cleanersTried(t)
	s.tried.Changes = s.tried.Changes[:4]
	s.tried.Changes[3].To = 12 * psi
	for i := range s.tried.Effects { // which did the contrary
		if e := &s.tried.Effects[i]; e.Change.T == s.tried.Changes[3].T {
			e.Change.To, e.Value = 12*psi, -e.Value
		}
	}
	x, _ = s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Advice.Verdict != balance.Undo || !strings.Contains(x.Said.Note, "cleaners 12 to 22 psi") || len(x.Said.Rows) != 8 {
		t.Errorf("%s %q %q", x.Advice.Verdict, x.Said.Sentence, x.Said.Note)
	}
	t.Log(x.Said.Sentence, x.Said.Note)

	// Where that change told nothing, nothing is kept and nothing is set back.
	s = cleanersTried(t)
	s.tried.Changes = s.tried.Changes[:4]
	since := s.tried.Changes[3].T
	s.tried.Effects = slices.DeleteFunc(s.tried.Effects, func(e try.Effect) bool { return e.Change.T == since && e.Measure == "trash" })
	for i := range s.tried.Found {
		if f := &s.tried.Found[i]; f.Change.T == since {
			f.Why, f.Value = effect.Mixed, math.NaN()
		}
	}
	x, _ = s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Advice.Verdict == balance.Keep || x.Advice.Verdict == balance.Undo {
		t.Errorf("told by nothing: %s %q", x.Advice.Verdict, x.Said.Sentence)
	}
	s.tried.Effects = slices.DeleteFunc(s.tried.Effects, func(e try.Effect) bool { return e.Change.T == since })
	x, _ = s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Advice.Verdict != balance.NotTold || !strings.Contains(x.Said.Sentence, "another setting was changed") || x.Said.Do == "" || x.Said.Note != "" || len(settingBetter([]Lever{x})) != 0 {
		t.Errorf("%s %q %q", x.Advice.Verdict, x.Said.Sentence, x.Said.Do)
	}
	t.Log(x.Said.Sentence, x.Said.Do)
}

// How things stand is that of the present setting: of the rows that are not being
// tried, since the setting was last changed.
func TestStood(t *testing.T) {
	p := try.NewPanel("p", "1970-01-01", 16, 0.762, measuresOf([]string{"moisture"}))
	r := stat.NewRand(7, "stood")
	common := 0.0
	for pass := range 8 {
		var ss []evenstand.Stretch
		for k := range 40 {
			if k%20 == 0 { // neighbouring stretches resemble each other
				common = 0.01 * r.NormFloat64()
			}
			for row := 1; row <= 16; row++ {
				s := evenstand.Stretch{Pass: int32(pass), Row: int16(row), K: int32(k), Way: 15, Length: 15, T: evenstand.Micros(pass*400+8*k) * second}
				m := 0.30 + common + 0.001*r.NormFloat64()
				if pass >= 2 {
					m -= 0.08 // all were set
				}
				if row <= 8 && pass >= 5 {
					m -= 0.06 // tried
				}
				s.Moisture.Add(m)
				ss = append(ss, s)
			}
		}
		p.Add(&evenstand.Pass{Index: int32(pass), Start: evenstand.Micros(pass*400) * second, Field: "n"}, ss)
	}
	some := evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}
	at := func(pass int) evenstand.Micros { return evenstand.Micros(pass*400-40) * second }
	s := standing{p: p, day: &DaySummary{Day: "1970-01-01", AsOf: at(8)}, tried: Tried{Changes: []try.Change{
		{Lever: "x", T: at(2), Late: at(2), From: 1, To: 2},
		{Lever: "x", T: at(5), Late: at(5), Rows: some, From: 2, To: 3},
	}}}
	x := &Lever{Lever: balance.Lever{Name: "x"}, Now: 2}
	a := &balance.Aim{Measure: "moisture", Spread: 0.03}
	now, se := s.stood(x, a, some, 3, at(5))
	// 4 blocks of 300 m that scatter by 0.01: an error of about 0.005, where rows
	// would say 0.001 / sqrt(8 × 80).
	if math.Abs(now-0.22) > 0.015 || se < 0.002 || se > 0.012 {
		t.Errorf("stands at %g ± %g, want 0.22 ± about 0.005", now, se)
	}
	// All were set a minute ago: as it was before, and nobody knows what that did.
	s.tried.Changes = append(s.tried.Changes, try.Change{Lever: "x", T: at(8), Late: at(8) + 90*second, From: 2, To: 4})
	s.day.AsOf = at(8) + second
	if _, se = s.stood(x, a, nil, math.NaN(), 0); se < 0.03 {
		t.Errorf("nothing planted since: ± %g", se)
	}
}

// Speed is weighed only where an hour has a price, and then not for its stand
// alone.
func TestSpeedNeedsAnHour(t *testing.T) {
	s := cleanersTried(t)
	s.set.Price, s.set.Yield = 4.5/25.4, 1.2
	s.set.Limits = append(s.set.Limits, evenstand.Limit{Of: evenstand.GroundSpeed, Least: 1.8, Most: 3.1})
	s.measures["skips"] = response{0.02, 0.005, 0.01}
	x, _ := s.lever(leverNamed(t, "ground_speed"))
	if x.Advice.Verdict != balance.Cannot || !slices.ContainsFunc(x.Needs, func(n string) bool { return strings.Contains(n, "an hour") }) {
		t.Errorf("%s %q", x.Advice.Verdict, x.Needs)
	}
	s.set.Machine = 120
	x, _ = s.lever(leverNamed(t, "ground_speed"))
	if x.Problem.Fixed == nil || x.Advice.Verdict == balance.Cannot {
		t.Fatalf("%s %q", x.Advice.Verdict, x.Needs)
	}
	hour, _ := price.Hour("2026-05-02", price.Context{Settings: s.set, FieldLeft: s.left})
	want := hour / 3600 / (2 * x.Problem.Width)
	if got := x.Problem.Fixed(2); math.Abs(got-want) > 1e-9 {
		t.Errorf("a m2 at 2 m/s costs %g, want %g", got, want)
	}
}

// What a box found otherwise on some rows, and nobody wrote down as set, is no
// try; nor is what was set long ago one of now.
func TestNoTry(t *testing.T) {
	s := cleanersTried(t)
	s.tried.Changes = s.tried.Changes[:4] // rows 1 to 8 stand at 28
	s.tried.Changes[3].Unsaid, s.tried.Changes[3].Source = true, "row monitor"
	x, _ := s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Trying != "" || x.Problem.TriedRows != nil || !slices.ContainsFunc(x.Assumed, func(a string) bool { return strings.Contains(a, "rows 1 to 8 otherwise") }) {
		t.Errorf("a fault is a try: %q %v %q", x.Trying, x.Problem.TriedRows, x.Assumed)
	}
	card := evenstand.NewCard()
	card.Rows = 16
	level := BoxLine{T: 100 * second, Early: 90 * second, What: "level", Planter: "p", Rows: "1-8", Quantity: "cleaner_pressure", Was: 22 * evenstand.Number(psi), Value: 28 * evenstand.Number(psi), Source: "row monitor"}
	said := JournalLine{ID: 1, Planter: "p", Entry: evenstand.Entry{T: 95 * second, What: "setting", Rows: evenstand.Rows{1, 2, 3, 4, 5, 6, 7, 8}, Value: 28, Unit: "psi", Note: "cleaner_pressure, was 22 psi"}}
	if c := Join(nil, []BoxLine{level}).Changes(&card); len(c) != 1 || !c[0].Unsaid {
		t.Errorf("a level that nobody wrote down: %+v", c)
	}
	if c := Join([]JournalLine{said}, []BoxLine{level}).Changes(&card); len(c) != 1 || c[0].Unsaid {
		t.Errorf("a level that somebody wrote down: %+v", c)
	}
	s = cleanersTried(t)
	s.tried.Changes = s.tried.Changes[:4]
	s.day.AsOf += 30 * 24 * 3600 * second
	x, _ = s.lever(leverNamed(t, "cleaner_pressure"))
	if x.Trying != "" || !slices.ContainsFunc(x.Assumed, func(a string) bool { return strings.Contains(a, "has stood at 28 psi on rows 1 to 8") }) {
		t.Errorf("of a month ago: %q %q %q", x.Advice.Verdict, x.Trying, x.Assumed)
	}
}

// Limits are said by command as book.toml has them.
func TestSayLimits(t *testing.T) {
	dir := t.TempDir() + "/b"
	made := evenstand.NewSettings()
	made.Name, made.Zone = "b", "UTC"
	if err := Create(dir, made, nil, nil); err != nil {
		t.Fatal(err)
	}
	b, err := Open(dir, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	for _, bad := range []string{"cleaner_pressure", "wind = 1 to 2", "cleaner_pressure = 40psi to 15psi"} {
		if err := b.SayLimits(t.Context(), []string{bad}); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
	if err := b.SayLimits(t.Context(), []string{"cleaner_pressure = 15psi to 40psi", "vacuum = at most 24inH2O"}); err != nil {
		t.Fatal(err)
	}
	if err := b.SayLimits(t.Context(), []string{"vacuum = none"}); err != nil {
		t.Fatal(err)
	}
	set := b.Settings()
	if l := set.Limit(evenstand.CleanerPressure); math.Abs(l.Least-15*psi) > 1 || math.Abs(l.Most-40*psi) > 1 || set.Limit(evenstand.Vacuum).Set() {
		t.Errorf("%+v", set.Limits)
	}
}
