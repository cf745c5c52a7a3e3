package web

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sync"
)

type pictureIn struct {
	Measure string `query:"measure" doc:"Empty: the one that tells most"`
	Finding string `query:"finding" doc:"One that is shown also where the worklist would not list it"`
	GroundFilter
	Width   int       `query:"width" required:"true" minimum:"16" maximum:"2048" doc:"Pixels"`
	Height  int       `query:"height" required:"true" minimum:"16" maximum:"2048" doc:"Pixels"`
	Margin  int       `query:"margin" minimum:"0" maximum:"256" doc:"Pixels kept free on every side of what is fitted"`
	Nearest int       `query:"nearest" minimum:"0" maximum:"24" default:"24" doc:"Level beyond which nothing is made larger"`
	Box     []float64 `query:"box" minItems:"4" maxItems:"4" doc:"West, south, east, north of what is to be seen; left out: the finding's way, or else what is shown first"`
	Have    string    `header:"If-None-Match"`
}

// pictureHead says what a picture is of; both boxes are x0, y0, x1, y1 in
// Mercator's square, 0 to 1 eastward and southward, and empty where there is
// nothing to show.
type pictureHead struct {
	W      int       `json:"w"`
	H      int       `json:"h"`
	Box    []float64 `json:"box"` // what its pixels cover
	Fitted []float64 `json:"fitted"`
	Signed bool      `json:"signed"`
	Level  int       `json:"level"` // whose tiles show the same cells
	N      int       `json:"classes"`
	ID     string    `json:"measure"`
}

const (
	// fewBit marks a pixel that is hatched, beside its class.
	fewBit = 0x80
	// mostPictures is how many are kept, of 4 MB each at most.
	mostPictures = 8
)

// pictureTag tells the picture of now from others. Its classes are in the units
// shown, so that more than the logs change it.
func (s *Server) pictureTag(in *pictureIn) (tag, have string) {
	return fmt.Sprintf("%q", fmt.Sprintf("%s-%d", s.began, s.revision.Load())), in.Have
}

// pictures keeps the pictures asked for last.
type pictures struct {
	mu   sync.Mutex
	last []madePicture // newest last
}

type madePicture struct {
	key      string
	revision int64
	data     []byte
}

func (c *pictures) of(key string, revision int64, ask func() ([]byte, error)) ([]byte, error) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.last = slices.DeleteFunc(c.last, func(e madePicture) bool { return e.revision != revision })
	if i := slices.IndexFunc(c.last, func(e madePicture) bool { return e.key == key }); i >= 0 {
		e := c.last[i]
		c.last = append(slices.Delete(c.last, i, i+1), e)
		return e.data, nil
	}
	data, err := ask()
	if err != nil {
		return nil, err
	}
	if len(c.last) == mostPictures {
		c.last = slices.Delete(c.last, 0, 1)
	}
	c.last = append(c.last, madePicture{key, revision, data})
	return data, nil
}

// groundPicture gives the cells as pixels, column "class": 0 nothing, else which
// class of the legend counted from 1, with fewBit where it is hatched. What is
// to be seen lies in the middle, as large as it goes.
func (s *Server) groundPicture(ctx context.Context, in *pictureIn) ([]byte, error) {
	if b := in.Box; len(b) > 0 && !(b[0] < b[2] && b[1] < b[3] && math.Abs(b[0]) <= 720 && math.Abs(b[2]) <= 720 && b[1] > -89 && b[3] < 89) {
		return nil, refuse("box wants west, south, east and north in degrees")
	}
	revision := s.revision.Load() // before the season: what changes meanwhile is asked for again
	g, err := s.season(ctx)
	if err != nil {
		return nil, err
	}
	key := fmt.Sprintf("%q", []any{in.Measure, in.Finding, in.GroundFilter, in.Width, in.Height, in.Margin, in.Nearest, in.Box})
	return s.pictures.of(key, revision, func() ([]byte, error) { return s.makePicture(context.WithoutCancel(ctx), g, in) })
}

func (s *Server) makePicture(ctx context.Context, g *season, in *pictureIn) ([]byte, error) {
	of := groundIn{in.Measure, in.Finding, in.GroundFilter}
	found, err := s.groundFindings(ctx, g, &of)
	if err != nil {
		return nil, err
	}
	m, k, err := shownMeasure(g.told(), found, &of)
	if err != nil {
		return nil, err
	}
	legend := s.legend(&m, g.scales[k])
	head := pictureHead{W: in.Width, H: in.Height, Box: []float64{}, Fitted: []float64{}, Signed: legend.Signed, N: len(legend.Classes), ID: m.ID}
	p := raster{w: in.Width, h: in.Height, pixels: make([]uint8, in.Width*in.Height)}
	if b := s.seen(g, in, found); !b.empty() {
		whole := p.fit(b, float64(in.Margin), in.Nearest)
		head.Box, head.Fitted, head.Level = whole.corners(), b.corners(), p.level()
		cut := cutter{z: head.Level, box: whole, m: &m, at: k, scale: &g.scales[k]}
		g.each(&in.GroundFilter, func(d *groundDay, pass *groundPass) {
			cut.cells(d, pass, func(c *groundCell) {
				v := legend.class(c.value)
				if c.few {
					v |= fewBit
				}
				p.cell(c, v)
			})
		})
	}
	var c columns
	addColumn(&c, "class", p.pixels)
	return c.bytes(head)
}

// seen is the box that is asked for, or that of the finding's way, or what is shown
// first.
func (s *Server) seen(g *season, in *pictureIn, found []GroundFinding) box {
	b := noBox()
	if len(in.Box) == 4 {
		for _, c := range [][2]float64{{in.Box[0], in.Box[1]}, {in.Box[2], in.Box[3]}} {
			x, y := mercator(c[1], c[0])
			b.add(x, y, 0)
		}
		return b
	}
	for i := range found {
		if f := &found[i]; f.ID == in.Finding && len(f.Bounds) == 4 {
			for _, c := range [][2]float64{{f.Bounds[0], f.Bounds[1]}, {f.Bounds[2], f.Bounds[3]}} {
				x, y := mercator(c[1], c[0])
				b.add(x, y, 0)
			}
		} else if ways, ok := found[i].Way.Coordinates.([][][2]float64); ok && found[i].ID == in.Finding {
			for _, w := range ways {
				for _, c := range w {
					x, y := mercator(c[1], c[0])
					b.add(x, y, 0)
				}
			}
		}
	}
	if !b.empty() {
		return b
	}
	e := s.extent(g, &in.GroundFilter)
	if e.all.empty() {
		return e.all
	}
	b, _ = e.opens(g, &in.GroundFilter, found)
	return b
}

func (b *box) corners() []float64 { return []float64{b.x0, b.y0, b.x1, b.y1} }

// class gives which class a value is in, counted from 1.
func (l *Legend) class(v float64) uint8 {
	n := uint8(0)
	for i := range l.Classes {
		if i == 0 || v >= float64(l.Classes[i].From) {
			n++
		}
	}
	return n
}

// raster is pixels over a piece of Mercator's square.
type raster struct {
	w, h   int
	x, y   float64 // of the upper left corner
	scale  float64 // pixels to the square's side
	pixels []uint8
	ring   [][2]float64
}

// fit puts a box into the middle, as large as margin and nearest level let it,
// and gives all that is seen then.
func (p *raster) fit(b box, margin float64, nearest int) box {
	p.scale = math.Ldexp(tilePixels, nearest)
	w, h := float64(p.w), float64(p.h)
	if d := b.x1 - b.x0; d > 0 {
		p.scale = min(p.scale, max(1, w-2*margin)/d)
	}
	if d := b.y1 - b.y0; d > 0 {
		p.scale = min(p.scale, max(1, h-2*margin)/d)
	}
	p.x, p.y = (b.x0+b.x1-w/p.scale)/2, (b.y0+b.y1-h/p.scale)/2
	return box{p.x, p.y, p.x + w/p.scale, p.y + h/p.scale}
}

// tilePixels is how wide a map draws a tile of its level, at least.
const tilePixels = 512

// level is the one whose tiles a map draws at this scale.
func (p *raster) level() int {
	return max(0, min(maxTile, int(math.Floor(math.Log2(p.scale/tilePixels)))))
}

// cell paints a cell: every pixel of which the middle lies in it, as a map does
// too, and at least the one in its middle.
func (p *raster) cell(c *groundCell, v uint8) {
	put := func(n *node, y float64) {
		x, yy := n.side(y)
		p.ring = append(p.ring, [2]float64{(x - p.x) * p.scale, (yy - p.y) * p.scale})
	}
	some := false
	for i := 1; i < len(c.nodes); i++ {
		p.ring = p.ring[:0]
		a, b := &c.nodes[i-1], &c.nodes[i]
		put(a, c.left)
		put(b, c.left)
		put(b, c.right)
		put(a, c.right)
		some = p.fill(p.ring, v) || some
	}
	if some || len(c.nodes) == 0 {
		return
	}
	p.ring = p.ring[:0]
	put(&c.nodes[len(c.nodes)/2], (c.left+c.right)/2)
	if x, y := math.Floor(p.ring[0][0]), math.Floor(p.ring[0][1]); x >= 0 && y >= 0 && x < float64(p.w) && y < float64(p.h) {
		p.paint(int(y)*p.w+int(x), v)
	}
}

// paint lays a cell over what is there; hatching stays, since a map draws it
// above all cells.
func (p *raster) paint(i int, v uint8) { p.pixels[i] = v | p.pixels[i]&fewBit }

// fill paints the pixels of which the middle lies in a convex ring; false when
// there are none.
func (p *raster) fill(ring [][2]float64, v uint8) bool {
	top, foot := math.Inf(1), math.Inf(-1)
	for _, q := range ring {
		top, foot = min(top, q[1]), max(foot, q[1])
	}
	first, last := math.Ceil(top-0.5), math.Ceil(foot-0.5)-1
	some := false
	for y := int(max(0, first)); y <= int(min(last, float64(p.h-1))); y++ {
		mid := float64(y) + 0.5
		left, right := math.Inf(1), math.Inf(-1)
		for i, a := range ring {
			b := ring[(i+1)%len(ring)]
			if (a[1] <= mid) == (b[1] <= mid) {
				continue
			}
			x := a[0] + (b[0]-a[0])*(mid-a[1])/(b[1]-a[1])
			left, right = min(left, x), max(right, x)
		}
		from, to := math.Ceil(left-0.5), math.Ceil(right-0.5)
		if to <= from {
			continue
		}
		some = true
		row := y * p.w
		for i := row + int(max(0, from)); i < row+int(min(to, float64(p.w))); i++ {
			p.paint(i, v)
		}
	}
	return some
}
