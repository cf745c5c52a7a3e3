package web

import (
	"context"

	"evenstand/book"
	"evenstand/core/record"
)

type walkIn struct {
	Field  string  `query:"field" maxLength:"200" doc:"Empty: the one planted last"`
	Places int     `query:"places" minimum:"0" maximum:"200" doc:"0: ten; those of the worst ground come beside"`
	Lat    float64 `query:"lat" minimum:"-90" maximum:"90" doc:"Where the walk begins; both 0: where it is shortest"`
	Lon    float64 `query:"lon" minimum:"-180" maximum:"180"`
	Draw   uint64  `query:"draw" doc:"Another number draws other places"`
}

func (s *Server) walkList(ctx context.Context, in *walkIn) (record.WalkList, error) {
	o, err := s.words(ctx)
	if err != nil {
		return record.WalkList{}, err
	}
	w := book.WalkWish{Field: in.Field, Places: in.Places, Seed: in.Draw}
	if in.Lat != 0 || in.Lon != 0 {
		w.Start = &[2]float64{in.Lat, in.Lon}
	}
	return s.book.WalkList(ctx, w, o)
}
