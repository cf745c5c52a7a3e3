package nmea0183

import (
	"fmt"
	"io"
	"math"

	"evenstand"
)

// Writer writes fixes as a receiver does: GGA and RMC for each, VTG and ZDA
// once a second. Talker GN, seven decimals of a minute (0.2 mm).
type Writer struct {
	w      io.Writer
	buf    []byte
	second int64
}

// NewWriter makes a Writer.
func NewWriter(w io.Writer) *Writer { return &Writer{w: w, second: math.MinInt64} }

// Fixes appends fixes. What is not known is an empty field.
func (w *Writer) Fixes(fixes []evenstand.Fix) error {
	for i := range fixes {
		w.fix(&fixes[i])
		if len(w.buf) > 1<<16 {
			if err := w.Flush(); err != nil {
				return err
			}
		}
	}
	return nil
}

// Flush hands what was written to the file.
func (w *Writer) Flush() error {
	_, err := w.w.Write(w.buf)
	w.buf = w.buf[:0]
	return err
}

func (w *Writer) fix(f *evenstand.Fix) {
	at := f.T.Time()
	hms := at.Format("150405") + fmt.Sprintf(".%03d", at.Nanosecond()/1e6)
	place := latLon(f.Lat, "N", "S", 2) + "," + latLon(f.Lon, "E", "W", 3)
	sats := ""
	if f.Sats >= 0 {
		sats = fmt.Sprintf("%02d", f.Sats)
	}
	w.say("GNGGA,%s,%s,%c,%s,%s,%s,M,,M,,", hms, place, mark(f.Kind), sats, number(f.HDOP, 2), number(f.Alt, 2))
	w.say("GNRMC,%s,A,%s,%s,%s,%s,,,A", hms, place, number(f.Speed/knot, 4), number(f.Heading, 2), at.Format("020106"))
	if s := at.Unix(); s != w.second {
		w.second = s
		w.say("GNVTG,%s,T,,M,%s,N,%s,K,A", number(f.Heading, 2), number(f.Speed/knot, 4), number(f.Speed*3.6, 4))
		w.say("GNZDA,%s,%s,00,00", hms, at.Format("02,01,2006"))
	}
}

// say writes a sentence with its sum.
func (w *Writer) say(format string, a ...any) {
	body := fmt.Appendf(nil, format, a...)
	sum := byte(0)
	for _, c := range body {
		sum ^= c
	}
	w.buf = append(w.buf, '$')
	w.buf = append(w.buf, body...)
	w.buf = fmt.Appendf(w.buf, "*%02X\r\n", sum)
}

// latLon writes degrees and minutes with the letter of the half.
func latLon(v float64, plus, minus string, digits int) string {
	half := plus
	if v < 0 {
		half, v = minus, -v
	}
	u := int64(math.Round(v * 60e7)) // ten millionths of a minute
	return fmt.Sprintf("%0*d%02d.%07d,%s", digits, u/600_000_000, u/10_000_000%60, u%10_000_000, half)
}

func number(v float64, decimals int) string {
	if math.IsNaN(v) {
		return ""
	}
	return fmt.Sprintf("%.*f", decimals, v)
}

func mark(k evenstand.FixKind) byte {
	switch k {
	case evenstand.FixNone:
		return '0'
	case evenstand.FixDGNSS:
		return '2'
	case evenstand.FixPrecise:
		return '3'
	case evenstand.FixRTK:
		return '4'
	case evenstand.FixRTKFloat:
		return '5'
	case evenstand.FixEstimated:
		return '6'
	case evenstand.FixManual:
		return '7'
	case evenstand.FixSimulated:
		return '8'
	}
	return '1'
}
