package iso11783

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf16"
)

// node is one XML element.
type node struct {
	Name string
	Attr []xml.Attr
	Kids []*node
	Line int // from 1
}

func (n *node) attr(name string) (string, bool) {
	for _, a := range n.Attr {
		if a.Name.Local == name && a.Name.Space == "" {
			return a.Value, true
		}
	}
	return "", false
}

// text gives an attribute without surrounding space, empty when absent.
func (n *node) text(name string) string {
	v, _ := n.attr(name)
	return strings.TrimSpace(v)
}

func (n *node) integer(name string, missing int) int {
	v, err := strconv.ParseInt(n.text(name), 10, 64)
	if err != nil || v < -1<<31 || v > 1<<32 {
		return missing
	}
	return int(v)
}

func (n *node) float(name string) (float64, bool) {
	v, err := strconv.ParseFloat(n.text(name), 64)
	return v, err == nil
}

func (n *node) find(name string) *node {
	for _, k := range n.Kids {
		if k.Name == name {
			return k
		}
	}
	return nil
}

func (n *node) all(name string) []*node {
	var ks []*node
	for _, k := range n.Kids {
		if k.Name == name {
			ks = append(ks, k)
		}
	}
	return ks
}

// document is a parsed file; Damage is what could not be read.
type document struct {
	Root   *node
	Damage *xmlDamage
}

type xmlDamage struct {
	Offset int64
	Line   int
	Bytes  int64 // left out
	Cut    bool  // the file ends before its root does
	Why    string
}

const (
	maxXML      = 256 << 20 // bytes of one XML file; real ones stay under a tenth
	maxXMLDepth = 64
)

// parseXML reads a file into a tree and keeps all that is well formed: after a
// damaged place it goes on at the next tag. The error is for files that cannot
// be read at all.
func parseXML(name string, r io.Reader) (*document, error) {
	data, err := io.ReadAll(io.LimitReader(r, maxXML+1))
	var broken *xmlDamage
	if err != nil {
		if len(data) == 0 {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		broken = &xmlDamage{Offset: int64(len(data)), Cut: true, Why: "the file cannot be read further: " + err.Error()}
	}
	if len(data) > maxXML {
		return nil, fmt.Errorf("%s is larger than %d MiB", name, maxXML>>20)
	}
	data = utf8Of(data)
	doc := &document{Damage: broken}
	if len(bytes.TrimSpace(data)) == 0 {
		return nil, fmt.Errorf("%s is empty", name)
	}
	var stack []*node
	base := int64(0)
	damage := func(at, skipped int64, cut bool, why string) {
		if doc.Damage == nil {
			doc.Damage = &xmlDamage{Offset: at, Line: 1 + bytes.Count(data[:min(at, int64(len(data)))], []byte("\n")), Cut: cut, Why: why}
		}
		doc.Damage.Bytes += skipped
	}
	line, lineAt := 1, int64(0)
	for rest := data; ; {
		d := xml.NewDecoder(bytes.NewReader(rest))
		d.Strict = false
		d.CharsetReader = func(_ string, in io.Reader) (io.Reader, error) { return in, nil } // utf8Of has done it
		var tokErr error
		for {
			at := base + d.InputOffset()
			tok, err := d.RawToken()
			if err != nil {
				tokErr = err
				break
			}
			switch t := tok.(type) {
			case xml.StartElement:
				line += bytes.Count(data[lineAt:min(at, int64(len(data)))], []byte("\n"))
				lineAt = min(at, int64(len(data)))
				n := &node{Name: t.Name.Local, Attr: t.Attr, Line: line}
				if len(stack) > 0 {
					p := stack[len(stack)-1]
					p.Kids = append(p.Kids, n)
				} else if doc.Root == nil {
					doc.Root = n
				} else { // a second root: keep its content in the first
					doc.Root.Kids = append(doc.Root.Kids, n)
				}
				if len(stack) >= maxXMLDepth {
					return nil, fmt.Errorf("%s, line %d: elements nested deeper than %d", name, line, maxXMLDepth)
				}
				stack = append(stack, n)
			case xml.EndElement:
				for i := len(stack) - 1; i >= 0; i-- {
					if stack[i].Name == t.Name.Local {
						stack = stack[:i]
						break
					}
				}
			}
		}
		if errors.Is(tokErr, io.EOF) && !errors.Is(tokErr, io.ErrUnexpectedEOF) {
			break
		}
		bad := base + d.InputOffset()
		next := nextTag(data, max(bad, base+1))
		if next < 0 {
			damage(min(bad, int64(len(data))), max(0, int64(len(data))-bad), true, "the file is cut off")
			break
		}
		damage(bad, int64(next)-bad, false, "not well-formed XML")
		base, rest = int64(next), data[next:]
	}
	if doc.Root == nil {
		return nil, fmt.Errorf("%s holds no XML element", name)
	}
	if len(stack) > 0 {
		damage(int64(len(data)), 0, true, fmt.Sprintf("the file is cut off: %s is never closed", stack[0].Name))
		doc.Damage.Cut = true
	}
	return doc, nil
}

// nextTag finds the next start or end of an element after byte at, or -1.
func nextTag(data []byte, at int64) int {
	for i := int(at); i >= 0 && i+1 < len(data); i++ {
		if data[i] != '<' || int64(i) == 0 {
			continue
		}
		c := data[i+1]
		if c >= 'A' && c <= 'Z' || c == '/' && i+2 < len(data) && data[i+2] >= 'A' && data[i+2] <= 'Z' {
			return i
		}
	}
	return -1
}

// utf8Of turns UTF-16 with a byte order mark into UTF-8 and drops the mark.
func utf8Of(data []byte) []byte {
	if b, ok := bytes.CutPrefix(data, []byte("\xef\xbb\xbf")); ok {
		return b
	}
	var at func(i int) uint16
	switch {
	case bytes.HasPrefix(data, []byte{0xff, 0xfe}):
		at = func(i int) uint16 { return uint16(data[i]) | uint16(data[i+1])<<8 }
	case bytes.HasPrefix(data, []byte{0xfe, 0xff}):
		at = func(i int) uint16 { return uint16(data[i+1]) | uint16(data[i])<<8 }
	default:
		return fromLatin(data)
	}
	var u []uint16
	for i := 2; i+1 < len(data); i += 2 {
		u = append(u, at(i))
	}
	return []byte(string(utf16.Decode(u)))
}

var declared = regexp.MustCompile(`^\s*<\?xml[^>]*encoding\s*=\s*["']([A-Za-z0-9._-]+)["']`)

// fromLatin turns a file that declares a one-byte encoding into UTF-8, byte for
// byte as in ISO 8859-1. Files that say UTF-8, or nothing, stay.
func fromLatin(data []byte) []byte {
	m := declared.FindSubmatch(data[:min(len(data), 256)])
	if m == nil {
		return data
	}
	switch strings.ToLower(string(m[1])) {
	case "utf-8", "utf8", "utf-16", "us-ascii", "ascii":
		return data
	}
	var out strings.Builder
	out.Grow(len(data))
	for _, c := range data {
		out.WriteRune(rune(c))
	}
	return []byte(out.String())
}
