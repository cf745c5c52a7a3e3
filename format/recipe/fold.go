package recipe

import (
	"strings"
	"unicode"
)

// accents are the letters of the six languages without their signs.
var accents = strings.NewReplacer(
	"ä", "a", "á", "a", "à", "a", "â", "a", "ã", "a", "å", "a", "ç", "c", "é", "e", "è", "e", "ê", "e", "ë", "e",
	"í", "i", "ì", "i", "î", "i", "ï", "i", "ñ", "n", "ö", "o", "ó", "o", "ò", "o", "ô", "o", "õ", "o", "ø", "o",
	"ü", "u", "ú", "u", "ù", "u", "û", "u", "ß", "ss", "æ", "ae", "œ", "oe", "ÿ", "y",
)

// fold writes a text in small letters without accents.
func fold(s string) string { return accents.Replace(strings.ToLower(strings.TrimSpace(s))) }

// tokens cuts a name into words and numbers: at signs, between letters and
// digits, and where a capital begins a new word.
func tokens(s string) []string {
	var out []string
	var cur []rune
	flush := func() {
		if len(cur) > 0 {
			out = append(out, fold(string(cur)))
			cur = cur[:0]
		}
	}
	rs := []rune(s)
	for i, r := range rs {
		switch {
		case unicode.IsDigit(r):
			if len(cur) > 0 && !unicode.IsDigit(cur[len(cur)-1]) {
				flush()
			}
			cur = append(cur, r)
		case unicode.IsLetter(r):
			if n := len(cur); n > 0 {
				prev := cur[n-1]
				next := i+1 < len(rs) && unicode.IsLower(rs[i+1])
				if unicode.IsDigit(prev) || unicode.IsLower(prev) && unicode.IsUpper(r) || unicode.IsUpper(prev) && unicode.IsUpper(r) && next {
					flush()
				}
			}
			cur = append(cur, r)
		default:
			flush()
		}
	}
	flush()
	return out
}
