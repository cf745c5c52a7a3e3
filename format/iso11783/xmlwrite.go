package iso11783

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"unicode/utf8"
)

// el makes an element from name and value pairs. Attributes with an empty
// value are left out, as receivers want them; keep writes them empty.
func el(name string, pairs ...string) *node {
	n := &node{Name: name}
	for i := 0; i+1 < len(pairs); i += 2 {
		if pairs[i+1] != "" {
			n.Attr = append(n.Attr, xml.Attr{Name: xml.Name{Local: pairs[i]}, Value: pairs[i+1]})
		}
	}
	return n
}

// empty is an attribute that stands there without a value: "in every record".
func (n *node) empty(names ...string) *node {
	for _, a := range names {
		n.Attr = append(n.Attr, xml.Attr{Name: xml.Name{Local: a}})
	}
	return n
}

func (n *node) add(kids ...*node) *node {
	for _, k := range kids {
		if k != nil {
			n.Kids = append(n.Kids, k)
		}
	}
	return n
}

// designator cuts a text to the 32 characters that the schema allows.
func designator(s string) string {
	s = strings.TrimSpace(s)
	if utf8.RuneCountInString(s) <= 32 {
		return s
	}
	return strings.TrimSpace(string([]rune(s)[:32]))
}

func itoa(n int) string { return strconv.Itoa(n) }

// degrees writes a coordinate with the nine decimals that the schema allows.
func degrees(v float64) string { return strconv.FormatFloat(v, 'f', 9, 64) }

func (n *node) write(b *bytes.Buffer, depth int) {
	indent := strings.Repeat("\t", depth)
	fmt.Fprintf(b, "%s<%s", indent, n.Name)
	for _, a := range n.Attr {
		fmt.Fprintf(b, " %s=\"", a.Name.Local)
		_ = xml.EscapeText(b, []byte(a.Value)) // a bytes.Buffer does not fail
		b.WriteByte('"')
	}
	if len(n.Kids) == 0 {
		b.WriteString("/>\n")
		return
	}
	b.WriteString(">\n")
	for _, k := range n.Kids {
		k.write(b, depth+1)
	}
	fmt.Fprintf(b, "%s</%s>\n", indent, n.Name)
}

// writeXML writes an element as a whole file.
func writeXML(dir, name string, n *node) error {
	var b bytes.Buffer
	b.WriteString(xml.Header)
	n.write(&b, 0)
	return os.WriteFile(filepath.Join(dir, name), b.Bytes(), 0o666)
}
