package web

import (
	"context"
	"math"
	"slices"
	"sort"
	"sync"

	"evenstand"
)

// The ribbon is cut into tiles like a map: at level L a tile is tileWidth
// pixels of 2^L/256 m each. Up to seedLevel a tile has every seed; above it only
// what went wrong, of which marks that would lie upon each other are one with
// their count. A tile never holds more than the screen can show.
const (
	tileWidth = 512
	seedLevel = 3 // 3.1 cm a pixel: corn at 6 in stands five pixels apart
	maxLevel  = 14
	markWidth = 10 // pixels that a mark takes
)

// Kinds of marks on the ribbon.
const (
	markSeed   uint8 = iota
	markSkip         // a place that should have held a seed
	markDouble       // two seeds in one place
	markBare         // ground without seed: gap mm of it up to s
)

// bare is from where on a hole in a row is ground without seed, in mm: single
// places are told up to some 24 of them. Over it the row was off, stopped or
// lifted.
const bare = 3000

func metresPerPixel(level int) float64 { return math.Ldexp(1.0/256, level) }

type ribbonIn struct {
	Pass  string `query:"pass" required:"true"`
	Level int    `query:"level" minimum:"0" maximum:"14" doc:"A tile is 512 pixels of 2^level/256 m"`
	Tile  int    `query:"tile" minimum:"0" maximum:"1000000"`
}

// tileHead is what a tile says beside its marks.
type tileHead struct {
	From  float64 `json:"from_m"`
	To    float64 `json:"to_m"`
	Seeds bool    `json:"seeds"` // every seed, else what went wrong only
}

// ribbonTile gives the marks of a tile as columns: row (u8 or, beyond 255 rows,
// never), s (i32, mm along the path of the bar's centre), kind (u8), n (u16, how
// many stand for it), t (i32, ms since the pass began), gap (i32, mm to the seed
// before, -1 none).
func (s *Server) ribbonTile(ctx context.Context, in *ribbonIn) ([]byte, error) {
	now := s.revision.Load() // before the pass, whose index holds then
	p, day, err := s.pass(ctx, in.Pass)
	if err != nil {
		return nil, err
	}
	rows, err := s.passSeeds(ctx, &p, day, now)
	if err != nil {
		return nil, err
	}
	mpp := metresPerPixel(in.Level)
	from := float64(in.Tile) * tileWidth * mpp
	to := from + tileWidth*mpp
	head := tileHead{from, to, in.Level <= seedLevel}
	var m marks
	for _, seeds := range rows {
		m.row(seeds, int32(from*1000), int32(to*1000), head.Seeds, int32(markWidth*mpp*1000), p.Start)
	}
	return m.bytes(head)
}

type marks struct {
	rows, kind []uint8
	n          []uint16
	s, t, gap  []int32
}

func (m *marks) add(row uint8, s int32, kind uint8, n uint16, t, gap int32) {
	m.rows, m.s, m.kind, m.n, m.t, m.gap = append(m.rows, row), append(m.s, s), append(m.kind, kind), append(m.n, n), append(m.t, t), append(m.gap, gap)
}

// row adds the marks of one row's seeds, which stand by time, from one place to
// another in mm; with all every seed, and marks nearer than near become one.
func (m *marks) row(seeds []evenstand.PlacedSeed, from, to int32, all bool, near int32, start evenstand.Micros) {
	i := sort.Search(len(seeds), func(i int) bool { return seeds[i].S >= from })
	if len(seeds) > 0 { // holes that reach into the tile, of whatever length
		for k := max(1, i); k < len(seeds) && seeds[k-1].S < to; k++ {
			m.hole(&seeds[k-1], &seeds[k], from, to, start)
		}
	}
	lastSkip, lastDouble := -1, -1 // marks of this row that may take in another
	join := func(last *int, s int32, kind uint8, t, gap int32, row uint8) {
		if k := *last; k >= 0 && !all && s-m.s[k] < near {
			if m.n[k] < math.MaxUint16 {
				m.n[k]++
			}
			return
		}
		*last = len(m.s)
		m.add(row, s, kind, 1, t, gap)
	}
	for ; i < len(seeds); i++ {
		p := &seeds[i]
		row := uint8(min(255, int(p.Row)))
		t := int32((p.T - start) / 1000)
		// The places before it that held none lie between it and the seed before.
		if n := int32(p.Missing); n > 0 && p.Gap > 0 {
			before := p.S - p.Gap // along the bar's path, where the seed before is known
			if i > 0 {
				before = seeds[i-1].S
			}
			last := t
			if i > 0 {
				last = int32((seeds[i-1].T - start) / 1000)
			}
			for k := int32(1); k <= n; k++ {
				share := func(a, b int32) int32 { return a + int32(int64(b-a)*int64(k)/int64(n+1)) }
				if at := share(before, p.S); at >= from && at < to {
					join(&lastSkip, at, markSkip, share(last, t), p.Gap, row)
				}
			}
		}
		if p.S >= to {
			break // the gap behind the last seed was looked at
		}
		switch {
		case p.Double:
			join(&lastDouble, p.S, markDouble, t, p.Gap, row)
			fallthrough
		case all:
			if all {
				m.add(row, p.S, markSeed, 1, t, p.Gap)
			}
		}
	}
}

// hole adds the part within the tile of a hole between two seeds that is too
// long for its places to be told; its time is that of its end.
func (m *marks) hole(before, after *evenstand.PlacedSeed, from, to int32, start evenstand.Micros) {
	if after.S-before.S < bare || after.Missing > 0 {
		return
	}
	a, b := max(before.S, from), min(after.S, to)
	if b > a {
		share := float64(b-before.S) / float64(after.S-before.S)
		t := before.T - start + evenstand.Micros(share*float64(after.T-before.T))
		m.add(uint8(min(255, int(after.Row))), b, markBare, 1, int32(t/1000), b-a)
	}
}

func (m *marks) bytes(head tileHead) ([]byte, error) {
	var c columns
	addColumn(&c, "s", m.s)
	addColumn(&c, "t", m.t)
	addColumn(&c, "gap", m.gap)
	addColumn(&c, "n", m.n)
	addColumn(&c, "row", m.rows)
	addColumn(&c, "kind", m.kind)
	return c.bytes(head)
}

// passCache keeps the seeds of the passes last looked at, by row.
type passCache struct {
	mu   sync.Mutex
	last []passEntry // newest last
}

type passEntry struct {
	key      string
	revision int64
	once     *sync.Once
	rows     *[][]evenstand.PlacedSeed
	err      *error
}

// mostPasses is how many passes are kept: of 36 rows and a mile each, 360,000
// seeds or 14 MB.
const mostPasses = 6

// passSeeds gives the seeds of a pass, a list a row.
func (s *Server) passSeeds(ctx context.Context, p *evenstand.Pass, day evenstand.Day, rev int64) ([][]evenstand.PlacedSeed, error) {
	c := &s.seeds
	c.mu.Lock()
	i := slices.IndexFunc(c.last, func(e passEntry) bool { return e.key == p.Key && e.revision == rev })
	var e passEntry
	if i >= 0 {
		e = c.last[i]
		c.last = append(slices.Delete(c.last, i, i+1), e)
	} else {
		e = passEntry{p.Key, rev, new(sync.Once), new([][]evenstand.PlacedSeed), new(error)}
		c.last = append(c.last, e)
		if len(c.last) > mostPasses {
			c.last = slices.Delete(c.last, 0, 1)
		}
	}
	c.mu.Unlock()
	e.once.Do(func() {
		seeds, err := s.book.Seeds(context.WithoutCancel(ctx), nil, p.Planter, day, p.Index)
		if *e.err = err; err != nil {
			return
		}
		for from := 0; from < len(seeds); {
			to := from + 1
			for to < len(seeds) && seeds[to].Row == seeds[from].Row {
				to++
			}
			*e.rows = append(*e.rows, seeds[from:to])
			from = to
		}
	})
	if *e.err != nil { // not kept
		c.mu.Lock()
		c.last = slices.DeleteFunc(c.last, func(o passEntry) bool { return o.once == e.once })
		c.mu.Unlock()
	}
	return *e.rows, *e.err
}
