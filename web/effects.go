package web

import (
	"context"

	"evenstand"
	"evenstand/book"
)

type effectsIn struct {
	Lever   string `query:"lever" maxLength:"100" doc:"Only this setting: a quantity's name, depth or force_mode"`
	Measure string `query:"measure" maxLength:"100" doc:"Only this measure"`
}

// effects says what each change of a setting did, and what settings do over the
// season.
func (s *Server) effects(ctx context.Context, in *effectsIn) (book.EffectsTold, error) {
	if err := book.AskedEffects(in.Lever, in.Measure); err != nil {
		return book.EffectsTold{}, refuse(err.Error())
	}
	days, err := s.book.Effects(ctx)
	if err != nil {
		return book.EffectsTold{}, err
	}
	return book.TellEffects(days, in.Lever, in.Measure, s.voice()), nil
}

// Followed is what followed a change of a setting.
type Followed struct {
	Lever   string            `json:"lever"`
	Side    string            `json:"side" doc:"left or right, where its rows are those of that side; empty: not"`
	Says    string            `json:"says" doc:"All of it as a sentence or two"`
	Short   string            `json:"short" doc:"What followed, in one line"`
	Aside   string            `json:"aside" doc:"Rows left out, and what would tell more; empty: neither"`
	Effects []book.EffectLine `json:"effects" doc:"By measure"`
}

// followed gives what followed the changes of a day.
func (s *Server) followed(ctx context.Context, day evenstand.Day) ([]book.ChangeLine, error) {
	return s.book.SettingsChangedOn(ctx, day, s.voice())
}

// saysOf gives what followed those changes that are asked for.
func saysOf(all []book.ChangeLine, of func(*book.ChangeLine) bool) ([]string, []Followed) {
	says, effects := []string{}, []Followed{}
	for i := range all {
		if c := &all[i]; of(c) {
			says, effects = append(says, c.Says), append(effects, followedBy(c))
		}
	}
	return says, effects
}

func followedBy(c *book.ChangeLine) Followed {
	return Followed{c.Lever, c.Side, c.Says, c.Short, c.Aside, c.Effects}
}

// near tells whether two times are of one change, which may be told of two sides.
func near(a, b evenstand.Micros) bool { return max(a-b, b-a) <= 60*evenstand.Second }
