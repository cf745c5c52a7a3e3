package web

import (
	"context"

	"evenstand/book"
	"evenstand/core/record"
)

type countsIn struct {
	Season string `query:"season" maxLength:"4" doc:"Empty: of the newest count"`
	Field  string `query:"field" maxLength:"200" doc:"Empty: all of them"`
}

func (s *Server) countSheet(ctx context.Context, in *countsIn) (record.CountSheet, error) {
	o, err := s.words(ctx)
	if err != nil {
		return record.CountSheet{}, err
	}
	return s.book.CountSheet(ctx, in.Season, in.Field, o)
}

type addCountsIn struct {
	Body struct {
		Counts []book.PlantCount `json:"counts" maxItems:"1000" doc:"Each is kept or refused by itself"`
	}
}

func (s *Server) addCounts(ctx context.Context, in *addCountsIn) (book.CountsReply, error) {
	r, err := s.book.AddCounts(ctx, in.Body.Counts)
	if err == nil && len(r.Stored) > 0 {
		s.changed("journal")
	}
	return r, err
}

// ZonesCounted are the zones of a field for planting again.
type ZonesCounted struct {
	Field string             `json:"field"`
	Zones []book.ReplantSpot `json:"zones"`
}

type zonesIn struct {
	Field string `query:"field" maxLength:"200" doc:"Empty: none"`
}

func (s *Server) countedZones(ctx context.Context, in *zonesIn) (ZonesCounted, error) {
	o, err := s.words(ctx)
	if err != nil {
		return ZonesCounted{}, err
	}
	z, err := s.book.CountedZones(ctx, in.Field, o)
	return ZonesCounted{in.Field, z}, err
}
