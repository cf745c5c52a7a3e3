package plain

import "bytes"

// split cuts a line into its fields, without the spaces around them; false
// when quotes are not closed. A field with a quote inside is copied to scratch.
func split(line []byte, fields [][]byte, scratch *[]byte) ([][]byte, bool) {
	fields = fields[:0]
	start := 0
	for i, c := range line {
		if c > ',' { // digits, letters, point and minus: nearly all there is
			continue
		}
		if c == ',' {
			fields = append(fields, trim(line[start:i]))
			start = i + 1
		} else if c == '"' {
			return splitQuoted(line, fields, scratch)
		}
	}
	return append(fields, trim(line[start:])), true
}

func splitQuoted(line []byte, fields [][]byte, scratch *[]byte) ([][]byte, bool) {
	fields = fields[:0]
	// The scratch never grows while fields point into it: unquoting only
	// shortens.
	if cap(*scratch) < len(line) {
		*scratch = make([]byte, 0, 2*len(line))
	}
	out := (*scratch)[:0]
	for i := 0; ; {
		for i < len(line) && (line[i] == ' ' || line[i] == '\t') {
			i++
		}
		if i < len(line) && line[i] == '"' {
			at := len(out)
			for i++; ; i++ {
				if i >= len(line) {
					return fields, false
				}
				if line[i] == '"' {
					if i+1 < len(line) && line[i+1] == '"' {
						i++
					} else {
						break
					}
				}
				out = append(out, line[i])
			}
			fields = append(fields, out[at:len(out):len(out)])
			for i++; i < len(line) && (line[i] == ' ' || line[i] == '\t'); i++ {
			}
			if i < len(line) && line[i] != ',' {
				return fields, false
			}
		} else {
			j := i
			for j < len(line) && line[j] != ',' {
				if line[j] == '"' {
					return fields, false
				}
				j++
			}
			fields = append(fields, trim(line[i:j]))
			i = j
		}
		if i >= len(line) {
			return fields, true
		}
		i++ // the comma
	}
}

func trim(b []byte) []byte {
	if n := len(b); n > 0 && b[0] > ' ' && b[n-1] > ' ' {
		return b
	}
	return bytes.Trim(b, " \t")
}
