package web

import (
	"encoding/binary"
	"encoding/json"
	"math"
)

// Columns are typed columns of equal or different lengths behind a head, in one
// reply that a page reads without parsing:
//
//	"EVC1", length of the head (uint32), the head as JSON, then each column,
//	padded so that it begins at a multiple of 8 bytes
//
// all little-endian. The head names the columns with type, count and place.
const columnsMIME = "application/vnd.evenstand.columns"

type columnHead struct {
	Name string `json:"name"`
	Type string `json:"type"` // u8, u16, i16, i32, f32
	N    int    `json:"n"`
	At   int    `json:"at"` // byte, from the end of the head
}

type columns struct {
	heads []columnHead
	data  []byte
}

func addColumn[T uint8 | uint16 | int16 | int32 | float32](c *columns, name string, vs []T) {
	for len(c.data)%8 != 0 {
		c.data = append(c.data, 0)
	}
	h := columnHead{Name: name, N: len(vs), At: len(c.data)}
	switch vs := any(vs).(type) {
	case []uint8:
		h.Type = "u8"
		c.data = append(c.data, vs...)
	case []uint16:
		h.Type = "u16"
		for _, v := range vs {
			c.data = binary.LittleEndian.AppendUint16(c.data, v)
		}
	case []int16:
		h.Type = "i16"
		for _, v := range vs {
			c.data = binary.LittleEndian.AppendUint16(c.data, uint16(v))
		}
	case []int32:
		h.Type = "i32"
		for _, v := range vs {
			c.data = binary.LittleEndian.AppendUint32(c.data, uint32(v))
		}
	case []float32:
		h.Type = "f32"
		for _, v := range vs {
			c.data = binary.LittleEndian.AppendUint32(c.data, math.Float32bits(v))
		}
	}
	c.heads = append(c.heads, h)
}

// bytes puts head and columns together; meta is what the head says beside them.
func (c *columns) bytes(meta any) ([]byte, error) {
	head, err := json.Marshal(struct {
		Columns []columnHead `json:"columns"`
		Meta    any          `json:"meta"`
	}{c.heads, meta})
	if err != nil {
		return nil, err
	}
	for (8+len(head))%8 != 0 {
		head = append(head, ' ')
	}
	out := append([]byte("EVC1"), 0, 0, 0, 0)
	binary.LittleEndian.PutUint32(out[4:], uint32(len(head)))
	return append(append(out, head...), c.data...), nil
}
