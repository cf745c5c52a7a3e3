package plain

import (
	"fmt"
	"slices"
	"strings"

	"evenstand"
)

// crops are the words for crops that the program knows.
var crops = []string{"corn", "soybeans", "sunflower", "sorghum", "sugar beet", "cotton"}

// alsoCalled are other words in use for some of them.
var alsoCalled = map[string]string{"maize": "corn", "milo": "sorghum", "beans": "soybeans", "soy": "soybeans", "beet": "sugar beet", "beets": "sugar beet"}

// crop gives the known word for a crop however it is capitalised and joined;
// another word is kept as it is.
func crop(word string) string {
	w := strings.Join(strings.FieldsFunc(strings.ToLower(word), func(r rune) bool { return r == ' ' || r == '_' || r == '-' }), " ")
	if slices.Contains(crops, w) {
		return w
	}
	return word
}

// CropNote says that a word for a crop is not known, with the nearest that is;
// empty for a known one and for none.
func CropNote(word string) string {
	if word == "" || slices.Contains(crops, crop(word)) {
		return ""
	}
	w := strings.ToLower(word)
	near := alsoCalled[w]
	best := 3 // letters that may differ: judgement
	for _, c := range crops {
		if d := distance(w, c); near == "" && d < best && d < len(w) {
			near, best = c, d
		}
	}
	const lost = "Without a known crop no loss can be said."
	if near != "" {
		return fmt.Sprintf("The crop %q is not known; is it %s? %s", word, near, lost)
	}
	return fmt.Sprintf("The crop %q is not known; known are %s. %s", word, strings.Join(crops, ", "), lost)
}

// CropNotes gives the notes on the crops of a card's meters.
func CropNotes(c *evenstand.Card) []string {
	var out []string
	for _, m := range c.Meters {
		if n := CropNote(m.Crop); n != "" && !slices.Contains(out, n) {
			out = append(out, n)
		}
	}
	return out
}

// distance counts the letters to put in, take out or change between two words
// (Levenshtein 1966).
func distance(a, b string) int {
	x, y := []rune(a), []rune(b)
	row := make([]int, len(y)+1)
	for j := range row {
		row[j] = j
	}
	for i := range x {
		last := row[0]
		row[0] = i + 1
		for j := range y {
			change := last
			if x[i] != y[j] {
				change++
			}
			last = row[j+1]
			row[j+1] = min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(y)]
}
