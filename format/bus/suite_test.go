package bus_test

import (
	"bytes"
	"testing"
	"testing/fstest"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/formattest"
	"evenstand/format/iso11783"
)

// whole tells whether the first n bytes end with a line, which nobody could
// take for a cut one.
func whole(_ string, data []byte, n int) bool {
	if n == 0 {
		return false // candump made the file and nothing came
	}
	if rest := data[bytes.LastIndexByte(data[:n], '\n')+1 : n]; len(bytes.TrimSpace(rest)) == 0 && len(rest) < n {
		return true
	}
	if data[n-1] == '\n' || data[n] == '\n' || data[n] == '\r' {
		return bytes.IndexByte(data[:n], '#') > 0 || bytes.IndexByte(data[:n], '[') > 0
	}
	return false
}

func TestSuite(t *testing.T) {
	const name = "candump-2026-05-02_120000.log"
	values := bus.WriterOptions{Version: 3, Card: card(2), Log: iso11783.LogSeedRate | iso11783.LogWorking | iso11783.LogWorkState | iso11783.LogSpeed}
	planter := write(t, values, 12, evenstand.Second, 0)
	// without the receiver, the second speed and the boom's state nothing that
	// comes later changes what was said before
	var alone []byte
	for line := range bytes.Lines(write(t, bus.WriterOptions{Version: 3, Card: card(2), Log: values.Log &^ iso11783.LogWorkState}, 12, evenstand.Second, 0)) {
		if !bytes.Contains(line, []byte("1C#")) && !bytes.Contains(line, []byte("FE48F0#")) {
			alone = append(alone, line...)
		}
	}
	screen := write(t, bus.WriterOptions{Card: card(2), Log: values.Log, NoTimes: true}, 12, evenstand.Second, 0)
	long := write(t, bus.WriterOptions{Card: card(16), Log: everything}, 1500, evenstand.Second, 0)
	context := func(string) bool { return true }
	formattest.Suite(t, bus.Format{}, []formattest.Set{
		{
			Name: "planter without receiver", FS: fstest.MapFS{name: {Data: alone}}, Whole: whole, LastRecord: 3,
			Want: map[string]formattest.Counts{name: {Readings: 38}}, // 12 speeds, 24 rates, 2 rows at work
		},
		{
			Name: "planter", FS: fstest.MapFS{name: {Data: planter}}, Whole: whole, LastRecord: 8,
			Context: context,                                                       // the receiver's times tell the capture's clock
			Want:    map[string]formattest.Counts{name: {Fixes: 12, Readings: 39}}, // lowered, too
			Long:    fstest.MapFS{name: {Data: long}},
		},
		{
			Name: "screen lines without times", FS: fstest.MapFS{name: {Data: screen}}, Whole: whole, LastRecord: 8, Context: context,
			Want: map[string]formattest.Counts{name: {Fixes: 12, Readings: 39}},
		},
	})
}
