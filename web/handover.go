package web

import (
	"context"

	"evenstand/core/record"
)

// HandOverView is the hand-over as the page shows it.
type HandOverView struct {
	Empty    bool              `json:"empty" doc:"No day with a pass has been read yet"`
	Title    string            `json:"title"`
	Planter  string            `json:"planter"`
	Where    string            `json:"where" doc:"Empty: not known"`
	Nothing  bool              `json:"nothing" doc:"Nothing is off"`
	Parts    []record.HandPart `json:"parts"`
	Cautions []string          `json:"cautions"`
}

func (s *Server) handOver(ctx context.Context, _ *struct{}) (HandOverView, error) {
	out := HandOverView{Parts: []record.HandPart{}, Cautions: []string{}}
	w, err := s.allFindings(ctx)
	if err != nil {
		return out, err
	}
	days, err := s.allDays(ctx)
	if err != nil {
		return out, err
	}
	o, err := s.words(ctx)
	if err != nil {
		return out, err
	}
	where := ""
	if len(days) > 0 {
		if where, err = s.place(ctx, days); err != nil {
			return out, err
		}
	}
	h, ok, err := s.book.HandOver(ctx, w, days, where, o)
	if err != nil || !ok {
		out.Empty = !ok
		return out, err
	}
	out.Title, out.Planter, out.Where, out.Nothing, out.Cautions = h.Title, h.Planter, h.Where, len(h.Off) == 0, h.Cautions
	out.Parts = append(out.Parts, h.Parts()...)
	return out, nil
}
