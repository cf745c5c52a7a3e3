package relation

// Templates gives the words of all relations with their places for figures.
func Templates() map[string]string {
	out := map[string]string{}
	for id, s := range said {
		out[id] = s.Text
	}
	return out
}

// SlotsOf gives the names of the lines in a text.
func SlotsOf(text string) []string {
	var out []string
	for _, m := range slot.FindAllStringSubmatch(text, -1) {
		out = append(out, m[2])
	}
	return out
}
