package score

import (
	"math"
	"strings"

	"evenstand"
	"evenstand/sim"
)

// Told is what a logbook says of a box's clock.
type Told struct {
	Source string // its name; the box's comes before the slash
	From   string // declared, estimated, receiver, unknown
	At     evenstand.Micros
	Offset float64 // s, logged minus true, at At by the box's clock
	Error  float64 // s, half-width of the 90 % interval
	Drift  float64 // s/s
	Parts  []Part  // when the clock was set
}

// Part is a part of a day, by the box's clock, with one offset.
type Part struct {
	From, To, At         evenstand.Micros
	Offset, Error, Drift float64
}

// off gives what was told of the clock at a moment of it.
func (x *Told) off(logged evenstand.Micros) float64 {
	for i, p := range x.Parts {
		if logged < p.To || i == len(x.Parts)-1 {
			return p.Offset + p.Drift*(logged-p.At).Seconds()
		}
	}
	if x.At == evenstand.NoTime {
		if math.IsNaN(x.Offset) {
			return 0
		}
		return x.Offset
	}
	return x.Offset + x.Drift*(logged-x.At).Seconds()
}

// Shown gives, for a true time, the time at which a logbook shows what a box
// logged then, by what it was told of its clock.
func Shown(told []Told, truth *sim.Truth, box string) func(evenstand.Micros) evenstand.Micros {
	for _, c := range truth.Day.Clocks {
		for _, x := range told {
			if name, _, _ := strings.Cut(x.Source, "/"); c.Box != box || name != box {
				continue
			}
			return func(t evenstand.Micros) evenstand.Micros {
				logged := t + evenstand.FromSeconds(c.Off((t - truth.Day.Start).Seconds()))
				return logged - evenstand.FromSeconds(x.off(logged))
			}
		}
	}
	return func(t evenstand.Micros) evenstand.Micros { return t }
}

// Clock holds what was told of one clock, or of one part of a day on which it
// was set, against the truth. Times are against the receiver's places, as the
// program tells them: by how much these are late is the receiver's.
type Clock struct {
	Day   string           `json:"day"`
	Box   string           `json:"box"`
	From  string           `json:"from"`
	Kind  string           `json:"kind"` // what was odd about it, empty nothing
	Hours float64          `json:"hours"`
	Stops int              `json:"stops"`
	Wrong evenstand.Number `json:"error_s"` // told less true; null when unknown
	Said  evenstand.Number `json:"said_s"`  // half-width
}

// Clocks holds the clocks that nobody declared against the truth.
func Clocks(told []Told, truth *sim.Truth, day string) (out []Clock) {
	late := 0.0
	for _, c := range truth.Day.Clocks {
		if c.Box == "receiver" {
			late = c.Off(0) + c.Latency
		}
	}
	for _, c := range truth.Day.Clocks {
		if c.Declared || c.Box == "receiver" {
			continue
		}
		row := Clock{Day: day, Box: c.Box, From: "unknown", Hours: truth.Day.Hours, Stops: truth.Day.Stops, Wrong: evenstand.Unknown, Said: evenstand.Unknown}
		switch {
		case c.SetBy != 0:
			row.Kind = "set"
		case math.Abs(c.Offset) > 600:
			row.Kind = "local time"
		case math.Abs(c.Offset) >= 30:
			row.Kind = "far"
		case math.Abs(c.Drift) >= 80:
			row.Kind = "adrift"
		case c.Quiet > 0:
			row.Kind = "silent"
		}
		// true seconds of the day by what the box logged; twice, since the offset
		// may depend on it.
		off := func(logged evenstand.Micros) float64 {
			t := (logged - truth.Day.Start).Seconds()
			o := c.Off(t)
			for range 3 {
				o = c.Off(t - o)
			}
			return o - late
		}
		found := false
		for _, x := range told {
			if name, _, _ := strings.Cut(x.Source, "/"); name != c.Box || found {
				continue
			}
			found = true
			row.From = x.From
			if x.From != "estimated" {
				continue
			}
			if len(x.Parts) == 0 {
				row.Wrong, row.Said = evenstand.Number(x.Offset-off(x.At)), evenstand.Number(x.Error)
				out = append(out, row)
				continue
			}
			for _, p := range x.Parts {
				r := row
				r.Hours = (p.To - p.From).Seconds() / 3600
				r.Stops = int(float64(row.Stops) * r.Hours / math.Max(row.Hours, r.Hours))
				r.Wrong, r.Said = evenstand.Number(p.Offset-off(p.At)), evenstand.Number(p.Error)
				out = append(out, r)
			}
		}
		if row.From != "estimated" {
			out = append(out, row)
		}
	}
	return out
}
