package book_test

import (
	"context"
	"fmt"
	"math"
	"testing"

	"evenstand/book"
	"evenstand/core/ground"
	"evenstand/pipeline"
)

// Where the ground of a field was not measured, what is left is the area less
// what the rows planted by their way.
func TestLeftToPlantByWay(t *testing.T) {
	const planted = 4e5 // m2
	p := planned{"2026-05-01": {}}
	made := newBook(t)
	made.Close()
	opts := options()
	opts.Derive = func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		res, err := p.derive(ctx, day, out)
		res.Planted = []pipeline.Planted{{Field: "north place", Area: planted}}
		return res, err
	}
	b, err := book.Open(made.Dir(), opts)
	if err != nil {
		t.Fatal(err)
	}
	defer b.Close()
	read(t, b, folder(t, map[string][]byte{"box.log": fmt.Appendf(nil, "s %d 1\n", at(1, 9, 0))}))
	days, err := b.Days(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	left, err := b.LeftToPlant(context.Background(), days)
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Fields()) != 1 {
		t.Fatal(b.Fields())
	}
	if want := ground.FieldArea(b.Fields()[0]) - planted; math.Abs(left["north place"]-want) > 1e-6 || len(left) != 1 {
		t.Errorf("%v, want %g", left, want)
	}
}
