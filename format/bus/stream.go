package bus

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"slices"
	"strings"

	"evenstand"
	"evenstand/format/iso11783"
)

// How long what a receiver said of its place holds for the rapid places that
// follow; judgement.
const (
	freshCourse = evenstand.Second
	freshFix    = 3 * evenstand.Second
)

// stream is the second way over a capture.
type stream struct {
	name   string
	sink   evenstand.Sink
	sv     *survey
	c      *choice
	ck     *clock
	r      *resolved
	times  Times
	lender string

	sc      *Scanner
	frame   int64
	part    int // index of the next part
	era     *era
	feed    *iso11783.Feed
	feeds   []*iso11783.Feed
	track   *iso11783.Track
	targets map[valueKey]int
	sum     evenstand.Micros // of relative times that count from the line before
	read    int64
	untimed int64
	fast    *fastPackets
	course  fixCourse
	last    gnss
	lastAt  evenstand.Micros
	fixed   evenstand.Micros // time of the last fix
	value   [1]iso11783.Value32
}

type fixCourse struct {
	heading, speed float64
	at             evenstand.Micros
}

func (s *stream) run(ctx context.Context, in fs.FS) error {
	file, err := in.Open(s.name)
	if err != nil {
		return err
	}
	defer file.Close()
	s.sc = NewScanner(file)
	s.track = iso11783.NewTrack(s.sink)
	s.fast = newFastPackets()
	s.lastAt, s.course.at, s.fixed = evenstand.NoTime, evenstand.NoTime, evenstand.NoTime
	runErr := func() error {
		for ; s.sc.Next(); s.frame++ {
			if s.frame&0xfff == 0 {
				if err := ctx.Err(); err != nil {
					return err
				}
				s.progress()
			}
			if err := s.take(); err != nil {
				return err
			}
		}
		return nil
	}()
	if runErr == nil {
		runErr = s.track.End()
	}
	if runErr == nil {
		runErr = s.flush()
	}
	s.progress()
	s.report()
	if runErr == nil {
		runErr = s.sc.Err()
	}
	return runErr
}

func (s *stream) progress() {
	at := s.sc.Offset()
	s.sink.Progress(at - s.read)
	s.read = at
}

func (s *stream) flush() error {
	if s.feed == nil {
		return nil
	}
	return s.feed.Flush()
}

// next begins the parts of the capture that start with this frame.
func (s *stream) next() error {
	for s.part < len(s.r.parts) && s.r.parts[s.part].frame <= s.frame {
		p := &s.r.parts[s.part]
		s.part++
		s.targets = p.targets
		if p.era == s.era {
			continue
		}
		if err := s.flush(); err != nil {
			return err
		}
		s.era = p.era
		s.feed = p.era.set.NewFeed(p.era.layout, p.era.columns, s.sink, false)
		s.feed.Singly()
		s.feeds = append(s.feeds, s.feed)
	}
	return nil
}

// when gives the instant of the frame.
func (s *stream) when(f *Frame) (evenstand.Micros, bool) {
	l, style := f.T, s.sc.Times()
	// a clock that began at nothing and was set is one clock
	counts := style >= Absolute && style != Dated && s.times >= Absolute && s.times != Dated
	switch {
	case style != s.times && !counts, counts && style == Relative && s.ck.mode == modeOwn:
		l = evenstand.NoTime
	case s.sv.delta && style == Relative:
		s.sum += l
		l = s.sum
	}
	return s.ck.when(s.frame, l)
}

func (s *stream) give(now evenstand.Micros, column int, raw int32) error {
	s.value[0] = iso11783.Value32{Column: column, Raw: raw}
	return s.feed.At(now, s.value[:], nil)
}

func (s *stream) take() error {
	f := s.sc.Frame()
	if s.part < len(s.r.parts) && s.r.parts[s.part].frame <= s.frame {
		if err := s.next(); err != nil {
			return err
		}
	}
	now, ok := s.when(f)
	pgn, from, to := f.Group()
	switch pgn {
	case pgnProcess:
		if f.Len < 8 {
			return nil
		}
		p := processData(&f.Data)
		if p.command != cmdValue && p.command != cmdSet {
			return nil
		}
		column, want := s.targets[keyOf(f.Bus, from, to, &p)]
		if !want {
			return nil
		}
		if !ok {
			s.untimed++
			return nil
		}
		return s.give(now, column, p.value)
	case s.c.speedGroup:
		if f.Len < 8 || nodeOf(f.Bus, from) != s.c.speed || pgn == 0 {
			return nil
		}
		raw, _, good := speed(&f.Data, pgn)
		if !good {
			return nil
		}
		if !ok {
			s.untimed++
			return nil
		}
		return s.give(now, s.era.speed, raw)
	case pgnHeading:
		if f.Len < 8 || !s.c.hasHeading || nodeOf(f.Bus, from) != s.c.heading {
			return nil
		}
		if raw, good := trueHeading(&f.Data); good && ok {
			return s.give(now, s.era.heading, raw)
		}
	case pgnCourse:
		if f.Len == 8 && s.c.hasCourse && nodeOf(f.Bus, from) == s.c.course && ok {
			s.course.heading, s.course.speed = course(&f.Data)
			s.course.at = now
		}
	case pgnPosition:
		if f.Len < 8 || s.c.receiver == nil || nodeOf(f.Bus, from) != s.c.receiver.node || !s.c.rapid {
			return nil
		}
		lat, lon, good := position(&f.Data)
		return s.place(now, ok, lat, lon, good)
	case pgnGNSS:
		if s.c.receiver == nil || nodeOf(f.Bus, from) != s.c.receiver.node {
			return nil
		}
		line, offset := s.sc.Line()
		b, whole := s.fast.take(f, pgn, from, line, offset)
		if !whole {
			return nil
		}
		g, good := gnssPosition(b)
		if !good {
			return nil
		}
		if ok {
			s.last, s.lastAt = g, now
		}
		if !s.c.rapid {
			return s.place(now, ok, g.lat, g.lon, g.placed)
		}
	}
	return nil
}

// place hands over a fix. The place is older than its message.
func (s *stream) place(now evenstand.Micros, timed bool, lat, lon float64, good bool) error {
	_, offset := s.sc.Line()
	if !good || !onEarth(lat, lon) {
		s.track.Nowhere(offset)
		return nil
	}
	if !timed {
		s.untimed++
		return nil
	}
	t := now - s.c.delay
	if !s.c.rapid {
		t = now - receiverDelay
		// the message itself says when it was
		if off := s.ck.offset; s.last.t != evenstand.NoTime && !math.IsNaN(off) {
			if own := s.last.t + evenstand.FromSeconds(off); span(own, t) < evenstand.Second {
				t = own
			}
		}
	}
	if s.fixed != evenstand.NoTime && t <= s.fixed && s.fixed-t < evenstand.Second {
		t = s.fixed + 1 // two ways to the time of a place may cross
	}
	s.fixed = t
	x := evenstand.NewFix(t, lat, lon)
	if s.lastAt != evenstand.NoTime && now-s.lastAt <= freshFix {
		x.Alt, x.HDOP, x.Sats, x.Kind = s.last.alt, s.last.hdop, s.last.sats, s.last.kind
	}
	if s.course.at != evenstand.NoTime && now-s.course.at <= freshCourse {
		x.Heading, x.Speed = s.course.heading, s.course.speed
	}
	return s.track.Add(x, offset)
}

// report hands over what was not used.
func (s *stream) report() {
	put := func(l left, of, why, do string) {
		if l.n > 0 {
			s.sink.Unused(evenstand.Unused{File: s.name, Line: l.line, Offset: l.offset, Count: l.n, Of: of, Why: why, Do: do})
		}
	}
	sc := s.sc
	put(sc.left[isBad], "lines", "they are no lines of a capture", "Send the file as it came from the logger; the other lines are used.")
	put(sc.left[isError], "lines", "error frames: the logger saw trouble on the bus", "Look at the plug of the logger, its speed (250 kbit/s) and the ends of the bus.")
	put(sc.left[isRemote], "lines", "remote frames, which planters do not send", "Nothing to do.")
	put(sc.left[isFD], "lines", "frames of CAN FD, which planters do not send", "Nothing to do.")
	put(sc.left[isShort], "lines", "frames with an 11-bit identifier, which are of another bus", "Nothing to do.")
	if sc.cut {
		line, offset := sc.Line()
		put(left{1, line, offset}, "lines", "the last line is cut", "Nothing to do if the logger was switched off; else copy the file again.")
	}
	put(s.sv.transport.lost, "messages", "messages in several packets of which packets are missing", "If descriptions are missing: plug the logger in before the key is turned on.")
	put(s.sv.tails, "messages", "descriptions of devices whose end cannot be read; what stands before it is used", "If rows or values are missing, ask the maker of the device for newer firmware.")
	put(s.sv.fast.lost, "messages", "receiver's messages of which frames are missing", "If there are many, the logger loses frames.")
	if s.c.receiver != nil {
		s.track.Report(s.name, s.sink)
	}
	for _, f := range s.feeds {
		f.Report(s.name, s.sink)
	}
	nowhere := left{n: s.r.nameless, offset: -1}
	put(nowhere, "records", "values of elements that no description names: "+s.nameless()+" never described itself while the logger listened",
		"Plug the logger in before the key is turned on; a capture of the same planter that holds its description may also lie in the same folder.")
	put(left{n: s.untimed, offset: -1}, "records", "nobody knows what time it was: "+s.whyUntimed(), "Write captures with their times (candump -l).")
}

func (s *stream) whyUntimed() string {
	switch {
	case s.times == NoTimes:
		return "the capture has no times, and no receiver's time lies near"
	case s.times == Relative:
		return "the capture's times count from its beginning, and no receiver tells when that was"
	}
	return "their lines have no time"
}

// nameless lists the addresses that gave values without a name.
func (s *stream) nameless() string {
	var words []string
	for n := range s.r.from {
		words = append(words, fmt.Sprintf("%02X", n.address()))
	}
	slices.Sort(words)
	words = slices.Compact(words)
	if len(words) == 1 {
		return "the device at address " + words[0]
	}
	return "the devices at addresses " + strings.Join(words, ", ")
}

// describe fills in what only reading could tell.
func (s *stream) describe(src evenstand.Source) evenstand.Source {
	src.Grade = evenstand.GradeD
	var main *era
	described := 0
	for _, e := range s.r.eras {
		if e.values > 0 {
			described++
		}
		if main == nil || e.values > main.values {
			main = e
		}
	}
	for _, f := range s.feeds {
		if g := f.Grade(); g < src.Grade {
			src.Grade = g
		}
	}
	src.ClockOffset, src.ClockError = s.ck.offset, s.ck.error
	notes := []string{fmt.Sprintf("%d frames of %s.", s.sv.frames, senders(s.sv.senders))}
	if s.ck.note != "" {
		notes = append(notes, s.ck.note)
	}
	l := main.layout
	src.Card = l.Card()
	src.Latency = l.Latency()
	if l.Planter != nil {
		src.Planter = l.Planter.Name
	}
	notes = append(notes, s.receiverNotes()...)
	notes = append(notes, s.speedNotes()...)
	if s.sv.tasks > 0 {
		notes = append(notes, fmt.Sprintf("The controller's task was begun %s.", times(s.sv.tasks)))
	}
	if s.lender != "" {
		notes = append(notes, "The devices did not describe themselves in this capture; their description is taken from "+s.lender+".")
	}
	if described > 1 {
		notes = append(notes, fmt.Sprintf("A device described itself anew, with other content, %s; the card is that of the part with most values.", times(described-1)))
	}
	if s.r.orders > 0 {
		notes = append(notes, fmt.Sprintf("%d values that the controller sent are neither measured nor rates or states that it asks for, such as totals that it hands back; they are left out.", s.r.orders))
	}
	if s.sv.process == 0 && len(main.pools) == 0 {
		notes = append(notes, "No planter spoke on this bus.")
	} else {
		notes = append(notes, l.Notes...)
		notes = append(notes, l.Missing()...)
	}
	for i, f := range s.feeds {
		if s.r.eras[min(i, len(s.r.eras)-1)] == main || len(s.feeds) == 1 {
			notes = append(notes, f.Notes()...)
		}
	}
	src.Notes = append(src.Notes, notes...)
	return src
}

func senders(n int) string {
	if n == 1 {
		return "1 sender"
	}
	return fmt.Sprintf("%d senders", n)
}

func times(n int) string {
	if n == 1 {
		return "once"
	}
	return fmt.Sprintf("%d times", n)
}

func (s *stream) receiverNotes() []string {
	r := s.c.receiver
	if r == nil {
		return []string{"No receiver on this bus tells where it was."}
	}
	var out []string
	if len(s.c.others) > 0 {
		var words []string
		for _, n := range s.c.others {
			words = append(words, fmt.Sprintf("%02X", n.address()))
		}
		out = append(out, fmt.Sprintf("%d receivers tell where they are; that at address %02X is used, which tells most, and not %s.", 1+len(words), r.node.address(), strings.Join(words, ", ")))
	}
	if r.fixed == 0 {
		out = append(out, "The receiver does not tell how it finds its place, nor the time.")
	}
	return out
}

func (s *stream) speedNotes() []string {
	var out []string
	switch s.c.speedGroup {
	case pgnGround:
		out = append(out, "The ground speed is the tractor's, over ground (65097).")
	case pgnWheel:
		out = append(out, "The ground speed is that of the tractor's wheels (65096), which is too high when they slip.")
	}
	if s.sv.simulated > 0 && s.c.speedGroup == pgnMachine {
		out = append(out, fmt.Sprintf("The tractor says of %d speeds that they are simulated. Look at its speed source; rates and places by them are not those of the ground.", s.sv.simulated))
	}
	if s.c.speeds > 1 {
		out = append(out, fmt.Sprintf("%d devices tell the ground speed; that at address %02X is used, which tells it most often.", s.c.speeds, s.c.speed.address()))
	}
	if s.r.speeds > 0 {
		out = append(out, fmt.Sprintf("%d ground speeds that devices tell the controller (397) are left out, for the tractor tells it to all.", s.r.speeds))
	}
	return out
}
