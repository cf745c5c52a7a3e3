package iso11783

import (
	"bufio"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
)

// MaxColumns is the most columns that one binary log can hold: a record counts
// its values in one byte.
const MaxColumns = 255

// LogWriter writes one binary time log, TLGnnnnn.XML and TLGnnnnn.BIN.
type LogWriter struct {
	h    *Header
	file *os.File
	out  *bufio.Writer
	rec  []byte
	n    int64
}

// NewLogWriter writes the head NAME.XML and opens NAME.BIN; name is TLG and
// five digits.
func NewLogWriter(dir, name string, h *Header) (*LogWriter, error) {
	if len(h.Columns) > MaxColumns {
		return nil, fmt.Errorf("%s: %d columns, but a log holds %d at most; split them over parallel logs", name, len(h.Columns), MaxColumns)
	}
	tim := &node{Name: "TIM"}
	switch h.Time {
	case InRecord:
		tim.empty("A")
	case Fixed:
		tim = el("TIM", "A", h.Start)
	}
	tim.Attr = append(tim.Attr, el("", "D", "4").Attr...)
	ptn := &node{Name: "PTN"}
	for f, p := range h.Fields {
		letter := string(rune('A' + f))
		switch p {
		case InRecord:
			ptn.empty(letter)
		case Fixed:
			ptn.Attr = append(ptn.Attr, el("", letter, h.Values[f]).Attr...)
		}
	}
	if len(ptn.Attr) > 0 {
		tim.add(ptn)
	}
	for _, c := range h.Columns {
		d := el("DLV", "A", c.DDI.hex())
		if c.Constant {
			d.Attr = append(d.Attr, el("", "B", itoa(int(c.Value))).Attr...)
		} else {
			d.empty("B")
		}
		d.Attr = append(d.Attr, el("", "C", c.Element).Attr...)
		if c.PGN >= 0 {
			d.Attr = append(d.Attr, el("", "D", itoa(c.PGN), "E", itoa(c.Start), "F", itoa(c.End)).Attr...)
		}
		tim.add(d)
	}
	if err := writeXML(dir, name+".XML", tim); err != nil {
		return nil, err
	}
	f, err := os.Create(filepath.Join(dir, name+".BIN"))
	if err != nil {
		return nil, err
	}
	return &LogWriter{h: h, file: f, out: bufio.NewWriterSize(f, 64<<10)}, nil
}

// Write appends one record: the fields that the header puts into it, and its
// values in column order.
func (w *LogWriter) Write(r *LogRecord) error {
	if len(r.Values) > MaxColumns {
		return fmt.Errorf("a record of %d values; a log holds %d at most", len(r.Values), MaxColumns)
	}
	b := w.rec[:0]
	le := binary.LittleEndian
	if w.h.Time == InRecord {
		b = le.AppendUint32(b, r.Millis)
		b = le.AppendUint16(b, r.Date)
	}
	for f, p := range w.h.Fields {
		if p != InRecord {
			continue
		}
		switch f {
		case fieldNorth:
			b = le.AppendUint32(b, uint32(r.North))
		case fieldEast:
			b = le.AppendUint32(b, uint32(r.East))
		case fieldUp:
			b = le.AppendUint32(b, uint32(r.Up))
		case fieldStatus:
			b = append(b, r.Status)
		case fieldPDOP:
			b = le.AppendUint16(b, r.PDOP)
		case fieldHDOP:
			b = le.AppendUint16(b, r.HDOP)
		case fieldSats:
			b = append(b, r.Sats)
		case fieldGPSTime:
			b = le.AppendUint32(b, r.GPSMillis)
		case fieldGPSDate:
			b = le.AppendUint16(b, r.GPSDate)
		}
	}
	b = append(b, byte(len(r.Values)))
	for _, v := range r.Values {
		if int(v.Column) >= len(w.h.Columns) {
			return fmt.Errorf("value for column %d of %d", v.Column, len(w.h.Columns))
		}
		b = append(b, v.Column)
		b = le.AppendUint32(b, uint32(v.Raw))
	}
	w.rec = b
	n, err := w.out.Write(b)
	w.n += int64(n)
	return err
}

// Size gives the bytes written so far, for the attribute B of TLG.
func (w *LogWriter) Size() int64 { return w.n }

// Close ends the log.
func (w *LogWriter) Close() error {
	err := w.out.Flush()
	if e := w.file.Close(); err == nil {
		err = e
	}
	return err
}
