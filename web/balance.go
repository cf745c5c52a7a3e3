package web

import (
	"context"

	"evenstand/book"
)

func (s *Server) balance(ctx context.Context, _ *nothing) (book.BalanceView, error) {
	days, err := s.allDays(ctx)
	if err != nil {
		return book.ViewBalance(nil, s.voice()), err
	}
	v := s.voice()
	for _, d := range days {
		v.AsOf = max(v.AsOf, d.AsOf)
	}
	ls, err := s.book.Balance(ctx, days, v)
	if err != nil {
		return book.ViewBalance(nil, s.voice()), err
	}
	return book.ViewBalance(ls, v), nil
}
