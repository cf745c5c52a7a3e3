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

// Description is a device in its own words, as a DVC of task data or the pool
// on the bus carries it. Elements refer to objects by their ids.
type Description struct {
	ID, Name string
	Client   string // NAME of the control function
	Elements []ElementObject
	Data     map[string]DataObject // by object id
}

// ElementObject is a DET.
type ElementObject struct {
	ID             string // unique among the devices of a set
	Name           string
	Type           ElementType
	Number         int
	Object, Parent string   // object ids
	Data           []string // ids of the data objects that it lists
}

// DataObject is a DPD, or a DPT when it is a property, which has its value.
type DataObject struct {
	DDI      DDI
	Name     string
	Property bool
	Value    int32
}

// NewSet makes a set without files, for devices that are added to it.
func NewSet() *Set {
	s := &Set{Dir: ".", files: map[string]string{}}
	s.catalogue()
	return s
}

// Add takes in a device. Of elements whose id is listed twice the first stays,
// parents that would make a loop do not count.
func (s *Set) Add(o Description) *Device {
	d := &Device{ID: o.ID, Name: o.Name, Client: o.Client}
	byObject := map[string]*DeviceElement{}
	parents := map[*DeviceElement]string{}
	for _, k := range o.Elements {
		if k.ID == "" || s.elements[k.ID] != nil || len(d.Elements) >= maxElements {
			continue // a second listing of the same element, or a flood
		}
		e := &DeviceElement{
			ID: k.ID, Name: k.Name, Type: k.Type, Number: k.Number,
			Device: d, Constant: map[DDI]int32{}, Process: map[DDI]string{},
		}
		if s.elements == nil {
			s.elements = map[string]*DeviceElement{}
		}
		s.elements[e.ID] = e
		for _, r := range k.Data {
			if x, ok := o.Data[r]; ok {
				if x.Property {
					e.Constant[x.DDI] = x.Value
				} else {
					e.Process[x.DDI] = x.Name
				}
			}
		}
		if _, twice := byObject[k.Object]; !twice {
			byObject[k.Object] = e
		}
		parents[e] = k.Parent
		d.Elements = append(d.Elements, e)
	}
	for _, e := range d.Elements {
		if p := byObject[parents[e]]; p != nil && !p.under(e) {
			e.Parent = p
			p.Children = append(p.Children, e)
		}
	}
	s.Devices = append(s.Devices, d)
	return d
}

// device reads a DVC. A device that is listed again under the same id gives
// only what the first did not have.
func (s *Set) device(n *node) {
	o := Description{ID: n.text("A"), Name: n.text("B"), Client: n.text("D"), Data: map[string]DataObject{}}
	for _, k := range n.Kids {
		if k.Name != "DPT" && k.Name != "DPD" {
			continue
		}
		ddi, err := parseDDI(k.text("B"))
		if err != nil {
			continue
		}
		x := DataObject{DDI: ddi, Name: k.text("E")}
		if k.Name == "DPT" {
			v, err := strconv.ParseInt(k.text("C"), 10, 32)
			if err != nil {
				continue
			}
			x.Value, x.Property, x.Name = int32(v), true, k.text("D")
		}
		o.Data[k.text("A")] = x
	}
	for _, k := range n.all("DET") {
		e := ElementObject{
			ID: k.text("A"), Name: k.text("D"), Type: ElementType(k.integer("C", 0)), Number: k.integer("E", -1),
			Object: k.text("B"), Parent: k.text("F"),
		}
		for _, r := range k.all("DOR") {
			e.Data = append(e.Data, r.text("A"))
		}
		o.Elements = append(o.Elements, e)
	}
	if len(o.Elements) > 0 || len(n.Attr) > 0 {
		s.Add(o)
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
