package paper

import (
	"cmp"
	"fmt"
	"hash/fnv"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// Context is what papers are made with.
type Context struct {
	Book  string
	Voice advise.Voice
	AsOf  evenstand.Micros // of the last log; NoTime: nothing was read
	Rules Rules
	For   *For // nil: the logbook's own people
	With  With
}

// Logged is what the logs tell of a product on a field on a day. What they do not
// tell is empty, NaN or NoTime.
type Logged struct {
	Planter   string
	Day       evenstand.Day
	Field     string
	Applied   evenstand.Applied
	Tanks     string // numbers on the planter card, "1" or "1,2"; empty: none
	Product   string
	Amount    float64 // m3 of liquid, kg of granules
	Area      float64 // m2
	Start     evenstand.Micros
	End       evenstand.Micros
	Crop      string
	Equipment string
	Lat, Lon  float64 // a place in the field; NaN: nobody knows
	Says      []string
}

// ID names a record for people and for what they write about it. It is made of
// what does not change when a product gets its name.
func (l *Logged) ID() string {
	h := fnv.New32a()
	fmt.Fprintf(h, "%s\x00%s\x00%s\x00%s\x00%s", l.Planter, l.Day, l.Field, l.Applied, l.Tanks)
	return string(l.Day) + "-" + fmt.Sprintf("%08x", h.Sum32())[:6]
}

// Scope is what an entry holds for.
type Scope string

// The scopes, the nearest first.
const (
	OfRecord  Scope = "record"
	OfProduct Scope = "product"
	OfAll     Scope = "all"
)

// Entry is a value that somebody wrote down. A later one of the same scope and
// element takes the place of an earlier one, which is kept.
type Entry struct {
	ID      int64
	At      evenstand.Micros // when it was written
	Scope   Scope
	Of      string        // id of the record, or name of the product
	From    evenstand.Day // of OfProduct and OfAll: the first day that it holds for
	Element string
	Value   string // empty: taken back
	Who     string
}

// holds tells whether an entry is about a record of that product and day.
func (e *Entry) holds(id, product string, day evenstand.Day) bool {
	switch e.Scope {
	case OfRecord:
		return e.Of == id
	case OfProduct:
		return product != "" && strings.EqualFold(strings.TrimSpace(e.Of), strings.TrimSpace(product)) && e.From <= day
	}
	return e.From <= day
}

// Record is an application record: what the logs tell with what people wrote down.
type Record struct {
	ID     string
	Logged Logged
	Pairs  []Pair // of every element of the rules, in their order
	ByHand bool   // no log tells of it now
}

// Value gives the value of an element, empty where nobody knows.
func (r *Record) Value(id string) string {
	for i := range r.Pairs {
		if r.Pairs[i].ID == id {
			return r.Pairs[i].Value
		}
	}
	return ""
}

// Records joins what the logs tell and what people wrote down, in order of day,
// field and product. What was written about a record that no log tells of any more
// is kept, and says so.
func Records(logged []Logged, entries []Entry, c Context) []Record {
	var out []Record
	have := map[string]bool{}
	for _, l := range logged {
		r := makeRecord(l.ID(), l, entries, c)
		have[r.ID] = true
		out = append(out, r)
	}
	for _, e := range entries {
		if e.Scope != OfRecord || have[e.Of] {
			continue
		}
		have[e.Of] = true
		l := NoLog()
		if m := recordID.FindStringSubmatch(e.Of); m != nil {
			l.Day = evenstand.Day(m[1])
		}
		r := makeRecord(e.Of, l, entries, c)
		r.ByHand = true
		if slices.ContainsFunc(r.Pairs, func(p Pair) bool { return p.Entry && p.Value != "" }) {
			out = append(out, r)
		}
	}
	slices.SortStableFunc(out, func(x, y Record) int {
		return cmp.Or(cmp.Compare(x.Logged.Day, y.Logged.Day), cmp.Compare(x.Value("field"), y.Value("field")), cmp.Compare(x.Value("product"), y.Value("product")), cmp.Compare(x.ID, y.ID))
	})
	return out
}

var recordID = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)-[a-z0-9]{1,20}$`)

// IsRecordID tells whether a text can name a record: a day and letters behind it.
func IsRecordID(s string) bool { return recordID.MatchString(s) }

// NoLog is a record of which no log tells anything.
func NoLog() Logged {
	nan := math.NaN()
	return Logged{Amount: nan, Area: nan, Lat: nan, Lon: nan, Start: evenstand.NoTime, End: evenstand.NoTime}
}

const (
	fromLogs = "from the logs"
	fromCard = "from the planter card"
)

func makeRecord(id string, l Logged, entries []Entry, c Context) Record {
	r := Record{ID: id, Logged: l}
	product := l.Product
	for _, e := range entries { // what it is called decides which entries hold
		if e.Scope == OfRecord && e.Of == id && e.Element == "product" {
			if product = e.Value; product == "" {
				product = l.Product
			}
		}
	}
	v := c.Voice
	when := func(t evenstand.Micros) string {
		if t == evenstand.NoTime || t == 0 {
			return ""
		}
		return v.Clock(t)
	}
	told := func(id string) (value, from string) {
		switch id {
		case "product":
			return l.Product, fromCard
		case "total":
			return Amount(l.Amount, l.Applied, v), "computed " + fromLogs
		case "rate":
			if !(l.Area > 0) || math.IsNaN(l.Amount) {
				return "", ""
			}
			unit := "m3/m2"
			if l.Applied == evenstand.AppliedGranular {
				unit = "kg/m2"
			}
			return v.Value(l.Amount/l.Area, unit), "the mean, computed " + fromLogs
		case "field":
			if l.Field != evenstand.Unassigned {
				return l.Field, ""
			}
		case "location":
			return Place(l.Lat, l.Lon), "the middle of its boundary"
		case "area":
			if l.Area > 0 {
				return v.Area(l.Area), "computed " + fromLogs
			}
		case "crop":
			return l.Crop, fromCard
		case "date":
			if l.Day != "" {
				return v.Day(l.Day), ""
			}
		case "start":
			return when(l.Start), fromLogs
		case "end":
			return when(l.End), fromLogs
		case "equipment":
			return l.Equipment, fromCard
		}
		return "", ""
	}
	for _, n := range c.Rules.Names {
		value, from := told(n.ID)
		if value == "" {
			from = ""
		}
		r.Pairs = append(r.Pairs, resolve(n, value, from, id, product, l.Day, entries, v))
	}
	return r
}

// resolve gives the value that stands: of the nearest scope the last that was
// written, with all that stood there before.
func resolve(n Name, value, from, id, product string, day evenstand.Day, entries []Entry, v advise.Voice) Pair {
	p := Pair{ID: n.ID, Label: n.Label, Value: value, From: from, Was: []string{}}
	for _, scope := range []Scope{OfAll, OfProduct, OfRecord} {
		var of []Entry
		for i := range entries {
			if e := &entries[i]; e.Element == n.ID && e.Scope == scope && e.holds(id, product, day) {
				of = append(of, *e)
			}
		}
		// What holds from a later day goes before, whenever it was written; what holds
		// from another day was no value of this record and is not shown as one.
		first := evenstand.Day("")
		for _, e := range of {
			first = max(first, e.From)
		}
		for _, e := range of {
			if e.From != first {
				continue
			}
			when := v.Clock(e.At) + ", " + v.Date(e.At)
			if p.Value != "" {
				was := p.Value
				if p.From != "" {
					was += " (" + p.From + ")"
				}
				p.Was = append([]string{"before " + when + ": " + was}, p.Was...)
			}
			wrote := "written down "
			switch {
			case e.Value == "":
				wrote = "taken back "
			case p.Value != "":
				wrote = "changed "
			}
			switch scope {
			case OfAll:
				wrote = "for all products from " + v.Day(e.From) + ", " + wrote
			case OfProduct:
				wrote = "for this product from " + v.Day(e.From) + ", " + wrote
			}
			p.Value, p.From, p.Entry = e.Value, wrote+when+" by "+e.Who, true
		}
	}
	if p.Value == "" && p.Entry && value != "" {
		// Taken back: what the logs tell stands again.
		p.Value, p.From = value, from+"; what was written down was "+p.From
	}
	return p
}

// Amount writes how much of a product: gallons or litres, pounds or kilograms.
func Amount(x float64, a evenstand.Applied, v advise.Voice) string {
	switch {
	case !(x > 0):
		return ""
	case a == evenstand.AppliedGranular && v.Units == evenstand.Metric:
		return advise.Digits(x) + " kg"
	case a == evenstand.AppliedGranular:
		return advise.Digits(x/evenstand.Pound) + " lb"
	}
	return v.Volume(x)
}

// Place writes a place in degrees, to some 1 m.
func Place(lat, lon float64) string {
	if math.IsNaN(lat) || math.IsNaN(lon) {
		return ""
	}
	side := func(x float64, plus, minus string) string {
		if x < 0 {
			plus = minus
		}
		return strconv.FormatFloat(math.Abs(x), 'f', 5, 64) + "° " + plus
	}
	return side(lat, "N", "S") + ", " + side(lon, "E", "W")
}

// missing lists what a document asks for and nobody knows.
func missing(document string, r *Record, c Context) []Missing {
	out := []Missing{}
	asks := c.Rules.asks(document, r.Value("kind"), r.Value("applicator_kind"))
	for _, n := range c.Rules.Names {
		if r.Value(n.ID) != "" {
			continue
		}
		m := Missing{ID: n.ID, Label: n.Label, Asks: []string{}}
		first := evenstand.NoTime
		for _, a := range asks {
			if a.Element != n.ID {
				continue
			}
			if t, says := due(a.By, r.Logged.End, c.Voice); t != evenstand.NoTime && (first == evenstand.NoTime || t < first) {
				first, m.By = t, says
				if document == "posting" {
					m.By += ", and before workers enter"
				}
			}
			m.Asks = append(m.Asks, a.Says())
		}
		if len(m.Asks) > 0 {
			out = append(out, m)
		}
	}
	return out
}

// FirstBy says by when the first of what is missing on any sheet is wanted.
func FirstBy(r *Record, c Context) string {
	first, says := evenstand.NoTime, ""
	for _, doc := range documents {
		for _, a := range c.Rules.asks(doc, r.Value("kind"), r.Value("applicator_kind")) {
			if r.Value(a.Element) != "" {
				continue
			}
			if t, by := due(a.By, r.Logged.End, c.Voice); t != evenstand.NoTime && (first == evenstand.NoTime || t < first) {
				first, says = t, by
			}
		}
	}
	return says
}

// Says writes who asks, with the source and how well it is known.
func (a *Ask) Says() string {
	s := a.Who + " (" + a.Source
	if a.By != "" {
		s += "; within " + strings.Replace(strings.Replace(a.By, " d", " days", 1), "within at once", "at once", 1)
	}
	if a.Keep != "" {
		s += "; keep " + a.Keep
	}
	if a.Status != "" && a.Status != "verified" {
		s += "; " + a.Status
	}
	return strings.ReplaceAll(s, "within at once", "at once") + ")"
}

// wanted are the elements that a document asks for of a record.
func wanted(document string, r *Record, c Context) map[string]bool {
	out := map[string]bool{}
	for _, a := range c.Rules.asks(document, r.Value("kind"), r.Value("applicator_kind")) {
		out[a.Element] = true
	}
	return out
}

// recordTitle names a record.
func recordTitle(r *Record, c Context) string {
	product := r.Value("product")
	if product == "" {
		product = "product not named"
		if !r.ByHand {
			product = r.Logged.Applied.String() + ", " + product
		}
	}
	field := r.Value("field")
	if field == "" {
		field = "field not named"
	}
	return strings.Join(nonempty(c.Voice.Day(r.Logged.Day), field, product), " · ")
}

const unsaidKind = "Nobody has said what kind of product it is. Until then all that could be asked is listed."

// Applications makes the application records.
func Applications(rs []Record, c Context) Document {
	d := newDocument("applications", "Application records", c)
	d.Notes = append(d.Notes, "The federal record rule for restricted-use pesticides, 7 CFR Part 110, is reported as rescinded effective July 11, 2025 (90 FR 20083). What it asked for stands here as good practice. What binds is state law, 40 CFR 170, 40 CFR 171.303 and the label.")
	if c.Rules.State == "" {
		d.Notes = append(d.Notes, "Nobody has said which state this is: what single states ask is not listed. Write state = \"IA\" into paper.toml of the logbook.")
	}
	lacking := 0
	for i := range rs {
		r := &rs[i]
		s := newSection(recordTitle(r, c))
		s.Record = r.ID
		if r.ByHand {
			s.Says = append(s.Says, "Written by hand: no log that is in the logbook tells of it.")
		}
		s.Says = append(s.Says, r.Logged.Says...)
		if r.Value("kind") == "" {
			s.Says = append(s.Says, unsaidKind)
		}
		want := wanted("applications", r, c)
		for _, p := range r.Pairs {
			if p.Value != "" || want[p.ID] || len(p.Was) > 0 {
				s.Pairs = append(s.Pairs, p)
			}
		}
		s.Missing = missing("applications", r, c)
		if len(s.Missing) > 0 {
			lacking++
		}
		d.Sections = append(d.Sections, s)
	}
	switch {
	case len(rs) == 0:
		d.Says = append(d.Says, "Nothing was logged of liquid or granules, and nothing was written down.")
	case lacking == 0:
		d.Says = append(d.Says, advise.Plural(int64(len(rs)), "record", "records")+", nothing missing of what is asked for.")
	default:
		d.Says = append(d.Says, advise.Plural(int64(len(rs)), "record", "records")+"; "+advise.Thousands(int64(lacking))+" of them with something missing.")
	}
	return d
}

var hours = regexp.MustCompile(`^(\d{1,4}) ?(h|hours?|days?|d)\b`)

// interval reads a re-entry interval: 48 h, 2 days; false where it cannot.
func interval(text string) (evenstand.Micros, bool) {
	m := hours.FindStringSubmatch(strings.ToLower(strings.TrimSpace(text)))
	if m == nil {
		return 0, false
	}
	n, err := strconv.Atoi(m[1])
	h := evenstand.Micros(n) * 3600 * evenstand.Second
	if strings.HasPrefix(m[2], "d") {
		h *= 24
	}
	return h, err == nil
}

// posted are the elements of the sheet for the central place, 40 CFR 170.311(b).
var posted = []string{"product", "epa_number", "active_ingredients", "crop", "field", "location", "date", "start", "end", "rei", "sds"}

// Posting makes the sheet for the central posting place.
func Posting(rs []Record, c Context) Document {
	d := newDocument("posting", "Central posting: pesticides applied", c)
	d.Says = append(d.Says, "To hang where workers and handlers can read it at any time, with the safety data sheet of each product: within 24 h after the application ends and before workers enter, until 30 days after the re-entry interval; then it is kept 2 years (40 CFR 170.311(b)).")
	for i := range rs {
		r := &rs[i]
		kind := r.Value("kind")
		if kind == Fertilizer {
			continue
		}
		s := newSection(recordTitle(r, c))
		s.Record = r.ID
		if kind == "" {
			s.Says = append(s.Says, "Nobody has said what kind of product it is. A fertilizer does not belong on this sheet.")
		}
		for _, id := range posted {
			for _, p := range r.Pairs {
				if p.ID == id {
					s.Pairs = append(s.Pairs, p)
				}
			}
		}
		rei, ok := interval(r.Value("rei"))
		end := r.Logged.End
		if corrected(r, "end") || corrected(r, "date") {
			end = evenstand.NoTime // the words of people are not reckoned with
		}
		if ok && end != evenstand.NoTime && end > 0 {
			open := end + rei
			s.Says = append(s.Says, "No entry before "+c.Voice.Clock(open)+", "+c.Voice.Date(open)+". To hang until "+c.Voice.Date(open+30*24*3600*evenstand.Second)+".")
		} else {
			s.Says = append(s.Says, "Until when it is to hang cannot be said without the end and the re-entry interval in hours.")
		}
		s.Missing = missing("posting", r, c)
		d.Sections = append(d.Sections, s)
	}
	if len(d.Sections) == 0 {
		d.Says = append(d.Says, "Nothing that could be a pesticide is on record.")
	}
	d.Notes = append(d.Notes, "Owners and their immediate family are exempt in part. In-furrow liquids, granules and hopper-box treatments fall under it (from memory).")
	return d
}

func corrected(r *Record, id string) bool {
	return slices.ContainsFunc(r.Pairs, func(p Pair) bool { return p.ID == id && p.Entry })
}
