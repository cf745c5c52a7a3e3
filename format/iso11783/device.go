package iso11783

import (
	"strconv"
)

// ElementType is the kind of a device element.
type ElementType int

// The kinds, from attribute C of DET.
const (
	TypeDevice ElementType = iota + 1
	TypeFunction
	TypeBin
	TypeSection
	TypeUnit
	TypeConnector
	TypeNavigation
)

// Device is a machine with its elements.
type Device struct {
	ID, Name string
	Client   string // NAME of the control function
	Elements []*DeviceElement
}

// DeviceElement is a part of a device.
type DeviceElement struct {
	ID       string
	Name     string
	Type     ElementType
	Number   int
	Device   *Device
	Parent   *DeviceElement
	Children []*DeviceElement
	Constant map[DDI]int32  // properties (DPT)
	Process  map[DDI]string // what it logs (DPD), with the maker's words for it
}

// maxElements bounds a device: element numbers have twelve bits.
const maxElements = 4096

// device reads a DVC. A device that is listed again under the same id gives
// only what the first did not have.
func (s *Set) device(n *node) {
	d := &Device{ID: n.text("A"), Name: n.text("B"), Client: n.text("D")}
	type object struct {
		ddi   DDI
		name  string
		value int32
		fixed bool
	}
	objects := map[string]object{}
	for _, k := range n.Kids {
		if k.Name != "DPT" && k.Name != "DPD" {
			continue
		}
		ddi, err := parseDDI(k.text("B"))
		if err != nil {
			continue
		}
		o := object{ddi: ddi, name: k.text("E")}
		if k.Name == "DPT" {
			v, err := strconv.ParseInt(k.text("C"), 10, 32)
			if err != nil {
				continue
			}
			o.value, o.fixed, o.name = int32(v), true, k.text("D")
		}
		objects[k.text("A")] = o
	}
	byObject := map[string]*DeviceElement{}
	parents := map[*DeviceElement]string{}
	for _, k := range n.all("DET") {
		e := &DeviceElement{
			ID: k.text("A"), Name: k.text("D"), Type: ElementType(k.integer("C", 0)), Number: k.integer("E", -1),
			Device: d, Constant: map[DDI]int32{}, Process: map[DDI]string{},
		}
		if e.ID == "" || s.elements[e.ID] != nil || len(d.Elements) >= maxElements {
			continue // a second listing of the same element, or a flood
		}
		if s.elements == nil {
			s.elements = map[string]*DeviceElement{}
		}
		s.elements[e.ID] = e
		for _, r := range k.all("DOR") {
			if o, ok := objects[r.text("A")]; ok {
				if o.fixed {
					e.Constant[o.ddi] = o.value
				} else {
					e.Process[o.ddi] = o.name
				}
			}
		}
		if _, twice := byObject[k.text("B")]; !twice {
			byObject[k.text("B")] = e
		}
		parents[e] = k.text("F")
		d.Elements = append(d.Elements, e)
	}
	for _, e := range d.Elements {
		if p := byObject[parents[e]]; p != nil && !p.under(e) {
			e.Parent = p
			p.Children = append(p.Children, e)
		}
	}
	if len(d.Elements) > 0 || len(n.Attr) > 0 {
		s.Devices = append(s.Devices, d)
	}
}

// under tells whether e is o or a part of it; it keeps parents free of loops.
func (e *DeviceElement) under(o *DeviceElement) bool {
	for ; e != nil; e = e.Parent {
		if e == o {
			return true
		}
	}
	return false
}

// Element finds a device element by its id, nil when no device has it.
func (s *Set) Element(id string) *DeviceElement { return s.elements[id] }
