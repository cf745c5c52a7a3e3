package web

import (
	"context"

	"evenstand/book"
)

func (s *Server) balance(ctx context.Context, _ *nothing) (book.BalanceView, error) {
	days, err := s.allDays(ctx)
	if err != nil {
		return book.BalanceView{Levers: []book.LeverView{}}, err
	}
	v := s.voice()
	for _, d := range days {
		v.AsOf = max(v.AsOf, d.AsOf)
	}
	ls, err := s.book.Balance(ctx, days, v)
	if err != nil {
		return book.BalanceView{Levers: []book.LeverView{}}, err
	}
	return book.ViewBalance(ls, v), nil
}
