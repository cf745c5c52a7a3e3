package bus

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"evenstand/format/iso11783"
)

// pool is the description that a device sends to the controller: objects by
// id, as ISO 11783-10 annex A lists them. Presentations (DVP) are for people
// and left out.
type pool struct {
	name     uint64 // of the control function
	words    string // what the device calls itself
	label    [7]byte
	has      bool // the device object is there
	elements map[uint16]element
	data     map[uint16]iso11783.DataObject
}

type element struct {
	kind   uint8
	words  string
	number uint16
	parent uint16
	data   []uint16
}

func newPool() *pool {
	return &pool{elements: map[uint16]element{}, data: map[uint16]iso11783.DataObject{}}
}

// known are the tags of the objects.
func known(b []byte) bool {
	if len(b) < 3 {
		return false
	}
	switch string(b[:3]) {
	case "DVC", "DET", "DPD", "DPT", "DVP":
		return true
	}
	return false
}

// reader takes fields from a pool and remembers when they run out.
type reader struct {
	b     []byte
	short bool
}

func (r *reader) take(n int) []byte {
	if n > len(r.b) {
		r.short, r.b = true, nil
		return make([]byte, min(n, 8))
	}
	out := r.b[:n]
	r.b = r.b[n:]
	return out
}

func (r *reader) u8() uint8   { return r.take(1)[0] }
func (r *reader) u16() uint16 { return binary.LittleEndian.Uint16(r.take(2)) }

// text reads a length and as many bytes. Old devices write their own code
// pages; bytes that are no UTF-8 are left out.
func (r *reader) text() string {
	n := int(r.u8())
	b := r.take(n)
	if r.short {
		return ""
	}
	s := string(b)
	if !utf8.ValidString(s) {
		s = strings.ToValidUTF8(s, "")
	}
	return strings.TrimSpace(strings.Trim(s, "\x00"))
}

// parsePool reads the records of one transfer. rest is how many bytes at the
// end could not be read.
func parsePool(b []byte) (p *pool, rest int) {
	p = newPool()
	r := &reader{b: b}
	for len(r.b) > 0 {
		before := len(r.b)
		if !known(r.b) {
			return p, before
		}
		tag := string(r.take(3))
		id := r.u16()
		switch tag {
		case "DVC":
			words := r.text()
			r.text() // software version
			name := binary.LittleEndian.Uint64(r.take(8))
			r.text() // serial number
			label := [7]byte(r.take(7))
			r.take(7) // localisation label
			// version 4 has an extra label, and nothing says which version it is
			if !r.short && len(r.b) > 0 && !known(r.b) {
				if n := int(r.b[0]); n <= 32 && len(r.b) > n && (len(r.b) == n+1 || known(r.b[n+1:])) {
					r.take(n + 1)
				}
			}
			if !r.short {
				p.name, p.words, p.label, p.has = name, words, label, true
			}
		case "DET":
			e := element{kind: r.u8(), words: r.text(), number: r.u16(), parent: r.u16()}
			n := int(r.u16())
			if n > len(r.b)/2 {
				r.short = true
				break
			}
			e.data = make([]uint16, n)
			for i := range e.data {
				e.data[i] = r.u16()
			}
			if !r.short {
				p.elements[id] = e
			}
		case "DPD":
			o := iso11783.DataObject{DDI: iso11783.DDI(r.u16())}
			r.take(2) // properties and triggers
			o.Name = r.text()
			r.take(2) // presentation
			if !r.short {
				p.data[id] = o
			}
		case "DPT":
			o := iso11783.DataObject{DDI: iso11783.DDI(r.u16()), Property: true}
			o.Value = int32(binary.LittleEndian.Uint32(r.take(4)))
			o.Name = r.text()
			r.take(2)
			if !r.short {
				p.data[id] = o
			}
		case "DVP":
			r.take(4 + 4 + 1)
			r.text()
		}
		if r.short {
			return p, before
		}
	}
	return p, 0
}

// whole tells whether a transfer describes a device by itself: what its
// elements refer to is in it.
func (p *pool) whole() bool {
	if !p.has || len(p.elements) == 0 {
		return false
	}
	for _, e := range p.elements {
		if _, ok := p.elements[e.parent]; !ok && e.parent != 0 {
			return false
		}
		for _, id := range e.data {
			if _, ok := p.data[id]; !ok {
				return false
			}
		}
	}
	return true
}

// with gives the description after one more transfer: the transfer itself when
// it stands alone, else what there was with the objects of the transfer in it.
func (p *pool) with(o *pool) *pool {
	if p == nil || o.whole() || o.has && p.has && o.name != p.name {
		return o
	}
	q := &pool{p.name, p.words, p.label, p.has, maps.Clone(p.elements), maps.Clone(p.data)}
	if o.has {
		q.name, q.words, q.label, q.has = o.name, o.words, o.label, true
	}
	for id, e := range o.elements {
		delete(q.data, id)
		q.elements[id] = e
	}
	for id, d := range o.data {
		delete(q.elements, id)
		q.data[id] = d
	}
	return q
}

// same tells whether two pools describe the same machine.
func (p *pool) same(o *pool) bool {
	return p.name == o.name && p.words == o.words && maps.Equal(p.data, o.data) &&
		maps.EqualFunc(p.elements, o.elements, func(a, b element) bool {
			return a.kind == b.kind && a.words == b.words && a.number == b.number && a.parent == b.parent && slices.Equal(a.data, b.data)
		})
}

// elementID names an element in a set of devices.
func elementID(name uint64, number uint16) string {
	return fmt.Sprintf("element %d of %016X", number, name)
}

// description gives the pool in the words of task data.
func (p *pool) description(name uint64) iso11783.Description {
	object := func(id uint16) string { return strconv.Itoa(int(id)) }
	d := iso11783.Description{ID: fmt.Sprintf("%016X", name), Name: p.words, Client: fmt.Sprintf("%016X", name), Data: map[string]iso11783.DataObject{}}
	for id, o := range p.data {
		d.Data[object(id)] = o
	}
	for _, id := range slices.Sorted(maps.Keys(p.elements)) {
		e := p.elements[id]
		x := iso11783.ElementObject{
			ID: elementID(name, e.number), Name: e.words, Type: iso11783.ElementType(e.kind), Number: int(e.number),
			Object: object(id), Parent: object(e.parent),
		}
		for _, k := range e.data {
			x.Data = append(x.Data, object(k))
		}
		d.Elements = append(d.Elements, x)
	}
	return d
}

// appendText writes a text behind its length.
func appendText(b []byte, s string, most int) []byte {
	if len(s) > most {
		s = strings.ToValidUTF8(s[:most], "")
	}
	return append(append(b, byte(len(s))), s...)
}

// appendPool writes a device as the records of a pool. version 4 and later
// have the extra label and longer texts.
func appendPool(b []byte, d *iso11783.Device, name uint64, version int) []byte {
	le := binary.LittleEndian
	most := 32
	if version >= 4 {
		most = 128
	}
	b = append(b, "DVC"...)
	b = le.AppendUint16(b, 0)
	b = appendText(b, d.Name, most)
	b = appendText(b, "1", most)
	b = le.AppendUint64(b, name)
	b = appendText(b, "1", most)
	b = append(b, "EVEN001"...)
	b = append(b, 0xff, 0, 0, 0, 0, 'n', 'e') // no format of units, language "en" backwards
	if version >= 4 {
		b = append(b, 0)
	}
	// ids: the elements in their order, then the objects that they list
	ids := map[*iso11783.DeviceElement]uint16{}
	for i, e := range d.Elements {
		ids[e] = uint16(1 + i)
	}
	next := uint16(1 + len(d.Elements))
	var tail bytes.Buffer
	process := map[iso11783.DDI]uint16{}
	for _, e := range d.Elements {
		b = append(b, "DET"...)
		b = le.AppendUint16(b, ids[e])
		b = append(b, byte(e.Type))
		b = appendText(b, e.Name, most)
		b = le.AppendUint16(b, uint16(e.Number))
		parent := uint16(0)
		if e.Parent != nil {
			parent = ids[e.Parent]
		}
		b = le.AppendUint16(b, parent)
		var refs []uint16
		for _, ddi := range slices.Sorted(maps.Keys(e.Constant)) {
			refs = append(refs, next)
			o := le.AppendUint16([]byte("DPT"), next)
			o = le.AppendUint16(o, uint16(ddi))
			o = le.AppendUint32(o, uint32(e.Constant[ddi]))
			o = appendText(o, words(ddi), most)
			tail.Write(le.AppendUint16(o, 0xffff))
			next++
		}
		for _, ddi := range slices.Sorted(maps.Keys(e.Process)) {
			id, have := process[ddi]
			if !have {
				id = next
				next++
				process[ddi] = id
				o := le.AppendUint16([]byte("DPD"), id)
				o = le.AppendUint16(o, uint16(ddi))
				o = append(o, 1, 9) // member of the default set; triggers: time interval and on change
				o = appendText(o, e.Process[ddi], most)
				tail.Write(le.AppendUint16(o, 0xffff))
			}
			refs = append(refs, id)
		}
		b = le.AppendUint16(b, uint16(len(refs)))
		for _, id := range refs {
			b = le.AppendUint16(b, id)
		}
	}
	return append(b, tail.Bytes()...)
}

// words is the dictionary's name for an identifier.
func words(d iso11783.DDI) string {
	e, _ := iso11783.Dictionary(d)
	return e.Name
}
