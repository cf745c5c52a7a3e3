package bus

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"evenstand"
)

// A receiver says where it was, and when, some time later: the message leaves
// it 0.05 to 0.2 s after the instant that it speaks of (common practice, no
// source). Nothing on the bus tells how much it is, so the middle is taken and
// the rest is doubt.
const (
	receiverDelay = evenstand.Second / 10
	delayDoubt    = 0.1 // s, half-width of the 90 % interval; judgement
	framesDoubt   = 0.5 // s, of frames that have only their order; judgement
)

// Limits of what is taken for a steady clock; judgement.
const (
	clockStep   = evenstand.Second / 2  // between two time messages, after which the clock was set
	steadyMost  = evenstand.Second / 20 // that the offset may move over the log
	steadyBeats = 5
	steadySpan  = 10 * evenstand.Second
	mostBeats   = 1 << 16
)

// beat is a message that says what time it is.
type beat struct {
	frame int64
	l     evenstand.Micros // the capture's time, NoTime none
	g     evenstand.Micros // what the message says
}

// beats keeps the time messages of one sender, thinned when there are many.
type beats struct {
	all   []beat
	every int64
	n     int64
}

func (b *beats) add(x beat) {
	if b.every == 0 {
		b.every = 1
	}
	if b.n%b.every == 0 {
		if len(b.all) == mostBeats {
			for i := range mostBeats / 2 {
				b.all[i] = b.all[2*i]
			}
			b.all = b.all[:mostBeats/2]
			b.every *= 2
		}
		if b.n%b.every == 0 {
			b.all = append(b.all, x)
		}
	}
	b.n++
}

// clock puts frames on one time.
type clock struct {
	mode   clockMode
	zone   evenstand.Micros // modeOwn: taken off the times as they stand
	loc    *time.Location   // modeZone
	hour   evenstand.Micros
	nodes  []clockNode
	at     int // cursor in nodes
	offset float64
	error  float64 // of offset, NaN unknown
	note   string
	last   evenstand.Micros
}

type clockMode uint8

const (
	modeNone   clockMode = iota // nobody knows what time it was
	modeOwn                     // the capture's own times
	modeZone                    // the same, in a zone that a person named
	modeFollow                  // the capture's times, put right by the receiver's all along
	modeFrames                  // between the receiver's times by the order of frames
)

// clockNode says how much the capture's clock is before the receiver's, delay
// and all, at one time message.
type clockNode struct {
	beat
	piece int // between two settings of the clock
}

// ahead is how much the capture's time lies before the receiver's.
func (n *beat) ahead() evenstand.Micros { return n.l - n.g }

// when gives the instant of a frame; false when it is not known.
func (c *clock) when(frame int64, l evenstand.Micros) (evenstand.Micros, bool) {
	t := l
	switch c.mode {
	case modeNone:
		return 0, false
	case modeOwn:
		t = l - c.zone
	case modeZone:
		if h := l / (3600 * evenstand.Second); c.loc != nil && l != evenstand.NoTime && (h != c.hour || c.zone == evenstand.NoTime) {
			u := l.Time()
			in := time.Date(u.Year(), u.Month(), u.Day(), u.Hour(), u.Minute(), u.Second(), 0, c.loc)
			c.hour, c.zone = h, evenstand.Micros(u.Unix()-in.Unix())*evenstand.Second
		}
		t = l - c.zone
	case modeFollow:
		if l != evenstand.NoTime {
			t = c.follow(frame, l)
		}
	case modeFrames:
		var ok bool
		if t, ok = c.between(frame); !ok {
			return 0, false
		}
	}
	if l == evenstand.NoTime && c.mode != modeFrames { // a line without a time among others
		return c.last, c.last != evenstand.NoTime
	}
	// frames that overtook each other on their way into the log
	if c.last != evenstand.NoTime && t < c.last && c.last-t < evenstand.Second {
		t = c.last
	}
	c.last = t
	return t, t > 0 && t < lastTime
}

// seek moves the cursor so that the frame lies between nodes at-1 and at.
func (c *clock) seek(frame int64) {
	for c.at < len(c.nodes) && c.nodes[c.at].frame <= frame {
		c.at++
	}
}

// follow puts a time right by the nodes around it.
func (c *clock) follow(frame int64, l evenstand.Micros) evenstand.Micros {
	c.seek(frame)
	var a, b *clockNode
	if c.at > 0 {
		a = &c.nodes[c.at-1]
	}
	if c.at < len(c.nodes) {
		b = &c.nodes[c.at]
	}
	var d evenstand.Micros
	switch {
	case a == nil:
		d = b.ahead()
	case b == nil:
		d = a.ahead()
	case a.piece != b.piece: // the clock was set in between: the nearer one knows it as it was
		d = a.ahead()
		if span(b.l, l) < span(a.l, l) {
			d = b.ahead()
		}
	case b.l <= a.l || l <= a.l:
		d = a.ahead()
	case l >= b.l:
		d = b.ahead()
	default:
		d = a.ahead() + evenstand.Micros(float64(b.ahead()-a.ahead())*float64(l-a.l)/float64(b.l-a.l))
	}
	return l - d + receiverDelay
}

func span(a, b evenstand.Micros) evenstand.Micros { return max(a-b, b-a) }

// edge is how far before the first and after the last time message the order
// of frames is trusted to tell the time; judgement.
const edge = 5 * evenstand.Second

// between gives the instant of a frame by its place between two time messages.
func (c *clock) between(frame int64) (evenstand.Micros, bool) {
	c.seek(frame)
	i := min(max(c.at, 1), len(c.nodes)-1)
	a, b := &c.nodes[i-1], &c.nodes[i]
	d := evenstand.Micros(float64(b.g-a.g) * float64(frame-a.frame) / float64(b.frame-a.frame))
	if d < -edge || d > b.g-a.g+edge {
		return 0, false
	}
	return a.g + d + receiverDelay, true
}

func median[T cmp.Ordered](xs []T) T {
	ys := slices.Clone(xs)
	slices.Sort(ys)
	return ys[len(ys)/2]
}

// decade is the year 2010: what is read here was hardly logged before it, and a
// receiver that is 1024 weeks behind tells such dates until 2029.
const decade = 1_262_304_000 * evenstand.Second

const week = 7 * 86_400 * evenstand.Second

// rollover puts dates right that a receiver gives 1024 weeks early, after its
// week counter began anew, where the capture's clock shows that.
func rollover(bs []beat, times Times) bool {
	if times != Absolute && times != Dated || len(bs) == 0 {
		return false
	}
	ds := make([]evenstand.Micros, len(bs))
	for i := range bs {
		ds[i] = bs[i].ahead()
	}
	if span(median(ds), 1024*week) > 2*86_400*evenstand.Second {
		return false
	}
	for i := range bs {
		bs[i].g += 1024 * week
	}
	return true
}

// nodesOf finds the lower edge of what the capture's clock is ahead: the
// smallest in each minute, for messages can come late but never early. Time
// messages that agree with neither neighbour are left out.
func nodesOf(bs []beat) []clockNode {
	var pieces [][]beat
	for i, b := range bs {
		if i == 0 || span(b.ahead(), bs[i-1].ahead()) > clockStep {
			pieces = append(pieces, nil)
		}
		k := len(pieces) - 1
		pieces[k] = append(pieces[k], b)
	}
	if len(pieces) > 1 {
		long := slices.DeleteFunc(slices.Clone(pieces), func(p []beat) bool { return len(p) < 3 })
		if len(long) > 0 {
			pieces = long
		}
	}
	var out []clockNode
	piece := 0
	for i, p := range pieces {
		if i > 0 && span(p[0].ahead(), pieces[i-1][len(pieces[i-1])-1].ahead()) > clockStep {
			piece++
		}
		low := p[0]
		for _, b := range p[1:] {
			if b.l-low.l > 60*evenstand.Second || b.l < low.l-60*evenstand.Second {
				out = append(out, clockNode{low, piece})
				low = b
				continue
			}
			if b.ahead() < low.ahead() {
				low = b
			}
		}
		out = append(out, clockNode{low, piece})
	}
	return out
}

const quarter = 15 * 60 * evenstand.Second

// newClock decides what time the frames were at. delta: times count from the
// line before. bs are the time messages of
// the best sender, from is what people call it; gnss says that it is a GNSS
// receiver's time. zone is the IANA name for times without one, whose says
// whose it is.
func newClock(times Times, delta bool, bs []beat, gnss bool, zone, whose string) (*clock, error) {
	c := &clock{offset: math.NaN(), error: math.NaN(), last: evenstand.NoTime}
	from := "the receiver's"
	if !gnss {
		from = "the tractor's"
	}
	rolled := ""
	if rollover(bs, times) {
		rolled = " The receiver's dates are 1024 weeks early, as those of old receivers are; they are put right."
	} else if old := slices.MinFunc(append([]beat{{g: decade}}, bs...), func(a, b beat) int { return cmp.Compare(a.g, b.g) }).g; old < decade {
		rolled = fmt.Sprintf(" That time goes back to %s: a receiver whose count of weeks has run over is 1024 weeks, or a multiple, behind. Such dates are not put right, for no other clock shows which they are.", old.Time().Format("2006-01-02"))
	}
	if times == NoTimes {
		c.nodes = rising(bs)
		if len(c.nodes) < 2 {
			return c, nil
		}
		c.mode = modeFrames
		if gnss {
			c.offset, c.error = 0, framesDoubt
		}
		c.note = fmt.Sprintf("The capture has no times; frames lie between %s times by their order, to within about %.1f s.%s", from, framesDoubt, rolled)
		return c, nil
	}
	c.nodes = nodesOf(bs)
	var low []evenstand.Micros
	for i := range c.nodes {
		low = append(low, c.nodes[i].ahead())
	}
	steady := len(bs) >= steadyBeats && bs[len(bs)-1].l-bs[0].l >= steadySpan &&
		c.nodes[len(c.nodes)-1].piece == 0 && slices.Max(low)-slices.Min(low) <= steadyMost
	if gnss && steady && times != Relative {
		off := median(low) - receiverDelay
		c.mode = modeOwn
		if times == Dated { // what the clock is ahead is its zone, and the rest
			c.zone = round(off, quarter)
		}
		off -= c.zone
		c.offset, c.error = off.Seconds(), math.Hypot(delayDoubt, (slices.Max(low)-slices.Min(low)).Seconds())
		c.note = "The capture's clock agrees with the receiver's" + fmt.Sprintf(" to within %.1f s.%s", c.error, rolled)
		if math.Abs(c.offset) > c.error {
			c.note = fmt.Sprintf("The capture's clock is %s the receiver's, to within %.1f s.%s", ahead(off), c.error, rolled)
		}
		return c, nil
	}
	switch {
	case len(bs) > 0 && (times == Relative || gnss && len(bs) >= steadyBeats):
		c.mode = modeFollow
		if gnss {
			c.offset, c.error = 0, math.Hypot(delayDoubt, 0.1)
		}
		why := "does not keep its time (it was set, or drifts)"
		if times == Relative {
			why = "counts from when the capture began"
			if delta {
				why = "counts from the line before"
			}
		}
		c.note = fmt.Sprintf("The capture's clock %s, so %s time is used.%s", why, from, rolled)
	case times == Relative:
	case times == Absolute:
		c.mode = modeOwn
		c.note = "No receiver on the bus tells the time, so nobody knows whether the capture's clock was right."
	case zone == "":
		return c, fmt.Errorf("its times have no zone and no receiver on the bus gives the time: %w. Find out which zone the logger's clock was set to, such as America/Chicago", evenstand.ErrNoZone)
	default:
		loc, err := time.LoadLocation(zone)
		if err != nil {
			return c, fmt.Errorf("time zone %q is not known; give one such as America/Chicago", zone)
		}
		c.mode, c.loc, c.zone = modeZone, loc, evenstand.NoTime
		c.note = "Its times have no zone; read as " + zone + "."
		if whose != "" {
			c.note = "Its times have no zone; read as " + whose + ", " + zone + "."
		}
	}
	return c, nil
}

// rising keeps the time messages that go forward; of those that do not, the
// later ones are left out.
func rising(bs []beat) []clockNode {
	var out []clockNode
	for _, b := range bs {
		if n := len(out); n > 0 && (b.g <= out[n-1].g || b.frame <= out[n-1].frame) {
			continue
		}
		out = append(out, clockNode{b, 0})
	}
	return out
}

func round(v, step evenstand.Micros) evenstand.Micros {
	if v < 0 {
		return -round(-v, step)
	}
	return (v + step/2) / step * step
}

// ahead says how far a clock is off.
func ahead(off evenstand.Micros) string {
	if off < 0 {
		return fmt.Sprintf("%.2f s behind", -off.Seconds())
	}
	return fmt.Sprintf("%.2f s ahead of", off.Seconds())
}
