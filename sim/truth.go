package sim

import (
	"bufio"
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"strconv"

	"evenstand"
)

// Fault is one line of truth.jsonl: what was done to the planter, and what a
// reader of the logs should make of it.
type Fault struct {
	ID       string             `json:"id"`
	Kind     string             `json:"kind"` // a kind of finding, or of a distractor
	Variant  string             `json:"variant,omitempty"`
	Rows     evenstand.Rows     `json:"rows"`
	From     evenstand.Micros   `json:"from"` // the first place or second of planting that it touched
	To       evenstand.Micros   `json:"to"`   // the last
	Params   map[string]float64 `json:"params"`
	Cause    string             `json:"cause"`
	Causes   []string           `json:"causes"` // first causes that count as right, the true one included
	Lost     float64            `json:"places_lost"`
	Extra    float64            `json:"seeds_extra"`
	Loss     Loss               `json:"loss_usd"`
	Bushels  float64            `json:"loss_bu"`
	Expected string             `json:"expected_finding"`  // empty: none
	Excused  []string           `json:"excused,omitempty"` // kinds that this evidence may honestly raise: neither right nor false
	Distract bool               `json:"distractor"`

	Places     float64 `json:"places"`             // due on its rows, mean of a row, while it lasted
	Turns      float64 `json:"turns"`              // of the disc, the same
	Planting   float64 `json:"planting_s"`         // of row, while it lasted
	Way        float64 `json:"way_m"`              // planted meanwhile
	Ratio      float64 `json:"ratio"`              // skips (or doubles) of its rows against the base meanwhile; 1 none
	Detectable bool    `json:"detectable"`         // as strong and long as tests demand a finding for
	Missed     float64 `json:"missed_l,omitempty"` // litres of liquid that its rows did not get of what was asked for
	Happened   bool    `json:"happened"`           // false: the day ended before it could
	Grade      string  `json:"grade"`              // of the rows' data when it began
}

// Loss is money lost, in USD.
type Loss struct {
	Seed  float64 `json:"seed"`
	Yield float64 `json:"yield"`
}

// DayTruth is truth/day.json: what the whole day was.
type DayTruth struct {
	Schema       int              `json:"schema"`
	Scenario     string           `json:"scenario"`
	Seed         uint64           `json:"seed"`
	Planter      string           `json:"planter"`
	Rows         int              `json:"rows"`
	Cells        int              `json:"cells"`
	Date         string           `json:"date"`
	Zone         string           `json:"zone"`
	Start        evenstand.Micros `json:"start"`
	End          evenstand.Micros `json:"end"`
	Hours        float64          `json:"machine_hours"` // from start to end
	Planting     float64          `json:"planting_s"`    // lowered and moving
	Area         float64          `json:"area_m2"`
	Places       float64          `json:"places"`
	Dropped      float64          `json:"seeds_dropped"`
	Seen         float64          `json:"seeds_seen"`
	Speed        float64          `json:"speed_m_s"`
	Grade        string           `json:"grade"`
	Coefficients Coefficients     `json:"coefficients"`
	Clocks       []ClockTruth     `json:"clocks,omitempty"`
	Stops        int              `json:"stops"` // of five seconds and more while the boxes log
}

// Coefficients are the true relations of the day, drawn once from the ranges
// of the relations by a generator of their own.
type Coefficients struct {
	SkipPlants   float64 `json:"skip_plants"`       // plants lost a skip, net of what neighbours make up
	DoublePlants float64 `json:"double_plants"`     // plants lost an extra seed
	Curvature    float64 `json:"curvature"`         // % of yield per (1000 plants/ac)²
	BestStand    float64 `json:"best_stand"`        // 1000 plants/ac
	Emergence    float64 `json:"emergence"`         // share of seeds that become plants
	Spacing      float64 `json:"spacing"`           // where between none and the older line uneven spacing costs, 0 to 1
	Starter      float64 `json:"starter,omitempty"` // share of yield that a missed starter costs, where liquid goes on
}

// PassTruth is a line of truth/passes.csv.
type PassTruth struct {
	Pass     int // of the day, from 1
	Field    string
	Start    evenstand.Micros // lowered
	End      evenstand.Micros // lifted
	Headland bool
	Way      float64 // m of the bar's centre
	Places   float64 // due on a row, mean
	Curve    float64 // of its line, 1/m; 0 straight
}

// StretchTruth is a line of truth/stretches.csv: one row over 15 m.
type StretchTruth struct {
	Pass, Row, K             int
	Places, Skips, Doubles   int // what the disc did, and the tube let through
	Seen, Unseen, DoubleSeen int // pulses; places due without one; doubles seen as two
	Dust                     int // pulses that were no seed
}

// SeedTruth is a line of truth/seeds.csv: where one seed truly lies.
type SeedTruth struct {
	Pass, Row int
	T         evenstand.Micros // true time at the sensor
	Lat, Lon  float64
}

// Truth is all that score needs of one day.
type Truth struct {
	Day    DayTruth
	Faults []Fault
	Passes []PassTruth
}

// ReadTruth reads the truth of a simulated day: OUT, or OUT/truth.jsonl.
func ReadTruth(dir string) (Truth, error) {
	if filepath.Ext(dir) == ".jsonl" {
		dir = filepath.Dir(dir)
	}
	var t Truth
	b, err := os.ReadFile(filepath.Join(dir, "truth", "day.json"))
	if err != nil {
		return t, fmt.Errorf("%w. Name the folder that simulate wrote", err)
	}
	if err := json.Unmarshal(b, &t.Day); err != nil {
		return t, fmt.Errorf("%s: %w", filepath.Join(dir, "truth", "day.json"), err)
	}
	b, err = os.ReadFile(filepath.Join(dir, "truth.jsonl"))
	if err != nil {
		return t, err
	}
	for i, line := range bytes.Split(b, []byte("\n")) {
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		var f Fault
		if err := json.Unmarshal(line, &f); err != nil {
			return t, fmt.Errorf("truth.jsonl, line %d: %w", i+1, err)
		}
		t.Faults = append(t.Faults, f)
	}
	err = eachLine(filepath.Join(dir, "truth", "passes.csv"), 8, func(f []string) error {
		var p PassTruth
		var errs [4]error
		p.Pass, errs[0] = strconv.Atoi(f[0])
		p.Field = f[1]
		errs[1] = p.Start.UnmarshalText([]byte(f[2]))
		errs[2] = p.End.UnmarshalText([]byte(f[3]))
		p.Headland = f[4] == "1"
		p.Way, errs[3] = strconv.ParseFloat(f[5], 64)
		for _, e := range errs {
			if e != nil {
				return e
			}
		}
		var err error
		if p.Places, err = strconv.ParseFloat(f[6], 64); err != nil {
			return err
		}
		p.Curve, err = strconv.ParseFloat(f[7], 64)
		t.Passes = append(t.Passes, p)
		return err
	})
	return t, err
}

// ReadStretches reads truth/stretches.csv of a simulated day.
func ReadStretches(dir string) ([]StretchTruth, error) {
	var out []StretchTruth
	err := eachLine(filepath.Join(dir, "truth", "stretches.csv"), 10, func(f []string) error {
		var v [10]int
		for i := range v {
			n, err := strconv.Atoi(f[i])
			if err != nil {
				return err
			}
			v[i] = n
		}
		out = append(out, StretchTruth{v[0], v[1], v[2], v[3], v[4], v[5], v[6], v[7], v[8], v[9]})
		return nil
	})
	return out, err
}

// ReadSeeds reads truth/seeds.csv of a simulated day.
func ReadSeeds(dir string) ([]SeedTruth, error) {
	var out []SeedTruth
	err := eachLine(filepath.Join(dir, "truth", "seeds.csv"), 5, func(f []string) error {
		var s SeedTruth
		var us int64
		var errs [5]error
		s.Pass, errs[0] = strconv.Atoi(f[0])
		s.Row, errs[1] = strconv.Atoi(f[1])
		us, errs[2] = strconv.ParseInt(f[2], 10, 64)
		s.T = evenstand.Micros(us)
		s.Lat, errs[3] = strconv.ParseFloat(f[3], 64)
		s.Lon, errs[4] = strconv.ParseFloat(f[4], 64)
		for _, e := range errs {
			if e != nil {
				return e
			}
		}
		out = append(out, s)
		return nil
	})
	return out, err
}

func eachLine(name string, fields int, do func([]string) error) error {
	f, err := os.Open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	r := csv.NewReader(bufio.NewReaderSize(f, 1<<16))
	r.FieldsPerRecord = fields
	r.ReuseRecord = true
	if _, err := r.Read(); err != nil {
		return fmt.Errorf("%s: %w", name, err)
	}
	for {
		rec, err := r.Read()
		if err == io.EOF {
			return nil
		}
		if err == nil {
			err = do(rec)
		}
		if err != nil {
			line, _ := r.FieldPos(0)
			return fmt.Errorf("%s, line %d: %w", name, line, err)
		}
	}
}

// lines is a buffered file with a sticky error, written by appending.
type lines struct {
	f   *os.File
	w   *bufio.Writer
	buf []byte
	err error
}

func newLines(name, header string) (*lines, error) {
	if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
		return nil, err
	}
	f, err := os.Create(name)
	if err != nil {
		return nil, err
	}
	l := &lines{f: f, w: bufio.NewWriterSize(f, 1<<18)}
	if header != "" {
		l.buf = append(append(l.buf, header...), '\n')
		l.flushLine()
	}
	return l, nil
}

// flushLine writes what buf holds and empties it.
func (l *lines) flushLine() {
	if l.err == nil {
		_, l.err = l.w.Write(l.buf)
	}
	l.buf = l.buf[:0]
}

func (l *lines) int(v int) *lines     { l.buf = strconv.AppendInt(l.buf, int64(v), 10); return l }
func (l *lines) text(s string) *lines { l.buf = append(l.buf, s...); return l }
func (l *lines) fixed(v float64, decimals int) *lines {
	l.buf = strconv.AppendFloat(l.buf, v, 'f', decimals, 64)
	return l
}
func (l *lines) comma() *lines { l.buf = append(l.buf, ','); return l }
func (l *lines) end()          { l.buf = append(l.buf, '\n'); l.flushLine() }

func (l *lines) close() error {
	if l.err == nil {
		l.err = l.w.Flush()
	}
	if err := l.f.Close(); l.err == nil {
		l.err = err
	}
	return l.err
}

func round(v float64, decimals int) float64 {
	s := math.Pow(10, float64(decimals))
	return math.Round(v*s) / s
}
