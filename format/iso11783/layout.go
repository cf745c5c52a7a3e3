package iso11783

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"evenstand"
)

// Point is a place in the coordinates of a device: metres forward and right of
// its reference point, NaN when not known.
type Point struct{ X, Y float64 }

// RowUnit is one row of the planter.
type RowUnit struct {
	Element *DeviceElement // nil when the rows are only counted (DDI 159)
	Point
	Width float64 // m, NaN unknown
}

// Layout is where the parts of tractor and planter are, each in the
// coordinates of its own device.
type Layout struct {
	Tractor, Planter *Device        // nil unknown
	Boom             *DeviceElement // that drops the seeds, nil unknown
	Rows             []RowUnit      // from left to right
	Antenna          Point
	AntennaOn        *Device // nil: nobody knows where the antenna is
	RearConnector    Point   // of the tractor
	Connector        Point   // of the planter
	Hitch            evenstand.Hitch
	Notes            []string

	set      *Set
	value    func(DDI, string) (int32, bool)
	sections []section
	tanks    []tank
	place    map[*DeviceElement]evenstand.Element
}

type section struct {
	element *DeviceElement
	rows    evenstand.Rows
}

type tank struct {
	element *DeviceElement
	feeds   evenstand.Rows
}

// seeding tells identifiers that only a seed boom has: seeds per area, spacing,
// seeds per time, seeds counted, singulation.
func seeding(d DDI) bool {
	return d >= 11 && d <= 20 || d >= 46 && d <= 50 || d == ddiTotalCount || d >= 415 && d <= 425
}

// Told is what a log itself tells of geometry and latency, by column: many
// devices give their offsets there only.
type Told map[ColumnKey]int32

// Told tells whether a column's values belong into Told.
func (c Column) Told() bool {
	return c.PGN < 0 && (geometryDDI(c.DDI) || c.DDI == ddiLatency || c.DDI == ddiLatencySet || c.DDI == ddiMaxVolumeContent)
}

// Take notes a value of such a column.
func (t Told) Take(c Column, raw int32) {
	if raw == Missing {
		return
	}
	k := c.Key()
	old, have := t[k]
	// a width goes to 0 when the part is off, and latencies start with the first
	switch {
	case have && (c.DDI == ddiLatency || c.DDI == ddiLatencySet):
	case have && (c.DDI == ddiWorkingWidth || c.DDI == ddiMaxWidth) && old > raw:
	default:
		t[k] = raw
	}
}

// Value gives what was told of an element.
func (t Told) Value(d DDI, element string) (int32, bool) {
	v, ok := t[ColumnKey{DDI: d, Element: element, PGN: -1}]
	return v, ok
}

// NewLayout works out the layout of a task's machine. logged gives the value
// that the log itself has for an element, as many devices tell their offsets
// in the log only.
func (s *Set) NewLayout(t *Task, columns []Column, logged func(DDI, string) (int32, bool)) *Layout {
	nan := Point{math.NaN(), math.NaN()}
	l := &Layout{set: s, Antenna: nan, RearConnector: nan, Connector: nan, place: map[*DeviceElement]evenstand.Element{}}
	l.value = func(d DDI, id string) (int32, bool) {
		if v, ok := logged(d, id); ok {
			return v, true
		}
		if e := s.Element(id); e != nil {
			if v, ok := e.Constant[d]; ok && v != Missing {
				return v, true
			}
		}
		return 0, false
	}
	l.choose(t, columns)
	l.rows()
	l.couple(t)
	l.bins()
	return l
}

// mm gives a length of an element in metres, NaN when nobody says.
func (l *Layout) mm(e *DeviceElement, d DDI) float64 {
	if e == nil {
		return math.NaN()
	}
	if v, ok := l.value(d, e.ID); ok {
		return float64(v) / 1000
	}
	return math.NaN()
}

// inherited asks the element and then those above it.
func (l *Layout) inherited(e *DeviceElement, d DDI) float64 {
	for ; e != nil; e = e.Parent {
		if v := l.mm(e, d); known(v) {
			return v
		}
	}
	return math.NaN()
}

// choose finds the planter and its seed boom: what has most columns and
// process data of seeding.
func (l *Layout) choose(t *Task, columns []Column) {
	score := map[*DeviceElement]int{} // of an element and all above it
	device := map[*Device]int{}
	credit := func(e *DeviceElement, points int) {
		device[e.Device] += points
		for ; e != nil; e = e.Parent {
			score[e] += points
		}
	}
	inLog := map[*Device]bool{}
	for _, c := range columns {
		if e := l.set.Element(c.Element); e != nil {
			inLog[e.Device] = true
			if seeding(c.DDI) {
				credit(e, 2)
			}
		}
	}
	for _, d := range l.set.Devices {
		if !inLog[d] && len(columns) > 0 {
			continue
		}
		for _, e := range d.Elements {
			for p := range e.Process {
				if seeding(p) {
					credit(e, 1)
				}
			}
		}
	}
	best := 0
	for _, d := range l.set.Devices {
		if device[d] > best {
			best, l.Planter = device[d], d
		}
	}
	if l.Planter == nil {
		return
	}
	// the topmost function with the highest score, else the device itself
	best = 0
	for _, e := range l.Planter.Elements {
		if e.Type == TypeFunction && (e.Parent == nil || e.Parent.Type != TypeFunction) && score[e] > best {
			best, l.Boom = score[e], e
		}
	}
	for _, e := range l.Planter.Elements {
		if e.Type == TypeDevice && (l.Boom == nil || !l.hasRows(l.Boom)) && l.hasRows(e) {
			l.Boom = e
		}
	}
}

func (l *Layout) hasRows(e *DeviceElement) bool {
	return len(l.under(e, TypeUnit))+len(l.under(e, TypeSection)) > 0
}

// under lists the parts of an element of a kind, in the order of the
// description. Below the device itself the parts of other functions count too.
func (l *Layout) under(e *DeviceElement, kind ElementType) []*DeviceElement {
	var out []*DeviceElement
	for _, c := range e.Children {
		if c.Type == kind {
			out = append(out, c)
		}
		out = append(out, l.under(c, kind)...)
	}
	return out
}

// leaves keeps the sections that hold no further sections.
func leaves(es []*DeviceElement) []*DeviceElement {
	var out []*DeviceElement
	for _, e := range es {
		if !slices.ContainsFunc(e.Children, func(c *DeviceElement) bool { return c.Type == TypeSection }) {
			out = append(out, e)
		}
	}
	return out
}

// y is the place of an element across, its only parent's when it says nothing.
func (l *Layout) y(e *DeviceElement) float64 {
	if v := l.mm(e, ddiOffsetY); known(v) {
		return v
	}
	if p := e.Parent; p != nil && p.Type == TypeSection && len(p.Children) == 1 {
		return l.mm(p, ddiOffsetY)
	}
	return math.NaN()
}

func (l *Layout) width(e *DeviceElement) float64 {
	for _, d := range []DDI{ddiWorkingWidth, ddiMaxWidth} {
		if v := l.mm(e, d); known(v) && v > 0 {
			return v
		}
	}
	if p := e.Parent; p != nil && e.Type == TypeUnit && p.Type == TypeSection && len(p.Children) == 1 {
		return l.width(p)
	}
	return math.NaN()
}

// byY sorts elements from left to right; those without a place keep the order
// of the description, last.
func (l *Layout) byY(es []*DeviceElement) {
	slices.SortStableFunc(es, func(a, b *DeviceElement) int {
		ya, yb := l.y(a), l.y(b)
		switch {
		case known(ya) && known(yb):
			return cmp.Compare(ya, yb)
		case known(ya):
			return -1
		case known(yb):
			return 1
		}
		return 0
	})
}

// widestRow is the width up to which a section without units is taken for a
// row: row crops stand at most 1.02 m (40 in) apart (common practice, no
// source).
const widestRow = 1.1

func (l *Layout) rows() {
	if l.Boom == nil {
		return
	}
	units := l.under(l.Boom, TypeUnit)
	sections := leaves(l.under(l.Boom, TypeSection))
	l.byY(sections)
	switch {
	case len(units) > 0:
		l.byY(units)
		l.take(units)
	case l.narrow(sections):
		l.Notes = append(l.Notes, "The planter describes no row units; its sections are as narrow as a row, so each is taken for a row.")
		l.take(sections)
	default:
		l.counted(sections)
	}
	if len(l.Rows) > evenstand.MaxRows {
		l.Notes = append(l.Notes, fmt.Sprintf("The log describes %d rows, more than the %d that can be read; the rows right of them are left out.", len(l.Rows), evenstand.MaxRows))
		l.Rows = l.Rows[:evenstand.MaxRows]
	}
	for i, r := range l.Rows {
		if r.Element != nil {
			l.place[r.Element] = evenstand.RowElement(i + 1)
		}
	}
	for _, e := range sections {
		if rows := l.rowsOf(e); len(rows) != 1 {
			l.section(e, rows)
		}
	}
	noY := 0
	for _, r := range l.Rows {
		if !known(r.Y) {
			noY++
		}
	}
	if noY > 0 {
		l.Notes = append(l.Notes, fmt.Sprintf("%d of %d rows have no place across in the log, so their order from left to right is the order of the description and may be wrong. Give a planter card.", noY, len(l.Rows)))
	}
}

func (l *Layout) narrow(sections []*DeviceElement) bool {
	if len(sections) < 2 {
		return false
	}
	for _, e := range sections {
		if w := l.width(e); !known(w) || w > widestRow {
			return false
		}
		if v, ok := l.value(ddiUnitsInSection, e.ID); ok && v > 1 {
			return false
		}
	}
	return true
}

func (l *Layout) take(es []*DeviceElement) {
	for _, e := range es {
		l.Rows = append(l.Rows, RowUnit{e, Point{l.inherited(e, ddiOffsetX), l.y(e)}, l.width(e)})
	}
}

// counted makes rows of sections that only say how many units they have.
func (l *Layout) counted(sections []*DeviceElement) {
	for _, e := range sections {
		n, ok := l.value(ddiUnitsInSection, e.ID)
		w := l.width(e)
		if !ok || n < 1 || n > evenstand.MaxRows || !known(w) || !known(l.y(e)) {
			l.Rows = nil
			return
		}
		for i := range int(n) {
			part := w / float64(n)
			l.Rows = append(l.Rows, RowUnit{nil, Point{l.inherited(e, ddiOffsetX), l.y(e) - w/2 + (float64(i)+0.5)*part}, part})
		}
	}
}

// spacing is the median distance of neighbouring rows, or their width.
func (l *Layout) spacing() float64 {
	var d []float64
	for i := 1; i < len(l.Rows); i++ {
		if v := l.Rows[i].Y - l.Rows[i-1].Y; known(v) && v > 0 {
			d = append(d, v)
		}
	}
	if len(d) == 0 {
		for _, r := range l.Rows {
			if known(r.Width) {
				d = append(d, r.Width)
			}
		}
	}
	if len(d) == 0 {
		return math.NaN()
	}
	slices.Sort(d)
	return d[len(d)/2]
}

// rowsOf gives the rows that an element is, holds, or stands over.
func (l *Layout) rowsOf(e *DeviceElement) evenstand.Rows {
	var rows evenstand.Rows
	for i, r := range l.Rows {
		if r.Element != nil && r.Element.under(e) {
			rows = append(rows, i+1)
		}
	}
	if len(rows) > 0 || e.Device != l.Planter {
		return rows
	}
	y, w := l.y(e), l.width(e)
	if !known(y) {
		return nil
	}
	half := l.spacing() / 2
	if known(w) && w/2 > half {
		half = w / 2
	}
	for i, r := range l.Rows {
		if d := math.Abs(r.Y - y); d < half+0.001 {
			rows = append(rows, i+1)
		}
	}
	return rows
}

// section numbers a group of rows and gives its number.
func (l *Layout) section(e *DeviceElement, rows evenstand.Rows) int {
	for i, s := range l.sections {
		if s.element == e || len(rows) > 0 && slices.Equal(s.rows, rows) {
			return i + 1
		}
	}
	l.sections = append(l.sections, section{e, rows})
	return len(l.sections)
}

// Place says which part of the planter an element of the log is.
func (l *Layout) Place(e *DeviceElement) evenstand.Element {
	if e == nil || e.Device != l.Planter {
		return evenstand.Element{}
	}
	if p, ok := l.place[e]; ok {
		return p
	}
	p := evenstand.Element{}
	switch e.Type {
	case TypeSection, TypeUnit, TypeFunction:
		rows := l.rowsOf(e)
		switch {
		case len(rows) == 1:
			p = evenstand.RowElement(rows[0])
		case len(rows) == len(l.Rows) && e.Type == TypeFunction, len(rows) == 0 && e.Type != TypeSection:
		default:
			p = evenstand.Element{Scope: evenstand.ScopeSection, N: int16(l.section(e, rows))}
		}
	}
	l.place[e] = p
	return p
}

// packed gives the rows that each bit pair of a condensed state at an element
// speaks for: its sections from left to right, or its units when it has none.
func (l *Layout) packed(e *DeviceElement) []evenstand.Rows {
	if e == nil || e.Device != l.Planter {
		return nil
	}
	parts := leaves(l.under(e, TypeSection))
	if e.Type == TypeDevice && l.Boom != nil { // other booms have sections of their own
		if own := leaves(l.under(l.Boom, TypeSection)); len(own) > 0 {
			parts = own
		}
	}
	if len(parts) == 0 {
		parts = l.under(e, TypeUnit)
	}
	l.byY(parts)
	out := make([]evenstand.Rows, len(parts))
	for i, p := range parts {
		out[i] = l.rowsOf(p)
	}
	return out
}

// seeds tells whether an element belongs to the seed boom, is above it, or is
// the planter itself.
func (l *Layout) seeds(e *DeviceElement) bool {
	return e != nil && l.Boom != nil && (e.under(l.Boom) || l.Boom.under(e))
}

// couple finds the antenna and the two connectors.
func (l *Layout) couple(t *Task) {
	var rear, front *DeviceElement // the tractor's, the planter's
	for _, c := range t.Connections {
		a, b := l.set.Element(c.Connector), l.set.Element(c.Connector2)
		if a == nil || b == nil {
			continue
		}
		switch l.Planter {
		case b.Device:
			rear, front = a, b
		case a.Device:
			rear, front = b, a
		}
	}
	if rear != nil {
		l.Tractor = rear.Device
	}
	allocated := func(d *Device) bool { return len(t.Devices) == 0 || slices.Contains(t.Devices, d.ID) }
	var antennas []*DeviceElement
	for _, d := range l.set.Devices {
		for _, e := range d.Elements {
			if e.Type == TypeNavigation && known(l.mm(e, ddiOffsetX)) && (allocated(d) || d == l.Tractor) {
				antennas = append(antennas, e)
			}
		}
	}
	slices.SortStableFunc(antennas, func(a, b *DeviceElement) int { return l.rank(a) - l.rank(b) })
	if len(antennas) > 0 {
		e := antennas[0]
		l.AntennaOn, l.Antenna = e.Device, Point{l.mm(e, ddiOffsetX), l.mm(e, ddiOffsetY)}
		if l.Tractor == nil && e.Device != l.Planter {
			l.Tractor = e.Device
		}
		if len(antennas) > 1 && l.rank(antennas[1]) == l.rank(e) {
			l.Notes = append(l.Notes, "The log describes more than one antenna; the first is used. Look at the offsets of the planter card.")
		}
	}
	if rear == nil && l.Tractor != nil { // the rearmost connector that says where it is
		for _, e := range l.Tractor.Elements {
			if e.Type == TypeConnector && known(l.mm(e, ddiOffsetX)) && (rear == nil || l.mm(e, ddiOffsetX) < l.mm(rear, ddiOffsetX)) {
				rear = e
			}
		}
	}
	if front == nil && l.Planter != nil {
		for _, e := range l.Planter.Elements {
			if e.Type == TypeConnector && (front == nil || l.mm(e, ddiOffsetX) > l.mm(front, ddiOffsetX)) {
				front = e
			}
		}
	}
	pivot := func(e *DeviceElement) Point {
		p := Point{l.mm(e, ddiOffsetX), l.mm(e, ddiOffsetY)}
		if v := l.mm(e, ddiPivotX); known(v) && v != 0 { // where the coupling really turns
			p.X = v
		}
		return p
	}
	l.RearConnector, l.Connector = pivot(rear), pivot(front)
	for _, e := range []*DeviceElement{front, rear} {
		if e == nil || l.Hitch != evenstand.HitchUnknown {
			continue
		}
		v, _ := l.value(ddiConnectorType, e.ID)
		switch v { // DDI 157 of the dictionary: 2, 3 three-point; 9 self-propelled
		case 2, 3, 9:
			l.Hitch = evenstand.Mounted
		case 1, 4, 5, 6, 7, 8, 10:
			l.Hitch = evenstand.Trailed
		}
	}
}

// rank prefers the antenna of the tractor that is coupled, then any that is
// not the planter's own.
func (l *Layout) rank(e *DeviceElement) int {
	switch {
	case l.Tractor != nil && e.Device == l.Tractor:
		return 0
	case e.Device != l.Planter:
		return 1
	}
	return 2
}

func (l *Layout) bins() {
	if l.Planter == nil {
		return
	}
	for _, e := range l.Planter.Elements {
		if e.Type != TypeBin {
			continue
		}
		feeds := evenstand.Rows(nil)
		if p := e.Parent; p != nil && p.Type != TypeDevice {
			feeds = l.rowsOf(p)
			if len(feeds) == 0 && l.seeds(p) {
				feeds = l.all()
			}
		}
		l.tanks = append(l.tanks, tank{e, feeds})
		l.place[e] = evenstand.Element{Scope: evenstand.ScopeTank, N: int16(len(l.tanks))}
	}
}

func (l *Layout) all() evenstand.Rows {
	rows := make(evenstand.Rows, len(l.Rows))
	for i := range rows {
		rows[i] = i + 1
	}
	return rows
}

// Card writes the layout as a planter card; nil when the log describes no
// planter. The rows' places are right of the hitch point's line, so that a
// planter that hangs off to one side lies where it is.
func (l *Layout) Card() *evenstand.Card {
	if l.Planter == nil {
		return nil
	}
	c := evenstand.NewCard()
	c.Name = l.Planter.Name
	c.Rows = len(l.Rows)
	c.RowSpacing = l.spacing()
	g := &c.Geometry
	g.Hitch = l.Hitch
	var xs []float64
	for _, r := range l.Rows {
		if known(r.X) {
			xs = append(xs, r.X)
		}
	}
	slices.Sort(xs)
	line := l.inherited(l.Boom, ddiOffsetX)
	if !known(line) && len(xs) > 0 {
		line = xs[len(xs)/2]
	}
	if n := len(xs); n > 0 && xs[n-1]-xs[0] > 0.1 {
		l.Notes = append(l.Notes, fmt.Sprintf("The rows stand in more than one line, up to %.2f m behind each other; they are placed on the boom's line, %.2f m behind the foremost and %.2f m before the rearmost.",
			xs[n-1]-xs[0], xs[n-1]-line, line-xs[0]))
	}
	side := l.Connector.Y
	switch {
	case l.AntennaOn == nil:
		g.HitchToRowLine = l.Connector.X - line
	case l.AntennaOn == l.Planter: // the whole way is rigid
		g.Hitch, g.AntennaToHitch, g.HitchToRowLine = evenstand.Mounted, 0, l.Antenna.X-line
		side = 0
		g.AntennaRight = l.Antenna.Y
	default:
		g.AntennaToHitch = l.Antenna.X - l.RearConnector.X
		g.HitchToRowLine = l.Connector.X - line
		g.AntennaRight = l.Antenna.Y - orZero(l.RearConnector.Y)
	}
	ys := make([]float64, len(l.Rows))
	all := len(ys) > 0
	for i, r := range l.Rows {
		ys[i] = r.Y - orZero(side)
		all = all && known(ys[i])
	}
	if all {
		g.RowY = ys
	}
	for i, s := range l.sections {
		c.Sections = append(c.Sections, evenstand.Section{Number: i + 1, Rows: slices.Clone(s.rows)})
	}
	for i, t := range l.tanks {
		capacity := math.NaN()
		if v, ok := l.value(ddiMaxVolumeContent, t.element.ID); ok && v > 0 {
			capacity = float64(v) * 1e-6
		}
		c.Tanks = append(c.Tanks, evenstand.Tank{Number: i + 1, Name: t.element.Name, Capacity: capacity, Feeds: slices.Clone(t.feeds)})
	}
	for _, e := range l.Boom.subBooms() {
		if rows := l.rowsOf(e); len(rows) > 1 && len(rows) < len(l.Rows) {
			c.Groups = append(c.Groups, evenstand.Group{Kind: "section", Name: e.Name, Rows: rows})
		}
	}
	return &c
}

// subBooms are the functions that a boom is made of.
func (e *DeviceElement) subBooms() []*DeviceElement {
	if e == nil {
		return nil
	}
	var out []*DeviceElement
	for _, c := range e.Children {
		if c.Type == TypeFunction {
			out = append(out, c)
			out = append(out, c.subBooms()...)
		}
	}
	return out
}

func orZero(v float64) float64 {
	if !known(v) {
		return 0
	}
	return v
}

// Latency is the time in seconds by which measured values are late, NaN when
// the boom does not tell.
func (l *Layout) Latency() float64 {
	if l.Boom != nil {
		if v, ok := l.value(ddiLatency, l.Boom.ID); ok {
			return -latency(v).Seconds()
		}
	}
	return math.NaN()
}

// Missing says what of the geometry the log does not tell.
func (l *Layout) Missing() []string {
	if l.Planter == nil {
		return []string{"No device of this log says that it drops seeds, so rows and their places are not known. Give a planter card."}
	}
	var what []string
	if l.AntennaOn == nil {
		what = append(what, "where the antenna is")
	} else if l.AntennaOn != l.Planter && !known(l.RearConnector.X) {
		what = append(what, "where the tractor's hitch is")
	}
	if l.AntennaOn != l.Planter && !known(l.Connector.X) {
		what = append(what, "how far the rows are behind the hitch")
	}
	if l.Hitch == evenstand.HitchUnknown && l.AntennaOn != l.Planter {
		what = append(what, "whether the planter is trailed or mounted")
	}
	if len(l.Rows) == 0 {
		what = append(what, "how many rows it has")
	}
	if len(what) == 0 {
		return nil
	}
	return []string{"The log does not say " + strings.Join(what, ", ") + ". Give it on the planter card."}
}

// products names what is in which part of the planter, from the allocations
// and from the treatment zones that name an element.
func (l *Layout) products(t *Task, card *evenstand.Card) (map[string]string, []string) {
	out := map[string]string{}
	var notes []string
	var loose []string
	put := func(product, element string) {
		name := l.set.Products[product].Name
		if name == "" {
			return
		}
		if element == "" {
			if !slices.Contains(loose, name) {
				loose = append(loose, name)
			}
			return
		}
		e := l.set.Element(element)
		if e == nil || e.Device != l.Planter {
			return
		}
		p := l.Place(e)
		if p.Scope == evenstand.ScopeMachine && !l.seeds(e) {
			// a boom that carries something else than seed stands for its tank
			for i, have := range l.tanks {
				if have.element == e {
					p = evenstand.Element{Scope: evenstand.ScopeTank, N: int16(i + 1)}
				}
			}
			if p.Scope == evenstand.ScopeMachine {
				l.tanks = append(l.tanks, tank{e, l.all()})
				p = evenstand.Element{Scope: evenstand.ScopeTank, N: int16(len(l.tanks))}
				card.Tanks = append(card.Tanks, evenstand.Tank{Number: len(l.tanks), Name: e.Name, Capacity: math.NaN(), Feeds: l.all()})
			}
		}
		if _, have := out[p.String()]; !have {
			out[p.String()] = name
		}
		if p.Scope == evenstand.ScopeTank && int(p.N) <= len(card.Tanks) {
			card.Tanks[p.N-1].Product = name
		}
	}
	for _, a := range t.Allocations {
		put(a.Product, a.Element)
	}
	for _, z := range t.Zones {
		for _, r := range z.Rates {
			if r.Element != "" {
				put(r.Product, r.Element)
			}
		}
	}
	for _, name := range loose {
		used := false
		for _, have := range out {
			used = used || have == name
		}
		if !used {
			notes = append(notes, fmt.Sprintf("The log names the product %q but not what it is in. Say so on the planter card or in the journal.", name))
		}
	}
	if len(out) == 0 {
		return nil, notes
	}
	return out, notes
}
