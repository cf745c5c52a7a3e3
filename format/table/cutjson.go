package table

import (
	"bufio"
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
)

// jsonCutter cuts a JSON text (RFC 8259) of any length into its values: what is
// wanted comes as bytes, which encoding/json then reads, and the rest is passed
// over without being kept. Whether what it passes over is sound it does not
// check.
type jsonCutter struct {
	r   *bufio.Reader
	at  int64 // of the next byte
	raw []byte
}

// maxValue bounds one value that is kept, such as a feature. A point with its
// properties takes some hundred bytes; no source.
const maxValue = 4 << 20

var errValue = fmt.Errorf("a feature, or a text, is longer than %d MB", maxValue>>20)

func newJSONCutter(r *bufio.Reader) *jsonCutter { return &jsonCutter{r: r} }

// peek gives the next byte that is no blank, without taking it. The signs that
// part the texts of a sequence (RFC 8142) count as blanks.
func (c *jsonCutter) peek() (byte, error) {
	for {
		b, err := c.r.ReadByte()
		if err != nil {
			return 0, err
		}
		switch b {
		case ' ', '\t', '\r', '\n', 0x1e:
			c.at++
			continue
		}
		return b, c.r.UnreadByte()
	}
}

// take takes the next byte that is no blank; it must be one of those wanted.
func (c *jsonCutter) take(wanted string) (byte, error) {
	b, err := c.peek()
	if err != nil {
		return 0, err
	}
	if bytes.IndexByte([]byte(wanted), b) < 0 {
		return 0, fmt.Errorf("it is no JSON: %q where one of %q was to be", b, wanted)
	}
	c.at++
	_, err = c.r.Discard(1)
	return b, err
}

// value gives the next value, lent until the next call.
func (c *jsonCutter) value() (json.RawMessage, error) {
	c.raw = c.raw[:0]
	err := c.next(true)
	return c.raw, err
}

// pass goes past the next value.
func (c *jsonCutter) pass() error { return c.next(false) }

// text gives the next value, which must be a text, such as a key.
func (c *jsonCutter) text() (s string, err error) {
	raw, err := c.value()
	if err == nil {
		err = json.Unmarshal(raw, &s)
	}
	return s, err
}

// next goes over the next value, and keeps it in raw.
func (c *jsonCutter) next(keep bool) error {
	first, err := c.peek()
	if err != nil {
		return err
	}
	deep, quoted, escaped, from := 0, false, false, c.at
	bare := first != '{' && first != '[' && first != '"' // a number, or a word
	for {
		b, err := c.r.Peek(max(1, c.r.Buffered()))
		if len(b) == 0 {
			if bare && c.at > from && errors.Is(err, io.EOF) {
				return nil
			}
			return err
		}
		n, whole := 0, false
	over:
		for n < len(b) {
			x := b[n]
			switch {
			case bare:
				if bytes.IndexByte([]byte(" \t\r\n\x1e,:]}[{\""), x) >= 0 {
					whole = true
					break over
				}
			case escaped:
				escaped = false
			case quoted:
				switch x {
				case '\\':
					escaped = true
				case '"':
					quoted = false
					whole = deep == 0
				}
			default:
				switch x {
				case '"':
					quoted = true
				case '{', '[':
					deep++
				case '}', ']':
					deep--
					whole = deep == 0
				}
			}
			n++
			if whole {
				break
			}
		}
		if keep {
			if len(c.raw)+n > maxValue {
				return errValue
			}
			c.raw = append(slices.Grow(c.raw, n), b[:n]...)
		}
		c.at += int64(n)
		if _, err := c.r.Discard(n); err != nil {
			return err
		}
		if whole {
			if c.at == from {
				return fmt.Errorf("it is no JSON: %q where a value was to be", b[0])
			}
			return nil
		}
	}
}
