package web

import (
	"cmp"
	"context"
	"fmt"
	"hash/fnv"
	"math"
	"slices"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

type patchesIn struct {
	Field string `query:"field" maxLength:"200" doc:"Empty: all"`
	Kind  string `query:"kind" enum:"left,twice" doc:"Left out: both"`
}

// Patches is GeoJSON (RFC 7946) of pieces of ground.
type Patches struct {
	Type     string         `json:"type" enum:"FeatureCollection"`
	Features []PatchFeature `json:"features" doc:"The largest first"`
	Sums     []PatchSum     `json:"sums" doc:"Of each kind that was asked for"`
	More     int            `json:"more" doc:"Smaller ones for which there was no room"`
}

// PatchSum is all the pieces of a kind together.
type PatchSum struct {
	Kind   string           `json:"kind" enum:"left,twice"`
	Pieces int              `json:"pieces"`
	Area   evenstand.Number `json:"area_m2"`
	Says   string           `json:"says" doc:"In words: 0.34 ac in 37 pieces"`
}

// PatchFeature is one piece.
type PatchFeature struct {
	Type       string   `json:"type" enum:"Feature"`
	Properties Patch    `json:"properties"`
	Geometry   Geometry `json:"geometry"`
	points     int
}

// Patch is a piece of ground that was not planted, or planted twice.
type Patch struct {
	ID     string           `json:"id"`
	Kind   string           `json:"kind" enum:"left,twice"`
	Field  string           `json:"field"`
	Area   evenstand.Number `json:"area_m2"`
	Length evenstand.Number `json:"length_m"`
	Width  evenstand.Number `json:"width_m"`
	Size   string           `json:"size" doc:"Its area in words"`
	Shape  string           `json:"shape" doc:"Its length and width in words"`
	Says   string           `json:"says" doc:"What it is, in words"`
	Passes []PatchPass      `json:"passes" doc:"The two that planted it; none of ground that was not planted"`
	Bounds []float64        `json:"bounds" doc:"West, south, east, north"`
}

// PatchPass is a pass that planted a piece.
type PatchPass struct {
	Key   string `json:"key"`
	Label string `json:"label"`
}

const (
	kindLeft  = "left"
	kindTwice = "twice"
	// mostPatchPoints is how many corners are sent, some 25 bytes each: 1.5 MB.
	mostPatchPoints = 60_000
	// and for the small picture beside a finding.
	mostDrawnPoints = 12_000
)

func (s *Server) patchesView(ctx context.Context, in *patchesIn) (Patches, error) {
	return s.somePatches(ctx, in, mostPatchPoints)
}

// somePatches gives the largest patches of a field or of all, of at most so many
// corners together.
func (s *Server) somePatches(ctx context.Context, in *patchesIn, most int) (Patches, error) {
	out := Patches{Type: "FeatureCollection", Features: []PatchFeature{}, Sums: []PatchSum{}}
	fields, err := s.chosenGround(ctx, in.Field)
	if err != nil {
		return out, err
	}
	all, err := s.allPatches(ctx)
	if err != nil {
		return out, err
	}
	out = largest(s.voice(), all, in, most)
	for i := range fields {
		out.More += fields[i].More
	}
	return out, nil
}

// largest takes out what was asked for, as many as have room.
func largest(v advise.Voice, all []PatchFeature, in *patchesIn, most int) Patches {
	out := Patches{Type: "FeatureCollection", Features: []PatchFeature{}, Sums: []PatchSum{}}
	for _, kind := range []string{kindLeft, kindTwice} {
		if in.Kind == "" || in.Kind == kind {
			out.Sums = append(out.Sums, PatchSum{Kind: kind})
		}
	}
	points := 0
	for i := range all {
		p := &all[i]
		if in.Field != "" && p.Properties.Field != in.Field || in.Kind != "" && p.Properties.Kind != in.Kind {
			continue
		}
		for k := range out.Sums {
			if x := &out.Sums[k]; x.Kind == p.Properties.Kind {
				x.Pieces, x.Area = x.Pieces+1, x.Area+p.Properties.Area
			}
		}
		if points += p.points; points > most && len(out.Features) > 0 {
			out.More++
			continue
		}
		out.Features = append(out.Features, *p)
	}
	for k := range out.Sums {
		switch x := &out.Sums[k]; x.Pieces {
		case 0:
			x.Says = "none that is seen"
		case 1:
			x.Says = v.Area(float64(x.Area)) + " in one piece"
		default:
			x.Says = v.Area(float64(x.Area)) + " in " + advise.Plural(int64(x.Pieces), "piece", "pieces")
		}
	}
	return out
}

// allPatches gives those of all fields, the largest first.
func (s *Server) allPatches(ctx context.Context) ([]PatchFeature, error) {
	now := s.revision.Load() // before the ground: what changes meanwhile is asked for again
	fields, err := s.fieldsGround(ctx)
	if err != nil {
		return nil, err
	}
	ix, err := s.allPasses(ctx)
	if err != nil {
		return nil, err
	}
	return s.patches.of(now, func() ([]PatchFeature, error) {
		out := []PatchFeature{}
		v := s.voice()
		for i := range fields {
			g := &fields[i]
			for k := range g.Gaps {
				out = append(out, s.patch(v, g.Field, kindLeft, &g.Gaps[k], &ix))
			}
			for k := range g.Overlaps {
				out = append(out, s.patch(v, g.Field, kindTwice, &g.Overlaps[k], &ix))
			}
		}
		slices.SortStableFunc(out, func(a, b PatchFeature) int {
			return cmp.Compare(float64(b.Properties.Area), float64(a.Properties.Area))
		})
		return out, nil
	})
}

// patch puts one into words and into GeoJSON.
func (s *Server) patch(v advise.Voice, field, kind string, p *book.Patch, ix *passIndex) PatchFeature {
	q := Patch{
		Kind: kind, Field: field, Area: p.Area, Length: p.Length, Width: p.Width,
		Size: v.Area(float64(p.Area)), Shape: v.Length(float64(p.Length)) + " long, " + v.Length(float64(p.Width)) + " wide", Passes: []PatchPass{}, Bounds: []float64{},
	}
	q.Says = q.Size + map[string]string{kindLeft: " not planted, ", kindTwice: " planted twice, "}[kind] + q.Shape
	for _, key := range p.Passes {
		at := PatchPass{Key: key, Label: key}
		if i, ok := ix.at[key]; ok {
			info := s.passInfo(&ix.all[i], ix.day[i])
			at.Label = fmt.Sprintf("pass %s, %s", advise.Thousands(int64(info.Number)), v.Clock(info.Start))
			if ix.daysDiffer(p.Passes) {
				at.Label += ", " + v.Day(ix.day[i])
			}
		}
		q.Passes = append(q.Passes, at)
	}
	rings, points := closed(p.Rings)
	lies := noBox()
	id := fnv.New64a()
	fmt.Fprint(id, field, kind)
	for _, r := range p.Rings[:min(1, len(p.Rings))] {
		for _, c := range r {
			x, y := mercator(c[1], c[0])
			lies.add(x, y, 0)
			fmt.Fprint(id, c)
		}
	}
	if !lies.empty() {
		q.Bounds = lies.degrees()
	}
	q.ID = fmt.Sprintf("%s-%08x", kind, id.Sum64()>>32)
	return PatchFeature{Type: "Feature", Properties: q, Geometry: Geometry{"MultiPolygon", [][][][2]float64{rings}}, points: points}
}

// daysDiffer tells whether two passes were driven on different days.
func (ix *passIndex) daysDiffer(keys []string) bool {
	if len(keys) != 2 {
		return false
	}
	a, ok := ix.at[keys[0]]
	b, too := ix.at[keys[1]]
	return ok && too && ix.day[a] != ix.day[b]
}

// closed gives rings as RFC 7946 (3.1.6) wants them: closed, the outer one
// against the clock and holes with it.
func closed(rings [][][2]float64) (out [][][2]float64, points int) {
	out = [][][2]float64{}
	for i, r := range rings {
		if len(r) < 3 {
			continue
		}
		r = slices.Clone(r)
		twice := 0.0
		for k, a := range r {
			b := r[(k+1)%len(r)]
			twice += (a[0]-r[0][0])*(b[1]-r[0][1]) - (b[0]-r[0][0])*(a[1]-r[0][1])
		}
		if (twice > 0) != (i == 0) {
			slices.Reverse(r)
		}
		if r[0] != r[len(r)-1] {
			r = append(r, r[0])
		}
		out = append(out, r)
		points += len(r)
	}
	return out, points
}

// within gives a place inside a patch: its centre of gravity, or, where it is
// bent around that, the corner nearest to it.
func within(p *book.Patch) (lat, lon float64, ok bool) {
	if len(p.Rings) == 0 || len(p.Rings[0]) < 3 {
		return 0, 0, false
	}
	r := p.Rings[0]
	o := r[0]
	var x, y, sum float64
	for i, a := range r {
		b := r[(i+1)%len(r)]
		c := (a[0]-o[0])*(b[1]-o[1]) - (b[0]-o[0])*(a[1]-o[1])
		x, y, sum = x+(a[0]+b[0]-2*o[0])*c, y+(a[1]+b[1]-2*o[1])*c, sum+c
	}
	if sum == 0 {
		return o[1], o[0], true
	}
	lon, lat = o[0]+x/3/sum, o[1]+y/3/sum
	in := false
	for _, r := range p.Rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			if (a[1] > lat) != (b[1] > lat) && lon < a[0]+(lat-a[1])/(b[1]-a[1])*(b[0]-a[0]) {
				in = !in
			}
		}
	}
	if in {
		return lat, lon, true
	}
	at, best := o, math.Inf(1)
	for _, c := range r {
		if d := math.Hypot((c[0]-lon)*math.Cos(lat*math.Pi/180), c[1]-lat); d < best {
			at, best = c, d
		}
	}
	return at[1], at[0], true
}

// groundShown tells of a kind of finding whether ground not planted and ground
// planted twice show it.
func groundShown(kind string) (left, twice bool) {
	switch kind {
	case evenstand.KindUnplantedLeft, evenstand.KindCoverGap:
		return true, false
	case evenstand.KindOverlap, evenstand.KindLateSection, evenstand.KindGuessRow, evenstand.KindOffsetDoubt:
		return true, true
	}
	return false, false
}

// head gives the largest piece that a finding about the ground of its field is
// about, and its kind; nil where it is about no piece alone. again tells whether
// two passes are of different days.
func head(f *evenstand.Finding, g *book.FieldGround, again func(keys []string) bool) (p *book.Patch, kind string) {
	switch f.Kind {
	case evenstand.KindUnplantedLeft:
		for i := range g.Gaps {
			if g.Gaps[i].Strip {
				return &g.Gaps[i], kindLeft
			}
		}
	case evenstand.KindCoverGap:
		all, _ := advise.Figure(f, "ground missed in small pieces")
		for i := range g.Gaps {
			if q := &g.Gaps[i]; !q.Strip && float64(q.Area) <= all && float64(q.Border) < 0.15 { // as core/find counts it
				return q, kindLeft
			}
		}
	case evenstand.KindOverlap:
		for i := range g.Overlaps {
			if q := &g.Overlaps[i]; !again(q.Passes) { // else it was planted again, not run over
				return q, kindTwice
			}
		}
	}
	return p, kind
}

// headOf finds the field of a finding, and in it the piece.
func (s *Server) headOf(ctx context.Context, f *evenstand.Finding) (p *book.Patch, kind string, err error) {
	if !evenstand.OfField(f.Kind) {
		return nil, "", nil
	}
	fields, err := s.fieldsGround(ctx)
	if err != nil {
		return nil, "", err
	}
	ix, err := s.allPasses(ctx)
	if err != nil {
		return nil, "", err
	}
	for i := range fields {
		if fields[i].Field == f.Field {
			p, kind = head(f, &fields[i], ix.daysDiffer)
		}
	}
	return p, kind, nil
}

// FindingGround is the field of a finding, to be drawn beside it.
type FindingGround struct {
	Title    string            `json:"title" doc:"Empty: there is nothing to draw"`
	Says     string            `json:"says" doc:"What is drawn, in words"`
	Bounds   []float64         `json:"bounds" doc:"West, south, east, north"`
	Boundary FeatureCollection `json:"boundary"`
	Passes   FeatureCollection `json:"passes" doc:"Those of the finding; of others the field's"`
	Patches  Patches           `json:"patches"`
	Head     string            `json:"head" doc:"Id of the largest piece that the finding is about; empty: it is about none alone"`
}

// findingGround gives the field of a finding about its ground.
func (s *Server) findingGround(ctx context.Context, in *findingIn) (FindingGround, error) {
	none := FeatureCollection{"FeatureCollection", []Feature{}}
	out := FindingGround{Bounds: []float64{}, Boundary: none, Passes: none, Patches: Patches{Type: "FeatureCollection", Features: []PatchFeature{}, Sums: []PatchSum{}}}
	f, err := s.finding(ctx, in.ID)
	if err != nil {
		return out, err
	}
	left, twice := groundShown(f.Kind)
	if !left && !twice {
		return out, nil
	}
	g, err := s.season(ctx)
	if err != nil {
		return out, err
	}
	filter := GroundFilter{Field: f.Field}
	e := s.extent(g, &filter)
	if e.all.empty() {
		return out, nil
	}
	of := patchesIn{Field: f.Field}
	if !twice {
		of.Kind = kindLeft
	}
	if out.Patches, err = s.somePatches(ctx, &of, mostDrawnPoints); err != nil {
		return out, err
	}
	for _, b := range e.fields {
		out.Boundary.Features = append(out.Boundary.Features, Feature{"Feature", map[string]string{"field": b.Name}, Geometry{"MultiPolygon", b.Polygons}})
	}
	g.each(&filter, func(_ *groundDay, p *groundPass) {
		if len(out.Passes.Features) < mostWays {
			out.Passes.Features = append(out.Passes.Features, Feature{"Feature", map[string]string{"key": p.pass.Key}, Geometry{"LineString", p.line(0, float64(p.stretchN), 0)}})
		}
	})
	p, kind, err := s.headOf(ctx, &f)
	if err != nil {
		return out, err
	}
	if p != nil {
		ix, err := s.allPasses(ctx)
		if err != nil {
			return out, err
		}
		out.Head = s.patch(s.voice(), f.Field, kind, p, &ix).Properties.ID
	}
	out.Bounds = e.all.degrees()
	out.Title = advise.Capital(f.Field)
	out.Says = saysPatches(&out.Patches)
	return out, nil
}

// saysPatches sums up what a picture shows.
func saysPatches(ps *Patches) string {
	says := ""
	for _, x := range ps.Sums {
		if says != "" {
			says += "; "
		}
		says += map[string]string{kindLeft: "Not planted: ", kindTwice: "planted twice: "}[x.Kind] + x.Says
	}
	if ps.More > 0 {
		says += "; " + advise.Thousands(int64(ps.More)) + " smaller are not drawn"
	}
	return says + "."
}
