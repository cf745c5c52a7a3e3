package book

import (
	"math"

	"evenstand"
)

// tablesVersion is the layout of the Parquet and JSON files under data/.
const tablesVersion = "1"

// The derived files of a machine-day.
const (
	passesName    = "passes.parquet"
	trackName     = "track.parquet"
	seedsName     = "seeds.parquet"
	readingsName  = "readings.parquet"
	stretchesName = "stretches.parquet"
	workedName    = "worked.parquet"
	findingsName  = "findings.json"
	clocksName    = "clocks.json"
	summaryName   = "summary.json"

	boxJournalName = "journal.json" // what the boxes logged beside their measurements
)

// seedRow is a row of seeds.parquet: one row group a pass, sorted by row and
// time. All integers are coded as differences, which pack to less than half
// of plain ones and are read faster.
type seedRow struct {
	Pass    int32 `parquet:"pass,delta"`
	Row     int16 `parquet:"row,delta"`
	S       int32 `parquet:"s_mm,delta"`
	T       int64 `parquet:"t_us,delta"`
	Gap     int32 `parquet:"gap_mm,delta"`
	Class   uint8 `parquet:"class,delta"`
	Missing uint8 `parquet:"missing,delta"`
	Double  bool  `parquet:"double"`
	Cell    int16 `parquet:"cell,delta"`
	Off     int16 `parquet:"off_milli,delta"`
}

var noSeed = seedRow{Gap: -1, Cell: -1, Off: evenstand.NoOff}

func toSeedRow(pass int32, s *evenstand.PlacedSeed) seedRow {
	return seedRow{pass, s.Row, s.S, int64(s.T), s.Gap, uint8(s.Class), s.Missing, s.Double, s.Cell, s.Off}
}

func (r *seedRow) seed() evenstand.PlacedSeed {
	return evenstand.PlacedSeed{T: evenstand.Micros(r.T), Row: r.Row, S: r.S, Gap: r.Gap, Class: evenstand.Class(r.Class), Missing: r.Missing, Double: r.Double, Cell: r.Cell, Off: r.Off}
}

// passRow is a row of passes.parquet.
type passRow struct {
	Index     int32   `parquet:"pass,delta"`
	Key       string  `parquet:"key"`
	Number    int32   `parquet:"number,delta"`
	Planter   string  `parquet:"planter,dict"`
	Field     string  `parquet:"field,dict"`
	Start     int64   `parquet:"start_us,delta"`
	End       int64   `parquet:"end_us,delta"`
	S0        float64 `parquet:"s0_m,split"`
	S1        float64 `parquet:"s1_m,split"`
	Heading   float64 `parquet:"heading_deg,split"`
	Headland  bool    `parquet:"headland"`
	PosError  float64 `parquet:"position_error_m,split"`
	Seeds     int64   `parquet:"seeds,delta"`
	Stretches int64   `parquet:"stretches,delta"`
}

func toPassRow(p *evenstand.Pass, seeds, stretches int) passRow {
	return passRow{p.Index, p.Key, int32(p.Number), p.Planter, p.Field, int64(p.Start), int64(p.End), p.S0, p.S1, p.Heading, p.Headland, p.PosError, int64(seeds), int64(stretches)}
}

func (r *passRow) pass() evenstand.Pass {
	return evenstand.Pass{Index: r.Index, Key: r.Key, Number: int(r.Number), Planter: r.Planter, Field: r.Field, Start: evenstand.Micros(r.Start), End: evenstand.Micros(r.End), S0: r.S0, S1: r.S1, Heading: r.Heading, Headland: r.Headland, PosError: r.PosError}
}

// trackRow is a row of track.parquet, in time order.
type trackRow struct {
	T       int64   `parquet:"t_us,delta"`
	Pass    int32   `parquet:"pass,delta"`
	Lat     float64 `parquet:"lat_deg,split"`
	Lon     float64 `parquet:"lon_deg,split"`
	S       int64   `parquet:"s_mm,delta"`
	Heading float32 `parquet:"heading_deg,split"`
	Speed   float32 `parquet:"speed_m_s,split"`
	SD      float32 `parquet:"sd_m,split"`
}

var noTrack = trackRow{Pass: -1, Lat: math.NaN(), Lon: math.NaN(), Heading: nan32, Speed: nan32, SD: nan32}

func toTrackRow(p *evenstand.TrackPoint) trackRow {
	return trackRow{int64(p.T), p.Pass, p.Lat, p.Lon, int64(math.Round(p.S * 1000)), float32(p.Heading), float32(p.Speed), float32(p.SD)}
}

func (r *trackRow) point() evenstand.TrackPoint {
	return evenstand.TrackPoint{T: evenstand.Micros(r.T), Pass: r.Pass, Lat: r.Lat, Lon: r.Lon, S: float64(r.S) / 1000, Heading: float64(r.Heading), Speed: float64(r.Speed), SD: float64(r.SD)}
}

// placeRow is what a map needs of a trackRow.
type placeRow struct {
	T       int64   `parquet:"t_us,delta"`
	Lat     float64 `parquet:"lat_deg,split"`
	Lon     float64 `parquet:"lon_deg,split"`
	S       int64   `parquet:"s_mm,delta"`
	Heading float32 `parquet:"heading_deg,split"`
}

func (r *placeRow) point() evenstand.TrackPoint {
	nan := math.NaN()
	return evenstand.TrackPoint{T: evenstand.Micros(r.T), Pass: -1, Lat: r.Lat, Lon: r.Lon, S: float64(r.S) / 1000, Heading: float64(r.Heading), Speed: nan, SD: nan}
}

// workedRow is a row of worked.parquet, in the order of passes, what was
// applied, rows and place.
type workedRow struct {
	Pass    int32  `parquet:"pass,delta"`
	From    int16  `parquet:"row_from,delta"`
	To      int16  `parquet:"row_to,delta"`
	S0      int32  `parquet:"s0_mm,delta"`
	S1      int32  `parquet:"s1_mm,delta"`
	Applied string `parquet:"applied,dict"`
	Grade   uint8  `parquet:"grade,delta"`
}

func toWorkedRow(w *evenstand.Worked) workedRow {
	return workedRow{w.Pass, w.From, w.To, w.S0, w.S1, w.Applied.String(), uint8(w.Grade)}
}

func (r *workedRow) worked() evenstand.Worked {
	w := evenstand.Worked{Pass: r.Pass, From: r.From, To: r.To, S0: r.S0, S1: r.S1, Grade: evenstand.Grade(r.Grade)}
	for a := evenstand.AppliedSeed; a <= evenstand.AppliedGranular; a++ {
		if a.String() == r.Applied {
			w.Applied = a
		}
	}
	return w
}

// readingRow is a row of readings.parquet, in time order.
type readingRow struct {
	T        int64   `parquet:"t_us,delta"`
	Quantity string  `parquet:"quantity,dict"`
	Element  string  `parquet:"element,dict"`
	Value    float64 `parquet:"value,split"`
	Code     int32   `parquet:"ddi,delta"`
}

// stretchRow is a row of stretches.parquet: one row group a pass, sorted by
// row and place.
type stretchRow struct {
	Pass     int32   `parquet:"pass,delta"`
	Row      int16   `parquet:"row,delta"`
	K        int32   `parquet:"k,delta"`
	Length   int32   `parquet:"length_mm,delta"`
	Way      int32   `parquet:"way_mm,delta"`
	T        int64   `parquet:"t_us,delta"`
	Grade    uint8   `parquet:"grade,delta"`
	Due      float32 `parquet:"due,split"`
	Seeds    float32 `parquet:"seeds,split"`
	Skips    float32 `parquet:"skips,split"`
	Doubles  float32 `parquet:"doubles,split"`
	Multiple float32 `parquet:"gaps_multiple,split"`
	Single   float32 `parquet:"gaps_single,split"`
	Skip1    float32 `parquet:"gaps_skip1,split"`
	Skip2    float32 `parquet:"gaps_skip2,split"`
	Skip3    float32 `parquet:"gaps_skip3,split"`
	Target   float32 `parquet:"target_m,split"`
	Metered  bool    `parquet:"metered"`

	SinglesN       float64 `parquet:"singles_n,split"`
	SinglesSum     float64 `parquet:"singles_sum_m,split"`
	SinglesM2      float64 `parquet:"singles_m2_m2,split"`
	LoadN          float64 `parquet:"load_n,split"`
	LoadSum        float64 `parquet:"load_sum_N,split"`
	LoadM2         float64 `parquet:"load_m2_N2,split"`
	ForceN         float64 `parquet:"force_n,split"`
	ForceSum       float64 `parquet:"force_sum_N,split"`
	ForceM2        float64 `parquet:"force_m2_N2,split"`
	MoistureN      float64 `parquet:"moisture_n,split"`
	MoistureSum    float64 `parquet:"moisture_sum,split"`
	MoistureM2     float64 `parquet:"moisture_m2,split"`
	TemperatureN   float64 `parquet:"temperature_n,split"`
	TemperatureSum float64 `parquet:"temperature_sum_degC,split"`
	TemperatureM2  float64 `parquet:"temperature_m2_degC2,split"`
	TrashN         float64 `parquet:"trash_n,split"`
	TrashSum       float64 `parquet:"trash_sum,split"`
	TrashM2        float64 `parquet:"trash_m2,split"`
	OffShareN      float64 `parquet:"off_share_n,split"`
	OffShareSum    float64 `parquet:"off_share_sum,split"`
	OffShareM2     float64 `parquet:"off_share_m2,split"`
	SpeedN         float64 `parquet:"speed_n,split"`
	SpeedSum       float64 `parquet:"speed_sum_m_s,split"`
	SpeedM2        float64 `parquet:"speed_m2_m2_s2,split"`
	VacuumN        float64 `parquet:"vacuum_n,split"`
	VacuumSum      float64 `parquet:"vacuum_sum_Pa,split"`
	VacuumM2       float64 `parquet:"vacuum_m2_Pa2,split"`

	LoadP5   float32 `parquet:"load_p5_N,split"`
	Liquid   float32 `parquet:"liquid_m3,split"`
	Granular float32 `parquet:"granular_kg,split"`
	Off      float32 `parquet:"switched_off_m,split"`
	PosError float32 `parquet:"position_error_m,split"`
}

var nan32 = float32(math.NaN())

var noStretch = stretchRow{Target: nan32, LoadP5: nan32, Liquid: nan32, Granular: nan32, PosError: nan32}

// toMM turns metres into whole millimetres, -1 when not known.
func toMM(m float32) int32 {
	if !(m >= 0 && m < math.MaxInt32/1000) {
		return -1
	}
	return int32(math.Round(float64(m) * 1000))
}

func fromMM(mm int32) float32 {
	if mm < 0 {
		return nan32
	}
	return float32(mm) / 1000
}

func toStretchRow(s *evenstand.Stretch) stretchRow {
	return stretchRow{
		Pass: s.Pass, Row: s.Row, K: s.K, Length: toMM(s.Length), Way: toMM(s.Way), T: int64(s.T), Grade: uint8(s.Grade),
		Due: s.Due, Seeds: s.Seeds, Skips: s.Skips, Doubles: s.Doubles,
		Multiple: s.Classes[0], Single: s.Classes[1], Skip1: s.Classes[2], Skip2: s.Classes[3], Skip3: s.Classes[4],
		Target: s.Target, Metered: s.Metered,
		SinglesN: s.Singles.N, SinglesSum: s.Singles.Sum, SinglesM2: s.Singles.M2,
		LoadN: s.Load.N, LoadSum: s.Load.Sum, LoadM2: s.Load.M2,
		ForceN: s.Force.N, ForceSum: s.Force.Sum, ForceM2: s.Force.M2,
		MoistureN: s.Moisture.N, MoistureSum: s.Moisture.Sum, MoistureM2: s.Moisture.M2,
		TemperatureN: s.Temperature.N, TemperatureSum: s.Temperature.Sum, TemperatureM2: s.Temperature.M2,
		TrashN: s.Trash.N, TrashSum: s.Trash.Sum, TrashM2: s.Trash.M2,
		OffShareN: s.OffShare.N, OffShareSum: s.OffShare.Sum, OffShareM2: s.OffShare.M2,
		SpeedN: s.Speed.N, SpeedSum: s.Speed.Sum, SpeedM2: s.Speed.M2,
		VacuumN: s.Vacuum.N, VacuumSum: s.Vacuum.Sum, VacuumM2: s.Vacuum.M2,
		LoadP5: s.LoadP5, Liquid: s.Liquid, Granular: s.Granular, Off: s.Off, PosError: s.PosError,
	}
}

func (r *stretchRow) stretch() evenstand.Stretch {
	type m = evenstand.Moments
	return evenstand.Stretch{
		Pass: r.Pass, Row: r.Row, K: r.K, Length: fromMM(r.Length), Way: fromMM(r.Way), T: evenstand.Micros(r.T), Grade: evenstand.Grade(r.Grade),
		Due: r.Due, Seeds: r.Seeds, Skips: r.Skips, Doubles: r.Doubles,
		Classes: [5]float32{r.Multiple, r.Single, r.Skip1, r.Skip2, r.Skip3}, Target: r.Target, Metered: r.Metered,
		Singles: m{N: r.SinglesN, Sum: r.SinglesSum, M2: r.SinglesM2}, Load: m{N: r.LoadN, Sum: r.LoadSum, M2: r.LoadM2},
		Force: m{N: r.ForceN, Sum: r.ForceSum, M2: r.ForceM2}, Moisture: m{N: r.MoistureN, Sum: r.MoistureSum, M2: r.MoistureM2},
		Temperature: m{N: r.TemperatureN, Sum: r.TemperatureSum, M2: r.TemperatureM2}, Trash: m{N: r.TrashN, Sum: r.TrashSum, M2: r.TrashM2},
		OffShare: m{N: r.OffShareN, Sum: r.OffShareSum, M2: r.OffShareM2}, Speed: m{N: r.SpeedN, Sum: r.SpeedSum, M2: r.SpeedM2},
		Vacuum: m{N: r.VacuumN, Sum: r.VacuumSum, M2: r.VacuumM2},
		LoadP5: r.LoadP5, Liquid: r.Liquid, Granular: r.Granular, Off: r.Off, PosError: r.PosError,
	}
}

// sumRow is the columns of stretchRow that measures need.
type sumRow struct {
	Pass           int32   `parquet:"pass,delta"`
	Row            int16   `parquet:"row,delta"`
	K              int32   `parquet:"k,delta"`
	Way            int32   `parquet:"way_mm,delta"`
	T              int64   `parquet:"t_us,delta"`
	Grade          uint8   `parquet:"grade,delta"`
	Due            float32 `parquet:"due,split"`
	Seeds          float32 `parquet:"seeds,split"`
	Skips          float32 `parquet:"skips,split"`
	Doubles        float32 `parquet:"doubles,split"`
	SinglesN       float64 `parquet:"singles_n,split"`
	SinglesSum     float64 `parquet:"singles_sum_m,split"`
	SinglesM2      float64 `parquet:"singles_m2_m2,split"`
	LoadN          float64 `parquet:"load_n,split"`
	LoadSum        float64 `parquet:"load_sum_N,split"`
	ForceN         float64 `parquet:"force_n,split"`
	ForceSum       float64 `parquet:"force_sum_N,split"`
	MoistureN      float64 `parquet:"moisture_n,split"`
	MoistureSum    float64 `parquet:"moisture_sum,split"`
	TemperatureN   float64 `parquet:"temperature_n,split"`
	TemperatureSum float64 `parquet:"temperature_sum_degC,split"`
	TrashN         float64 `parquet:"trash_n,split"`
	TrashSum       float64 `parquet:"trash_sum,split"`
	OffShareN      float64 `parquet:"off_share_n,split"`
	OffShareSum    float64 `parquet:"off_share_sum,split"`
	SpeedN         float64 `parquet:"speed_n,split"`
	SpeedSum       float64 `parquet:"speed_sum_m_s,split"`
	VacuumN        float64 `parquet:"vacuum_n,split"`
	VacuumSum      float64 `parquet:"vacuum_sum_Pa,split"`
	Liquid         float32 `parquet:"liquid_m3,split"`
	Granular       float32 `parquet:"granular_kg,split"`
	Off            float32 `parquet:"switched_off_m,split"`
}

func (r *sumRow) stretch() evenstand.Stretch {
	type m = evenstand.Moments
	return evenstand.Stretch{
		Pass: r.Pass, Row: r.Row, K: r.K, Way: fromMM(r.Way), T: evenstand.Micros(r.T), Grade: evenstand.Grade(r.Grade),
		Due: r.Due, Seeds: r.Seeds, Skips: r.Skips, Doubles: r.Doubles, Singles: m{N: r.SinglesN, Sum: r.SinglesSum, M2: r.SinglesM2},
		Load:        m{N: r.LoadN, Sum: r.LoadSum},
		Force:       m{N: r.ForceN, Sum: r.ForceSum},
		Moisture:    m{N: r.MoistureN, Sum: r.MoistureSum},
		Temperature: m{N: r.TemperatureN, Sum: r.TemperatureSum},
		Trash:       m{N: r.TrashN, Sum: r.TrashSum},
		OffShare:    m{N: r.OffShareN, Sum: r.OffShareSum},
		Speed:       m{N: r.SpeedN, Sum: r.SpeedSum},
		Vacuum:      m{N: r.VacuumN, Sum: r.VacuumSum},
		Liquid:      r.Liquid, Granular: r.Granular, Off: r.Off,
	}
}
