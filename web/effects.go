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
	days, err := s.book.Effects(ctx)
	if err != nil {
		return book.EffectsTold{}, err
	}
	return book.TellEffects(days, in.Lever, in.Measure, s.voice()), nil
}

// Followed is what followed a change of a setting.
type Followed struct {
	Lever   string            `json:"lever"`
	Says    string            `json:"says" doc:"All of it as a sentence or two"`
	Effects []book.EffectLine `json:"effects" doc:"By measure"`
}

// followed gives what followed the changes of a day, by note and by box's line.
func (s *Server) followed(ctx context.Context, day evenstand.Day) (notes map[int64][]Followed, boxes func(source string, t evenstand.Micros) []Followed, err error) {
	days, err := s.book.EffectsOn(ctx, day)
	if err != nil {
		return nil, nil, err
	}
	notes = map[int64][]Followed{}
	type line struct {
		source string
		t      evenstand.Micros
	}
	by := map[line][]Followed{}
	for _, c := range book.TellEffects(days, "", "", s.voice()).Changes {
		f := Followed{c.Lever, c.Says, c.Effects}
		if c.Note != 0 {
			notes[c.Note] = append(notes[c.Note], f)
		}
		if c.Source != "" {
			by[line{c.Source, c.T}] = append(by[line{c.Source, c.T}], f)
		}
	}
	return notes, func(source string, t evenstand.Micros) []Followed { return some(by[line{source, t}]) }, nil
}
