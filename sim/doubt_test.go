package sim_test

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"evenstand"
	"evenstand/sim"
)

// A silent box says nothing from the fault's first second to its last, turns
// included, and the others say what they would have said.
func TestSourceSilentTruth(t *testing.T) {
	healthy, _ := run(t, small)
	size := func(dir, box, file string) int {
		b, err := os.ReadFile(filepath.Join(dir, "boxes", box, file))
		if err != nil {
			t.Fatal(err)
		}
		return bytes.Count(b, []byte("\n"))
	}
	files := map[string]string{"seed": "seeds.csv", "machine": "readings.csv", "guidance": "track.csv"}
	for box := range files {
		out, sum := run(t, small+"[[fault]]\nkind = \"source-silent\"\nat_h = 0.05\nseconds = 60\nvariant = \""+box+"\"\n")
		f := sum.Faults[0]
		if !f.Detectable || f.Kind != evenstand.KindSourceSilent || f.Bushels != 0 {
			t.Errorf("%s: %+v", box, f)
		}
		for other, file := range files {
			was, is := size(healthy, other, file), size(out, other, file)
			if (was == is) == (other == box) {
				t.Errorf("%s silent: %s has %d lines, healthy %d", box, other, is, was)
			}
		}
		if box == "guidance" { // five a second
			want := 5 * (f.To - f.From).Seconds()
			if got := float64(size(healthy, box, files[box]) - size(out, box, files[box])); math.Abs(got-want) > 6 {
				t.Errorf("%g positions are missing, want %.0f", got, want)
			}
		}
	}
}

// A box whose clock scenario lets it fall silent stops within a pass, at the
// very second, and speaks again at the very second; so the truth has it.
func TestQuietBoxTruth(t *testing.T) {
	_, healthy := run(t, small)
	out, sum := run(t, small+"[box.seed]\nquiet_h = 0.05\nquiet_min = 4\n")
	var f *sim.Fault
	for i := range sum.Faults {
		if sum.Faults[i].Kind == evenstand.KindSourceSilent {
			f = &sum.Faults[i]
		}
	}
	if f == nil || f.To-f.From != 240*evenstand.Second {
		t.Fatalf("want a silence of 240 s: %+v", sum.Faults)
	}
	b, err := os.ReadFile(filepath.Join(out, "boxes", "seed", "seeds.csv"))
	if err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSpace(string(b)), "\n")[1:]
	if want := healthy.Day.Seen; float64(len(lines)) > 0.95*want || float64(len(lines)) < 0.5*want {
		t.Errorf("%d seeds of %g", len(lines), want)
	}
	var last, next evenstand.Micros // about the silence
	for _, l := range lines {
		word, _, _ := strings.Cut(l, ",")
		at, err := strconv.ParseFloat(word, 64)
		if err != nil {
			t.Fatal(err)
		}
		switch x := evenstand.FromSeconds(at); {
		case x < f.From:
			last = max(last, x)
		case x < f.To-evenstand.Second/1000:
			t.Fatalf("a seed at %s, within the silence from %s to %s", x, f.From, f.To)
		case next == 0 || x < next:
			next = x
		}
	}
	// Six rows drop 150 seeds a second.
	if f.From-last > evenstand.Second/10 || next-f.To > evenstand.Second/10 {
		t.Errorf("the last seed is %.3f s before the silence, the next %.3f s behind it", (f.From - last).Seconds(), (next - f.To).Seconds())
	}
}

// What is as strong as "Detectable" of the methods asks is sensor-doubt, of
// whatever name; below that it is a look-alike. A sensor loses no seed.
func TestSensorDoubtTruth(t *testing.T) {
	for _, tt := range []struct {
		name, fault string
		kind        string
		demanded    bool
		share       float64 // of seeds that the sensor must have lost
	}{
		{"dust, 24 pulses", "kind = \"sensor-doubt\"\nvariant = \"dust\"\nstrength = 4\nseconds = 6\n", evenstand.KindSensorDoubt, true, 0},
		{"dust, 16 pulses", "kind = \"sensor-doubt\"\nvariant = \"dust\"\nstrength = 4\nseconds = 4\n", evenstand.KindSensorDoubt, false, 0},
		{"dust by its old name", "kind = \"dust\"\nseconds = 60\n", evenstand.KindSensorDoubt, true, 0},
		{"thin dust", "kind = \"dust\"\nstrength = 0.2\nseconds = 200\n", "dust", false, 0},
		{"a third for a minute", "kind = \"sensor-misses\"\nstrength = 0.35\nseconds = 80\n", evenstand.KindSensorDoubt, true, 0.35},
		{"one in twenty", "kind = \"sensor-misses\"\nseconds = 80\n", "sensor-misses", false, 0.05},
		{"a loose plug", "kind = \"sensor-doubt\"\nvariant = \"drop-out\"\nstrength = 0.4\nseconds = 80\n", evenstand.KindSensorDoubt, true, 0.4},
	} {
		t.Run(tt.name, func(t *testing.T) {
			healthy, _ := run(t, small)
			out, sum := run(t, small+"[[fault]]\nrows = \"4\"\nat_h = 0.05\n"+tt.fault)
			f := sum.Faults[0]
			if f.Kind != tt.kind || f.Detectable != tt.demanded || f.Distract == (tt.kind == evenstand.KindSensorDoubt) {
				t.Errorf("kind %s, demanded %v, distractor %v: want %s, %v", f.Kind, f.Detectable, f.Distract, tt.kind, tt.demanded)
			}
			if f.Cause != evenstand.CauseSensor || f.Bushels != 0 || f.Lost != 0 {
				t.Errorf("cause %s, %g bu, %g places lost: want the sensor and nothing", f.Cause, f.Bushels, f.Lost)
			}
			if tt.share > 0 {
				lines := func(dir string) int { return len(seedLines(t, dir)["4"]) }
				lost := 1 - float64(lines(out))/float64(lines(healthy))
				want := tt.share * f.Places / sum.Day.Places * float64(sum.Day.Rows)
				if lost < 0.8*want || lost > 1.2*want {
					t.Errorf("%.3f of the row's lines are gone, want about %.3f", lost, want)
				}
			}
		})
	}
}
