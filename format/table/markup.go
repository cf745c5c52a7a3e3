package table

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strconv"
	"unicode/utf8"
)

// markup cuts the XML of a workbook into tags and texts, five times as fast as
// encoding/xml, for sheets have millions of cells. It knows what such parts
// hold: elements, attributes, texts with entities, comments and CDATA; it does
// not check that elements are closed in their order.
type markup struct {
	r    *bufio.Reader
	name []byte // of the element, without prefix
	attr []byte // what stands behind the name
	end  bool   // </name>
	self bool   // <name/>
	text []byte // between the tag before and this one
	tag  []byte
}

// maxMarkup bounds a tag or a text: a cell holds 32,767 letters at most.
const maxMarkup = 1 << 20

var errMarkup = errors.New("a tag or a text is longer than a workbook can have")

func newMarkup(r io.Reader) *markup { return &markup{r: bufio.NewReaderSize(r, 64<<10)} }

// until appends what comes before a byte, and takes that byte.
func (m *markup) until(into []byte, stop byte) ([]byte, error) {
	for {
		part, err := m.r.ReadSlice(stop)
		into = append(into, part...)
		if err == nil {
			return into[:len(into)-1], nil
		}
		if !errors.Is(err, bufio.ErrBufferFull) {
			return into, err
		}
		if len(into) > maxMarkup {
			return into, errMarkup
		}
	}
}

// skip goes past an end, without keeping what stands before it.
func (m *markup) skip(end string) error {
	for {
		b, err := m.r.Peek(max(len(end), m.r.Buffered()))
		if i := bytes.Index(b, []byte(end)); i >= 0 {
			_, err := m.r.Discard(i + len(end))
			return err
		}
		if err != nil {
			if errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return err
		}
		if _, err := m.r.Discard(len(b) - len(end) + 1); err != nil {
			return err
		}
	}
}

// next goes to the next tag. io.EOF comes at the end of the part.
func (m *markup) next() error {
	m.text = m.text[:0]
	for {
		from := len(m.text)
		var err error
		if m.text, err = m.until(m.text, '<'); err != nil {
			return err
		}
		if len(m.text) > maxMarkup { // pieced together of many
			return errMarkup
		}
		m.text = entities(m.text, from)
		if m.tag, err = m.until(m.tag[:0], '>'); err != nil {
			if errors.Is(err, io.EOF) {
				err = io.ErrUnexpectedEOF
			}
			return err
		}
		switch t := m.tag; {
		case bytes.HasPrefix(t, []byte("!--")):
			if len(t) < 5 || !bytes.HasSuffix(t, []byte("--")) {
				if err = m.skip("-->"); err != nil {
					return err
				}
			}
			continue
		case bytes.HasPrefix(t, []byte("![CDATA[")):
			for !bytes.HasSuffix(m.tag, []byte("]]")) {
				if len(m.tag) > maxMarkup {
					return errMarkup
				}
				if m.tag, err = m.until(append(m.tag, '>'), '>'); err != nil {
					if errors.Is(err, io.EOF) {
						err = io.ErrUnexpectedEOF
					}
					return err
				}
			}
			m.text = append(m.text, m.tag[8:len(m.tag)-2]...)
			continue
		case len(t) == 0 || t[0] == '?' || t[0] == '!':
			continue
		}
		break
	}
	t := m.tag
	if m.end = t[0] == '/'; m.end {
		t = t[1:]
	}
	if m.self = len(t) > 0 && t[len(t)-1] == '/'; m.self {
		t = t[:len(t)-1]
	}
	i := bytes.IndexAny(t, " \t\r\n")
	if i < 0 {
		i = len(t)
	}
	m.name, m.attr = t[:i], t[i:]
	if c := bytes.IndexByte(m.name, ':'); c >= 0 {
		m.name = m.name[c+1:]
	}
	return nil
}

// get gives an attribute as it is written, nil without it.
func (m *markup) get(name string) []byte {
	rest := m.attr
	for {
		rest = bytes.TrimLeft(rest, " \t\r\n")
		eq := bytes.IndexByte(rest, '=')
		if eq < 0 {
			return nil
		}
		key := bytes.TrimRight(rest[:eq], " \t\r\n")
		rest = bytes.TrimLeft(rest[eq+1:], " \t\r\n")
		if len(rest) == 0 || rest[0] != '"' && rest[0] != '\'' {
			return nil
		}
		to := bytes.IndexByte(rest[1:], rest[0])
		if to < 0 {
			return nil
		}
		if string(key) == name {
			return rest[1 : 1+to]
		}
		rest = rest[to+2:]
	}
}

// entities puts the letters of entities in their place, from a byte on.
func entities(b []byte, from int) []byte {
	i := bytes.IndexByte(b[from:], '&')
	if i < 0 {
		return b
	}
	out := b[:from+i]
	rest := b[from+i:]
	for len(rest) > 0 {
		if rest[0] != '&' {
			out = append(out, rest[0])
			rest = rest[1:]
			continue
		}
		end := bytes.IndexByte(rest[:min(len(rest), 12)], ';')
		var r rune = -1
		if end > 0 {
			switch name := rest[1:end]; string(name) {
			case "amp":
				r = '&'
			case "lt":
				r = '<'
			case "gt":
				r = '>'
			case "quot":
				r = '"'
			case "apos":
				r = '\''
			default:
				base, digits := 10, bytes.TrimPrefix(name, []byte("#"))
				if len(digits) > 1 && digits[0]|0x20 == 'x' {
					base, digits = 16, digits[1:]
				}
				if v, err := strconv.ParseUint(string(digits), base, 32); err == nil && len(digits) < len(name) && v <= utf8.MaxRune {
					r = rune(v)
				}
			}
		}
		if r < 0 {
			out = append(out, '&')
			rest = rest[1:]
			continue
		}
		out = utf8.AppendRune(out, r) // never longer than what it stands for
		rest = rest[end+1:]
	}
	return out
}
