package cli

import (
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
	"evenstand/core/find"
	"evenstand/pipeline"
)

type replayOptions struct{ pace pace }

// pace is how many seconds of log time pass in one second; 0: as many as the
// machine can do.
type pace float64

// mostPace is the fastest pace that is still waited for.
const mostPace = 1000

func (p *pace) String() string {
	if *p == 0 {
		return "max"
	}
	return strconv.FormatFloat(float64(*p), 'g', -1, 64)
}

func (p *pace) Set(s string) error {
	if s == "max" {
		*p = 0
		return nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || !(v >= 1) || v > mostPace {
		return fmt.Errorf("want 1 to %d, or max", mostPace)
	}
	*p = pace(v)
	return nil
}

func replayCommand() command {
	return command{
		name: "replay", args: "BOOK PATH…", what: "play logs as if they came in live, then settle the day",
		least: 2, most: -1, reports: true,
		setup: func(fs *flag.FlagSet) any {
			o := &replayOptions{}
			fs.Var(&o.pace, "pace", "how many seconds of the logs pass in one second: `N` from 1 to 1000, or max, as many as it can (max when not said)")
			return o
		},
		help: `
The logs are handed to the live pass event by event, in order of time, one
planter's day after the other. It knows what has come so far and nothing of
what comes; each finding is printed when it is raised, and when it changes,
ends or is taken back, with the time by the logs. At the end the day is settled
into the logbook exactly as read does it, and it is said how many of the settled
findings stood before. With --json every line is one object.

Numbers count the findings of one day in the order of raising; ids are given
when the day is settled. Logs that are in the logbook already are played too.

Examples:
  evenstand replay spring /media/stick
  evenstand replay spring today.zip --pace 10
  evenstand replay spring today.zip --json > today.jsonl`,
		run: func(ctx context.Context, c *call, opts any) error { return c.replay(ctx, opts.(*replayOptions)) },
	}
}

// played is what became of one replayed day.
type played struct {
	planter string
	day     evenstand.Day
	res     pipeline.Result
	live    []evenstand.Finding
	numbers []int
	stood   pipeline.Stood
}

func (c *call) replay(ctx context.Context, o *replayOptions) error {
	var days []played
	var b *book.Book
	m := c.meter()
	derive := func(ctx context.Context, day pipeline.Day, out pipeline.Output) (pipeline.Result, error) {
		p := played{planter: day.Planter, day: day.Date}
		m.done()
		w := newPacer(ctx, o.pace)
		// The live pass must not keep the day from being settled.
		day.Voice = voice(b)
		live, err := pipeline.Feed(ctx, day, w.wait, func(ch find.Change) error { return c.told(b, day, ch, w) })
		if err != nil {
			return pipeline.Result{}, err
		}
		p.live, p.numbers = live.Standing()
		res, err := pipeline.Settle(ctx, day, out)
		if err == nil {
			p.res, p.stood = res, pipeline.CompareStood(res, p.live)
			days = append(days, p)
		}
		return res, err
	}
	b, err := c.openWith(c.args[0], derive)
	if err != nil {
		return err
	}
	defer b.Close()
	fs, err := formats(b)
	if err != nil {
		return err
	}
	rep, err := b.Read(ctx, c.args[1:], fs, book.ReadOptions{Progress: m.book, Again: true})
	m.done()
	if err != nil {
		return err
	}
	for i := range days {
		if err := c.stood(ctx, b, &days[i]); err != nil {
			return err
		}
	}
	return c.report(ctx, b, rep)
}

// pacer makes log time pass at a pace.
type pacer struct {
	ctx   context.Context
	pace  pace
	first evenstand.Micros
	begun time.Time
}

func newPacer(ctx context.Context, p pace) *pacer {
	return &pacer{ctx: ctx, pace: p, first: evenstand.NoTime}
}

// wait waits until log time t has come.
func (w *pacer) wait(t evenstand.Micros) error {
	if err := w.ctx.Err(); err != nil || w.pace == 0 {
		return err
	}
	if w.first == evenstand.NoTime {
		w.first, w.begun = t, time.Now()
		return nil
	}
	left := time.Until(w.due(t))
	if left <= 0 {
		return nil
	}
	timer := time.NewTimer(left)
	defer timer.Stop()
	select {
	case <-w.ctx.Done():
		return w.ctx.Err()
	case <-timer.C:
		return nil
	}
}

// due is when log time t came.
func (w *pacer) due(t evenstand.Micros) time.Time {
	return w.begun.Add(time.Duration((t - w.first).Seconds() / float64(w.pace) * float64(time.Second)))
}

// changeLine is a line of --json while the logs are played.
type changeLine struct {
	Schema  int              `json:"schema"`
	Event   string           `json:"event"` // raised, changed, ended, taken back, check-back
	At      evenstand.Micros `json:"at"`    // log time
	Planter string           `json:"planter"`
	Day     evenstand.Day    `json:"day"`
	Number  int              `json:"number"`
	// Late is the time in s from the moment that At came by to this line; left
	// out at pace max, at which no moment comes by.
	Late    *float64           `json:"late_s,omitempty"`
	Finding *evenstand.Finding `json:"finding"`
}

// told prints what became of a finding.
func (c *call) told(b *book.Book, day pipeline.Day, ch find.Change, w *pacer) error {
	f := &ch.Finding
	f.Planter, f.Day = day.Planter, day.Date
	b.Speak(f, day.Card.Rows, ch.At)
	if c.json {
		l := changeLine{Schema: 1, Event: ch.What, At: ch.At, Planter: day.Planter, Day: day.Date, Number: ch.N, Finding: f}
		if w.pace > 0 {
			late := math.Round(1000*time.Since(w.due(ch.At)).Seconds()) / 1000
			l.Late = &late
		}
		return c.line(l)
	}
	v := voice(b)
	first := fmt.Sprintf("%11s  %-10s %2d  ", v.Second(ch.At), ch.What, ch.N) // 12:08:38 pm is the longest
	if ch.What == find.ChangeChecked {
		c.text(first, strings.Repeat(" ", len(first)), advise.Rows(f.Rows)+": "+advise.Lower(f.CheckBack.Says))
		return nil
	}
	c.text(first, strings.Repeat(" ", len(first)), f.Sentence)
	if ch.What == find.ChangeRaised && f.Advice.Do != "" && f.Until == nil {
		hang := strings.Repeat(" ", len(first))
		do := f.Advice.Do
		if due := advise.Due(f); due != "" {
			do = due + ": " + do
		}
		c.text(hang, hang, do)
		for _, s := range advise.Brief(f) {
			c.text(hang+"! ", hang+"  ", s)
		}
	}
	return nil
}

// line prints one object of JSON on one line.
func (c *call) line(v any) error {
	e := json.NewEncoder(c.Stdout)
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// stoodLine is the line of --json for a settled day.
type stoodLine struct {
	Schema  int             `json:"schema"`
	Event   string          `json:"event"` // settled
	Planter string          `json:"planter"`
	Day     evenstand.Day   `json:"day"`
	Settled int             `json:"settled"`   // raised findings after settling
	CanSee  int             `json:"live_sees"` // of these, those that a live pass can see
	Stood   []stoodFinding  `json:"stood"`
	Missing []missedFinding `json:"did_not_stand"`
	Only    []int           `json:"not_settled"` // numbers of live findings that settling does not support
}

// stoodFinding pairs a number with the id that settling gave.
type stoodFinding struct {
	Number int    `json:"number"`
	ID     string `json:"finding"`
}

// missedFinding is a settled finding that did not stand.
type missedFinding struct {
	ID    string           `json:"finding"`
	Kind  string           `json:"kind"`
	Rows  evenstand.Rows   `json:"rows"`
	Since evenstand.Micros `json:"since"`
}

// stood says how many of a day's settled findings stood before settling.
func (c *call) stood(ctx context.Context, b *book.Book, p *played) error {
	all, err := b.Findings(ctx)
	if err != nil {
		return err
	}
	id := func(i int) string {
		f := &p.res.Findings[i]
		for j := range all {
			if g := &all[j]; g.Planter == p.planter && g.Day == p.day && g.Kind == f.Kind && g.Alarm == f.Alarm && slices.Equal(g.Rows, f.Rows) {
				return g.ID
			}
		}
		return ""
	}
	s := &p.stood
	sees := len(s.Pairs) + len(s.Missing)
	if c.json {
		out := stoodLine{Schema: 1, Event: "settled", Planter: p.planter, Day: p.day, Settled: sees + len(s.Unseen), CanSee: sees, Stood: []stoodFinding{}, Missing: []missedFinding{}, Only: []int{}}
		for _, x := range s.Pairs {
			out.Stood = append(out.Stood, stoodFinding{p.numbers[x[1]], id(x[0])})
		}
		for _, i := range s.Missing {
			f := &p.res.Findings[i]
			out.Missing = append(out.Missing, missedFinding{id(i), f.Kind, f.Rows, f.Since})
		}
		for _, j := range s.Only {
			out.Only = append(out.Only, p.numbers[j])
		}
		return c.line(out)
	}
	v := voice(b)
	day := string(p.day)
	if t, err := p.day.Start(v.Zone); err == nil {
		day = v.Date(t)
	}
	switch {
	case sees == 0 && len(s.Only) == 0 && len(s.Unseen) == 0:
		c.text("", "", fmt.Sprintf("%s: nothing was raised, live or settled.", day))
		return nil
	case sees == 0:
		c.text("", "", fmt.Sprintf("%s: settling raises nothing that could be seen live.", day))
	default:
		c.text("", "    ", fmt.Sprintf("%s: of %s that could be seen live, %d stood before the day was settled.", day, plural(sees, "settled finding", "settled findings"), len(s.Pairs)))
	}
	for _, i := range s.Missing {
		f := p.res.Findings[i]
		b.Speak(&f, 0, p.res.AsOf)
		c.text("  ", "    ", "Did not stand: "+f.Sentence)
	}
	if n := len(s.Unseen); n > 0 {
		c.text("  ", "    ", plural(n, "more finding", "more findings")+" could be told only when the day was over.")
	}
	for _, j := range s.Only {
		f := p.live[j]
		b.Speak(&f, 0, p.res.AsOf)
		c.text("  ", "    ", fmt.Sprintf("Number %d is not supported by the settled day: %s", p.numbers[j], f.Sentence))
	}
	return nil
}
