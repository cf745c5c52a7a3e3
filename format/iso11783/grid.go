package iso11783

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// GridLayer is one rate of a grid.
type GridLayer struct {
	DDI     DDI
	Product string // id of the product, empty unknown
	Element string // id of the device element, empty unknown
}

// Grid is a prescription: a rate for each cell. Cells run west to east, row
// after row, the southernmost row first.
type Grid struct {
	South, West         float64 // degrees, of the corner
	CellNorth, CellEast float64 // degrees
	Cols, Rows          int
	Type                int // 1: cells hold treatment zone codes; 2: cells hold rates
	Layers              []GridLayer
	Values              []int32 // raw, Cols x Rows x len(Layers), interleaved; Missing where no rate is known
	Codes               []uint8 // type 1: the cells as they stand in the file
	Unknown             int     // type 1: cells whose code no treatment zone has
}

// Value gives the rate of a cell in the dictionary's unit, NaN when none is
// known. Columns count from the west and rows from the south, from 0.
func (g *Grid) Value(col, row, layer int) float64 {
	if col < 0 || row < 0 || col >= g.Cols || row >= g.Rows || layer < 0 || layer >= len(g.Layers) {
		return math.NaN()
	}
	raw := g.Values[(row*g.Cols+col)*len(g.Layers)+layer]
	e, ok := Dictionary(g.Layers[layer].DDI)
	if raw == Missing || !ok {
		return math.NaN()
	}
	return float64(raw) * e.Resolution
}

// maxGridCells bounds what a grid may announce: 16 million cells.
const maxGridCells = 1 << 24

// ReadGrid reads the grid of a task, nil when the task has none. A grid whose
// file does not have the announced size is refused: its cells would lie in the
// wrong place.
func (s *Set) ReadGrid(t *Task) (*Grid, error) {
	n := t.grid
	if n == nil {
		return nil, nil
	}
	g := &Grid{Cols: n.integer("E", 0), Rows: n.integer("F", 0), Type: n.integer("I", 0)}
	var ok [4]bool
	g.South, ok[0] = n.float("A")
	g.West, ok[1] = n.float("B")
	g.CellNorth, ok[2] = n.float("C")
	g.CellEast, ok[3] = n.float("D")
	file := n.text("G") + ".BIN"
	name, found := s.file(file)
	switch {
	case ok != [4]bool{true, true, true, true}:
		return nil, fmt.Errorf("%s: grid of task %s has no place or cell size", s.Main, t.ID)
	case g.Cols < 1 || g.Rows < 1 || g.Cols > maxGridCells || g.Rows > maxGridCells/g.Cols:
		return nil, fmt.Errorf("%s: grid of task %s has %d x %d cells", s.Main, t.ID, g.Cols, g.Rows)
	case g.Type != 1 && g.Type != 2:
		return nil, fmt.Errorf("%s: grid of task %s is of type %d; 1 and 2 are known", s.Main, t.ID, g.Type)
	case !found:
		return nil, fmt.Errorf("%s: grid file %s of task %s is not there. Copy the whole folder again", s.Main, file, t.ID)
	}
	cells := g.Cols * g.Rows
	size := cells
	if g.Type == 2 {
		code := n.integer("J", -1)
		z, ok := t.zone(code)
		if !ok || len(z.Rates) == 0 {
			return nil, fmt.Errorf("%s: grid of task %s takes its layers from treatment zone %d, which has no rates", s.Main, t.ID, code)
		}
		for _, p := range z.Rates {
			g.Layers = append(g.Layers, GridLayer{p.DDI, p.Product, p.Element})
		}
		size = cells * 4 * len(g.Layers)
	} else {
		for _, z := range t.Zones {
			for _, p := range z.Rates {
				l := GridLayer{p.DDI, p.Product, p.Element}
				if g.layer(l) < 0 {
					g.Layers = append(g.Layers, l)
				}
			}
		}
	}
	data, err := readAll(s.fsys, name, int64(size)+1)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", name, err)
	}
	if len(data) != size {
		return nil, fmt.Errorf("%s: %d x %d cells of type %d with %d layers want %d bytes, and the file has %s",
			name, g.Cols, g.Rows, g.Type, len(g.Layers), size, sizeWord(s.fsys, name, len(data)))
	}
	g.Values = make([]int32, cells*len(g.Layers))
	if g.Type == 2 {
		for i := range g.Values {
			g.Values[i] = int32(binary.LittleEndian.Uint32(data[4*i:]))
		}
		return g, nil
	}
	g.Codes = data
	rates := map[uint8][]int32{}
	for _, z := range t.Zones {
		row := make([]int32, len(g.Layers))
		for i := range row {
			row[i] = Missing
		}
		for _, p := range z.Rates {
			row[g.layer(GridLayer{p.DDI, p.Product, p.Element})] = p.Value
		}
		rates[uint8(z.Code)] = row
	}
	for i, c := range data {
		row, ok := rates[c]
		if !ok {
			g.Unknown++
		}
		for l := range g.Layers {
			v := Missing
			if ok {
				v = row[l]
			}
			g.Values[i*len(g.Layers)+l] = v
		}
	}
	return g, nil
}

func (g *Grid) layer(l GridLayer) int {
	for i, have := range g.Layers {
		if have == l {
			return i
		}
	}
	return -1
}

// readAll reads a file up to a limit.
func readAll(fsys fs.FS, name string, limit int64) ([]byte, error) {
	f, err := fsys.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	return io.ReadAll(io.LimitReader(f, limit))
}

func sizeWord(fsys fs.FS, name string, atLeast int) string {
	if st, err := fs.Stat(fsys, name); err == nil {
		return itoa(int(st.Size()))
	}
	return fmt.Sprintf("%d or more", atLeast)
}

// Prescription is a planned task with a grid, for WritePrescription.
type Prescription struct {
	Version                     int // 3 or 4; 0 means 4
	Task, Customer, Farm, Field string
	Boundary                    [][2]float64 // latitude, longitude
	Products                    []string     // a name for each layer, empty none
	Grid                        Grid         // Type, place, cells, Layers (DDI only) and Values; Missing cells become 0 in type 2
}

// WritePrescription writes a set with one planned task into dir. In type 1
// every different rate becomes a treatment zone, of which there can be 254; in
// type 2 the cells hold the rates.
func WritePrescription(dir string, p Prescription) error {
	g := &p.Grid
	cells := g.Cols * g.Rows
	switch {
	case p.Version != 0 && p.Version != 3 && p.Version != 4:
		return fmt.Errorf("task data version %d: 3 or 4", p.Version)
	case g.Cols < 1 || g.Rows < 1 || cells > maxGridCells:
		return fmt.Errorf("a grid of %d x %d cells", g.Cols, g.Rows)
	case len(g.Layers) == 0 || len(g.Values) != cells*len(g.Layers):
		return fmt.Errorf("a grid of %d x %d cells and %d layers wants %d values, not %d", g.Cols, g.Rows, len(g.Layers), cells*len(g.Layers), len(g.Values))
	case g.Type != 1 && g.Type != 2:
		return fmt.Errorf("grid type %d: 1 or 2", g.Type)
	}
	if p.Version == 0 {
		p.Version = 4
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return err
	}
	if _, err := os.Stat(filepath.Join(dir, "TASKDATA.XML")); !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("%s already holds task data; give an empty folder", dir)
	}
	root := rootElement(p.Version, "1")
	for i := len(root.Attr) - 1; i >= 0; i-- { // no controller has touched it
		if strings.HasPrefix(root.Attr[i].Name.Local, "TaskController") {
			root.Attr = append(root.Attr[:i], root.Attr[i+1:]...)
		}
	}
	var ctr, frm, pfd *node
	if p.Customer != "" {
		ctr = el("CTR", "A", "CTR1", "B", designator(p.Customer))
	}
	if p.Farm != "" {
		frm = el("FRM", "A", "FRM1", "B", designator(p.Farm), "I", refOf(ctr))
	}
	if p.Field != "" {
		pfd = el("PFD", "A", "PFD1", "C", designator(p.Field), "D", itoa(int(ringArea(p.Boundary))), "E", refOf(ctr), "F", refOf(frm)).add(boundary(p.Boundary))
	}
	root.add(ctr, frm, pfd)
	ids := make([]string, len(g.Layers))
	for i := range g.Layers {
		if i < len(p.Products) && p.Products[i] != "" {
			ids[i] = fmt.Sprintf("PDT%d", i+1)
			root.add(el("PDT", "A", ids[i], "B", designator(p.Products[i])))
		}
	}
	tsk := el("TSK", "A", "TSK1", "B", designator(p.Task), "C", refOf(ctr), "D", refOf(frm), "E", refOf(pfd), "G", "1")
	grd := el("GRD", "A", degrees(g.South), "B", degrees(g.West), "C", strconv.FormatFloat(g.CellNorth, 'f', -1, 64), "D", strconv.FormatFloat(g.CellEast, 'f', -1, 64),
		"E", itoa(g.Cols), "F", itoa(g.Rows), "G", "GRD00001")
	zone := func(code int, raw []int32) *node {
		z := el("TZN", "A", itoa(code))
		for i, l := range g.Layers {
			v := int32(0)
			if raw != nil && raw[i] != Missing {
				v = raw[i]
			}
			z.add(el("PDV", "A", l.DDI.hex(), "B", itoa(int(v)), "C", ids[i], "D", l.Element))
		}
		return z
	}
	var data []byte
	tsk.add(zone(0, nil)) // outside and where nothing is known: rate 0
	if g.Type == 2 {
		tsk.add(zone(1, nil))
		for _, v := range g.Values {
			if v == Missing {
				v = 0
			}
			data = binary.LittleEndian.AppendUint32(data, uint32(v))
		}
		grd.Attr = append(grd.Attr, el("", "H", itoa(len(data)), "I", "2", "J", "1").Attr...)
	} else {
		codes := map[string]int{}
		k := len(g.Layers)
		for i := range cells {
			raw := g.Values[i*k : (i+1)*k]
			key := fmt.Sprint(raw)
			code, ok := codes[key]
			if !ok {
				code = len(codes) + 1
				if code > 254 {
					return fmt.Errorf("more than 254 different rates: a type 1 grid cannot hold them; use type 2 or round the rates")
				}
				codes[key] = code
				if allMissing(raw) {
					code = 0
					codes[key] = 0
				} else {
					tsk.add(zone(code, raw))
				}
			}
			data = append(data, byte(code))
		}
		grd.Attr = append(grd.Attr, el("", "H", itoa(len(data)), "I", "1").Attr...)
	}
	tsk.Attr = append(tsk.Attr, el("", "H", "0", "I", "0", "J", "0").Attr...)
	tsk.add(grd)
	root.add(tsk)
	if err := os.WriteFile(filepath.Join(dir, "GRD00001.BIN"), data, 0o666); err != nil {
		return err
	}
	return writeXML(dir, "TASKDATA.XML", root)
}

func allMissing(raw []int32) bool {
	for _, v := range raw {
		if v != Missing {
			return false
		}
	}
	return true
}
