package plain

import (
	"bytes"
	"context"
	"io"
)

const (
	bufferSize = 256 << 10 // bytes read at once; a longer line is not read
	maxRecord  = 64 << 10  // longest journal record whose quotes span lines, in bytes
)

// lines cuts a file into lines out of one buffer.
type lines struct {
	ctx      context.Context
	r        io.Reader
	progress func(int64)

	buf      []byte
	pos, end int // unread part of buf
	base     int64
	done     bool // the file has ended, or err is set
	err      error

	line  int   // of the record that next gave, from 1
	start int64 // its first byte
	after int   // lines that have ended so far
}

func newLines(ctx context.Context, r io.Reader, progress func(int64)) *lines {
	l := &lines{ctx: ctx, r: r, progress: progress}
	select {
	case l.buf = <-buffers:
	default:
		l.buf = make([]byte, bufferSize)
	}
	return l
}

// buffers are a few kept for the next file: a folder of many small files is
// common.
var buffers = make(chan []byte, 4)

// close gives the buffer back; no line may be used after it.
func (l *lines) close() {
	select {
	case buffers <- l.buf:
	default:
	}
	l.buf = nil
}

// fill reads once more, after moving what is unread to the front. It tells
// whether anything came.
func (l *lines) fill() bool {
	if l.done || l.pos == 0 && l.end == len(l.buf) {
		return false
	}
	if l.err = l.ctx.Err(); l.err != nil {
		l.done = true
		return false
	}
	copy(l.buf, l.buf[l.pos:l.end])
	l.base += int64(l.pos)
	l.end -= l.pos
	l.pos = 0
	for tries := 0; ; tries++ {
		n, err := l.r.Read(l.buf[l.end:])
		l.end += n
		if n > 0 && l.progress != nil {
			l.progress(int64(n))
		}
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

// What next found.
type found uint8

const (
	noLine    found = iota // the file is at its end
	wholeLine              // a line and its end
	cutLine                // the last line, without an end
	longLine               // a line longer than the buffer; its first bytes
	openQuote              // a line with a quote that nothing closes (nextRecord only)
)

// next gives the next line without its end. The slice is good until the next
// call.
func (l *lines) next() ([]byte, found) {
	from := l.pos
	for {
		if i := bytes.IndexByte(l.buf[from:l.end], '\n'); i >= 0 {
			return l.take(from+i, 1), wholeLine
		}
		from = l.end - l.pos
		if !l.fill() {
			break
		}
	}
	if l.pos == l.end {
		return nil, noLine
	}
	if l.done {
		if l.err != nil {
			return nil, noLine
		}
		return l.take(l.end, 0), cutLine
	}
	// No line end in the whole buffer: skip to the one that follows.
	line := l.take(l.end, 0)[:64]
	head := append([]byte(nil), line...)
	for {
		l.pos = l.end
		if !l.fill() {
			return head, longLine
		}
		if i := bytes.IndexByte(l.buf[:l.end], '\n'); i >= 0 {
			l.pos = i + 1
			l.after++
			return head, longLine
		}
	}
}

// nextRecord is next for records whose quoted fields may span lines.
func (l *lines) nextRecord() ([]byte, found) {
	for l.end-l.pos < maxRecord && l.fill() {
	}
	first, quotes, ends := -1, 0, 0
	for i := l.pos; i < l.end && i-l.pos <= maxRecord; i++ {
		switch l.buf[i] {
		case '"':
			quotes++
		case '\n':
			ends++
			if quotes%2 == 0 {
				return l.take(i, ends), wholeLine
			}
			if first < 0 {
				first = i
			}
		}
	}
	if first >= 0 && l.err == nil {
		return l.take(first, 1), openQuote
	}
	return l.next()
}

// take hands out the bytes up to at, which hold a number of line ends.
func (l *lines) take(at, ends int) []byte {
	line := l.buf[l.pos:at]
	l.line, l.start = l.after+1, l.base+int64(l.pos)
	l.after += ends
	l.pos = min(at+1, l.end)
	if n := len(line); n > 0 && line[n-1] == '\r' {
		line = line[:n-1]
	}
	return line
}

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
