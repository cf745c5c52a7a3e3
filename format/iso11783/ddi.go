package iso11783

import (
	_ "embed"
	"encoding/csv"
	"fmt"
	"strconv"
	"strings"
	"sync"
)

// DDI is a data dictionary identifier of ISO 11783-11: it says what a raw
// integer in task data means.
type DDI uint16

// Identifiers that the reader and the writer name. The names are the
// dictionary's own, shortened.
const (
	ddiVolumePerAreaSet   DDI = 1
	ddiVolumePerArea      DDI = 2
	ddiMassPerAreaSet     DDI = 6
	ddiMassPerArea        DDI = 7
	ddiCountPerAreaSet    DDI = 11
	ddiCountPerArea       DDI = 12
	ddiCountPerAreaMax    DDI = 15
	ddiSpacingSet         DDI = 16
	ddiSpacing            DDI = 17
	ddiVolumePerTime      DDI = 37
	ddiCountPerTime       DDI = 47
	ddiWorkingWidth       DDI = 67
	ddiMaxWidth           DDI = 70
	ddiVolumeContent      DDI = 72
	ddiMaxVolumeContent   DDI = 73
	ddiTotalCount         DDI = 82
	ddiOffsetX            DDI = 134
	ddiOffsetY            DDI = 135
	ddiOffsetZ            DDI = 136
	ddiWorkState          DDI = 141
	ddiLatencySet         DDI = 142
	ddiLatency            DDI = 143
	ddiYaw                DDI = 144
	ddiConnectorType      DDI = 157
	ddiUnitsInSection     DDI = 159
	ddiCondensed          DDI = 161 // to 176
	ddiCondensedLast      DDI = 176
	ddiPractice           DDI = 179
	ddiPivotX             DDI = 264
	ddiWorkStateSet       DDI = 289
	ddiCondensedSet       DDI = 290 // to 305
	ddiCondensedSetLast   DDI = 305
	ddiRotationX          DDI = 306
	ddiOverride           DDI = 367 // to 382
	ddiOverrideLast       DDI = 382
	ddiSpeed              DDI = 397
	ddiSingulation        DDI = 415
	ddiSkips              DDI = 417
	ddiMultiples          DDI = 419
	ddiSpacingCV          DDI = 423
	ddiForceSet           DDI = 426
	ddiForce              DDI = 427
	ddiHitchAngle         DDI = 466
	ddiVoltage            DDI = 564
	ddiVolumePerAreaMLSet DDI = 588
	ddiVolumePerAreaML    DDI = 589
	ddiPGN                DDI = 57342
	ddiDefaultSet         DDI = 57343
	ddiMakerFirst         DDI = 57344
	ddiMakerLast          DDI = 65534
)

// ParameterGroup is the identifier of columns that hold a part of a message of
// the bus; Column says which.
const ParameterGroup = ddiPGN

// Missing is the raw value that is no reading.
const Missing int32 = -1 << 31

// DictionaryEntry is one line of the data dictionary.
type DictionaryEntry struct {
	DDI        DDI
	Name       string
	Unit       string
	Resolution float64 // value in Unit = raw x Resolution
}

//go:embed ddi.csv
var dictionaryCSV string

var dictionary = sync.OnceValue(func() map[DDI]DictionaryEntry {
	r := csv.NewReader(strings.NewReader(dictionaryCSV))
	r.Comment = '#'
	lines, err := r.ReadAll()
	if err != nil {
		panic("iso11783: embedded ddi.csv: " + err.Error())
	}
	m := make(map[DDI]DictionaryEntry, len(lines))
	for _, l := range lines[1:] {
		n, err1 := strconv.ParseUint(l[0], 10, 16)
		res, err2 := strconv.ParseFloat(l[3], 64)
		if err1 != nil || err2 != nil {
			panic(fmt.Sprintf("iso11783: embedded ddi.csv: line %q", l))
		}
		m[DDI(n)] = DictionaryEntry{DDI(n), l[1], l[2], res}
	}
	return m
})

// Dictionary finds an identifier in the data dictionary; false for maker-own
// numbers and numbers that the embedded part does not hold.
func Dictionary(d DDI) (DictionaryEntry, bool) {
	e, ok := dictionary()[d]
	return e, ok
}

// MakerOwn tells whether the number belongs to the maker of the device and has
// no public meaning.
func (d DDI) MakerOwn() bool { return d >= ddiMakerFirst && d <= ddiMakerLast }

// hex gives the identifier as XML writes it: four hexadecimal digits.
func (d DDI) hex() string { return fmt.Sprintf("%04X", uint16(d)) }

// parseDDI reads the hexadecimal form.
func parseDDI(s string) (DDI, error) {
	n, err := strconv.ParseUint(strings.TrimSpace(s), 16, 16)
	if err != nil {
		return 0, fmt.Errorf("%q is no data dictionary identifier (four hexadecimal digits)", s)
	}
	return DDI(n), nil
}

// setpoints maps what is measured to what is asked for: the dictionary calls
// one "Actual X" and the other "Setpoint X".
var setpoints = sync.OnceValue(func() map[DDI]DDI {
	asked := map[string]DDI{}
	for d, e := range dictionary() {
		if x, ok := strings.CutPrefix(e.Name, "Setpoint "); ok {
			asked[x] = d
		}
	}
	m := map[DDI]DDI{}
	for d, e := range dictionary() {
		x, actual := strings.CutPrefix(e.Name, "Actual ")
		if s, ok := asked[x]; ok && actual {
			m[d], m[s] = s, s
		}
	}
	return m
})

// Setpoint gives the identifier by which a controller asks for what d measures,
// or d itself when that is what it asks for; false when nothing is asked.
func (d DDI) Setpoint() (DDI, bool) {
	if s, ok := setpoints()[d]; ok {
		return s, true
	}
	e, ok := Dictionary(d)
	return d, ok && strings.HasPrefix(e.Name, "Setpoint ")
}
