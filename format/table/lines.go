package table

import (
	"bytes"
	"context"
	"io"
)

const (
	bufferSize = 256 << 10 // bytes read at once; a longer line is not read
	headSize   = 64 << 10  // bytes by which a text is looked at
	maxRecord  = 64 << 10  // longest record whose quotes span lines, in bytes
	maxSpan    = 100       // and in lines
)

// lines cuts a text into lines out of one buffer.
type lines struct {
	ctx context.Context
	r   io.Reader
	end byte // of a line: '\n', or '\r' in a text without any '\n'

	buf      []byte
	pos, top int   // unread part of buf
	base     int64 // place in the text of the first byte in buf
	done     bool  // the text has ended, or err is set
	err      error

	line  int   // that next gave, from 1
	start int64 // its first byte
	after int   // lines that have ended so far
}

func newLines(ctx context.Context, r io.Reader) *lines {
	l := &lines{ctx: ctx, r: r, end: '\n'}
	select {
	case l.buf = <-lineBuffers:
	default:
		l.buf = make([]byte, bufferSize)
	}
	return l
}

// lineBuffers are a few kept for the next file: a folder of many small files
// is common.
var lineBuffers = make(chan []byte, 4)

// close gives the buffer back; no line may be used after it.
func (l *lines) close() {
	if l.buf == nil {
		return
	}
	select {
	case lineBuffers <- l.buf:
	default:
	}
	l.buf, l.pos, l.top, l.done = nil, 0, 0, true
}

// fill reads once more, after moving what is unread to the front. It tells
// whether anything came.
func (l *lines) fill() bool {
	if l.done || l.pos == 0 && l.top == len(l.buf) {
		return false
	}
	if l.err = l.ctx.Err(); l.err != nil {
		l.done = true
		return false
	}
	copy(l.buf, l.buf[l.pos:l.top])
	l.base += int64(l.pos)
	l.top -= l.pos
	l.pos = 0
	for tries := 0; ; tries++ {
		n, err := l.r.Read(l.buf[l.top:])
		l.top += n
		switch {
		case err == io.EOF:
			l.done = true
		case err != nil:
			l.done, l.err = true, err
		case n == 0 && tries < 100:
			continue
		case n == 0:
			l.done, l.err = true, io.ErrNoProgress
		}
		return n > 0
	}
}

// head gives the next n bytes, as far as there are any, without taking them.
func (l *lines) head(n int) []byte {
	for l.top-l.pos < n && l.fill() {
	}
	return l.buf[l.pos:min(l.top, l.pos+n)]
}

// found is what next found.
type found uint8

const (
	noLine    found = iota // the text is at its end
	wholeLine              // a line and its end
	cutLine                // the last line, without an end
	longLine               // a line longer than the buffer; its first bytes
	openQuote              // a line with a quote that nothing closes
)

// next gives the next line without its end, good until the next call.
func (l *lines) next() ([]byte, found) {
	from := l.pos
	for {
		if i := bytes.IndexByte(l.buf[from:l.top], l.end); i >= 0 {
			return l.take(from+i, 1), wholeLine
		}
		from = l.top - l.pos
		if !l.fill() {
			break
		}
	}
	if l.pos == l.top {
		return nil, noLine
	}
	if l.done {
		if l.err != nil {
			return nil, noLine
		}
		return l.take(l.top, 0), cutLine
	}
	// No line end in the whole buffer: skip to the one that follows.
	head := append([]byte(nil), l.take(l.top, 0)[:64]...)
	for {
		l.pos = l.top
		if !l.fill() {
			return head, longLine
		}
		if i := bytes.IndexByte(l.buf[:l.top], l.end); i >= 0 {
			l.pos = i + 1
			l.after++
			return head, longLine
		}
	}
}

// take hands out the bytes up to at, which hold a number of line ends.
func (l *lines) take(at, ends int) []byte {
	line := l.buf[l.pos:at]
	l.line, l.start = l.after+1, l.base+int64(l.pos)
	l.after += ends
	l.pos = min(at+1, l.top)
	return chop(line)
}

// chop takes the carriage return of a line end away.
func chop(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		return line[:n-1]
	}
	return line
}

// more gives the line that was just taken with those that follow it until
// its quotes are closed. What the quotes then do, split tells. The line alone
// comes back, as openQuote, when they are not closed within bounds.
func (l *lines) more(line []byte, sep byte) ([]byte, found) {
	// The line may have been moved by a fill, so it is put back and taken anew.
	size := len(line)
	back := int(l.base) + l.pos
	l.pos = int(l.start - l.base)
	ends := back - int(l.start) - size // one byte, or two with a return
	single := size + ends
	for l.top-l.pos < maxRecord && l.fill() {
	}
	data := l.buf[l.pos:l.top]
	from := 0
	quoted := false
	for n := 1; n <= maxSpan && from <= maxRecord; n++ {
		i := bytes.IndexByte(data[from:], l.end)
		if i < 0 {
			break
		}
		var bad bool
		if quoted, bad = follow(data[from:from+i], sep, quoted); bad {
			break
		}
		from += i + 1
		if !quoted {
			l.after-- // the first line was counted
			return l.take(l.pos+from-1, n), wholeLine
		}
	}
	l.pos += min(single, len(data))
	return data[:min(size, len(data))], openQuote
}

// follow goes over one line of a record, which begins inside quotes or not, and
// tells whether it ends inside them. bad: a closing quote has text behind it.
func follow(line []byte, sep byte, quoted bool) (inside, bad bool) {
	i := 0
	for {
		if quoted {
			j := bytes.IndexByte(line[i:], '"')
			if j < 0 {
				return true, false
			}
			i += j + 1
			if i < len(line) && line[i] == '"' {
				i++
				continue
			}
			quoted = false
			for i < len(line) && (line[i] == ' ' || line[i] == '\t' && sep != '\t' || line[i] == '\r' && i == len(line)-1) {
				i++
			}
			switch {
			case i >= len(line):
				return false, false
			case line[i] == sep:
				i++
			case sep == ' ' && (line[i-1] == ' ' || line[i-1] == '\t'):
			default:
				return false, true
			}
		}
		// at the beginning of a field
		for i < len(line) && (line[i] == ' ' || line[i] == '\t' && sep != '\t') {
			i++
		}
		if i < len(line) && line[i] == '"' {
			quoted = true
			i++
			continue
		}
		var j int
		if sep == ' ' {
			j = bytes.IndexAny(line[i:], " \t")
		} else {
			j = bytes.IndexByte(line[i:], sep)
		}
		if j < 0 {
			return false, false
		}
		i += j + 1
	}
}

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
