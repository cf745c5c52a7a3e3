package plain

import (
	"fmt"
	"math"
	"sort"
	"strings"

	"evenstand"

	"github.com/pelletier/go-toml/v2"
	"github.com/pelletier/go-toml/v2/unstable"
)

// An Error says where a card or a source.toml is wrong and what to do.
type Error struct {
	File string
	Line int    // from 1; 0 when it is the file as a whole
	Err  error  // what is wrong
	Hint string // what to do, a whole sentence; may be empty
}

func (e *Error) Error() string {
	s := e.File
	if e.Line > 0 {
		s = fmt.Sprintf("%s, line %d", e.File, e.Line)
	}
	s += ": " + e.Err.Error()
	if e.Hint != "" {
		s += ". " + e.Hint
	}
	return s
}

func (e *Error) Unwrap() error { return e.Err }

// maxToml is the longest card or source.toml read, in bytes: a card of 128
// rows with every part listed stays under a tenth of it.
const maxToml = 1 << 20

// document is a TOML file with the line of every key.
type document struct {
	file  string
	lines map[string]int
	errs  []*Error
}

// table is one table of a document; it remembers which keys were asked for.
type table struct {
	doc  *document
	path string
	m    map[string]any
	seen map[string]bool
}

func parseDocument(file string, data []byte) (*document, table, *Error) {
	d := &document{file: file, lines: map[string]int{}}
	if len(data) > maxToml {
		return d, table{}, &Error{file, 0, fmt.Errorf("%d bytes are too many for this file", len(data)), "Check that it is the right one."}
	}
	data = trimBOM(data)
	m := map[string]any{}
	if err := toml.Unmarshal(data, &m); err != nil {
		line, hint, what := TOMLError(data, err)
		return d, table{}, &Error{file, line, what, hint}
	}
	d.index(data)
	return d, table{d, "", m, map[string]bool{}}, nil
}

// index notes the line on which each key and table stands.
func (d *document) index(data []byte) {
	var p unstable.Parser
	p.Reset(data)
	prefix, counts := "", map[string]int{}
	line, at := 1, 0
	for p.NextExpression() {
		e := p.Expression()
		if e.Kind != unstable.KeyValue && e.Kind != unstable.Table && e.Kind != unstable.ArrayTable {
			continue
		}
		path := ""
		if e.Kind == unstable.KeyValue {
			path = prefix
		}
		for it := e.Key(); it.Next(); {
			k := it.Node()
			if off := int(k.Raw.Offset); off > at && off <= len(data) {
				line += strings.Count(string(data[at:off]), "\n")
				at = off
			}
			path = join(path, string(k.Data))
			if n := counts[path]; n > 0 && !(e.Kind == unstable.ArrayTable && it.IsLast()) {
				path = fmt.Sprintf("%s[%d]", path, n-1)
			}
			if _, ok := d.lines[path]; !ok {
				d.lines[path] = line
			}
		}
		switch e.Kind {
		case unstable.ArrayTable:
			counts[path]++
			prefix = fmt.Sprintf("%s[%d]", path, counts[path]-1)
			d.lines[prefix] = line
		case unstable.Table:
			prefix = path
		}
	}
}

func join(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// line gives the line of a key, of what holds it where the key has none.
func (d *document) line(path string) int {
	for path != "" {
		if n, ok := d.lines[path]; ok {
			return n
		}
		path = path[:max(0, strings.LastIndexAny(path, ".["))]
	}
	return 0
}

func (t *table) fail(key, hint, format string, args ...any) {
	path := t.path
	if key != "" {
		path = join(t.path, key)
	}
	t.doc.errs = append(t.doc.errs, &Error{t.doc.file, t.doc.line(path), fmt.Errorf(format, args...), hint})
}

func (t *table) get(key string) (any, bool) {
	t.seen[key] = true
	v, ok := t.m[key]
	return v, ok
}

func (t *table) has(key string) bool { _, ok := t.m[key]; return ok }

func (t *table) text(key string) string {
	v, ok := t.get(key)
	if !ok {
		return ""
	}
	s, ok := v.(string)
	if !ok {
		t.fail(key, "", "%s wants a text in double quotes", key)
	}
	return strings.TrimSpace(s)
}

// texts reads one text or a list of texts.
func (t *table) texts(key string) []string {
	v, ok := t.get(key)
	if !ok {
		return nil
	}
	list, ok := v.([]any)
	if !ok {
		list = []any{v}
	}
	var out []string
	for _, v := range list {
		s, ok := v.(string)
		if !ok {
			t.fail(key, "", "%s wants a text in double quotes, or a list of texts", key)
			return nil
		}
		if s = strings.TrimSpace(s); s != "" {
			out = append(out, s)
		}
	}
	return out
}

func (t *table) truth(key string) bool {
	v, ok := t.get(key)
	if !ok {
		return false
	}
	b, ok := v.(bool)
	if !ok {
		t.fail(key, "", "%s wants true or false", key)
	}
	return b
}

// whole reads a whole number between lo and hi, 0 when absent or wrong.
func (t *table) whole(key string, lo, hi int) int {
	v, ok := t.get(key)
	if !ok {
		return 0
	}
	n, ok := v.(int64)
	if !ok || n < int64(lo) || n > int64(hi) {
		t.fail(key, "", "%s wants a whole number from %d to %d", key, lo, hi)
		return 0
	}
	return int(n)
}

// number reads a finite number, NaN when absent or wrong.
func (t *table) number(key string) float64 {
	v, ok := t.get(key)
	if !ok {
		return math.NaN()
	}
	f, ok := number(v)
	if !ok {
		t.fail(key, "", "%s wants a number", key)
	}
	return f
}

func number(v any) (float64, bool) {
	f := math.NaN()
	switch v := v.(type) {
	case int64:
		f = float64(v)
	case float64:
		f = v
	}
	return f, !math.IsNaN(f) && !math.IsInf(f, 0)
}

// A unit suffix of a key and its size in SI.
type suffix struct {
	name string
	size float64
}

var (
	lengthSuffixes = []suffix{{"m", 1}, {"cm", 0.01}, {"mm", 0.001}, {"in", evenstand.Inch}, {"ft", evenstand.Foot}}
	volumeSuffixes = []suffix{{"l", 1e-3}, {"m3", 1}, {"gal", evenstand.Gallon}}
)

// sized reads a number whose unit is the end of its key, in SI; NaN when
// absent or wrong. Saying it twice is an error.
func (t *table) sized(key string, units []suffix) float64 {
	out, first := math.NaN(), ""
	for _, u := range units {
		k := key + "_" + u.name
		if !t.has(k) {
			continue
		}
		if first != "" {
			t.fail(k, "Keep one of them.", "%s and %s say the same thing", first, k)
			continue
		}
		first = k
		if v := t.number(k); !math.IsNaN(v) {
			out = v * u.size
		}
	}
	for _, u := range units {
		t.seen[key+"_"+u.name] = true
	}
	if first == "" && t.has(key) {
		t.fail(key, fmt.Sprintf("Write %s_%s or %s_%s.", key, units[0].name, key, units[len(units)-2].name), "%s does not say its unit", key)
		t.seen[key] = true
	}
	return out
}

// within gives a length in m that lies between two limits, NaN when it does not.
func (t *table) within(key string, least, most float64, hint string) float64 {
	x := t.sized(key, lengthSuffixes)
	if x < least || x > most {
		t.failSized(key, lengthSuffixes, hint, "%s must lie between %g and %g m, not at %.4g m", key, least, most, x)
		return math.NaN()
	}
	return x
}

// failSized notes what is wrong with a key of which the card gives one unit.
func (t *table) failSized(key string, units []suffix, hint, format string, args ...any) {
	for _, u := range units {
		if t.has(key + "_" + u.name) {
			key += "_" + u.name
			break
		}
	}
	t.fail(key, hint, format, args...)
}

// sizedList is sized for a list of numbers; nil when absent or wrong.
func (t *table) sizedList(key string, units []suffix) (list []float64, name string) {
	for _, u := range units {
		k := key + "_" + u.name
		v, ok := t.get(k)
		if !ok {
			continue
		}
		if name != "" {
			t.fail(k, "Keep one of them.", "%s and %s say the same thing", name, k)
			continue
		}
		name = k
		items, ok := v.([]any)
		for _, it := range items {
			f, good := number(it)
			ok = ok && good
			list = append(list, f*u.size)
		}
		if !ok || len(items) == 0 {
			t.fail(k, "", "%s wants a list of numbers", k)
			list = nil
		}
	}
	return list, name
}

// date reads a date written as a text or as a TOML date.
func (t *table) date(key string) string {
	v, ok := t.get(key)
	if !ok {
		return ""
	}
	switch v := v.(type) {
	case string:
		if v == "" {
			return ""
		}
		if _, err := evenstand.Day(v).Start(utc); err == nil {
			return v
		}
	case toml.LocalDate:
		if _, err := evenstand.Day(v.String()).Start(utc); err == nil {
			return v.String()
		}
	}
	t.fail(key, "", "%s wants a date such as 2026-04-20", key)
	return ""
}

// rows reads a row list and holds it against the number of rows (0 unknown).
func (t *table) rows(key string, of int) evenstand.Rows {
	v, ok := t.get(key)
	if !ok {
		return nil
	}
	var s string
	switch v := v.(type) {
	case string:
		s = v
	case int64:
		s = fmt.Sprint(v)
	default:
		t.fail(key, "", `%s wants a row list in double quotes, such as "1-8,12"`, key)
		return nil
	}
	rows, err := evenstand.ParseRows(s)
	if err != nil {
		t.fail(key, "", "%w", err)
		return nil
	}
	if n := len(rows); n > 0 && of > 0 && rows[n-1] > of {
		t.fail(key, "Correct the list, or the number of rows at the top.", "row %d is beyond the %d rows of the planter", rows[n-1], of)
		return nil
	}
	return rows
}

// sub reads the table under a key, an empty one when absent.
func (t *table) sub(key string) table {
	v, ok := t.get(key)
	m, good := v.(map[string]any)
	if ok && !good {
		t.fail(key, "", "%s wants a table: a line [%s] and its keys below", key, key)
	}
	return table{t.doc, join(t.path, key), m, map[string]bool{}}
}

// subs reads the list of tables under a key.
func (t *table) subs(key string) []table {
	v, ok := t.get(key)
	if !ok {
		return nil
	}
	list, good := v.([]any)
	var out []table
	for i, it := range list {
		m, ok := it.(map[string]any)
		good = good && ok
		out = append(out, table{t.doc, fmt.Sprintf("%s[%d]", join(t.path, key), i), m, map[string]bool{}})
	}
	if !good {
		t.fail(key, "", "%s wants tables: a line [[%s]] and its keys below, once for each", key, key)
		return nil
	}
	return out
}

// unknown lists the keys that nobody asked for, in the order of their lines.
func (t *table) unknown() []string {
	var out []string
	for k := range t.m {
		if !t.seen[k] {
			out = append(out, k)
		}
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := t.doc.line(join(t.path, out[i])), t.doc.line(join(t.path, out[j]))
		return a < b || a == b && out[i] < out[j]
	})
	return out
}

// appendText writes a TOML basic string.
func appendText(b []byte, s string) []byte {
	b = append(b, '"')
	for _, r := range strings.ToValidUTF8(s, "?") {
		switch {
		case r == '"' || r == '\\':
			b = append(b, '\\', byte(r))
		case r == '\n':
			b = append(b, `\n`...)
		case r == '\t':
			b = append(b, `\t`...)
		case r < 0x20 || r == 0x7f:
			b = fmt.Appendf(b, `\u%04X`, r)
		default:
			b = append(b, string(r)...)
		}
	}
	return append(b, '"')
}
