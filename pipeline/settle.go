package pipeline

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"evenstand"
	"evenstand/core/align"
	"evenstand/core/find"
	"evenstand/core/ground"
)

// Settle derives one machine-day: the track is smoothed and the passes are
// known before the first seed is placed. Passes, track and readings go to out
// as they are finished; memory is that of the day's track and of one pass.
func Settle(ctx context.Context, day Day, out Output) (Result, error) {
	p, err := Prepare(ctx, day)
	if err != nil {
		return Result{}, err
	}
	return p.Walk(out)
}

// Prepared is a machine-day of which the clocks, the track and the passes are
// known, and that is still to be walked through.
type Prepared struct{ s *settler }

// Prepare is the first half of Settle: it looks over the day's streams, tells
// the clocks, smooths the track and finds the passes.
func Prepare(ctx context.Context, day Day) (*Prepared, error) {
	s := &settler{ctx: ctx, day: day, card: day.Card}
	var err error
	if s.midnight, err = nextDay(day.Date, day.Zone); err != nil {
		return nil, err
	}
	s.cut = s.midnight
	if err := s.survey(); err != nil {
		return nil, err
	}
	s.smoothTrack()
	changed := s.setClocks()
	s.lifts = s.liftTimes()
	s.heard = nil
	if changed { // what was read by another clock is looked over again
		if err := s.lookOver(); err != nil {
			return nil, err
		}
	}
	s.align()
	return &Prepared{s}, nil
}

// Walk is the second half of Settle: every event goes, in order of time,
// through the decoder, the measures and the detectors, and what comes of it to
// out. A day is walked once.
func (p *Prepared) Walk(out Output) (Result, error) {
	p.s.out = out
	if err := p.s.walk(); err != nil {
		return Result{}, err
	}
	return p.s.finish(), nil
}

// nextDay gives the instant at which the day after begins in a zone. Where
// clocks change at midnight a day is not the start plus 24 hours, nor begins
// at 0:00.
func nextDay(d evenstand.Day, zone *time.Location) (evenstand.Micros, error) {
	if _, err := d.Start(zone); err != nil {
		return evenstand.NoTime, err
	}
	date, err := time.Parse("2006-01-02", string(d))
	if err != nil {
		return evenstand.NoTime, err
	}
	next := evenstand.Day(date.AddDate(0, 0, 1).Format("2006-01-02"))
	at, err := next.Start(zone)
	if err != nil {
		return evenstand.NoTime, err
	}
	if evenstand.DayOf(at, zone) < next { // 0:00 is skipped: the day begins with the change
		if _, change := at.Time().In(zone).ZoneBounds(); !change.IsZero() {
			at = evenstand.FromTime(change)
		}
	}
	return at, nil
}

// settler holds what the steps of the walk share. The settled pass has path,
// passes and clocks before it walks; the live pass (live is set, out is not)
// lets them grow as it goes.
type settler struct {
	ctx      context.Context
	day      Day
	out      Output
	card     evenstand.Card
	live     *Live
	averaged float64                      // s over which the boxes average the shares that they log
	fixesTo  func(evenstand.Micros) error // hands the receiver's words over up to a time; nil live
	res      Result

	survey_ surveyed
	heard   []heard // by stream, until the clocks are known
	lifts   liftTimes
	timings []timing           // by stream
	boxes   []find.BoxClock    // whose clocks were told and that nobody declared, or not as they are
	stops   []evenstand.Micros // of the planter
	doubt   evenstand.Micros   // by which a box's times may be off that were declared
	track   *align.Track
	path    *align.Path
	passes  []evenstand.Pass
	engine  *find.Engine
	rows    []*rowState
	clocks  []seedClock // by stream
	sideOf  []int       // by row: index into sides, -1 none
	sides   []evenstand.Rows
	names   []string

	midnight evenstand.Micros // passes that begin later are the next day's
	cut      evenstand.Micros // events from here on are the next day's

	next      evenstand.Micros    // the full second at which is decided next
	keep      []evenstand.Reading // not yet handed over
	cur       int                 // index of the pass that time has reached
	here      *align.Cursor
	driven    *align.Cursor
	landing   *align.Cursor
	machine   *align.Cursor
	counted   *align.Cursor
	open      bool // the pass cur has begun
	lowered   bool
	tickN     int
	planting  bool
	pose      align.Pose
	fall      evenstand.Micros         // from the sensor to the furrow
	passOut   [][]evenstand.PlacedSeed // of the pass that ends, used again
	strOut    []evenstand.Stretch
	workedOut []evenstand.Worked
	silence   []span                       // of the seeds' boxes, in the pass that ends
	switches  *align.Cursor                // for what was switched on and what flowed
	flows     map[flowKey]evenstand.Micros // last reading of a product
	xs        []find.Strip                 // the same
	xsRows    []find.StripRow
	rowLists  map[evenstand.Element]evenstand.Rows // of the card, by element
	own       bool                                 // a row's own spacing stood in for a target
	noted     []evenstand.Entry                    // lines of the journal that the engine has not seen, in order of time

	granuleRows bool // rows log their granules

	lotNoted, planned bool // somebody wrote down a lot; a plan names one
}

// surveyed is what a first look over the day's streams tells.
type surveyed struct {
	fixes    []evenstand.Fix
	track    int // stream that the fixes come from, -1 none
	first    evenstand.Micros
	last     evenstand.Micros
	maxRow   int
	lowering *align.Lowering
	seeds    []seedsSeen // by stream
	counts   bool
	targets  bool
	parts    map[evenstand.Element]uint64 // sides and sections, with the set of their quantities
	sources  []sourceSeen
	byRow    uint64 // the set of quantities that rows log,
	whole    uint64 // and of those that the machine or a tank logs
}

// seedClock is what is known of the clock of a stream's seeds.
type seedClock struct {
	lag    float64 // s by which seeds follow the speed that drove them
	refuse string  // why the rhythm may not be read; empty when it may
}

type sourceSeen struct {
	last evenstand.Micros
	gaps []Gap
	n    int64
}

// see notes that a source logged something at t.
func (s *settler) see(i int, t evenstand.Micros) {
	v := &s.survey_
	if t >= s.midnight {
		return
	}
	if v.first == evenstand.NoTime || t < v.first {
		v.first = t
	}
	if t > v.last {
		v.last = t
	}
}

// survey reads the fixes and the states, and counts seeds by time.
func (s *settler) survey() error {
	v := &s.survey_
	v.track = -1
	s.timings = make([]timing, len(s.day.Streams))
	s.heard = make([]heard, len(s.day.Streams))
	for i := range s.timings {
		s.timings[i].declare(&s.day.Streams[i].Source)
	}
	best := 0
	for i := range s.day.Streams {
		st := &s.day.Streams[i]
		if st.Source.Card != nil {
			s.card = mergeCard(s.card, *st.Source.Card)
		}
		if st.Fixes == nil {
			continue
		}
		var fixes []evenstand.Fix
		tm := &s.timings[i]
		err := st.Fixes(func(b []evenstand.Fix) bool {
			fixes = room(fixes, len(b))
			for _, f := range b {
				f.T = tm.at(f.T)
				if f.T < s.day.From {
					continue
				}
				fixes = append(fixes, f)
			}
			return s.ctx.Err() == nil
		})
		if err := firstErr(err, s.ctx.Err()); err != nil {
			return err
		}
		if len(fixes) > best {
			best = len(fixes)
			if v.track >= 0 {
				s.note("Positions of %s are not used: %s has more.", s.day.Streams[v.track].Source.Name, st.Source.Name)
			}
			v.fixes, v.track = fixes, i
		} else if len(fixes) > 0 {
			s.note("Positions of %s are not used: %s has more.", st.Source.Name, s.day.Streams[v.track].Source.Name)
		}
	}
	return s.lookOver()
}

// room makes room for n more, for twice as many as there are when there is
// none: a day's slices are copied seldom while they grow.
func room[T any](x []T, n int) []T {
	if cap(x)-len(x) >= n {
		return x
	}
	return slices.Grow(x, max(n, len(x)))
}

// lookOver reads states and seeds, by the clocks as they are known so far.
func (s *settler) lookOver() error {
	v := &s.survey_
	v.first, v.last, v.maxRow = evenstand.NoTime, evenstand.NoTime, 0
	v.sources = make([]sourceSeen, len(s.day.Streams))
	v.seeds = make([]seedsSeen, len(s.day.Streams))
	v.parts = map[evenstand.Element]uint64{}
	for _, f := range v.fixes {
		s.see(v.track, f.T)
	}
	v.lowering = align.NewLowering(s.card.Rows)
	for i := range s.day.Streams {
		st := &s.day.Streams[i]
		tm := &s.timings[i]
		var ear *heard
		if s.heard != nil {
			ear = &s.heard[i]
		}
		tm.restart()
		if st.Readings != nil {
			err := st.Readings(func(b []evenstand.Reading) bool {
				for _, r := range b {
					if ear != nil {
						ear.reading(r)
					}
					r.T = tm.at(r.T)
					if r.T < s.day.From {
						continue
					}
					s.see(i, r.T)
					if r.Element.Scope == evenstand.ScopeRow && r.Quantity != evenstand.Raw {
						v.maxRow = max(v.maxRow, int(r.Element.N))
					}
					v.logged(r)
					switch r.Element.Scope {
					case evenstand.ScopeLeft, evenstand.ScopeRight, evenstand.ScopeSection:
						if r.Quantity != evenstand.Raw {
							v.parts[r.Element] |= 1 << r.Quantity
						}
					}
					switch r.Quantity {
					case evenstand.ImplementLifted, evenstand.RowWorking, evenstand.RowEnabled:
						v.lowering.Reading(r)
					case evenstand.SeedCount, evenstand.SeedRate:
						v.counts = true
						v.lowering.Reading(r)
					case evenstand.SeedRateTarget:
						v.targets = true
					}
				}
				return s.ctx.Err() == nil
			})
			if err := firstErr(err, s.ctx.Err()); err != nil {
				return err
			}
		}
		tm.restart()
		if st.Seeds != nil {
			err := st.Seeds(func(b []evenstand.Seed) bool {
				for _, x := range b {
					if ear != nil {
						ear.seed(x)
					}
					x.T = tm.at(x.T)
					if x.T < s.day.From {
						continue
					}
					s.see(i, x.T)
					v.maxRow = max(v.maxRow, int(x.Row))
					v.seeds[i].add(x, s.midnight)
					v.lowering.Seed(x)
				}
				return s.ctx.Err() == nil
			})
			if err := firstErr(err, s.ctx.Err()); err != nil {
				return err
			}
		}
	}
	return nil
}

func firstErr(errs ...error) error {
	for _, e := range errs {
		if e != nil {
			return e
		}
	}
	return nil
}

func (s *settler) note(format string, a ...any) {
	n := fmt.Sprintf(format, a...)
	if !slices.Contains(s.res.Notes, n) {
		s.res.Notes = append(s.res.Notes, n)
	}
}

// mergeCard fills what the card leaves open with what a log says.
func mergeCard(card, log evenstand.Card) evenstand.Card {
	if card.Rows == 0 {
		card.Rows = log.Rows
		card.Geometry.RowY = log.Geometry.RowY
	} else if card.Geometry.RowY == nil && log.Rows == card.Rows && math.IsNaN(card.RowSpacing) {
		card.Geometry.RowY = log.Geometry.RowY
	}
	fill := func(to *float64, from float64) {
		if math.IsNaN(*to) {
			*to = from
		}
	}
	fill(&card.RowSpacing, log.RowSpacing)
	g, l := &card.Geometry, log.Geometry
	if g.Hitch == evenstand.HitchUnknown {
		g.Hitch = l.Hitch
	}
	fill(&g.AntennaToHitch, l.AntennaToHitch)
	fill(&g.HitchToRowLine, l.HitchToRowLine)
	fill(&g.AntennaRight, l.AntennaRight)
	fill(&g.SeedFall, l.SeedFall)
	if len(card.Meters) == 0 {
		card.Meters = log.Meters
	}
	if len(card.Groups) == 0 {
		card.Groups = log.Groups
	}
	if len(card.Sections) == 0 {
		card.Sections = log.Sections
	}
	if len(card.Tanks) == 0 {
		card.Tanks = log.Tanks
	}
	if card.Name == "" {
		card.Name = log.Name
	}
	return card
}

// align makes the path of the bar and the passes, and readies the stages.
func (s *settler) align() {
	v := &s.survey_
	if s.card.Rows == 0 && v.maxRow > 0 {
		s.card.Rows = v.maxRow
		s.note("No planter card says how many rows there are; the logs hold %d.", v.maxRow)
	} else if v.maxRow > s.card.Rows {
		s.note("The logs hold row %d, the planter card has %d rows: rows beyond the card are not used. Correct the card if the planter is wider.", v.maxRow, s.card.Rows)
	}
	s.clipCard()
	if math.IsNaN(s.card.RowSpacing) {
		s.note("The spacing of the rows is not known: no area and no money can be said. Give a planter card with row_spacing_m.")
	}
	for _, n := range s.track.Report.Notes() {
		s.note("%s", n)
	}
	s.path = align.BarPath(s.track, s.card.Geometry, align.DefaultPath())
	down, basis := v.lowering.Intervals(s.path)
	if sd := s.tellBehind(down, basis); sd > 0 {
		s.path = align.BarPath(s.track, s.card.Geometry, align.DefaultPath())
		s.path.Widen(sd)
		down, basis = v.lowering.Intervals(s.path)
	}
	for _, n := range s.path.Notes {
		s.note("%s", n)
	}
	s.pickSeeds()
	v.trackGaps(gapLeast + s.doubt)
	v.fixes = nil
	s.noteMissing(basis)
	// A place is as good as the worst of the clocks.
	clockErr := math.NaN()
	for i := range s.day.Streams {
		if v.seeds[i].used() {
			e := s.declared(i)
			if math.IsNaN(e) {
				clockErr = e
				break
			}
			if !(clockErr >= e) {
				clockErr = e
			}
		}
	}
	width := float64(s.card.Rows) * s.card.RowSpacing
	s.passes = align.Passes(s.path, down, align.PassOptions{Planter: s.day.Planter, Fields: s.day.Fields, Width: width, ClockError: clockErr, FallSD: 0.005})
	s.ownPasses()
	s.judgeClocks()
	s.start()
}

// smoothTrack makes the antenna's track of the fixes.
func (s *settler) smoothTrack() {
	v := &s.survey_
	lat, lon := 0.0, 0.0
	if len(v.fixes) > 0 {
		var lats, lons []float64
		for i := 0; i < len(v.fixes); i += max(1, len(v.fixes)/999) {
			if f := v.fixes[i]; f.Lat != 0 || f.Lon != 0 {
				lats = append(lats, f.Lat)
				lons = append(lons, f.Lon)
			}
		}
		if len(lats) > 0 {
			slices.Sort(lats)
			slices.Sort(lons)
			lat, lon = lats[len(lats)/2], lons[len(lons)/2]
		}
	}
	frame := ground.NewFrame(lat, lon)
	s.track = align.Smooth(v.fixes, frame, align.DefaultSmooth())
}

// clipCard leaves out of the card's row lists what lies beyond its rows: a log
// may describe another planter than the card does.
func (s *settler) clipCard() {
	c := &s.card
	var beyond []string
	clip := func(what string, r evenstand.Rows) evenstand.Rows {
		keep := make(evenstand.Rows, 0, len(r))
		for _, n := range r {
			if n >= 1 && n <= c.Rows {
				keep = append(keep, n)
			}
		}
		if len(keep) < len(r) {
			beyond = append(beyond, what)
		}
		return keep
	}
	c.Meters, c.Groups, c.Sections, c.Tanks = slices.Clone(c.Meters), slices.Clone(c.Groups), slices.Clone(c.Sections), slices.Clone(c.Tanks)
	for i := range c.Meters {
		c.Meters[i].Rows = clip(fmt.Sprintf("meter %d", i+1), c.Meters[i].Rows)
	}
	for i := range c.Groups {
		g := &c.Groups[i]
		g.Rows = clip(g.Kind+" group "+g.Name, g.Rows)
	}
	for i := range c.Sections {
		c.Sections[i].Rows = clip(fmt.Sprintf("section %d", c.Sections[i].Number), c.Sections[i].Rows)
	}
	for i := range c.Tanks {
		c.Tanks[i].Feeds = clip(fmt.Sprintf("tank %d", c.Tanks[i].Number), c.Tanks[i].Feeds)
	}
	if len(beyond) > 0 {
		s.note("Rows beyond the card's %d are left out of %s. Correct the planter card if the planter is wider, or its row lists.", c.Rows, strings.Join(beyond, ", "))
	}
}

// ownPasses keeps the passes that begin on this day; one that runs over
// midnight belongs to the day it began, and the next day begins at its end.
func (s *settler) ownPasses() {
	keep := s.passes[:0]
	for _, p := range s.passes {
		if p.Start >= s.midnight || (s.day.From != evenstand.NoTime && p.Start < s.day.From) {
			continue
		}
		p.Index = int32(len(keep))
		keep = append(keep, p)
	}
	s.passes = keep
	s.res.Until = evenstand.NoTime
	if n := len(keep); n > 0 && keep[n-1].End+passTail >= s.midnight {
		s.res.Until = keep[n-1].End + passTail
		s.cut = s.res.Until
		s.survey_.last = max(s.survey_.last, keep[n-1].End)
	}
}

// start readies rows, engine and cursors.
func (s *settler) start() {
	if fall := s.card.Geometry.SeedFall; !math.IsNaN(fall) {
		s.fall = evenstand.FromSeconds(fall)
	}
	cfg := find.Config{Planter: s.day.Planter, Rows: s.card.Rows, Spacing: s.card.RowSpacing, Limits: s.day.Limits}
	for i := range s.day.Streams {
		cfg.Averaged = math.Max(cfg.Averaged, s.day.Streams[i].Source.Average)
	}
	s.averaged = cfg.Averaged
	s.sideOf = make([]int, s.card.Rows+1)
	for i := range s.sideOf {
		s.sideOf[i] = -1
	}
	for _, g := range s.card.Groups {
		if g.Kind == "vacuum" {
			for _, r := range g.Rows {
				if r < len(s.sideOf) {
					s.sideOf[r] = len(s.sides)
				}
			}
			s.sides = append(s.sides, g.Rows)
			s.names = append(s.names, g.Name)
		}
	}
	cfg.Sides, cfg.Names = s.sides, s.names
	for r := 1; r <= s.card.Rows; r++ {
		cfg.Cells = append(cfg.Cells, s.card.Cells(r))
		cfg.Crop = append(cfg.Crop, s.card.Crop(r))
		s.rows = append(s.rows, newRowState(r, &s.card))
	}
	cfg.Starter, cfg.Tanks = s.starters(), s.tanks()
	for i := range s.day.Streams {
		box, _, _ := strings.Cut(s.day.Streams[i].Source.Name, "/") // less the file
		cfg.Sources = append(cfg.Sources, box)
	}
	s.engine = find.New(cfg)
	s.engine.ClockDoubt(s.doubt.Seconds())
	for i := range s.timings {
		for _, h := range s.timings[i].lost() {
			s.engine.ClockSet(i, h[0], h[1])
		}
	}
	s.here, s.driven, s.landing, s.machine, s.counted, s.switches = s.path.Cursor(), s.path.Cursor(), s.path.Cursor(), s.path.Cursor(), s.path.Cursor(), s.path.Cursor()
}

// finish ends the day.
func (s *settler) finish() Result {
	v := &s.survey_
	s.res.AsOf, s.res.Card = v.last, s.card
	end := v.last
	s.endGaps()
	switch {
	case s.own && v.targets && math.IsNaN(s.card.RowSpacing):
		s.note("The target rate is logged but cannot be used without the spacing of the rows: spacing, skips and doubles are judged by each row's own most frequent spacing, so a rate that is wrong on all rows cannot be seen, nor uneven spacing of one row, and no ground or money can be said. Say on the planter card how far the rows stand apart.")
	case s.own:
		s.note("No target rate is logged: spacing, skips and doubles are judged by each row's own most frequent spacing, so a rate that is wrong on all rows cannot be seen, nor uneven spacing of one row, and no ground or money can be said. Switch on the log of the target rate.")
	}
	s.noteSpeed()
	s.noteUntold()
	s.hearNotes(max(s.midnight, s.cut))
	s.res.OnBoard = s.engine.OnBoard() // with fills that were written down after the last log
	s.noteLots()
	fs := s.engine.Finish(end)
	if f, ok := find.ClockOff(s.boxes, s.stops); ok {
		i, _ := slices.BinarySearchFunc(fs, f.Alarm+1, func(x evenstand.Finding, t evenstand.Micros) int { return cmp.Compare(x.Alarm, t) })
		fs = slices.Insert(fs, i, f)
	}
	for i := range fs {
		s.locate(&fs[i])
	}
	s.res.Findings = fs
	for i := range s.day.Streams {
		src := s.day.Streams[i].Source
		c := s.timings[i].said
		c.Source, c.Gaps, c.Against = src.Name, v.sources[i].gaps, s.timings[i].against
		s.res.Clocks = append(s.res.Clocks, c)
	}
	return s.res
}

// locate says in which field and passes a finding lies.
func (s *settler) locate(f *evenstand.Finding) {
	f.Day, f.Planter = s.day.Date, s.day.Planter
	f.Passes = []evenstand.PassRef{}
	f.Field = evenstand.Unassigned
	end := s.survey_.last
	if f.Until != nil {
		end = *f.Until
	}
	for _, p := range s.passes {
		if p.End >= f.Since && p.Start <= end {
			if len(f.Passes) == 0 {
				f.Field = p.Field
			}
			ref := evenstand.PassRef{Key: p.Key, Number: p.Number}
			if p.Field != f.Field {
				ref.Field = p.Field
			}
			f.Passes = append(f.Passes, ref)
		}
	}
}
