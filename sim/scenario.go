package sim

import (
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strings"
	"time"

	"evenstand"

	"github.com/pelletier/go-toml/v2"
)

// Scenario is all that a planting day is made from.
type Scenario struct {
	Name  string  `toml:"name"`
	Seed  uint64  `toml:"seed"`  // of every stream of chance
	Date  string  `toml:"date"`  // local day, 2026-05-02
	Zone  string  `toml:"zone"`  // IANA name
	Start string  `toml:"start"` // local, 07:40
	Hours float64 `toml:"hours"` // of the day, breaks included; it ends earlier when the fields are done

	Planter   Planter        `toml:"planter"`
	Fields    []FieldPlan    `toml:"field"`
	Drive     Drive          `toml:"drive"`
	Meter     Meter          `toml:"meter"`
	Tube      Tube           `toml:"tube"`
	Sensor    Sensor         `toml:"sensor"`
	Timetable Timetable      `toml:"timetable"`
	Output    Output         `toml:"output"`
	Boxes     map[string]Box `toml:"box"`
	Money     Money          `toml:"money"`
	Faults    []FaultPlan    `toml:"fault"`
	Settings  []SettingPlan  `toml:"setting"`
	// Attachments in the order in which they were mounted; the last of a kind on a
	// row is what it carries.
	Attachments []AttachmentPlan `toml:"attachment"`
	SeasonSeed  uint64           `toml:"season_seed"` // of what stays the same from day to day: what the rows are, the responses; 0: as seed
	Random      *Random          `toml:"random"`

	zone *time.Location
	t0   evenstand.Micros // start of the day's work
}

// Planter is the machine; the card says the same.
type Planter struct {
	Name             string  `toml:"name"`
	Rows             int     `toml:"rows"`
	RowSpacing       float64 `toml:"row_spacing_m"`
	Hitch            string  `toml:"hitch"` // trailed or mounted
	AntennaToHitch   float64 `toml:"antenna_to_hitch_m"`
	HitchToRowLine   float64 `toml:"hitch_to_row_line_m"`
	SeedFall         float64 `toml:"sensor_to_ground_s"` // from the sensor to the ground
	Crop             string  `toml:"crop"`
	Cells            int     `toml:"cells"`
	TurnCompensation bool    `toml:"turn_compensation"` // each row's drive runs at the row's own speed
	OneVacuum        bool    `toml:"one_vacuum"`        // one fan side for all rows; else left and right halves
	CardRight        float64 `toml:"card_right_m"`      // by which the card says the receiver sits too far right
}

// FieldPlan is one field and how it is planted.
type FieldPlan struct {
	Name      string     `toml:"name"`
	Shape     string     `toml:"shape"`          // rect, l, slant or arc
	Passes    int        `toml:"passes"`         // planter widths beside one another within the headlands
	Length    float64    `toml:"length_m"`       // along the passes, headlands included; of the innermost arc
	Radius    float64    `toml:"radius_m"`       // of the innermost arc's inner edge
	Headlands int        `toml:"headlands"`      // rounds of the planter
	Last      bool       `toml:"ends_last"`      // headlands planted after the field, not before
	Waterway  bool       `toml:"waterway"`       // a strip across the middle passes that is not planted
	Heading   float64    `toml:"heading_deg"`    // of the passes, clockwise from north
	At        [2]float64 `toml:"at"`             // latitude and longitude of the corner where it begins
	Ground    GroundPlan `toml:"ground"`         // what is wrong with the ground that is worked
	Granular  float64    `toml:"granular_kg_ha"` // granules asked for here; 0: as under [output]
}

// Drive is the tractor and its guidance.
type Drive struct {
	Speed        float64 `toml:"speed_m_s"`
	SpeedSD      float64 `toml:"speed_sd"`      // relative, 12 s memory
	PassSD       float64 `toml:"pass_speed_sd"` // of a whole pass with the turn before it, of the logarithm
	TurnSpeed    float64 `toml:"turn_speed_m_s"`
	TurnRadius   float64 `toml:"turn_radius_m"`
	RoughSlow    float64 `toml:"rough_slower"`  // share by which rough patches are driven slower
	GuidanceSD   float64 `toml:"guidance_sd_m"` // steering, 8 s memory
	StopShare    float64 `toml:"stop_share"`    // of the passes that end with the planter standing before it lifts
	HaltsPerHour float64 `toml:"halts_per_hour"`
	Braking      float64 `toml:"braking_m_s2"` // at stops and halts
	EdgeSD       float64 `toml:"edge_sd_m"`    // by which the driver lowers and lifts away from the line, each time by itself
	EdgeDay      float64 `toml:"edge_day_m"`   // the same, SD of the day's habit, of either
}

// Meter is what healthy discs do.
type Meter struct {
	Population float64 `toml:"population_per_ac"`
	Skips      float64 `toml:"skip_percent"`    // of places, at 25 seeds a second
	Doubles    float64 `toml:"double_percent"`  // of places
	RowSD      float64 `toml:"row_sd"`          // of the logit, between healthy rows
	StretchSD  float64 `toml:"stretch_sd"`      // of a row's logit, 20 s memory
	MinuteSD   float64 `toml:"minute_sd"`       // of all rows' logits, 1 min memory
	HourSD     float64 `toml:"hour_sd"`         // of all rows' logits, 1 h memory
	CellSD     float64 `toml:"cell_sd"`         // drilling error of the disc, places
	DriveSD    float64 `toml:"drive_sd"`        // of the row drive's speed, relative, 5 s memory
	DriveLag   float64 `toml:"drive_lag_s"`     // dead time between ground speed and disc speed
	DriveTau   float64 `toml:"drive_tau_s"`     // time constant behind it
	VacuumKPa  float64 `toml:"vacuum_kpa"`      // set
	RateTerm   float64 `toml:"rate_term"`       // logit of skips per ln(seeds a second / 25)
	VacuumTerm float64 `toml:"vacuum_term"`     // logit of skips per kPa below the setting
	VacuumDbl  float64 `toml:"vacuum_dbl_term"` // logit of doubles per kPa above the setting
}

// Tube is the way of a seed from the disc to rest.
type Tube struct {
	FallMS     float64 `toml:"fall_ms"`        // from the disc to the sensor
	FallSD     float64 `toml:"fall_sd_ms"`     // by the seeds' shape
	FallWithin float64 `toml:"fall_within_ms"` // the day's fall is drawn so far to either side of it
	Bounce     float64 `toml:"bounce_m"`       // SD in the tube, along the row
	Jumps      float64 `toml:"jump_share"`     // of seeds that hit the wall, at 2.2 m/s
	Jump       float64 `toml:"jump_m"`         // scale of their double-exponential displacement
	Rough      float64 `toml:"rough_times"`    // times the scatter of seeds on rough patches; 0 none are rough
	FurrowSD   float64 `toml:"furrow_m"`       // SD of the roll in the furrow, at 2 m/s
	FurrowJump float64 `toml:"furrow_jump"`    // share of seeds that jump in the furrow, at 2.2 m/s
}

// Sensor is a row's seed sensor.
type Sensor struct {
	NoiseMS float64 `toml:"noise_ms"`
	Miss    float64 `toml:"miss_percent"`
	MergeMS float64 `toml:"merge_ms"`      // two seeds closer than this …
	Merge   float64 `toml:"merge_percent"` // … are read as one that often
	Dust    float64 `toml:"dust_per_s"`    // false pulses a second and row
}

// Timetable is the day's breaks.
type Timetable struct {
	Lunch     string  `toml:"lunch"` // local, empty: none
	LunchMin  float64 `toml:"lunch_min"`
	RefillHa  float64 `toml:"refill_ha"`
	RefillMin float64 `toml:"refill_min"`
	RoadMin   float64 `toml:"road_min"` // between fields
}

// Output says which boxes there are and how they log.
type Output struct {
	Grade      string  `toml:"grade"`        // A or B
	BFrom      string  `toml:"grade_b_from"` // local times between which a grade A day is logged at grade B
	BTo        string  `toml:"grade_b_to"`
	Layout     string  `toml:"layout"`                   // plain, or task-data or bus (grade B only): one box logs all it has
	Door       string  `toml:"door"`                     // how the boxes of the plain layout write instead: csv, xlsx, nmea, … (door.go); empty: plain
	Smoothing  float64 `toml:"smoothing_s"`              // moving average of the percentages at grade B
	ForceHz    float64 `toml:"force_hz"`                 // readings of row force and wheel load; 0: no such box, but by wheel_load
	WheelLoad  string  `toml:"wheel_load"`               // row force: auto, or fixed (one setting), once a second, or five times from force_hz 2.5 on; empty: no such box
	Furrow     bool    `toml:"furrow"`                   // sensors in the furrow: moisture, temperature and trash by row
	Liquid     float64 `toml:"liquid_l_ha"`              // starter asked for; 0: no liquid and no such box
	Tanks      int     `toml:"tanks"`                    // for the liquid, with levels, and fills written down with their amounts; 0: neither is logged
	NoGauge    bool    `toml:"no_gauge"`                 // tanks without a level
	TruthEach  int     `toml:"truth_each"`               // every so many seeds of a row are kept with their true place
	Granular   float64 `toml:"granular_kg_ha"`           // granules asked for; 0: none and no such box
	MostPass   float64 `toml:"granular_most_pass_kg_ha"` // limits that the logbook's people enter; 0: none
	MostSeason float64 `toml:"granular_most_season_kg_ha"`
	Counts     int     `toml:"counts"` // places of each field where all rows are counted two weeks later; 0: nobody counts
	Lot        string  `toml:"lot"`    // that is planned and in the boxes in the morning; empty: nobody writes down lots
}

// oneBox tells whether one box logs all there is in one set.
func (s *Scenario) oneBox() bool { return s.Output.Layout == "task-data" || s.Output.Layout == "bus" }

// Box is one box's clock and quirks.
type Box struct {
	Offset  float64 `toml:"offset_s"`  // logged minus true at the start of the day
	Drift   float64 `toml:"drift_ppm"` // of its clock
	Declare *bool   `toml:"declare"`   // whether source.toml says the offset; default true
	Latency float64 `toml:"latency_s"` // values are logged this late, and nobody says so
	NoiseM  float64 `toml:"noise_m"`   // guidance: SD of positions
	Local   bool    `toml:"local"`     // it writes local time for UTC
	SetAt   float64 `toml:"set_h"`     // hours from the start at which its clock is set …
	SetBy   float64 `toml:"set_s"`     // … by so many seconds
	QuietAt float64 `toml:"quiet_h"`   // hours from the start at which it falls silent …
	Quiet   float64 `toml:"quiet_min"` // … for so many minutes
	Chance  bool    `toml:"chance"`    // what its clock is like is drawn by the seed; nobody declares it
}

// Money is what the fields are worth.
type Money struct {
	Price    float64 `toml:"price_usd_bu"`
	Yield    float64 `toml:"yield_bu_ac"`
	SeedUnit float64 `toml:"seed_usd_unit"` // per 80,000 seeds
}

// FaultPlan is one fault or distractor, or a setting of chance where fields
// are left out.
type FaultPlan struct {
	ID       string  `toml:"id"`
	Kind     string  `toml:"kind"`
	Variant  string  `toml:"variant"`
	Rows     string  `toml:"rows"` // "5", "1-8"; or left, right, all
	At       string  `toml:"at"`   // local time, 10:15
	AtHours  float64 `toml:"at_h"` // or hours from the start
	Field    string  `toml:"field"`
	Pass     int     `toml:"pass"` // or the number of a pass of Field, from 1, and
	Along    float64 `toml:"along_m"`
	Minutes  float64 `toml:"minutes"` // it lasts so long,
	Places   float64 `toml:"places"`  // or so many places of a row, planted;
	Seconds  float64 `toml:"seconds"` // 0 all: to the end of the day
	Strength float64 `toml:"strength"`
	Ramp     float64 `toml:"ramp_min"`  // minutes to full strength
	Every    float64 `toml:"every_min"` // minutes between bursts, for what comes back
	Hz       float64 `toml:"hz"`        // swings a second, for what swings; 0: by chance
	Cell     int     `toml:"cell"`      // of the disc, from 1 up; 0 or less: by chance
}

// Random draws faults, so that many unlike days need one file.
type Random struct {
	Ground      bool     `toml:"ground"` // each field has trouble of its ground, or none
	Caps        bool     `toml:"caps"`   // the granules near or pass their limit in some fields
	Faults      int      `toml:"faults"`
	Kinds       []string `toml:"kinds"` // "row-skips", or with a variant: "sensor-doubt drop-out"
	Distractors int      `toml:"distractors"`
	Of          []string `toml:"of"`      // kinds of distractors
	At          string   `toml:"at"`      // detectable: at or above what tests demand; any: weaker ones too
	FirstHours  float64  `toml:"first_h"` // none starts earlier
	OneAtATime  bool     `toml:"one_at_a_time"`
	SpeedLow    float64  `toml:"speed_low_m_s"` // the day's speed is drawn between
	SpeedHigh   float64  `toml:"speed_high_m_s"`
}

// defaults is the day that a scenario changes. Sources of the numbers:
// judgement inside what the planter literature reports, unless said.
func defaults() Scenario {
	return Scenario{
		Name: "day", Seed: 1, Date: "2026-05-02", Zone: "America/Chicago", Start: "07:40", Hours: 10,
		Planter: Planter{
			Name: "16-row, trailed", Rows: 16, RowSpacing: 0.762, Hitch: "trailed", AntennaToHitch: 2.6,
			HitchToRowLine: 7.1, SeedFall: 0.15, Crop: "corn", Cells: 40, TurnCompensation: true,
		},
		// A speed of 4.0 m/s gives about 25 seeds a second and row, the rate at
		// which the methods were measured. Fall, bounce and drive together scatter
		// the seeds by about 0.12 place there.
		Drive: Drive{Speed: 4.0, SpeedSD: 0.03, TurnSpeed: 1.8, TurnRadius: 9, GuidanceSD: 0.03, StopShare: 0.3, HaltsPerHour: 0.5, Braking: 4},
		Meter: Meter{
			Population: 34000, Skips: 1.0, Doubles: 0.6, RowSD: 0.15, StretchSD: 0.25, MinuteSD: 0.25, HourSD: 0.25,
			CellSD: 0.01, DriveSD: 0.001, DriveTau: 0.02, VacuumKPa: 5, RateTerm: 0.9, VacuumTerm: 0.55, VacuumDbl: 0.30,
		},
		Tube:      Tube{FallMS: 225, FallSD: 4, Bounce: 0.005, Jumps: 0.003, Jump: 0.06, FurrowSD: 0.010, FurrowJump: 0.01},
		Sensor:    Sensor{NoiseMS: 1, Miss: 0.3, MergeMS: 4, Merge: 60, Dust: 0.05},
		Timetable: Timetable{Lunch: "12:30", LunchMin: 25, RefillHa: 16, RefillMin: 8, RoadMin: 15},
		Output:    Output{Grade: "A", Layout: "plain", Smoothing: 3, TruthEach: 200},
		Money:     Money{Price: 4.50, Yield: 190, SeedUnit: 300},
	}
}

// BoxNames are the boxes that a scenario may set.
var BoxNames = []string{"seed", "guidance", "machine", "rows", "force", "liquid", "load", "furrow", "granules", "journal"}

// defaultBox gives a box's clock where the scenario says nothing: true clocks,
// a receiver of 2 cm, and positions that come 30 ms late (methods r).
func defaultBox(name string) Box {
	if name == "guidance" {
		return Box{NoiseM: 0.02, Latency: 0.030}
	}
	return Box{}
}

// Load reads a scenario file.
func Load(path string) (Scenario, error) {
	b, err := os.ReadFile(path)
	if err != nil {
		return Scenario{}, err
	}
	s, err := Parse(string(b))
	if err != nil {
		return Scenario{}, fmt.Errorf("%s: %w", path, err)
	}
	return s, nil
}

// Parse reads a scenario. What it leaves out is as in defaults.
func Parse(text string) (Scenario, error) {
	s := defaults()
	d := toml.NewDecoder(strings.NewReader(text))
	d.DisallowUnknownFields()
	if err := d.Decode(&s); err != nil {
		if miss, ok := err.(*toml.StrictMissingError); ok {
			line, _ := miss.Errors[0].Position()
			return s, fmt.Errorf("line %d: the key %s is not known in a scenario. Correct its spelling or take it out", line, strings.Join(miss.Errors[0].Key(), "."))
		}
		if de, ok := err.(*toml.DecodeError); ok {
			line, _ := de.Position()
			return s, fmt.Errorf("line %d: %w", line, err)
		}
		return s, err
	}
	// A box that is named keeps the default of what it leaves out only where
	// zero means nothing: the receiver's noise.
	for name, b := range s.Boxes {
		if !slices.Contains(BoxNames, name) {
			return s, fmt.Errorf("box %q is not known: want one of %s", name, strings.Join(BoxNames, ", "))
		}
		if name == "guidance" && b.NoiseM == 0 {
			b.NoiseM = defaultBox(name).NoiseM
			s.Boxes[name] = b
		}
	}
	return s, s.check()
}

func (s *Scenario) box(name string) Box {
	if b, ok := s.Boxes[name]; ok {
		return b
	}
	return defaultBox(name)
}

func (b Box) declared() bool { return !b.Chance && (b.Declare == nil || *b.Declare) }

// check fills what follows from the rest and says what does not fit.
func (s *Scenario) check() error {
	var err error
	if s.zone, err = time.LoadLocation(s.Zone); err != nil {
		return fmt.Errorf("zone %q: want a name such as America/Chicago", s.Zone)
	}
	if s.t0, err = s.clock(s.Start); err != nil {
		return fmt.Errorf("start: %w", err)
	}
	p := &s.Planter
	switch {
	case p.Rows < 1 || p.Rows > evenstand.MaxRows:
		return fmt.Errorf("planter.rows = %d: want 1 to %d", p.Rows, evenstand.MaxRows)
	case !(p.RowSpacing >= 0.1 && p.RowSpacing <= 2.5):
		return fmt.Errorf("planter.row_spacing_m = %g: want metres, such as 0.762", p.RowSpacing)
	case p.Hitch != "trailed" && p.Hitch != "mounted":
		return fmt.Errorf("planter.hitch = %q: want trailed or mounted", p.Hitch)
	case p.AntennaToHitch < 0 || p.HitchToRowLine < 0 || p.Hitch == "trailed" && p.HitchToRowLine < 1:
		return fmt.Errorf("planter: a trailed planter wants antenna_to_hitch_m of 0 or more and hitch_to_row_line_m of 1 or more")
	case p.Cells < 8 || p.Cells > 120:
		return fmt.Errorf("planter.cells = %d: want 8 to 120", p.Cells)
	case !(s.Hours > 0 && s.Hours <= 16):
		return fmt.Errorf("hours = %g: want more than 0 and at most 16", s.Hours)
	case !(s.Drive.Speed >= 0.5 && s.Drive.Speed <= 8):
		return fmt.Errorf("drive.speed_m_s = %g: want 0.5 to 8", s.Drive.Speed)
	case !(s.Drive.TurnSpeed > 0.2 && s.Drive.TurnRadius > 1 && s.Drive.Braking > 0):
		return fmt.Errorf("drive: turn_speed_m_s, turn_radius_m and braking_m_s2 must be above zero")
	case !(s.Meter.Population > 1000 && s.Meter.Skips > 0 && s.Meter.Skips < 50 && s.Meter.Doubles > 0 && s.Meter.Doubles < 50):
		return fmt.Errorf("meter: want population_per_ac over 1000, skip_percent and double_percent over 0 and under 50")
	case s.Output.Grade != "A" && s.Output.Grade != "B":
		return fmt.Errorf("output.grade = %q: want A or B", s.Output.Grade)
	case s.Output.Layout != "plain" && !s.oneBox():
		return fmt.Errorf("output.layout = %q: want plain, task-data or bus", s.Output.Layout)
	case s.oneBox() && s.Output.Grade != "B":
		return fmt.Errorf("output.layout = %s carries a row a second: it wants grade = \"B\"", s.Output.Layout)
	case s.Output.Door != "" && doors[s.Output.Door] == (door{}):
		return fmt.Errorf("output.door = %q: want one of %s", s.Output.Door, strings.Join(slices.Sorted(maps.Keys(doors)), ", "))
	case s.Output.WheelLoad != "" && s.Output.WheelLoad != "auto" && s.Output.WheelLoad != "fixed":
		return fmt.Errorf("output.wheel_load = %q: want auto or fixed", s.Output.WheelLoad)
	case s.Output.Smoothing < 1 || s.Output.Smoothing > 30:
		return fmt.Errorf("output.smoothing_s = %g: want 1 to 30", s.Output.Smoothing)
	case s.Output.TruthEach < 1:
		return fmt.Errorf("output.truth_each = %d: want 1 or more", s.Output.TruthEach)
	case len(s.Fields) == 0:
		return fmt.Errorf("no field. Add a [[field]] with name, passes and length_m")
	}
	if err := s.ranges(); err != nil {
		return err
	}
	if (s.Output.BFrom == "") != (s.Output.BTo == "") {
		return fmt.Errorf("output: grade_b_from and grade_b_to belong together")
	}
	for _, c := range []string{s.Output.BFrom, s.Output.BTo, s.Timetable.Lunch} {
		if c != "" {
			if _, err := s.clock(c); err != nil {
				return err
			}
		}
	}
	for i := range s.Fields {
		if err := s.Fields[i].check(s); err != nil {
			return fmt.Errorf("field %d: %w", i+1, err)
		}
	}
	for i := range s.Faults {
		if _, err := s.newFault(i, s.Faults[i]); err != nil {
			return fmt.Errorf("fault %d: %w", i+1, err)
		}
	}
	if _, err := s.newBoard(); err != nil {
		return err
	}
	if r := s.Random; r != nil {
		for _, name := range append(slices.Clone(r.Kinds), r.Of...) {
			kind, variant := kindVariant(name)
			k, ok := faultKinds[kind]
			if !ok {
				return fmt.Errorf("random: kind %q is not known: want one of %s", kind, strings.Join(FaultKinds(), ", "))
			}
			if variant != "" && !slices.Contains(append(slices.Clone(k.variants), k.named...), variant) {
				return fmt.Errorf("random: variant %q of %s: want one of %s", variant, kind, strings.Join(k.variants, ", "))
			}
		}
		if r.Faults > 0 && len(r.Kinds) == 0 || r.Distractors > 0 && len(r.Of) == 0 {
			return fmt.Errorf("random: say kinds (and of, for the distractors)")
		}
		if r.At != "" && r.At != "detectable" && r.At != "any" {
			return fmt.Errorf("random.at = %q: want detectable or any", r.At)
		}
	}
	return nil
}

// ranges holds every number that could make a world without end or sense.
func (s *Scenario) ranges() error {
	p, d, m, t, n, w, o := &s.Planter, &s.Drive, &s.Meter, &s.Tube, &s.Sensor, &s.Timetable, &s.Output
	for _, x := range []struct {
		name   string
		v      float64
		lo, hi float64
	}{
		{"planter.antenna_to_hitch_m", p.AntennaToHitch, 0, 20},
		{"planter.hitch_to_row_line_m", p.HitchToRowLine, 0, 30},
		{"planter.sensor_to_ground_s", p.SeedFall, 0, 2},
		{"drive.speed_sd", d.SpeedSD, 0, 0.2},
		{"drive.pass_speed_sd", d.PassSD, 0, 0.5},
		{"drive.turn_speed_m_s", d.TurnSpeed, 0.3, 8},
		{"drive.turn_radius_m", d.TurnRadius, 3, 50},
		{"drive.guidance_sd_m", d.GuidanceSD, 0, 1},
		{"drive.stop_share", d.StopShare, 0, 1},
		{"drive.halts_per_hour", d.HaltsPerHour, 0, 30},
		{"drive.braking_m_s2", d.Braking, 0.5, 10},
		{"meter.population_per_ac", m.Population, 5000, 500000},
		{"meter.row_sd", m.RowSD, 0, 2},
		{"meter.stretch_sd", m.StretchSD, 0, 2},
		{"meter.minute_sd", m.MinuteSD, 0, 2},
		{"meter.hour_sd", m.HourSD, 0, 2},
		{"meter.cell_sd", m.CellSD, 0, 0.2},
		{"meter.drive_sd", m.DriveSD, 0, 0.1},
		{"meter.drive_lag_s", m.DriveLag, 0, 2},
		{"meter.drive_tau_s", m.DriveTau, 0, 2},
		{"meter.vacuum_kpa", m.VacuumKPa, 0.5, 20},
		{"meter.rate_term", m.RateTerm, 0, 3},
		{"meter.vacuum_term", m.VacuumTerm, 0, 3},
		{"meter.vacuum_dbl_term", m.VacuumDbl, 0, 3},
		{"tube.fall_ms", t.FallMS, 1, 2000},
		{"tube.fall_sd_ms", t.FallSD, 0, 100},
		{"tube.fall_within_ms", t.FallWithin, 0, t.FallMS},
		{"tube.bounce_m", t.Bounce, 0, 0.2},
		{"tube.jump_share", t.Jumps, 0, 0.5},
		{"tube.jump_m", t.Jump, 0, 0.5},
		{"tube.furrow_m", t.FurrowSD, 0, 0.5},
		{"tube.furrow_jump", t.FurrowJump, 0, 0.5},
		{"sensor.noise_ms", n.NoiseMS, 0, 50},
		{"sensor.miss_percent", n.Miss, 0, 100},
		{"sensor.merge_ms", n.MergeMS, 0, 50},
		{"sensor.merge_percent", n.Merge, 0, 100},
		{"sensor.dust_per_s", n.Dust, 0, 50},
		{"timetable.lunch_min", w.LunchMin, 0, 300},
		{"timetable.refill_ha", w.RefillHa, 0, 1000},
		{"timetable.refill_min", w.RefillMin, 0, 120},
		{"timetable.road_min", w.RoadMin, 0, 300},
		{"output.force_hz", o.ForceHz, 0, 10},
		{"output.liquid_l_ha", o.Liquid, 0, 300},
		{"output.tanks", float64(o.Tanks), 0, 2},
		{"output.counts", float64(o.Counts), 0, 100},
		{"output.granular_kg_ha", o.Granular, 0, 100},
		{"output.granular_most_pass_kg_ha", o.MostPass, 0, 200},
		{"output.granular_most_season_kg_ha", o.MostSeason, 0, 200},
		{"money.price_usd_bu", s.Money.Price, 0, 100},
		{"money.yield_bu_ac", s.Money.Yield, 0, 1000},
		{"money.seed_usd_unit", s.Money.SeedUnit, 0, 5000},
	} {
		if !(x.v >= x.lo && x.v <= x.hi) {
			return fmt.Errorf("%s = %g: want %g to %g", x.name, x.v, x.lo, x.hi)
		}
	}
	for name, b := range s.Boxes {
		if !(math.Abs(b.Offset) <= 86400 && math.Abs(b.Drift) <= 1000 && b.Latency >= 0 && b.Latency <= 5 && b.NoiseM >= 0 && b.NoiseM <= 5) {
			return fmt.Errorf("box.%s: want offset_s within a day, drift_ppm within 1000, latency_s and noise_m from 0 to 5", name)
		}
		if !(b.SetAt >= 0 && b.SetAt <= 24 && math.Abs(b.SetBy) <= 3600 && b.QuietAt >= 0 && b.QuietAt <= 24 && b.Quiet >= 0 && b.Quiet <= 600) {
			return fmt.Errorf("box.%s: want set_h and quiet_h from 0 to 24, set_s within an hour, quiet_min from 0 to 600", name)
		}
	}
	if r := s.Random; r != nil {
		if !(r.Faults >= 0 && r.Faults <= 200 && r.Distractors >= 0 && r.Distractors <= 200 && r.FirstHours >= 0 && r.FirstHours < s.Hours) {
			return fmt.Errorf("random: want 0 to 200 faults and distractors, and first_h before the day's end")
		}
		if !(r.SpeedLow >= 0 && r.SpeedLow <= 8 && r.SpeedHigh >= 0 && r.SpeedHigh <= 8) {
			return fmt.Errorf("random: want speeds of 0 to 8 m/s")
		}
	}
	return nil
}

// clock turns a local time of the day into an instant.
func (s *Scenario) clock(hhmm string) (evenstand.Micros, error) {
	t, err := time.ParseInLocation("2006-01-02 15:04", s.Date+" "+hhmm, s.zone)
	if err != nil {
		return 0, fmt.Errorf("%q on %q: want a local time such as 07:40 and a date such as 2026-05-02", hhmm, s.Date)
	}
	return evenstand.FromTime(t), nil
}

// seconds gives a local time of the day in seconds from the start.
func (s *Scenario) seconds(hhmm string) float64 {
	m, err := s.clock(hhmm)
	if err != nil {
		panic("a time that check let through: " + err.Error())
	}
	return (m - s.t0).Seconds()
}

// width of the planter in metres.
func (s *Scenario) width() float64 { return float64(s.Planter.Rows) * s.Planter.RowSpacing }

// perM2 is the target in seeds per square metre.
func (s *Scenario) perM2() float64 { return s.Meter.Population / evenstand.Acre }

// spacing is the target distance of seeds in a row, metres.
func (s *Scenario) spacing() float64 { return 1 / (s.perM2() * s.Planter.RowSpacing) }

// card is the planter card that goes with the scenario.
func (s *Scenario) card() evenstand.Card {
	p := s.Planter
	c := evenstand.NewCard()
	c.Name, c.Rows, c.RowSpacing = p.Name, p.Rows, p.RowSpacing
	c.Geometry = evenstand.Geometry{Hitch: evenstand.Hitch(p.Hitch), AntennaToHitch: p.AntennaToHitch, HitchToRowLine: p.HitchToRowLine, SeedFall: p.SeedFall}
	all := span(1, p.Rows)
	if s.Output.Liquid > 0 {
		c.Tanks = []evenstand.Tank{{Number: 1, Name: "liquid", Product: "starter", Capacity: 1.5, Feeds: all}}
		if s.Output.Tanks > 0 {
			size := newTanks(s).size
			c.Tanks = nil
			for k := range s.Output.Tanks {
				c.Tanks = append(c.Tanks, evenstand.Tank{Number: k + 1, Name: "liquid", Product: "starter", Capacity: size, Feeds: s.rowsOf(k + 1)})
			}
		}
	}
	c.Meters = []evenstand.Meter{{Rows: all, Crop: p.Crop, Cells: p.Cells}}
	if p.OneVacuum || p.Rows < 2 {
		c.Groups = []evenstand.Group{{Kind: "vacuum", Name: "left", Rows: all}}
	} else {
		c.Groups = []evenstand.Group{
			{Kind: "vacuum", Name: "left", Rows: span(1, p.Rows/2)},
			{Kind: "vacuum", Name: "right", Rows: span(p.Rows/2+1, p.Rows)},
		}
	}
	return c
}

func span(a, b int) evenstand.Rows {
	var r evenstand.Rows
	for i := a; i <= b; i++ {
		r = append(r, i)
	}
	return r
}
