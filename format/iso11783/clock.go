package iso11783

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
)

// clock turns the time fields of records into instants.
type clock struct {
	mode   clockMode
	offset int64 // ms, controller's clock minus UTC, for modeOffset
	zone   *time.Location
	zoneAt int64 // hour of the controller's clock for which zoneMs holds
	zoneMs int64

	lastLocal int64
	lastGPS   int64
	lastT     int64
	started   bool
}

type clockMode uint8

const (
	modeGPS    clockMode = iota // time and date of the receiver
	modeOffset                  // controller's clock with a proven offset
	modeZone                    // controller's clock in a zone that the person named
)

// localMillis is the controller's clock in ms since 1970 as if it were UTC.
func localMillis(r *LogRecord) int64 {
	return (int64(r.Date)+epoch1980)*dayMillis + int64(r.Millis)
}

// gpsMillis gives the receiver's UTC in ms since 1970; false when it says
// nothing. Dates that count from 1970 are 3652 too large, and receivers whose
// week counter rolled over are 1024 weeks (7168 days) early.
func gpsMillis(r *LogRecord) (int64, bool) {
	if r.GPSDate == 0 || r.GPSDate == math.MaxUint16 || r.GPSMillis >= dayMillis+1000 {
		return 0, false
	}
	day := int64(r.GPSDate)
	switch d := day - int64(r.Date); {
	case d >= 3651 && d <= 3653:
		day -= epoch1980
	case d >= -7169 && d <= -7167:
		day += 7168
	}
	return (day+epoch1980)*dayMillis + int64(r.GPSMillis), true
}

// at gives the instant of a record.
func (c *clock) at(r *LogRecord) evenstand.Micros {
	local := localMillis(r)
	switch c.mode {
	case modeOffset:
		return evenstand.Micros((local - c.offset) * 1000)
	case modeZone:
		hour := local / 3_600_000
		if !c.started || hour != c.zoneAt {
			c.started, c.zoneAt = true, hour
			t := time.UnixMilli(local).UTC()
			in := time.Date(t.Year(), t.Month(), t.Day(), t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), c.zone)
			c.zoneMs = local - in.UnixMilli()
		}
		return evenstand.Micros((local - c.zoneMs) * 1000)
	}
	gps, ok := gpsMillis(r)
	// before its first fix a receiver may give the day of its making
	ok = ok && abs64(local-gps-c.offset) < dayMillis
	t := gps
	if c.started {
		step := local - c.lastLocal
		// a receiver's time that stands still, or is slower than the log, is
		// carried on by the controller's clock
		if (!ok || gps == c.lastGPS) && step >= 0 && step < 60_000 {
			t = c.lastT + step
		} else if ok && gps < c.lastT && c.lastT-gps < 1000 {
			t = c.lastT
		}
	}
	if !ok && !c.started {
		t = local - c.offset
	}
	c.started, c.lastLocal, c.lastT = true, local, t
	if ok {
		c.lastGPS = gps
	}
	return evenstand.Micros(t * 1000)
}

// clockSurvey collects what a first look over the logs tells about the clock.
type clockSurvey struct {
	n         int64
	hasGPS    bool // the field is in the records
	hasDate   bool
	changes   int64 // records in which the receiver's time moved on with the log
	steps     int64 // records in which the log's time moved on
	last      LogRecord
	samples   []int64 // controller's clock minus UTC, ms, thinned
	times     []int64 // controller's clock of the samples, ms
	every     int64
	first     int64
	firstSeen bool
	back      int64 // times the controller's clock went back by more than a second
	epoch1970 int64 // records whose receiver date counts from 1970
}

const maxSamples = 4096

func (c *clockSurvey) take(r *LogRecord, h *Header) {
	if !c.firstSeen {
		c.firstSeen, c.first, c.every = true, localMillis(r), 1
	} else {
		step := localMillis(r) - localMillis(&c.last)
		if step < -1000 {
			c.back++
		}
		if step != 0 {
			c.steps++
			if r.GPSMillis != c.last.GPSMillis {
				c.changes++
			}
		}
	}
	c.hasGPS = c.hasGPS || h.Fields[fieldGPSTime] == InRecord
	c.hasDate = c.hasDate || h.Fields[fieldGPSDate] == InRecord
	if h.Fields[fieldGPSTime] == InRecord && c.n%c.every == 0 {
		if d, ok := c.difference(r, h); ok {
			if len(c.samples) == maxSamples {
				for i := range maxSamples / 2 {
					c.samples[i], c.times[i] = c.samples[2*i], c.times[2*i]
				}
				c.samples, c.times = c.samples[:maxSamples/2], c.times[:maxSamples/2]
				c.every *= 2
			}
			c.samples, c.times = append(c.samples, d), append(c.times, localMillis(r))
		}
	}
	if d := int(r.GPSDate) - int(r.Date); d >= 3651 && d <= 3653 {
		c.epoch1970++
	}
	c.last = *r
	c.n++
}

// difference is the controller's clock minus UTC in ms: from date and time, or
// from the time of day alone, when it lies within half a day.
func (c *clockSurvey) difference(r *LogRecord, h *Header) (int64, bool) {
	if h.Fields[fieldGPSDate] == InRecord {
		g, ok := gpsMillis(r)
		return localMillis(r) - g, ok
	}
	if r.GPSMillis >= dayMillis {
		return 0, false
	}
	d := int64(r.Millis) - int64(r.GPSMillis)
	if d > dayMillis/2 {
		d -= dayMillis
	} else if d <= -dayMillis/2 {
		d += dayMillis
	}
	return d, true
}

func median(xs []int64) int64 {
	ys := slices.Clone(xs)
	slices.Sort(ys)
	return ys[len(ys)/2]
}

// mostDrift is the rate at which two real clocks can drift apart: quartz clocks keep
// 100 parts in a million (common practice, no source); thrice that is doubted.
const mostDrift = 300e-6

// drift is the rate at which the controller's clock and the receiver's time go
// apart: the median over pairs a quarter of the log apart, so that a clock that
// was set once on the way does not count. NaN when the log is too short to say.
func (c *clockSurvey) drift() float64 {
	m := len(c.samples)
	if m < 16 || c.times[m-1]-c.times[0] < 60_000 {
		return math.NaN()
	}
	lag := m / 4
	var rates []float64
	for i := 0; i+lag < m; i++ {
		if dt := c.times[i+lag] - c.times[i]; dt > 0 {
			rates = append(rates, float64(c.samples[i+lag]-c.samples[i])/float64(dt))
		}
	}
	if len(rates) == 0 {
		return math.NaN()
	}
	slices.Sort(rates)
	return rates[len(rates)/2]
}

// quarter is 15 minutes in ms: zones are multiples of it.
const quarter = 15 * 60 * 1000

// decide picks the clock. note is a sentence for the person, empty when the
// receiver's time is plainly used. whose tells whose zone it is, if somebody
// else's than the source's own.
func (c *clockSurvey) decide(t *Task, zone, whose string) (ck clock, note string, err error) {
	// one record in ten at least: a receiver that gives its time once a second
	// to a log of ten records a second; a constant is no clock
	runs := len(c.samples) > 0 && (c.n == 1 && c.hasDate || c.steps > 0 && c.changes*20 >= c.steps)
	if runs {
		off := median(c.samples)
		ck.offset = off
		// half a second of slack over the lag, for receivers that step once a second
		if d := c.drift(); math.Abs(d) > mostDrift+2000/float64(c.times[len(c.times)-1]-c.times[0]+1) {
			ck.mode = modeOffset
			if r := roundTo(off, quarter); abs64(off-r) < 5000 {
				ck.offset = r
			}
			return ck, fmt.Sprintf("The receiver's time runs %.1f %% off the controller's clock, as a simulated receiver's does; the controller's clock is used.", 100*math.Abs(d)), nil
		}
		if r := roundTo(off, quarter); abs64(off-r) > 2000 {
			note = fmt.Sprintf("The controller's clock is %.1f s off its zone; the receiver's time is used.", float64(off-r)/1000)
		}
		if c.hasDate {
			ck.mode = modeGPS
			return ck, note, nil
		}
		ck.mode = modeOffset
		return ck, strings.TrimSpace(note + " The receiver gives the time of day only; the date is the controller's."), nil
	}
	// times in TASKDATA.XML that carry a zone prove the controller's offset when
	// they lie beside the log's first record
	for _, s := range t.Times {
		at, err := time.Parse(time.RFC3339Nano, s)
		if err != nil {
			continue
		}
		d := c.first - at.UnixMilli()
		r := roundTo(d, quarter)
		if abs64(d-r) <= 5*60*1000 && abs64(r) <= 14*3600*1000 {
			ck.mode, ck.offset = modeOffset, r
			return ck, fmt.Sprintf("The log's clock runs %s from UTC, as the times of the task list prove.", hours(r)), nil
		}
	}
	if zone != "" {
		loc, err := time.LoadLocation(zone)
		if err != nil {
			return ck, "", fmt.Errorf("time zone %q is not known; give one such as America/Chicago", zone)
		}
		ck.mode, ck.zone = modeZone, loc
		if whose != "" {
			return ck, "Its clock has no zone; read as " + whose + ", " + zone + ".", nil
		}
		return ck, "Its clock has no zone; read as " + zone + ".", nil
	}
	return ck, "", fmt.Errorf("the log's clock has no zone and its receiver gives no time: %w. Find out which zone the cab's clock was set to, such as America/Chicago", evenstand.ErrNoZone)
}

func hours(ms int64) string { return fmt.Sprintf("%+.2g h", float64(ms)/3.6e6) }

func abs64(v int64) int64 {
	if v < 0 {
		return -v
	}
	return v
}

func roundTo(v, step int64) int64 {
	if v < 0 {
		return -roundTo(-v, step)
	}
	return (v + step/2) / step * step
}
