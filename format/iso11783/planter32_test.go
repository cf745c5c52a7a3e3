package iso11783_test

import (
	"math"
	"os"
	"slices"
	"testing"

	"evenstand"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

func openPlanter(t testing.TB) *iso11783.Set {
	sets, unused, err := iso11783.Open(t.Context(), os.DirFS(formattest.Shared(t, "samples/planter-32row")))
	if err != nil || len(sets) != 1 || len(unused) > 0 || len(sets[0].Unused) > 0 {
		t.Fatalf("%d sets, unused %v, err %v", len(sets), unused, err)
	}
	return sets[0]
}

func joinPlanter(t testing.TB, s *iso11783.Set) (*iso11783.Joiner, []*iso11783.Log) {
	task := s.Tasks[3]
	var logs []*iso11783.Log
	for _, n := range task.Logs {
		l, err := s.OpenLog(n)
		if err != nil {
			t.Fatal(err)
		}
		logs = append(logs, l)
	}
	j, err := s.Join(logs)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(j.Close)
	return j, logs
}

// Expected values of this file: samples/README.md, "planter-32row", worked out
// there by an independent script.

func TestPlanterSet(t *testing.T) {
	s := openPlanter(t)
	if s.Major != 4 || s.Minor != 2 || len(s.Parts) != 9 || s.LinkList == "" {
		t.Errorf("version %d.%d, %d parts, link list %q; want 4.2, 9 parts and a link list", s.Major, s.Minor, len(s.Parts), s.LinkList)
	}
	kinds := map[iso11783.ElementType]int{}
	n := 0
	for _, d := range s.Devices {
		for _, e := range d.Elements {
			kinds[e.Type]++
			n++
		}
	}
	if len(s.Devices) != 3 || n != 141 {
		t.Errorf("%d devices, %d elements; want 3 and 141", len(s.Devices), n)
	}
	for k, want := range map[iso11783.ElementType]int{
		iso11783.TypeDevice: 3, iso11783.TypeNavigation: 1, iso11783.TypeConnector: 3,
		iso11783.TypeFunction: 6, iso11783.TypeSection: 64, iso11783.TypeUnit: 64,
	} {
		if kinds[k] != want {
			t.Errorf("%d elements of type %d, want %d", kinds[k], k, want)
		}
	}
	if len(s.Tasks) != 4 || s.Tasks[3].ID != "TSK4" || s.Tasks[3].Status != 4 {
		t.Fatalf("%d tasks, the last %+v", len(s.Tasks), s.Tasks[len(s.Tasks)-1])
	}
	for _, task := range s.Tasks {
		g, err := s.ReadGrid(task)
		if err != nil || g == nil || g.Cols != 14 || g.Rows != 14 || g.Type != 2 || len(g.Values) != 196 {
			t.Errorf("grid of %s: %+v, %v; want 14 x 14 of type 2", task.ID, g, err)
		}
	}
	if len(s.Links) != 1 || s.Links[0].Type != 1 || len(s.Links[0].Links) < 140 {
		t.Errorf("link groups %+v", s.Links)
	}
}

func TestPlanterJoin(t *testing.T) {
	s := openPlanter(t)
	j, logs := joinPlanter(t, s)
	var widths []int
	for _, l := range logs {
		widths = append(widths, len(l.Header.Columns))
	}
	if !slices.Equal(widths, []int{255, 255, 235}) || len(j.Columns) != 745 {
		t.Errorf("columns %v joined to %d; want 255, 255, 235 and 745", widths, len(j.Columns))
	}
	ddis := map[int]bool{}
	for _, c := range j.Columns {
		ddis[int(c.DDI)] = true
	}
	var got []int
	for d := range ddis {
		got = append(got, d)
	}
	slices.Sort(got)
	want := []int{
		2, 3, 4, 5, 12, 13, 14, 15, 67, 70, 119, 134, 135, 141, 142, 143, 144, 145, 146, 157, 158, 160, 161, 162, 205, 206,
		367, 368, 397, 415, 417, 419, 426, 427, 466, 59300, 59400, 60000, 60002, 60003, 60004, 60015,
	}
	if !slices.Equal(got, want) {
		t.Errorf("DDIs\n got %v\nwant %v", got, want)
	}
	records, values, max12 := 0, 0, int32(0)
	var first, second, last iso11783.JoinedRecord
	var w, sth, e, n int32 = math.MaxInt32, math.MaxInt32, math.MinInt32, math.MinInt32
	for j.Next() {
		r := j.Record()
		if r.Logs != 3 {
			t.Fatalf("record %d joins %d logs, want 3", records, r.Logs)
		}
		if r.Status != 1 {
			t.Fatalf("record %d: status %d, want 1", records, r.Status)
		}
		switch records {
		case 0:
			first = *r
		case 1:
			second = *r
		}
		last = *r
		records++
		values += len(r.Values)
		for _, v := range r.Values {
			if j.Columns[v.Column].DDI == 12 {
				max12 = max(max12, v.Raw)
			}
		}
		w, e, sth, n = min(w, r.East), max(e, r.East), min(sth, r.North), max(n, r.North)
	}
	if records != 3633 || values != 19090 || max12 != 85720 {
		t.Errorf("%d records, %d values, highest rate %d; want 3633, 19090, 85720", records, values, max12)
	}
	if first.Millis != second.Millis || first.North != second.North || first.East != second.East {
		t.Error("records 0 and 1 must be kept apart at the same time and place")
	}
	if first.Sats != 16 || first.PDOP != 8 || first.HDOP != 6 {
		t.Errorf("first record: %d satellites, PDOP %d, HDOP %d; want 16, 8, 6", first.Sats, first.PDOP, first.HDOP)
	}
	// 07:30:52.200 and 07:36:52.650 on 2022-10-19, day 15632 since 1980
	if first.Date != 15632 || first.Millis != 27052200 || last.Millis != 27412650 {
		t.Errorf("from day %d %d ms to %d ms", first.Date, first.Millis, last.Millis)
	}
	if w != 80297518 || sth != 523593078 || e != 80349090 || n != 523597005 {
		t.Errorf("bbox %d %d %d %d", w, sth, e, n)
	}
	for i := range 3 {
		if d := j.Scanner(i).Damage(); len(d) > 0 || j.Records[i] != 3633 || j.Alone[i] != 0 {
			t.Errorf("log %d: damage %v, %d records, %d alone", i, d, j.Records[i], j.Alone[i])
		}
	}
}

func TestPlanterLayout(t *testing.T) {
	s := openPlanter(t)
	j, _ := joinPlanter(t, s)
	held := map[iso11783.ColumnKey]int32{}
	for j.Next() {
		for _, v := range j.Record().Values {
			held[j.Columns[v.Column].Key()] = v.Raw
		}
	}
	l := s.NewLayout(s.Tasks[3], j.Columns, func(d iso11783.DDI, e string) (int32, bool) {
		v, ok := held[iso11783.ColumnKey{DDI: d, Element: e, PGN: -1}]
		return v, ok
	})
	near := func(name string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-9 {
			t.Errorf("%s = %g, want %g", name, got, want)
		}
	}
	near("antenna X", l.Antenna.X, 1.250)
	near("antenna Y", l.Antenna.Y, 0)
	near("rear connector X", l.RearConnector.X, 0)
	near("planter connector X", l.Connector.X, 6.568)
	near("planter connector Y", l.Connector.Y, -0.190)
	if l.Hitch != evenstand.Trailed { // kind 1, drawbar
		t.Errorf("hitch %q, want trailed", l.Hitch)
	}
	if len(l.Rows) != 32 {
		t.Fatalf("%d rows, want 32", len(l.Rows))
	}
	var numbers []int
	for i, r := range l.Rows {
		near("row Y", r.Y, -5.906+0.381*float64(i))
		near("row width", r.Width, 0.381)
		numbers = append(numbers, r.Element.Number)
	}
	// unit elements 369..386, then 113..126: not consecutive
	want := []int{}
	for k := 369; k <= 386; k++ {
		want = append(want, k)
	}
	for k := 113; k <= 126; k++ {
		want = append(want, k)
	}
	if !slices.Equal(numbers, want) {
		t.Errorf("rows are elements %v", numbers)
	}
	card := l.Card()
	near("antenna to hitch", card.Geometry.AntennaToHitch, 1.250)
	near("hitch to row line", card.Geometry.HitchToRowLine, 6.568+0.730)
	near("antenna right", card.Geometry.AntennaRight, 0)
	near("row spacing", card.RowSpacing, 0.381)

	// The worked check of the reference, section 6: heading 90 degrees, antenna
	// at 41.6 N 93.6 W, coupled rigidly. Row 1 is 8.548 m west and 5.716 m north
	// of the antenna, row 32 8.548 m west and 6.095 m south.
	for _, tt := range []struct {
		row         int
		west, north float64
		lat, lon    float64
	}{
		{1, 8.548, 5.716, 41.60005147, -93.60010253},
		{32, 8.548, -6.095, 41.59994512, -93.60010253},
	} {
		g := card.Geometry
		back := g.AntennaToHitch + g.HitchToRowLine // behind the antenna, so west of it
		right := card.Y(tt.row) - g.AntennaRight    // right of it, so south
		near("west", back, tt.west)
		near("north", -right, tt.north)
		// WGS 84 radii of curvature in the meridian and the prime vertical
		const a, f = 6378137.0, 1 / 298.257223563
		e2 := f * (2 - f)
		sin := math.Sin(41.6 * math.Pi / 180)
		m := a * (1 - e2) / math.Pow(1-e2*sin*sin, 1.5)
		p := a / math.Sqrt(1-e2*sin*sin) * math.Cos(41.6*math.Pi/180)
		lat, lon := 41.6-right/m*180/math.Pi, -93.6-back/p*180/math.Pi
		if math.Abs(lat-tt.lat) > 6e-9 || math.Abs(lon-tt.lon) > 6e-9 {
			t.Errorf("row %d at %.8f, %.8f; want %.8f, %.8f", tt.row, lat, lon, tt.lat, tt.lon)
		}
	}
}

// TestPlanterRows follows the README's own recipe: state and values carried
// forward, step distance of the antenna, no latency shift.
func TestPlanterRows(t *testing.T) {
	s := openPlanter(t)
	j, _ := joinPlanter(t, s)
	row := map[string]int{} // element id of a seed unit to row
	{
		l := s.NewLayout(s.Tasks[3], j.Columns, offsetsOf(t, s))
		for i, r := range l.Rows {
			row[r.Element.ID] = i
		}
	}
	type sums struct{ m, seeds, skips, sing, force, n float64 }
	var rows [32]sums
	held := map[iso11783.ColumnKey]int32{}
	key := func(d iso11783.DDI, e string) iso11783.ColumnKey {
		return iso11783.ColumnKey{DDI: d, Element: e, PGN: -1}
	}
	unit := make([]string, 32)
	for id, r := range row {
		unit[r] = id
	}
	var lastN, lastE int32
	path, active := 0.0, 0
	lit := func(r int) bool {
		v := uint32(held[key(iso11783.DDI(161+r/16), "DET-8")])
		return v>>(2*(r%16))&3 == 1
	}
	for n := 0; j.Next(); n++ {
		rec := j.Record()
		step := 0.0
		if n > 0 {
			step = greatCircle(lastN, lastE, rec.North, rec.East)
		}
		path += step
		lastN, lastE = rec.North, rec.East
		any := false
		for r := range rows {
			if !lit(r) {
				continue
			}
			any = true
			o := &rows[r]
			o.m += step
			o.seeds += float64(held[key(12, unit[r])]) * 1e-3 * 0.381 * step
			o.skips += float64(held[key(417, unit[r])]) * 1e-6
			o.sing += float64(held[key(415, unit[r])]) * 1e-6
			o.force += float64(held[key(427, unit[r])])
			o.n++
		}
		if any {
			active++
		}
		// the step was driven with what stood before this record
		for _, v := range rec.Values {
			held[j.Columns[v.Column].Key()] = v.Raw
		}
	}
	within := func(name string, got, want, tol float64) {
		t.Helper()
		if math.Abs(got-want) > tol {
			t.Errorf("%s = %g, want %g", name, got, want)
		}
	}
	total, seeds := 0.0, 0.0
	for _, r := range rows {
		total += r.m
		seeds += r.seeds
	}
	within("path", path, 462.5, 0.05)
	within("records at work", float64(active), 2089, 0)
	within("row-metres", total, 5523.0, 0.01*5523)
	within("area", total*0.381, 2104.3, 0.01*2104.3)
	within("seeds", seeds, 120227, 0.01*120227)
	r1 := rows[0]
	within("row 1 metres", r1.m, 174.8, 1.748)
	within("row 1 seeds", r1.seeds, 3755, 37.55)
	within("row 1 skips, %", 100*r1.skips/r1.n, 0.796, 0.008)
	within("row 1 singulation, %", 100*r1.sing/r1.n, 99.13, 0.05)
	within("row 1 force", r1.force/r1.n, 437.8, 0.5)
	within("row 2 metres", rows[1].m, 1.5, 0.3)
	worst := -1
	for r := range rows {
		if r != 1 && (worst < 0 || rows[r].skips/rows[r].n > rows[worst].skips/rows[worst].n) {
			worst = r
		}
	}
	if worst != 12 {
		t.Errorf("row %d skips most, want row 13", worst+1)
	}
	within("row 13 skips, %", 100*rows[12].skips/rows[12].n, 1.538, 0.016)
	within("row 13 singulation, %", 100*rows[12].sing/rows[12].n, 98.46, 0.05)
	for _, r := range []int{5, 7, 8, 10} {
		within("skips of a row without", rows[r-1].skips, 0, 0)
	}
}

func greatCircle(n0, e0, n1, e1 int32) float64 {
	rad := func(v int32) float64 { return float64(v) / 1e7 * math.Pi / 180 }
	dy, dx := rad(n1)-rad(n0), rad(e1)-rad(e0)
	h := math.Pow(math.Sin(dy/2), 2) + math.Cos(rad(n0))*math.Cos(rad(n1))*math.Pow(math.Sin(dx/2), 2)
	return 2 * 6371008.8 * math.Asin(math.Sqrt(h))
}

func offsetsOf(t *testing.T, s *iso11783.Set) func(iso11783.DDI, string) (int32, bool) {
	j, _ := joinPlanter(t, s)
	held := map[iso11783.ColumnKey]int32{}
	for j.Next() {
		for _, v := range j.Record().Values {
			held[j.Columns[v.Column].Key()] = v.Raw
		}
	}
	return func(d iso11783.DDI, e string) (int32, bool) {
		v, ok := held[iso11783.ColumnKey{DDI: d, Element: e, PGN: -1}]
		return v, ok
	}
}

// TestPlanterStream reads the set as the pipeline does.
func TestPlanterStream(t *testing.T) {
	in := os.DirFS(formattest.Shared(t, "samples/planter-32row"))
	src, c, unused := readOne(t, in, "")
	if src.Name != "task TSK4" || src.Format != "task data" || src.Grade != evenstand.GradeB || src.Zone != "" {
		t.Errorf("source %q %q grade %v zone %q", src.Name, src.Format, src.Grade, src.Zone)
	}
	if len(unused) > 0 || len(c.unused) > 0 {
		t.Errorf("unused: %v %v", unused, c.unused)
	}
	if len(c.fixes) != 3633 || len(c.seeds) != 0 {
		t.Fatalf("%d fixes, %d seeds; want 3633 and none", len(c.fixes), len(c.seeds))
	}
	// the log's own clock, which is UTC: the receiver's time is a simulated one
	// that runs 0.7 % fast
	if got := c.fixes[0].T.String(); got != "2022-10-19T07:30:52.2Z" {
		t.Errorf("first fix at %s", got)
	}
	if f := c.fixes[0]; f.Sats != 16 || math.Abs(f.HDOP-0.6) > 1e-9 || f.Kind != evenstand.FixGNSS || math.Abs(f.Alt-100) > 1e-9 {
		t.Errorf("first fix %+v", f)
	}
	for i := 1; i < len(c.fixes); i++ {
		if c.fixes[i].T < c.fixes[i-1].T {
			t.Fatalf("fix %d goes back in time", i)
		}
	}
	for i := 1; i < len(c.readings); i++ {
		if c.readings[i].T < c.readings[i-1].T {
			t.Fatalf("reading %d goes back in time", i)
		}
	}
	if math.Abs(src.Latency-0.2) > 1e-9 { // DDI 143 = -200 ms
		t.Errorf("latency %g, want 0.2", src.Latency)
	}
	if src.Card == nil || src.Card.Rows != 32 || math.Abs(src.Card.RowSpacing-0.381) > 1e-9 {
		t.Fatalf("card %+v", src.Card)
	}

	// row 2: rate 0, then 61.187, 64.408, 66.340, and 0 again, at 07:36:14.03,
	// :15.6, 17.00 and 18.40 less the latency of 0.2 s
	var steps []evenstand.Reading
	for _, r := range c.values(evenstand.SeedRate, evenstand.RowElement(2)) {
		if len(steps) == 0 || steps[len(steps)-1].Value != r.Value {
			steps = append(steps, r)
		}
	}
	var vs []float64
	for _, r := range steps {
		vs = append(vs, math.Round(r.Value*1000))
	}
	if !slices.Equal(vs, []float64{0, 61187, 64408, 66340, 0}) {
		t.Errorf("row 2 rates %v", vs)
	} else {
		for i, want := range map[int]string{1: "07:36:13.8", 3: "07:36:16.8", 4: "07:36:18.2"} {
			if got := steps[i].T.String()[11:21]; got != want {
				t.Errorf("row 2 step %d at %s, want %s", i, got, want)
			}
		}
	}
	// a row a second: while the planter's device writes, no row waits longer
	for row := 1; row <= 32; row++ {
		rs := c.values(evenstand.SkipFraction, evenstand.RowElement(row))
		gaps := 0
		for i := 1; i < len(rs); i++ {
			if rs[i].T-rs[i-1].T > 1200*evenstand.Second/1000 {
				gaps++
			}
		}
		if len(rs) < 250 || gaps > 5 {
			t.Errorf("row %d: %d skip readings with %d gaps over 1.2 s in 360 s", row, len(rs), gaps)
		}
	}
	// the boom is down at records 67, 1062 and 1531, up at 0, 333 and 1373
	var lifted []float64
	for _, r := range c.values(evenstand.ImplementLifted, evenstand.Element{}) {
		lifted = append(lifted, r.Value)
	}
	if !slices.Equal(lifted, []float64{1, 0, 1, 0, 1, 0}) {
		t.Errorf("lifted %v", lifted)
	}
	on := c.values(evenstand.RowWorking, evenstand.RowElement(2))
	if len(on) < 3 || on[len(on)-1].Value != 0 {
		t.Errorf("row 2 at work: %v; want off at the end", on)
	}
	// nobody switched row 2 off, as far as the log tells
	for _, r := range c.values(evenstand.RowEnabled, evenstand.RowElement(2)) {
		if r.Value == 0 {
			t.Errorf("row 2 commanded off at %v", r.T)
		}
	}
	maker := map[uint16]bool{}
	for _, r := range c.readings {
		if r.Quantity == evenstand.Raw {
			maker[r.Code] = true
		}
	}
	for _, d := range []uint16{59300, 59400, 60000, 60002, 60003, 60004, 60015, 415} {
		if !maker[d] {
			t.Errorf("DDI %d is not kept raw", d)
		}
	}
}
