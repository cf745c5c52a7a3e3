package plain

import (
	"bytes"
	"strings"

	"evenstand/format/unused"
)

// reason is one way in which a line cannot be used.
type reason = unused.Reason

var (
	badFields   = reason{Why: "a line has another number of fields than the header", Do: "Write numbers with a decimal point, not a comma. Put texts that hold a comma in double quotes; the line may also be cut short."}
	badQuote    = reason{Why: "a quote is not closed on its line", Do: `Close it, or write "" for a quote inside a quoted text.`}
	badCut      = reason{Why: "the last line has no line end and may be cut short", Do: "If it is whole, end the file with a line break and read it again."}
	badLong     = reason{Why: "a line is longer than 256 KB", Do: "Check that the file is the text that its name says."}
	badTime     = reason{Why: "a time that cannot be read, such as %s", Do: "Write RFC 3339 with zone, such as 2026-05-02T19:12:08.120Z, or seconds since 1970."}
	badZone     = reason{Why: "a time without zone, such as %s", Do: `Say zone = "America/Chicago", or the zone it is, in a source.toml beside the file, or write times with their zone.`}
	badRow      = reason{Why: "a row that is no whole number from 1 to 128, such as %s", Do: "Count rows from 1 at the left, looking forward."}
	badBeyond   = reason{Why: "a row beyond the rows of the source.toml, such as %s", Do: "Correct rows in the source.toml beside the file."}
	badRight    = reason{Why: "rows count from the right, but the source.toml does not say how many there are", Do: "Add rows = 16, or the number it is, to the source.toml beside the file."}
	badPlace    = reason{Why: "a position that is no number, such as %s", Do: "Write decimal degrees with a point."}
	badRange    = reason{Why: "a position that is not on the earth, such as %s", Do: "Latitude goes from -90 to 90 and longitude from -180 to 180; check the order of the columns."}
	badZero     = reason{Why: "a position at latitude 0, longitude 0: the receiver had none yet", Do: "Nothing to do, unless it lasts."}
	badQuantity = reason{Why: "the quantity %s is not known", Do: "Use a name of the registry, such as vacuum or gauge_wheel_load.", Each: true}
	badElement  = reason{Why: "the element %s is not known", Do: "Use machine, left, right, section 2, row 7 or tank 1.", Each: true}
	badUnit     = reason{Why: "the unit %s is not known", Do: "Use a spelling such as kPa, lbf, 1/ac or %; nothing at all for a fraction or a state.", Each: true}
	badMatch    = reason{Why: "the unit does not fit the quantity: %s", Do: "Use a unit of what is measured; lb is a mass, lbf a force.", Each: true}
	badValue    = reason{Why: "a value that is no number, such as %s", Do: "Write a number with a decimal point; leave a line out when there is no value."}
	badPlausi   = reason{Why: "a value that cannot be: %s", Do: "Check its unit, then the sensor.", Each: true}
	badComma    = reason{Why: "a number with a decimal comma, such as %s", Do: "Write a decimal point."}
	badState    = reason{Why: "a state that is neither 0 nor 1: %s", Do: "Write 1 for yes and 0 for no.", Each: true}
	badWhat     = reason{Why: "an entry of a kind that is not known: %s", Do: "Use setting, refill, fix, remark, count, dig or lot.", Each: true}
	badRows     = reason{Why: "a row list that cannot be read, such as %s", Do: `Write "1-16" or "1-8,12", with the quotes where there is a comma.`}
	badExtra    = reason{Why: "%s, and the place was used without it", Do: "Leave the field empty where it is not known.", Each: true}
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
	r.Do = "Write " + ours + "."
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
