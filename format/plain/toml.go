package plain

import (
	"bytes"
	"errors"
	"regexp"
	"strings"

	"github.com/pelletier/go-toml/v2"
)

// codePoint is how the TOML reader writes a character that it did not expect.
var codePoint = regexp.MustCompile(`U\+[0-9A-F]{4,6} `)

// commaNumber is a number with a comma where TOML has a point.
var commaNumber = regexp.MustCompile(`=\s*-?\d+,\d`)

// TOMLError says in plain words what is wrong with a TOML text that toml could
// not read, on which line (0: unknown), and what to do.
func TOMLError(data []byte, err error) (line int, hint string, what error) {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		line, _ = strict.Errors[0].Position()
		return line, "Check its spelling, or take it out.", errors.New("the key " + strings.Join(strict.Errors[0].Key(), ".") + " is not known")
	}
	var de *toml.DecodeError
	if !errors.As(err, &de) {
		return 0, "", errors.New(strings.TrimPrefix(err.Error(), "toml: "))
	}
	line, _ = de.Position()
	text := []byte(nil)
	if ls := bytes.Split(data, []byte("\n")); line >= 1 && line <= len(ls) {
		text = ls[line-1]
	}
	switch msg := strings.TrimPrefix(de.Error(), "toml: "); {
	case commaNumber.Match(text):
		return line, "Write a decimal point, not a comma, and nothing between thousands.", errors.New("a number has a comma in it")
	case strings.Contains(msg, "at start of value"):
		return line, "Put texts in double quotes; numbers stand without.", errors.New("what stands after the = is no number and no text in quotes")
	default:
		return line, "Put texts in double quotes; numbers stand without.", errors.New(codePoint.ReplaceAllString(msg, ""))
	}
}

// TOMLLines gives a function that tells on which line of a TOML text a key
// stands, such as "time.zone" or "value[2].unit", from 1; the line of what
// holds it where it stands on none; 0 unknown.
func TOMLLines(data []byte) func(key string) int {
	d := &document{lines: map[string]int{}}
	d.index(trimBOM(data))
	return d.line
}
