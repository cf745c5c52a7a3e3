// Package lines cuts a text into lines, and into records whose quoted fields
// span lines, out of one buffer: no line is copied, and none that is longer than
// the buffer is ever in memory. Readers of text formats build on it.
package lines

import (
	"bytes"
	"context"
	"io"
)

const (
	bufferSize = 256 << 10 // bytes read at once; a longer line is not read
	maxRecord  = 64 << 10  // longest record whose quotes span lines, in bytes
	maxSpan    = 100       // and in lines
)

// Cutter cuts a text into lines out of one buffer.
type Cutter struct {
	ctx      context.Context
	r        io.Reader
	progress func(int64)
	end      byte // of a line: '\n', or '\r' in a text without any '\n'

	buf      []byte
	pos, top int   // unread part of buf
	base     int64 // place in the text of the first byte in buf
	done     bool  // the text has ended, or err is set
	err      error

	line  int   // that next gave, from 1
	start int64 // its first byte
	after int   // lines that have ended so far
}

// New makes a Cutter; progress, when not nil, hears of every read.
func New(ctx context.Context, r io.Reader, progress func(bytes int64)) *Cutter {
	l := &Cutter{ctx: ctx, r: r, progress: progress, end: '\n'}
	select {
	case l.buf = <-buffers:
	default:
		l.buf = make([]byte, bufferSize)
	}
	return l
}

// buffers are a few kept for the next file: a folder of many small files
// is common.
var buffers = make(chan []byte, 4)

// Close gives the buffer back; no line may be used after it.
func (l *Cutter) Close() {
	if l.buf == nil {
		return
	}
	select {
	case buffers <- l.buf:
	default:
	}
	l.buf, l.pos, l.top, l.done = nil, 0, 0, true
}

// fill reads once more, after moving what is unread to the front. It tells
// whether anything came.
func (l *Cutter) fill() bool {
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

// Head gives the next n bytes, as far as there are any, without taking them.
func (l *Cutter) Head(n int) []byte {
	for l.top-l.pos < n && l.fill() {
	}
	return l.buf[l.pos:min(l.top, l.pos+n)]
}

// Found is what was found.
type Found uint8

// What Next, Record and More found.

const (
	None  Found = iota // the text is at its end
	Whole              // a line and its end
	Cut                // the last line, without an end
	Long               // a line longer than the buffer; its first bytes
	Open               // a line with a quote that nothing closes
)

// Next gives the next line without its end, good until the next call.
func (l *Cutter) Next() ([]byte, Found) {
	from := l.pos
	for {
		if i := bytes.IndexByte(l.buf[from:l.top], l.end); i >= 0 {
			return l.take(from+i, 1), Whole
		}
		from = l.top - l.pos
		if !l.fill() {
			break
		}
	}
	if l.pos == l.top {
		return nil, None
	}
	if l.done {
		if l.err != nil {
			return nil, None
		}
		return l.take(l.top, 0), Cut
	}
	// No line end in the whole buffer: skip to the one that follows.
	head := append([]byte(nil), l.take(l.top, 0)[:64]...)
	for {
		l.pos = l.top
		if !l.fill() {
			return head, Long
		}
		if i := bytes.IndexByte(l.buf[:l.top], l.end); i >= 0 {
			l.pos = i + 1
			l.after++
			return head, Long
		}
	}
}

// Record is Next for records whose fields, parted by anything, may hold line
// ends within quotes.
func (l *Cutter) Record() ([]byte, Found) {
	for l.top-l.pos < maxRecord && l.fill() {
	}
	first, quotes, ends := -1, 0, 0
	for i := l.pos; i < l.top && i-l.pos <= maxRecord; i++ {
		switch l.buf[i] {
		case '"':
			quotes++
		case l.end:
			ends++
			if quotes%2 == 0 {
				return l.take(i, ends), Whole
			}
			if first < 0 {
				first = i
			}
		}
	}
	if first >= 0 && l.err == nil {
		return l.take(first, 1), Open
	}
	return l.Next()
}

// Line is the number of the line or record that was given last, from 1.
func (l *Cutter) Line() int { return l.line }

// Start is the first byte of it in the text.
func (l *Cutter) Start() int64 { return l.start }

// After is how many lines have ended so far.
func (l *Cutter) After() int { return l.after }

// Err is the error that ended the text; nil at its proper end.
func (l *Cutter) Err() error { return l.err }

// Bytes is how much of the text was read.
func (l *Cutter) Bytes() int64 { return l.base + int64(l.top) }

// EndWith sets the sign that ends a line, '\n' unless it is said.
func (l *Cutter) EndWith(end byte) { l.end = end }

// Rest gives what was read and not yet given; all: the text has ended.
func (l *Cutter) Rest() (rest []byte, all bool) { return l.buf[l.pos:l.top], l.done }

// take hands out the bytes up to at, which hold a number of line ends.
func (l *Cutter) take(at, ends int) []byte {
	line := l.buf[l.pos:at]
	l.line, l.start = l.after+1, l.base+int64(l.pos)
	l.after += ends
	l.pos = min(at+1, l.top)
	return Chop(line)
}

// Chop takes the carriage return of a line end away.
func Chop(line []byte) []byte {
	if n := len(line); n > 0 && line[n-1] == '\r' {
		return line[:n-1]
	}
	return line
}

// More gives the line that was just taken with those that follow it until
// its quotes are closed. The line alone
// comes back, as Open, when they are not closed within bounds.
func (l *Cutter) More(line []byte, sep byte) ([]byte, Found) {
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
			return l.take(l.pos+from-1, n), Whole
		}
	}
	l.pos += min(single, len(data))
	return data[:min(size, len(data))], Open
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
