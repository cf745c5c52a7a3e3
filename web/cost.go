package web

import (
	"context"

	"evenstand/core/record"
)

type costQuery struct {
	Season string `query:"season" maxLength:"4" doc:"A year; without it the last one planted"`
	Field  string `query:"field" maxLength:"200" doc:"One field only"`
	Hour   bool   `query:"hour" doc:"Part it by the hour of the day too, which is not for everybody's eyes"`
}

func (s *Server) costSheet(ctx context.Context, q *costQuery) (record.CostSheet, error) {
	o, err := s.words(ctx)
	if err != nil {
		return record.CostSheet{}, err
	}
	return s.book.CostSheet(ctx, q.Season, q.Field, q.Hour, o)
}
