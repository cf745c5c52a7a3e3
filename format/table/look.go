package table

import (
	"bytes"
	"fmt"
	"slices"
	"unicode/utf8"

	"evenstand/format/lines"

	"golang.org/x/text/transform"
)

// headSize is by how many bytes a text is looked at.
const headSize = 64 << 10

// lookLines is how many lines decide how a text is written.
const lookLines = 200

// Look tells from the first lines of a text table (some 64 KiB) how it is
// written. What a person should confirm comes back as sentences. A Separator
// of 0 says that nothing in it looks like a table.
func Look(head []byte) (Dialect, []string) {
	d := Dialect{Encoding: encoding(head), Decimal: '.', Header: -1, Units: -1}
	var doubts []string
	if d.Encoding == "latin-1" {
		doubts = append(doubts, "The text is not in UTF-8 and is read as Windows-1252 (Latin-1), as older programs write it.")
	}
	plain := bytes.TrimPrefix(head, bom)
	if dec, err := decoder(d.Encoding); err == nil && dec != nil {
		out, _, _ := transform.Bytes(dec, head[:len(head)&^1])
		plain = out
	}
	ls, first := cut(plain)
	if len(ls) == 0 {
		return d, doubts
	}
	// The separator under which most lines have as many fields.
	best, score := byte(0), 0
	var other byte
	for _, sep := range []byte{'\t', ';', '|', ',', ' '} {
		n, same := usual(ls, sep)
		if n < 2 || same < 2 || sep == ' ' && (same < 3 || 10*same < 9*len(ls)) {
			continue // sentences have blanks too
		}
		switch {
		case best == 0, same > score+score/10:
			best, score = sep, same
		case sep != ' ' && same >= score-score/10:
			other = sep
		}
	}
	if best == 0 {
		return d, doubts
	}
	d.Separator = best
	n, _ := usual(ls, best)
	// Lines with text in front that have another number of fields are no part
	// of the table.
	rows := split2(ls, best, n)
	start := rows[0].line
	if start > 0 && fields(ls[start-1], best) == n-1 && emptyEnds(rows) {
		// the header has no separator at its end, the rows have
		fs, _, _ := split(ls[start-1], best, nil, new([]byte))
		start--
		rows = append([]row{{start, fs}}, rows...)
	}
	points, commas, thousands, threes := 0, 0, 0, 0
	for _, r := range rows {
		for _, f := range r.fields {
			switch p, c, th := decimals(f); {
			case p:
				points++
				if th {
					threes++
				}
			case c && best != ',':
				commas++
				if th {
					thousands++
				}
			}
		}
	}
	switch {
	case commas > 0 && points == 0, commas > points:
		d.Decimal = ','
		if thousands == commas && points == 0 {
			doubts = append(doubts, "All commas in its numbers have three digits behind them. They are read as decimal commas, not as signs between thousands.")
		}
	}
	if best == ';' && points > 0 && threes == points && commas == 0 {
		doubts = append(doubts, "All points in its numbers have three digits behind them. They are read as decimal points, not as signs between thousands.")
	}
	if commas > 0 && points > 0 {
		doubts = append(doubts, "Numbers have decimal points and decimal commas in it. It is read with a decimal "+map[byte]string{'.': "point", ',': "comma"}[d.Decimal]+".")
	}
	if other != 0 && best != other && !(best == ';' && other == ',' && d.Decimal == ',') && !(best == '\t' && d.Decimal == ',') {
		if m, _ := usual(ls, other); m > n {
			doubts = append(doubts, "Its columns may be parted by "+sign(best)+" or by "+sign(other)+". It is read with "+sign(best)+".")
		}
	}
	if h, mixed := headerOf(rows); h >= 0 {
		d.Header = first + rows[h].line + 1
		if len(rows) > h+2 && rows[h+1].line == rows[h].line+1 && isUnits(rows[h+1].fields, rows[h+2:]) {
			d.Units = d.Header + 1
		}
		if mixed {
			doubts = append(doubts, fmt.Sprintf("Line %d is taken for the names of the columns, though some of them are numbers.", d.Header))
		}
	}
	return d, doubts
}

func sign(b byte) string {
	switch b {
	case '\t':
		return "tabs"
	case ' ':
		return "blanks"
	case ';':
		return "semicolons"
	case ',':
		return "commas"
	}
	return string(rune(b))
}

// encoding tells how a text is encoded, by its first bytes.
func encoding(head []byte) string {
	switch {
	case bytes.HasPrefix(head, bom):
		return "utf-8"
	case bytes.HasPrefix(head, []byte("\xff\xfe")):
		return "utf-16le"
	case bytes.HasPrefix(head, []byte("\xfe\xff")):
		return "utf-16be"
	}
	even, odd := 0, 0 // zero bytes of two-byte letters
	for i, c := range head[:min(len(head), 4096)] {
		if c == 0 {
			if i%2 == 0 {
				even++
			} else {
				odd++
			}
		}
	}
	if n := min(len(head), 4096) / 2; n > 8 {
		switch {
		case odd > n/2 && even < n/8:
			return "utf-16le"
		case even > n/2 && odd < n/8:
			return "utf-16be"
		}
	}
	cut := head
	if len(cut) == headSize { // the last letter may be cut
		cut = cut[:len(cut)-4]
	}
	if !utf8.Valid(trimRune(cut)) {
		return "latin-1"
	}
	return "utf-8"
}

// trimRune takes a letter off the end that is not whole.
func trimRune(b []byte) []byte {
	for i := 1; i <= 3 && i <= len(b); i++ {
		if c := b[len(b)-i]; c >= 0xc0 {
			return b[:len(b)-i]
		} else if c < 0x80 {
			break
		}
	}
	return b
}

// cut gives the first lines, those that are empty or remarks left out in front
// only: first counts them.
func cut(b []byte) (ls [][]byte, first int) {
	end := byte('\n')
	if bytes.IndexByte(b, '\n') < 0 {
		end = '\r'
	}
	for len(b) > 0 && len(ls) < lookLines {
		i := bytes.IndexByte(b, end)
		if i < 0 {
			if len(ls) == 0 {
				ls = append(ls, b)
			}
			break // a line that the head cuts tells nothing
		}
		l := lines.Chop(b[:i])
		b = b[i+1:]
		if len(ls) == 0 && len(trim(l)) == 0 {
			first++
			continue
		}
		ls = append(ls, l)
	}
	return ls, first
}

func fields(l []byte, sep byte) int {
	fs, how, _ := split(l, sep, nil, new([]byte))
	if how != fine {
		return 0
	}
	return len(fs)
}

// usual gives the number of fields that most lines have, and how many have it.
func usual(ls [][]byte, sep byte) (n, same int) {
	count := map[int]int{}
	for _, l := range ls {
		if len(trim(l)) > 0 {
			count[fields(l, sep)]++
		}
	}
	for k, c := range count {
		if k >= 2 && (c > same || c == same && k > n) {
			n, same = k, c
		}
	}
	return n, same
}

// row is a line with its fields.
type row struct {
	line   int // of the lines looked at, from 0
	fields [][]byte
}

// split2 gives the lines that have n fields.
func split2(ls [][]byte, sep byte, n int) []row {
	var out []row
	for i, l := range ls {
		if fs, how, _ := split(l, sep, nil, new([]byte)); how == fine && len(fs) == n {
			out = append(out, row{i, fs})
		}
	}
	return out
}

// emptyEnds tells whether all rows end with a separator.
func emptyEnds(rows []row) bool {
	for _, r := range rows {
		if len(r.fields[len(r.fields)-1]) > 0 {
			return false
		}
	}
	return true
}

// decimals tells whether a field is a number with a decimal point, or with a
// decimal comma; three: with three digits behind it.
func decimals(f []byte) (point, comma, three bool) {
	f = bytes.TrimPrefix(f, []byte("-"))
	at := bytes.IndexAny(f, ".,")
	if at < 1 || at == len(f)-1 || len(bytes.Trim(f[:at], "0123456789")) > 0 {
		return
	}
	rest := f[at+1:]
	if len(bytes.Trim(rest, "0123456789")) > 0 {
		return // also dates and 1.234,5
	}
	three = len(rest) == 3 && at <= 3
	return f[at] == '.', f[at] == ',', three
}

// isData tells whether a field is a number or a time, as data are and names
// are not.
func isData(f []byte) bool {
	digits := 0
	for _, c := range f {
		switch {
		case c >= '0' && c <= '9':
			digits++
		case c == '.' || c == ',' || c == '-' || c == '+' || c == ':' || c == '/' || c == ' ' || c == 'T' || c == 'Z' || c == 'E' || c == 'e':
		default:
			return false
		}
	}
	return digits > 0
}

// headerOf gives the line of names, -1 without one: of the lines that have
// texts where those below have numbers, the first of those with the most
// fields filled. mixed: a third of its names or more look like data.
func headerOf(rows []row) (h int, mixed bool) {
	if len(rows) < 2 {
		if numeric(rows[0].fields) {
			return -1, false
		}
		return 0, false
	}
	below := rows[len(rows)-max(1, len(rows)/3):] // lines above the header are fewer than those of data
	data := make([]bool, len(rows[0].fields))
	some := false
	for i := range data {
		n, all := 0, 0
		for _, r := range below {
			if f := r.fields[i]; !isMissing(f) {
				all++
				if isData(f) {
					n++
				}
			}
		}
		data[i] = n > 0 && 5*n >= 4*all
		some = some || data[i]
	}
	top := len(rows) // the first line of data
	for i, r := range rows {
		if !slices.ContainsFunc(places(data), func(k int) bool { return !isMissing(r.fields[k]) && !isData(r.fields[k]) }) {
			if top = i; filled(r.fields) > 0 {
				break
			}
		}
	}
	switch {
	case !some || top == len(rows): // all of it is text
		if numeric(rows[0].fields) {
			return -1, false
		}
		return 0, false
	case top == 0:
		return -1, false
	}
	for i, r := range rows[:top] {
		if filled(r.fields) > filled(rows[h].fields) {
			h = i
		}
	}
	return h, numeric(rows[h].fields)
}

// places gives where on is true.
func places(on []bool) (out []int) {
	for i, b := range on {
		if b {
			out = append(out, i)
		}
	}
	return out
}

func filled(fs [][]byte) (n int) {
	for _, f := range fs {
		if len(f) > 0 {
			n++
		}
	}
	return n
}

// isMissing tells whether a field says that there is no value.
func isMissing(f []byte) bool {
	switch string(bytes.ToLower(f)) {
	case "", "-", "--", "?", "na", "n/a", "nan", "null", "none":
		return true
	}
	return false
}

// numeric tells whether a line holds data: a third of its fields or more.
func numeric(fs [][]byte) bool {
	n, all := 0, 0
	for _, f := range fs {
		if len(f) == 0 {
			continue
		}
		all++
		if isData(f) {
			n++
		}
	}
	return 3*n >= all
}

// isUnits tells whether a line under the header names units: where the lines
// below have numbers it has short texts, or nothing.
func isUnits(fs [][]byte, below []row) bool {
	texts, cols := 0, 0
	for i := range fs {
		data := 0
		for _, r := range below[:min(len(below), 20)] {
			if isData(r.fields[i]) {
				data++
			}
		}
		if data == 0 {
			continue
		}
		cols++
		if isData(fs[i]) || len(fs[i]) > 16 {
			return false
		}
		if len(fs[i]) > 0 {
			texts++
		}
	}
	return cols > 0 && 2*texts >= cols
}
