package web

import (
	"context"

	"evenstand/book"
	"evenstand/core/record"
)

type replantIn struct {
	Body book.ReplantWish
}

func (s *Server) replant(ctx context.Context, in *replantIn) (record.ReplantSheet, error) {
	o, err := s.words(ctx)
	if err != nil {
		return record.ReplantSheet{}, err
	}
	return s.book.Replant(ctx, in.Body, o)
}
