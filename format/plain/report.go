package plain

import (
	"bytes"
	"fmt"
	"strconv"
	"strings"

	"evenstand"
)

// reason is one way in which a line cannot be used.
type reason struct {
	why  string // what was wrong; %s is the text that was found
	do   string
	each bool // counted apart for each text that was found
}

var (
	badFields   = reason{why: "a line has another number of fields than the header", do: "Write numbers with a decimal point, not a comma. Put texts that hold a comma in double quotes; the line may also be cut short."}
	badQuote    = reason{why: "a quote is not closed on its line", do: `Close it, or write "" for a quote inside a quoted text.`}
	badCut      = reason{why: "the last line has no line end and may be cut short", do: "If it is whole, end the file with a line break and read it again."}
	badLong     = reason{why: "a line is longer than 256 KB", do: "Check that the file is the text that its name says."}
	badTime     = reason{why: "a time that cannot be read, such as %s", do: "Write RFC 3339 with zone, such as 2026-05-02T19:12:08.120Z, or seconds since 1970."}
	badZone     = reason{why: "a time without zone, such as %s", do: `Say zone = "America/Chicago", or the zone it is, in a source.toml beside the file, or write times with their zone.`}
	badRow      = reason{why: "a row that is no whole number from 1 to 128, such as %s", do: "Count rows from 1 at the left, looking forward."}
	badBeyond   = reason{why: "a row beyond the rows of the source.toml, such as %s", do: "Correct rows in the source.toml beside the file."}
	badRight    = reason{why: "rows count from the right, but the source.toml does not say how many there are", do: "Add rows = 16, or the number it is, to the source.toml beside the file."}
	badPlace    = reason{why: "a position that is no number, such as %s", do: "Write decimal degrees with a point."}
	badRange    = reason{why: "a position that is not on the earth, such as %s", do: "Latitude goes from -90 to 90 and longitude from -180 to 180; check the order of the columns."}
	badZero     = reason{why: "a position at latitude 0, longitude 0: the receiver had none yet", do: "Nothing to do, unless it lasts."}
	badQuantity = reason{why: "the quantity %s is not known", do: "Use a name of the registry, such as vacuum or gauge_wheel_load.", each: true}
	badElement  = reason{why: "the element %s is not known", do: "Use machine, left, right, section 2, row 7 or tank 1.", each: true}
	badUnit     = reason{why: "the unit %s is not known", do: "Use a spelling such as kPa, lbf, 1/ac or %; nothing at all for a fraction or a state.", each: true}
	badMatch    = reason{why: "the unit does not fit the quantity: %s", do: "Use a unit of what is measured; lb is a mass, lbf a force.", each: true}
	badValue    = reason{why: "a value that is no number, such as %s", do: "Write a number with a decimal point; leave a line out when there is no value."}
	badPlausi   = reason{why: "a value that cannot be: %s", do: "Check its unit, then the sensor.", each: true}
	badComma    = reason{why: "a number with a decimal comma, such as %s", do: "Write a decimal point."}
	badState    = reason{why: "a state that is neither 0 nor 1: %s", do: "Write 1 for yes and 0 for no.", each: true}
	badWhat     = reason{why: "an entry of a kind that is not known: %s", do: "Use setting, refill, fix, remark, count, dig or lot.", each: true}
	badRows     = reason{why: "a row list that cannot be read, such as %s", do: `Write "1-16" or "1-8,12", with the quotes where there is a comma.`}
	badExtra    = reason{why: "%s, and the place was used without it", do: "Leave the field empty where it is not known.", each: true}
)

// usualUnits are spellings of units that people use, with ours.
var usualUnits = map[string]string{
	"inch": "in, or inH2O for a vacuum", "inches": "in, or inH2O for a vacuum", "\"": "in, or inH2O for a vacuum",
	"inwc": "inH2O", "inches of water": "inH2O", "in h2o": "inH2O", "inch h2o": "inH2O", "\"h2o": "inH2O", "iwc": "inH2O",
	"feet": "ft", "foot": "ft", "metres": "m", "meters": "m", "metre": "m", "meter": "m",
	"lbs": "lbf for a force, lb for a mass", "pounds": "lbf for a force, lb for a mass", "pound": "lbf for a force, lb for a mass",
	"kmh": "km/h", "kph": "km/h", "km/hr": "km/h", "mi/h": "mph", "miles/h": "mph", "mps": "m/s",
	"seeds/ac": "1/ac", "seeds/acre": "1/ac", "sds/ac": "1/ac", "plants/ac": "1/ac", "seeds/ha": "1/ha", "seeds/m2": "1/m2",
	"gpa": "gal/ac", "gpm": "gal/min", "gallons": "gal", "litres": "L", "liters": "L", "rpm": "1/min", "hz": "1/s",
	"percent": "%", "pct": "%", "c": "degC", "f": "degF", "°c": "degC", "°f": "degF", "hpa": "mbar", "sec": "s", "volt": "V", "volts": "V",
	"newton": "N", "newtons": "N", "pascal": "Pa", "degrees": "deg", "°": "deg",
}

// unknownUnit is the reason for a unit that is not known, with the spelling
// that is likely meant.
func unknownUnit(u []byte) *reason {
	word := strings.ToLower(strings.TrimSpace(string(u)))
	ours := usualUnits[word]
	if ours == "" {
		for _, name := range []string{"m", "cm", "mm", "in", "ft", "m/s", "km/h", "mph", "N", "kN", "lbf", "kgf", "Pa", "kPa", "mbar", "bar", "psi", "inH2O", "L/ha", "gal/ac", "kg/ha", "lb/ac", "L/s", "L/min", "gal/min", "L", "gal", "kg", "lb", "s", "deg", "V", "degC", "degF"} {
			if strings.EqualFold(name, word) {
				ours = name
			}
		}
	}
	if ours == "" {
		return &badUnit
	}
	r := badUnit
	r.do = "Write " + ours + "."
	return &r
}

// notNumber is the reason for a text that is no number: a decimal comma is
// said as one.
func notNumber(text []byte, other *reason) *reason {
	before, after, ok := bytes.Cut(text, []byte(","))
	digits := func(b []byte) bool {
		return len(b) > 0 && len(bytes.Trim(b, "0123456789")) == 0
	}
	if ok && digits(bytes.TrimPrefix(before, []byte("-"))) && digits(after) {
		return &badComma
	}
	return other
}

// maxReasons bounds the reasons that are told apart by text in one file, so
// that a file of noise does not become a report of its size.
const maxReasons = 40

// report gathers what was not used, by reason.
type report struct {
	evenstand.Tally
	file string
}

func (r *report) add(why *reason, text string, line int, offset int64) {
	key := why.why
	if why.each {
		key += text
		if met, n := r.Has(key); !met && n >= maxReasons {
			key = why.why
			text += ", and others"
		}
	}
	r.Add(key, func() evenstand.Unused {
		u := evenstand.Unused{File: r.file, Line: line, Offset: offset, Of: "lines", Why: why.why, Do: why.do}
		if strings.Contains(why.why, "%s") {
			u.Why = fmt.Sprintf(why.why, text)
		}
		return u
	})
}

// show makes a found text fit for a sentence: quoted, short, printable.
func show(b []byte) string {
	const most = 40
	if len(b) > most {
		return strconv.Quote(strings.ToValidUTF8(string(b[:most]), "?") + "…")
	}
	return strconv.Quote(strings.ToValidUTF8(string(b), "?"))
}
