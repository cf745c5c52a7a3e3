package book

import (
	"evenstand"
	"evenstand/core/measure/level"
	"evenstand/core/verify"
	"evenstand/pipeline"
)

// liveSettings watches the boxes of a day for settings while its feed comes in, as
// the journal of boxes is made of a day that is over.
type liveSettings struct {
	planter string
	card    *evenstand.Card
	names   []string // of the sources, by stream
	boxes   []*targets
}

// settingsOf makes what watches a day's streams.
func settingsOf(planter string, card *evenstand.Card, streams []evenstand.Stream) func() pipeline.SettingsWatch {
	names := make([]string, len(streams))
	for i := range streams {
		names[i] = streams[i].Source.Name
	}
	return func() pipeline.SettingsWatch {
		w := &liveSettings{planter: planter, card: card, names: names, boxes: make([]*targets, len(names))}
		for i := range w.boxes {
			w.boxes[i] = &targets{now: map[targetKey]*target{}, levels: map[targetKey]*level.Log{}}
		}
		return w
	}
}

func (w *liveSettings) Reading(stream int, r *evenstand.Reading) {
	w.boxes[stream].take([]evenstand.Reading{*r})
}

func (w *liveSettings) Changed(passes []evenstand.Pass) []verify.Set {
	d := workDay{rows: w.card.Rows}
	for i := range passes {
		d.work = append(d.work, level.Span{From: passes[i].Start, To: passes[i].End})
	}
	var lines []BoxLine
	for i, x := range w.boxes {
		cs := append(x.changes[:len(x.changes):len(x.changes)], x.set(d, func(t evenstand.Micros) evenstand.Micros { return t })...)
		lines = append(lines, changeLines(w.names[i], cs, d.rows)...)
	}
	sortBoxLines(lines)
	lines = onceSeen(lines)
	for i := range lines {
		lines[i].Planter = w.planter
	}
	var out []verify.Set
	cs := Join(nil, lines).Changes(w.card)
	for i := range cs {
		out = append(out, *setOf(&cs[i]))
	}
	return out
}
