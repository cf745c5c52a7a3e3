package iso11783

import (
	"fmt"
	"io"
	"strconv"
	"strings"
)

// Presence says how a record field stands in a log's header.
type Presence uint8

// A field is not known, in every record, or one value for the whole log.
const (
	Absent Presence = iota
	InRecord
	Fixed
)

// Field indices of Header.Fields: the attributes A to I of PTN.
const (
	fieldNorth = iota
	fieldEast
	fieldUp
	fieldStatus
	fieldPDOP
	fieldHDOP
	fieldSats
	fieldGPSTime
	fieldGPSDate
	numFields
)

// fieldSize is the bytes of each PTN field in a record.
var fieldSize = [numFields]int{4, 4, 4, 1, 2, 2, 1, 4, 2}

// Column is one column of a log: what its raw integers mean and where. Columns
// of bus parameter groups (DDI 57342) are told apart by PGN and bits.
type Column struct {
	DDI        DDI
	Element    string // id of the device element
	PGN        int    // -1 none
	Start, End int    // bits of the parameter group's 64
	Constant   bool   // the header gives the value for the whole log
	Value      int32  // the constant
}

// Key is what makes two columns the same.
type ColumnKey struct {
	DDI        DDI
	Element    string
	PGN        int
	Start, End int
}

// Key gives the column's key.
func (c Column) Key() ColumnKey { return ColumnKey{c.DDI, c.Element, c.PGN, c.Start, c.End} }

// Header is the head of a binary time log, TLGnnnnn.XML.
type Header struct {
	Time    Presence // time of day and date
	Start   string   // TIM A when the header fixes it
	Fields  [numFields]Presence
	Values  [numFields]string // text of the fixed fields
	Columns []Column
}

// ParseHeader reads TLGnnnnn.XML. A cut header is an error: without the whole
// list of columns the binary's numbers have no meaning.
func ParseHeader(name string, r io.Reader) (*Header, error) {
	doc, err := parseXML(name, r)
	if err != nil {
		return nil, err
	}
	if doc.Damage != nil {
		return nil, fmt.Errorf("%s, byte %d: %s", name, doc.Damage.Offset, doc.Damage.Why)
	}
	root := doc.Root
	if root != nil && root.Name != "TIM" {
		root = root.find("TIM")
	}
	if root == nil {
		return nil, fmt.Errorf("%s: no TIM element, so this is no head of a time log", name)
	}
	h := &Header{}
	if v, ok := root.attr("A"); ok {
		if v == "" {
			h.Time = InRecord
		} else {
			h.Time, h.Start = Fixed, v
		}
	}
	if p := root.find("PTN"); p != nil {
		for f := range numFields {
			v, ok := p.attr(string(rune('A' + f)))
			switch {
			case !ok:
			case strings.TrimSpace(v) == "":
				h.Fields[f] = InRecord
			default:
				h.Fields[f], h.Values[f] = Fixed, v
			}
		}
	}
	for i, d := range root.all("DLV") {
		c := Column{PGN: -1}
		a, _ := d.attr("A")
		if c.DDI, err = parseDDI(a); err != nil {
			return nil, fmt.Errorf("%s: column %d: %w", name, i, err)
		}
		c.Element, _ = d.attr("C")
		if v, ok := d.attr("B"); ok && v != "" {
			if n, err := strconv.ParseInt(strings.TrimSpace(v), 10, 32); err == nil {
				c.Constant, c.Value = true, int32(n)
			}
		}
		c.PGN = d.integer("D", -1)
		c.Start = d.integer("E", 0)
		c.End = d.integer("F", 0)
		h.Columns = append(h.Columns, c)
	}
	return h, nil
}

// full is the header as if every time and position field stood in the record,
// as old controllers wrote whatever their header said.
func (h *Header) full() *Header {
	f := *h
	f.Time = InRecord
	for i := range f.Fields {
		f.Fields[i] = InRecord
	}
	return &f
}

// headSize is the bytes of a record before its values, the count included.
func (h *Header) headSize() int {
	n := 1
	if h.Time == InRecord {
		n += 6
	}
	for f, p := range h.Fields {
		if p == InRecord {
			n += fieldSize[f]
		}
	}
	return n
}
