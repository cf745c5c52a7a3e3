package cli

import (
	"context"
	"fmt"
	"math"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/pipeline"
)

func sourcesCommand() command {
	return command{
		name: "sources", args: "BOOK", what: "list each box's logs with grade, clock, gaps and what was not used",
		least: 1, most: 1, reports: true,
		run: func(ctx context.Context, c *call, _ any) error {
			b, err := c.open(c.args[0])
			if err != nil {
				return err
			}
			defer b.Close()
			src, err := b.Sources(ctx)
			if err != nil {
				return err
			}
			if c.json {
				if src == nil {
					src = []book.SourceReport{}
				}
				return c.printJSON(map[string]any{"schema": 1, "sources": src})
			}
			v := voice(b)
			if len(src) == 0 {
				if lost, err := c.lost(ctx, b); lost || err != nil {
					return err
				}
				c.printf("No logs have been read yet.\n")
			}
			for _, s := range src {
				c.source(s)
				if s.First != evenstand.NoTime {
					own := ""
					if math.Abs(float64(s.ClockOffset)) >= 1 {
						own = " by its own clock"
					}
					c.text("    ", "    ", spell(v, s.First, s.Last)+own)
				}
				c.text("    ", "    ", clockLine(&s))
				if s.ClockFrom == pipeline.ClockReceiver {
					c.text("    ", "    ", "Latency: how late its places are is not known. Boxes whose clocks they tell are as late, so that seeds lie right; for the others clock_offset_s in its source.toml can say it.")
				}
				if s.Behind != nil {
					c.text("    ", "    ", behindLine(s.Behind, v))
				}
				for _, p := range s.ClockSet {
					c.text("    ", "    ", "Its clock was set: from "+v.Clock(p.From)+" to "+v.Clock(p.To)+" by its own clock, it was "+advise.Offset(float64(p.Offset), 2)+", to within "+seconds(float64(p.Error))+".")
				}
				for i, g := range s.Gaps {
					if i == most {
						c.text("    ", "    ", fmt.Sprintf("Silent %d times more.", len(s.Gaps)-most))
						break
					}
					c.text("    ", "    ", "Silent from "+v.Clock(g.From)+" for "+advise.Span((g.To-g.From).Seconds())+planted(g)+".")
				}
				for _, u := range s.Unused {
					c.text("    ", "      ", c.card("Not used: "+unusedLine(u, v)))
				}
				c.notes(s.Notes)
			}
			return nil
		},
	}
}

// planted says how much of a silence matters: the planter stands, turns and is
// filled meanwhile.
func planted(g book.Gap) string {
	all := time.Duration(g.To-g.From) * time.Microsecond
	if s := time.Duration(float64(g.Planted) * float64(time.Second)); s > 0 && s < all-time.Second {
		return ", " + advise.Span(s.Seconds()) + " of it planting"
	}
	return " while the planter planted"
}

// most is how many silences of a source are listed one by one.
const most = 5

// spell writes from when to when a source logged.
func spell(v advise.Voice, first, last evenstand.Micros) string {
	from := v.Date(first) + ", " + v.Clock(first)
	if v.Date(first) == v.Date(last) {
		return from + " to " + v.Clock(last)
	}
	return from + ", to " + v.Date(last) + ", " + v.Clock(last)
}

// clockLine says how far a box's clock is off, logged minus true, how well
// that is known, and who says so.
func clockLine(s *book.SourceReport) string {
	off, e := float64(s.ClockOffset), float64(s.ClockError)
	switch {
	case s.ClockFrom == pipeline.ClockReceiver:
		return "Clock: the receiver's own, by which the others are told."
	case math.IsNaN(off):
		return "Clock: nobody has said how far it is off, and the logs do not show it."
	}
	line := "Clock: " + advise.Offset(off, 2)
	switch {
	case s.ClockFrom == pipeline.ClockEstimated:
		line += " by the receiver, to within " + seconds(e)
		if d, de := float64(s.Drift), float64(s.DriftError); math.Abs(d) > de {
			way := "gaining"
			if d < 0 {
				way = "losing"
			}
			line += fmt.Sprintf(", %s %.0f ms an hour", way, math.Abs(d)*3.6)
		}
		if x := s.ClockAgainst; x != 0 {
			line += ". It was said to be " + advise.Offset(off-x, 2) + ", which is not used: correct or take out clock_offset_s in its source.toml, or say with clock_error_s how sure it is"
		}
		return line + "."
	case math.IsNaN(e):
		line += ", as was said of it; how well is not known"
	default:
		line += ", as was said of it, to within " + seconds(e)
	}
	if x := s.ClockAgainst; x != 0 {
		line += ". Beside the receiver it looks " + advise.Offset(off+x, 2) + ", and findings by this box may be wrong: correct or take out clock_offset_s in its source.toml and read again"
	}
	return line + "."
}

// behindLine says how far the seed line lies behind a receiver, by the card and
// by the ends of passes.
func behindLine(b *book.Behind, v advise.Voice) string {
	card, told, e := float64(b.Card), float64(b.Distance), float64(b.Error)
	ends := fmt.Sprintf("by %d pass ends, lifted one way and lowered the other, %s, to within %s", b.Ends, v.Length(told), v.Length(e))
	switch {
	case math.IsNaN(told) && math.IsNaN(card):
		return "Seed line: the planter card does not say how far behind it, and the ends of passes do not show it."
	case math.IsNaN(told):
		return "Seed line: " + v.Length(card) + " behind it, as the planter card says; the ends of passes do not show it."
	case math.IsNaN(card) && b.Used:
		return "Seed line: the planter card does not say how far behind it; " + ends + ". That is used."
	case math.IsNaN(card):
		return "Seed line: the planter card does not say how far behind it; " + ends + ", which is not used. Measure how far the receiver is ahead of the hitch, write antenna_to_hitch_m in metres and hitch (trailed or mounted) on the card, and read again."
	case math.Abs(card-told) > 2*e:
		return "Seed line: " + v.Length(card) + " behind it, as the planter card says, but " + ends + ". What the card says is used: measure antenna_to_hitch_m and hitch_to_row_line_m again."
	}
	return "Seed line: " + v.Length(card) + " behind it, as the planter card says; " + ends + "."
}

// seconds writes a length of time in seconds.
func seconds(s float64) string { return fmt.Sprintf("%.2f s", s) }
