package bus_test

import (
	"encoding/binary"
	"slices"
	"testing"

	"evenstand"
	"evenstand/format/bus"
	"evenstand/format/iso11783"
)

var le = binary.LittleEndian

func text(b []byte, s string) []byte { return append(append(b, byte(len(s))), s...) }

// The records of live.md section 5.
func dvc(name uint64, words string, extra []byte) []byte {
	b := le.AppendUint16([]byte("DVC"), 0)
	b = text(b, words)
	b = text(b, "V1")
	b = le.AppendUint64(b, name)
	b = text(b, "serial")
	b = append(b, "SNVEN01"...)
	b = append(b, "\xff\x00\x00\x00\x00ne"...)
	return append(b, extra...)
}

func det(id uint16, kind byte, words string, number, parent uint16, refs ...uint16) []byte {
	b := append(le.AppendUint16([]byte("DET"), id), kind)
	b = text(b, words)
	b = le.AppendUint16(le.AppendUint16(b, number), parent)
	b = le.AppendUint16(b, uint16(len(refs)))
	for _, r := range refs {
		b = le.AppendUint16(b, r)
	}
	return b
}

func dpd(id, ddi uint16, words string) []byte {
	b := append(le.AppendUint16(le.AppendUint16([]byte("DPD"), id), ddi), 1, 9)
	return le.AppendUint16(text(b, words), 0xffff)
}

func dpt(id, ddi uint16, value int32) []byte {
	b := le.AppendUint32(le.AppendUint16(le.AppendUint16([]byte("DPT"), id), ddi), uint32(value))
	return le.AppendUint16(text(b, ""), 0xffff)
}

func dvp(id uint16, unit string) []byte {
	b := append(le.AppendUint32(le.AppendUint32(le.AppendUint16([]byte("DVP"), id), 0), 0x3f800000), 2)
	return text(b, unit)
}

const planterName = 0xA0088200FFE004D2

// tworow is a planter of two rows: device, boom, two units at -381 and 381 mm.
func tworow(extra []byte) []byte {
	return slices.Concat(dvc(planterName, "two rows", extra), det(1, 1, "Planter", 0, 0), det(2, 2, "Boom", 1, 1),
		det(3, 5, "Row 1", 2, 2, 10, 20), det(4, 5, "Row 2", 3, 2, 11, 20), dpt(10, 135, -381), dpt(11, 135, 381), dpd(20, 12, "Rate"), dvp(30, "seeds/m2"))
}

func TestParsePool(t *testing.T) {
	whole := tworow(nil)
	label := append([]byte{4}, "long"...)
	for _, tt := range []struct {
		name    string
		b       []byte
		objects int
		rest    int
	}{
		{"version 3", whole, 7, 0},
		{"version 4, no extra label", tworow([]byte{0}), 7, 0},
		{"version 4, extra label", tworow(label), 7, 0},
		{"version 4, an extra label of 32 bytes", tworow(append([]byte{32}, "DETDETDETDETDETDETDETDETDETDET.."...)), 7, 0},
		{"the device alone, version 3", dvc(planterName, "x", nil), 0, 0},
		{"the device alone, version 4", dvc(planterName, "x", []byte{0}), 0, 0},
		{"cut in the last record", whole[:len(whole)-1], 7, len(dvp(30, "seeds/m2")) - 1},
		{"something else behind", append(slices.Clone(whole), "XYZ"...), 7, 3},
		{"more references than bytes", det(1, 1, "", 0, 0)[:10], 0, 10},
		{"nothing", nil, 0, 0},
	} {
		p, rest := bus.ParsePool(tt.b)
		if p.Objects() != tt.objects || rest != tt.rest {
			t.Errorf("%s: %d objects, %d bytes left, want %d, %d", tt.name, p.Objects(), rest, tt.objects, tt.rest)
		}
	}
	p, _ := bus.ParsePool(whole)
	set := iso11783.NewSet()
	d := set.Add(p.Describe())
	c := set.NewLayout(&iso11783.Task{}, nil, iso11783.Told{}.Value).Card()
	if len(d.Elements) != 4 || d.Elements[3].Process[12] != "Rate" || c == nil || c.Rows != 2 || c.RowSpacing != 0.762 || c.Name != "two rows" {
		t.Errorf("%+v, card %+v", d, c)
	}
}

// transfer sends a message from an address to the controller.
func (k *talk) transfer(from uint8, b []byte) *talk {
	k.frame(0xEC00, controller, from, append([]byte{16, byte(len(b)), byte(len(b) >> 8), byte((len(b) + 6) / 7), 0xff}, group...)...)
	for n := 0; 7*n < len(b); n++ {
		k.frame(0xEB00, controller, from, append([]byte{byte(n + 1)}, b[7*n:min(7*n+7, len(b))]...)...)
	}
	return k
}

func (k *talk) describe(from uint8, parts ...[]byte) *talk {
	return k.transfer(from, append([]byte{0x61}, slices.Concat(parts...)...))
}

// say sends a value.
func (k *talk) say(from, to uint8, element, ddi uint16, v int32) *talk {
	d := []byte{3 | byte(element)<<4, byte(element >> 4), byte(ddi), byte(ddi >> 8)}
	return k.frame(51968, to, from, le.AppendUint32(d, uint32(v))...)
}

// claim claims an address.
func (k *talk) claim(at uint8, name uint64) *talk {
	return k.frame(60928, 0xff, at, le.AppendUint64(nil, name)...)
}

// rates are the seed rates of a row.
func (k *talk) rates(t *testing.T, row int) (v []float64, src evenstand.Source) {
	t.Helper()
	s := read(t, bus.Format{}, file([]byte(k.b.String())))
	if s.Err != nil {
		t.Fatal(s.Err)
	}
	for _, r := range values(&s, evenstand.SeedRate, evenstand.RowElement(row)) {
		v = append(v, r.Value)
	}
	return v, s.Source
}

func TestDescriptions(t *testing.T) {
	third := slices.Concat(det(2, 2, "Boom", 1, 1), det(5, 5, "Row 3", 4, 2, 12, 20), dpt(12, 135, 1143))
	for _, tt := range []struct {
		name string
		say  func(k *talk)
		row  int
		want []float64
		rows int
	}{
		{"before the values", func(k *talk) { k.describe(device, tworow(nil)).say(device, controller, 3, 12, 8000) }, 2, []float64{8}, 2},
		{"after them", func(k *talk) { k.say(device, controller, 3, 12, 8000).describe(device, tworow(nil)) }, 2, []float64{8}, 2},
		{"again, the same", func(k *talk) {
			k.describe(device, tworow(nil)).say(device, controller, 3, 12, 8000).describe(device, tworow(nil)).say(device, controller, 3, 12, 7000)
		}, 2, []float64{8, 7}, 2},
		{"in two transfers", func(k *talk) {
			whole := tworow(nil)
			at := len(dvc(planterName, "two rows", nil)) + len(det(1, 1, "Planter", 0, 0)) + len(det(2, 2, "Boom", 1, 1))
			k.describe(device, whole[:at]).describe(device, whole[at:]).say(device, controller, 3, 12, 8000)
		}, 2, []float64{8}, 2},
		{"replaced by id", func(k *talk) { // the two rows change places
			k.describe(device, tworow(nil)).describe(device, dpt(10, 135, 381), dpt(11, 135, -381)).say(device, controller, 3, 12, 8000)
		}, 1, []float64{8}, 2},
		{"with one more row", func(k *talk) {
			k.describe(device, tworow(nil)).say(device, controller, 3, 12, 8000).describe(device, third).
				say(device, controller, 4, 12, 7000).say(device, controller, 4, 12, 7250).say(device, controller, 4, 12, 7500)
		}, 3, []float64{7, 7.25, 7.5}, 3},
		{"of another machine that moved to the address", func(k *talk) {
			k.claim(device, planterName).describe(device, tworow(nil)).say(device, controller, 3, 12, 8000).
				claim(device, planterName+1).say(device, controller, 3, 12, 5000)
		}, 2, []float64{8}, 2},
		{"of a machine that moved to another address", func(k *talk) {
			k.claim(device, planterName).describe(device, tworow(nil)).say(device, controller, 3, 12, 8000).
				claim(0x90, planterName).say(0x90, controller, 3, 12, 7000)
		}, 2, []float64{8, 7}, 2},
	} {
		t.Run(tt.name, func(t *testing.T) {
			var k talk
			tt.say(&k)
			got, src := k.rates(t, tt.row)
			if !slices.Equal(got, tt.want) || src.Card == nil || src.Card.Rows != tt.rows {
				t.Errorf("row %d: %v, want %v; card %v; %q", tt.row, got, tt.want, src.Card, src.Notes)
			}
		})
	}
}
