package bus_test

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/formattest"
)

// Expected values of this file: samples/README.md, "can-boat" and
// "can-planter4", and expected.json of the latter.

// census is what a plain look at the frames of a capture tells.
type census struct {
	frames, groups         int
	positions              int
	of                     map[uint32]int
	west, south, east, nor float64
	first, last            evenstand.Micros
}

func look(t *testing.T, name string) census {
	t.Helper()
	f, err := os.Open(name)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	c := census{of: map[uint32]int{}, west: 181, south: 91, east: -181, nor: -91, first: evenstand.NoTime, last: evenstand.NoTime}
	sc := bus.NewScanner(f)
	for sc.Next() {
		x := sc.Frame()
		pgn, _, _ := x.Group()
		c.frames++
		c.of[pgn]++
		if c.first == evenstand.NoTime {
			c.first = x.T
		}
		c.last = x.T
		if pgn != 129025 {
			continue
		}
		if lat, lon, ok := bus.Position(&x.Data); ok {
			c.positions++
			c.west, c.south, c.east, c.nor = min(c.west, lon), min(c.south, lat), max(c.east, lon), max(c.nor, lat)
		}
	}
	c.groups = len(c.of)
	if left := sc.Left(); left["bad"]+left["cut"] > 0 {
		t.Errorf("%s: %v", name, left)
	}
	return c
}

func TestBoatSamples(t *testing.T) {
	dir := formattest.Shared(t, "samples/can-boat")
	for _, tt := range []struct {
		file                     string
		frames, groups, position int
		gnss                     int
		box                      [4]float64 // west, south, east, north
		first, last              evenstand.Micros
	}{
		{"candumpSample1.txt", 6026, 17, 963, 679, [4]float64{-71.5836808, 42.4967485, -71.5836344, 42.4967843}, evenstand.NoTime, evenstand.NoTime},
		{"candumpSample2.txt", 402, 11, 46, -1, [4]float64{-71.4232898, 42.4783080, -71.4232898, 42.4783080}, evenstand.NoTime, evenstand.NoTime},
		{"candumpSample3.txt", 2368, 26, 165, -1, [4]float64{-1.3214166, 46.0008433, -1.3214066, 46.0008500}, 1502984866421964, 1502984883826292},
	} {
		t.Run(tt.file, func(t *testing.T) {
			c := look(t, filepath.Join(dir, tt.file))
			if c.frames != tt.frames || c.groups != tt.groups || c.positions != tt.position || tt.gnss >= 0 && c.of[129029] != tt.gnss {
				t.Errorf("%d frames, %d groups, %d positions, %d of 129029", c.frames, c.groups, c.positions, c.of[129029])
			}
			for i, v := range []float64{c.west, c.south, c.east, c.nor} {
				if math.Abs(v-tt.box[i]) > 1e-9 {
					t.Errorf("box %v: %.7f, want %.7f", i, v, tt.box[i])
				}
			}
			if c.first != tt.first || c.last != tt.last {
				t.Errorf("from %d to %d", c.first, c.last)
			}
		})
	}
	// 23 frames of one group: five messages of four frames, and three frames of a
	// sixth, of which the capture does not hold the last (counted by hand).
	f, err := os.Open(filepath.Join(dir, "candump-fast.txt"))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sc := bus.NewScanner(f)
	ms, lost := bus.FastPackets(sc, 127489)
	if sc.Frames() != 23 || len(ms) != 5 || lost != 1 {
		t.Errorf("%d frames, %d messages, %d lost", sc.Frames(), len(ms), lost)
	}
	for i, m := range ms {
		if len(m.Data) != 26 || m.From != 1 || m.Data[0] != uint8(i%2) {
			t.Errorf("message %d: %d bytes from %d for engine %d", i, len(m.Data), m.From, m.Data[0])
		}
	}
}

// The same files through the whole reader: all are found by what stands in
// them, and places come out where there is a time for them.
func TestBoatSamplesRead(t *testing.T) {
	got, err := formattest.ReadAll(t.Context(), bus.Format{}, os.DirFS(formattest.Shared(t, "samples/can-boat")))
	if err != nil || got.Err() != nil {
		t.Fatal(err, got.Err())
	}
	if why := formattest.Sound(got); why != "" {
		t.Error(why)
	}
	fixes := map[string]int{"candump-fast.txt": 0, "candumpSample1.txt": 962, "candumpSample2.txt": 46, "candumpSample3.txt": 165}
	for _, s := range got.Streams {
		// one place of sample 1 lies more than 5 s before the first time
		if n := len(s.Data.Fix); n != fixes[s.Source.Name] {
			t.Errorf("%s: %d fixes, want %d; left out %+v", s.Source.Name, n, fixes[s.Source.Name], s.Data.Left)
		}
		delete(fixes, s.Source.Name)
		if !slices.IsSortedFunc(s.Data.Fix, func(a, b evenstand.Fix) int { return int(a.T - b.T) }) {
			t.Errorf("%s: fixes are not in order of time", s.Source.Name)
		}
	}
	if len(fixes) > 0 || len(got.Unused) > 0 {
		t.Errorf("not found: %v; unused %+v", fixes, got.Unused)
	}
}

func TestPlanter4(t *testing.T) {
	dir := formattest.Shared(t, "samples/can-planter4")
	var want struct {
		Frames           int       `json:"frames"`
		PoolBytes        int       `json:"pool_bytes"`
		MessageBytes     int       `json:"tp_message_bytes"`
		Elements         int       `json:"device_elements"`
		Rows             int       `json:"rows"`
		SpacingMM        float64   `json:"row_spacing_mm"`
		YMM              []float64 `json:"row_offsets_y_mm"`
		BoomMM           float64   `json:"boom_x_mm"`
		ConnectorMM      float64   `json:"connector_x_mm"`
		Speed            float64   `json:"speed_m_s"`
		Heading          float64   `json:"heading_deg"`
		Path             float64   `json:"path_m"`
		Rapid            int       `json:"positions_129025"`
		Full             int       `json:"positions_129029"`
		Setpoint         float64   `json:"setpoint_per_m2"`
		FirstTime        string    `json:"first_time"`
		LastTime         string    `json:"last_time"`
		RatesRow1        int       `json:"values_rate_row1"`
		RatesRow2Nonzero int       `json:"values_rate_row2_nonzero"`
		SkipPct          []float64 `json:"skip_pct_rows"`
		Downforce        []float64 `json:"downforce_n_rows"`
	}
	data, err := os.ReadFile(filepath.Join(dir, "expected.json"))
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(data, &want); err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(filepath.Join(dir, "planter4.log"))
	if err != nil {
		t.Fatal(err)
	}

	c := look(t, filepath.Join(dir, "planter4.log"))
	if first, last := stamp(c.first), stamp(c.last); c.frames != want.Frames || first != want.FirstTime || last != want.LastTime {
		t.Errorf("%d frames from %s to %s", c.frames, first, last)
	}
	if c.positions != want.Rapid || c.of[129029] != 7*want.Full {
		t.Errorf("%d rapid places, %d frames of full ones", c.positions, c.of[129029])
	}
	ms, lost := bus.Transfers(bus.NewScanner(strings.NewReader(string(log))))
	if len(ms) != 1 || lost != 0 || len(ms[0].Data) != want.MessageBytes || ms[0].PGN != 51968 {
		t.Fatalf("%d messages, %d lost", len(ms), lost)
	}
	p, rest := bus.ParsePool(ms[0].Data[1:])
	name, words := p.Name()
	if len(ms[0].Data)-1 != want.PoolBytes || rest != 0 || name != 0xA0088200FFE004D2 || words != "Test planter" {
		t.Errorf("%d of %d bytes of the description read, NAME %016X, %q", len(ms[0].Data)-1-rest, want.PoolBytes, name, words)
	}

	s := read(t, bus.Format{}, fstest.MapFS{"planter4.log": {Data: log}})
	src := s.Source
	if s.Err != nil || src.Grade != evenstand.GradeB || src.Card == nil || src.Planter != "Test planter" || len(s.Data.Left) > 0 {
		t.Fatalf("%v, grade %v, card %v, left out %+v", s.Err, src.Grade, src.Card, s.Data.Left)
	}
	card := src.Card
	if card.Rows != want.Rows || card.RowSpacing != want.SpacingMM/1000 || card.Geometry.HitchToRowLine != (want.ConnectorMM-want.BoomMM)/1000 {
		t.Errorf("card %+v", card)
	}
	for i, y := range want.YMM {
		if card.Y(i+1) != y/1000 {
			t.Errorf("row %d at %g m", i+1, card.Y(i+1))
		}
	}
	// the script wrote the receiver's times as those of the capture
	if math.Abs(src.ClockOffset) > src.ClockError {
		t.Errorf("clock %g +- %g", src.ClockOffset, src.ClockError)
	}
	if len(s.Data.Fix) != want.Rapid {
		t.Errorf("%d fixes", len(s.Data.Fix))
	}
	first, last := s.Data.Fix[0], s.Data.Fix[len(s.Data.Fix)-1]
	const perDegree = 6371008.8 * math.Pi / 180 // mean sphere
	if d := (last.Lon - first.Lon) * perDegree * math.Cos(first.Lat*math.Pi/180); math.Abs(d-want.Path) > 0.01*want.Path {
		t.Errorf("path %g m", d)
	}
	if last.Speed != want.Speed || math.Abs(last.Heading-want.Heading) > 0.01 || last.Kind != evenstand.FixRTK || math.Abs(last.HDOP-0.7) > 1e-9 {
		t.Errorf("last fix %+v", last)
	}
	for i := range want.Rows {
		el := evenstand.RowElement(i + 1)
		rates, nonzero := values(&s, evenstand.SeedRate, el), 0
		for _, r := range rates {
			if r.Value != 0 {
				nonzero++
			}
		}
		switch i {
		case 1:
			if nonzero != want.RatesRow2Nonzero {
				t.Errorf("row 2: %d rates above 0", nonzero)
			}
		default:
			if nonzero < want.RatesRow1 {
				t.Errorf("row %d: %d rates", i+1, nonzero)
			}
		}
		off := evenstand.NoTime // when row 2 stops, its skips go to 0 with its rate
		if i == 1 {
			off = values(&s, evenstand.RowWorking, el)[1].T - evenstand.Second
		}
		for _, r := range values(&s, evenstand.SkipFraction, el) {
			if off != evenstand.NoTime && r.T >= off && r.Value == 0 {
				continue
			}
			if math.Abs(r.Value-want.SkipPct[i]/100) > 1e-9 {
				t.Fatalf("row %d: skips %g", i+1, r.Value)
			}
		}
		for _, r := range values(&s, evenstand.AppliedForce, el) {
			if r.Value != want.Downforce[i] {
				t.Fatalf("row %d: force %g", i+1, r.Value)
			}
		}
	}
	if v := values(&s, evenstand.SeedRateTarget, evenstand.Element{}); len(v) != 1 || v[0].Value != want.Setpoint {
		t.Errorf("targets %v", v)
	}
	w := values(&s, evenstand.RowWorking, evenstand.RowElement(2))
	if n := len(w); n != 2 || w[0].Value != 1 || w[1].Value != 0 {
		t.Errorf("row 2 works %v", w)
	}
}

func stamp(t evenstand.Micros) string {
	s := t.Time().Format(".000000")
	return formatInt(int64(t/evenstand.Second)) + s
}

func formatInt(v int64) string {
	b, _ := json.Marshal(v) // an integer always can
	return string(b)
}
