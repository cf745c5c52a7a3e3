package table

import "bytes"

// splitting is what split found about the quotes of a line.
type splitting uint8

const (
	fine   splitting = iota
	opened           // a quote is open at the end
	bad              // text behind a closing quote
)

// split cuts a line into its fields, without the blanks around them. A field
// with a quote inside is copied to scratch. high tells of bytes beyond ASCII.
func split(line []byte, sep byte, fields [][]byte, scratch *[]byte) (_ [][]byte, how splitting, high bool) {
	if sep == ' ' {
		return splitBlanks(line, fields, scratch)
	}
	fields = fields[:0]
	start := 0
	or := byte(0)
	for i, c := range line {
		or |= c
		if c == sep {
			fields = append(fields, trim(line[start:i]))
			start = i + 1
		} else if c == '"' {
			if quote := trimLeft(line[start:], sep); quote[0] == '"' {
				return splitQuoted(line, start, sep, fields, scratch)
			}
		}
	}
	return append(fields, trim(line[start:])), fine, or >= 0x80
}

// splitQuoted goes on from a field that begins with a quote.
func splitQuoted(line []byte, i int, sep byte, fields [][]byte, scratch *[]byte) (_ [][]byte, how splitting, high bool) {
	// The scratch never grows while fields point into it: unquoting only
	// shortens.
	if cap(*scratch) < len(line) {
		*scratch = make([]byte, 0, 2*len(line))
	}
	out := (*scratch)[:0]
	high = !ascii(line)
	for {
		rest := trimLeft(line[i:], sep)
		i = len(line) - len(rest)
		if len(rest) > 0 && rest[0] == '"' {
			at := len(out)
			var ok bool
			if out, i, ok = unquote(line, i, out); !ok {
				return fields, opened, high
			}
			fields = append(fields, out[at:len(out):len(out)])
			rest = trimLeft(line[i:], sep)
			i = len(line) - len(rest)
			if len(rest) > 0 && rest[0] != sep {
				return fields, bad, high
			}
		} else if j := bytes.IndexByte(rest, sep); j >= 0 {
			fields = append(fields, trim(rest[:j]))
			i += j
		} else {
			fields = append(fields, trim(rest))
			i = len(line)
		}
		if i >= len(line) {
			return fields, fine, high
		}
		i++ // the separator
	}
}

// unquote copies the field whose quote opens at i and gives the place behind
// the one that closes it.
func unquote(line []byte, i int, out []byte) (_ []byte, after int, ok bool) {
	for i++; i < len(line); i++ {
		if line[i] == '"' {
			if i+1 >= len(line) || line[i+1] != '"' {
				return out, i + 1, true
			}
			i++
		}
		out = append(out, line[i])
	}
	return out, i, false
}

// splitBlanks is split for fields parted by any number of blanks.
func splitBlanks(line []byte, fields [][]byte, scratch *[]byte) (_ [][]byte, how splitting, high bool) {
	fields = fields[:0]
	high = !ascii(line)
	if cap(*scratch) < len(line) {
		*scratch = make([]byte, 0, 2*len(line))
	}
	out := (*scratch)[:0]
	for i := 0; ; {
		for i < len(line) && (line[i] == ' ' || line[i] == '\t') {
			i++
		}
		if i >= len(line) {
			return fields, fine, high
		}
		if line[i] == '"' {
			at := len(out)
			var ok bool
			if out, i, ok = unquote(line, i, out); !ok {
				return fields, opened, high
			}
			fields = append(fields, out[at:len(out):len(out)])
			if i < len(line) && line[i] != ' ' && line[i] != '\t' {
				return fields, bad, high
			}
			continue
		}
		start := i
		for i < len(line) && line[i] != ' ' && line[i] != '\t' {
			i++
		}
		fields = append(fields, line[start:i])
	}
}

func ascii(b []byte) bool {
	for _, c := range b {
		if c >= 0x80 {
			return false
		}
	}
	return true
}

// trimLeft takes blanks away, but no separator.
func trimLeft(b []byte, sep byte) []byte {
	for len(b) > 0 && (b[0] == ' ' || b[0] == '\t' && sep != '\t') {
		b = b[1:]
	}
	return b
}

func trim(b []byte) []byte {
	if n := len(b); n > 0 && b[0] > ' ' && b[n-1] > ' ' {
		return b
	}
	return bytes.Trim(b, " \t")
}
