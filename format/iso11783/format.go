package iso11783

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"

	"evenstand"
)

// Format reads task data. The zero value is ready.
type Format struct {
	// Zone is the IANA name of the zone that a log's clock is read in when the
	// log names none and its receiver gives no time; empty: such a log is an
	// error. Whoever sets it says where it comes from: Whose, such as "the
	// logbook's".
	Zone, Whose string
}

var _ evenstand.Format = Format{}

// Name is "task data".
func (Format) Name() string { return "task data" }

// job is one source: the logs of a task that can be joined.
type job struct {
	name string
	set  *Set
	task *Task
	logs []*Log
}

// jobs lists the sources of an input and what of it cannot be used.
func jobs(ctx context.Context, in fs.FS) (js []job, sets []*Set, claimed []string, unused []evenstand.Unused, err error) {
	sets, unused, err = Open(ctx, in)
	if err != nil {
		return nil, nil, nil, nil, err
	}
	for _, s := range sets {
		unused = append(unused, s.Unused...)
		claimed = append(claimed, s.names...)
		if !slices.Contains(s.names, s.Main) && s.files["TASKDATA.XML"] != "" {
			claimed = append(claimed, s.Main)
		}
		prefix := ""
		if len(sets) > 1 && s.Dir != "." {
			prefix = s.Dir + " "
		}
		var empties []string
		asked := false
		found := make([][]*Log, len(s.Tasks))
		for k, t := range s.Tasks {
			if ctx.Err() != nil {
				return nil, nil, nil, nil, ctx.Err()
			}
			var logs []*Log
			for _, name := range t.Logs {
				asked = true
				file := path.Join(s.Dir, name)
				l, err := s.OpenLog(name)
				switch {
				case err != nil:
					if f, ok := s.file(name + ".BIN"); ok {
						file = f
					}
					unused = append(unused, evenstand.Unused{File: file, Offset: -1, Count: 1, Of: "files", Why: err.Error(), Do: "The other logs of the set are used."})
				case l.Header.Time != InRecord && !l.untold(s):
					unused = append(unused, evenstand.Unused{File: l.BIN, Offset: -1, Count: 1, Of: "files", Why: "its records carry no time, so nobody can tell when they were", Do: "Switch on time in the box's logging."})
				case l.empty():
					empties = append(empties, l.BIN)
				default:
					logs = append(logs, l)
				}
			}
			found[k] = logs
		}
		s.adopt(found)
		for k, t := range s.Tasks {
			lanes, broken := s.lanes(found[k])
			for _, l := range broken {
				unused = append(unused, evenstand.Unused{File: l.BIN, Offset: 0, Count: max(l.Size, 1), Of: "bytes", Why: "no record in it can be read", Do: "Copy the folder again; the other logs are used."})
			}
			for i, lane := range lanes {
				name := prefix + t.label()
				if i > 0 {
					name = fmt.Sprintf("%s, box %d", name, i+1)
				}
				js = append(js, job{name, s, t, lane})
			}
		}
		if len(empties) > 0 {
			unused = append(unused, evenstand.Unused{
				File: empties[0], Offset: -1, Count: int64(len(empties)), Of: "files",
				Why: fmt.Sprintf("%d empty logs: the box opened and closed a task without logging anything (%s)", len(empties), list(empties)),
				Do:  "Nothing to do, unless the planter worked at that time: then switch on the logging of its values.",
			})
		}
		if !asked {
			unused = append(unused, evenstand.Unused{
				File: s.Main, Offset: -1, Count: 1, Of: "files",
				Why: "its tasks hold no time logs, only plans", Do: "Nothing to do, unless the planter worked: then take the folder out of the cab again, with its TLG files.",
			})
		}
	}
	if len(sets) > 0 {
		claimed = append(claimed, side(in)...)
	}
	slices.Sort(claimed)
	return js, sets, slices.Compact(claimed), unused, nil
}

// adopt gives logs that no task names to the task beside whose logs they ran,
// for a list of tasks that is cut may name one of two parallel logs.
func (s *Set) adopt(found [][]*Log) {
	last := len(s.Tasks) - 1
	if last < 1 || s.Tasks[last].ID != "" {
		return
	}
	heads := map[*Log]LogRecord{}
	for _, logs := range found {
		for _, l := range logs {
			if sp, ok := s.ends(l, false); ok {
				heads[l] = sp[0]
			}
		}
	}
	var left []*Log
	for _, l := range found[last] {
		head, ok := heads[l]
		home := -1
		for k := range last {
			for _, o := range found[k] {
				if h, has := heads[o]; ok && has && sameKey(&h, &head) {
					home = k
				}
			}
		}
		if home < 0 {
			left = append(left, l)
			continue
		}
		found[home] = append(found[home], l)
	}
	found[last] = left
}

// untold tells whether the records hold a time although the header does not
// list it, as some old controllers wrote.
func (l *Log) untold(s *Set) bool {
	f, err := s.fsys.Open(l.BIN)
	if err != nil {
		return false
	}
	defer f.Close()
	sc := NewScanner(l.Header, f)
	if sc.Next() && sc.OldLayout() {
		l.Header = l.Header.full()
		return true
	}
	return false
}

// empty tells a log that a controller opened and closed again: no columns and
// one record at most.
func (l *Log) empty() bool {
	return l.Size == 0 || len(l.Header.Columns) == 0 && l.Size >= 0 && l.Size < 2*int64(l.Header.headSize())
}

func list(names []string) string {
	base := make([]string, 0, 6)
	for i, n := range names {
		if i == 5 && len(names) > 6 {
			base = append(base, "…", path.Base(names[len(names)-1]))
			break
		}
		base = append(base, path.Base(n))
	}
	return strings.Join(base, ", ")
}

// side lists the side files that a Mac adds to folders and archives.
func side(in fs.FS) []string {
	var out []string
	_ = fs.WalkDir(in, ".", func(name string, d fs.DirEntry, err error) error {
		if err == nil && !d.IsDir() && (strings.HasPrefix(path.Base(name), "._") || strings.Contains("/"+strings.ToUpper(name), "/__MACOSX/")) {
			up := strings.ToUpper(strings.TrimPrefix(path.Base(name), "._"))
			if ownFile.MatchString(up) {
				out = append(out, name)
			}
		}
		return nil
	})
	return out
}

func (j *job) source() evenstand.Source {
	files := append([]string{j.set.Main}, j.set.Parts...)
	if j.set.LinkList != "" {
		files = append(files, j.set.LinkList)
	}
	for _, l := range j.logs {
		files = append(files, l.XML, l.BIN)
	}
	nan := math.NaN()
	return evenstand.Source{
		Name: j.name, Format: Format{}.Name(), Files: files, ClockOffset: nan, ClockError: nan, Latency: nan,
		Clock: "task data " + j.set.Dir,
	}
}

// Find lists a source for every task with logs. It reads the XML files and the
// ends of logs that may run side by side.
func (Format) Find(ctx context.Context, in fs.FS) ([]evenstand.Source, []string, []evenstand.Unused, error) {
	js, sets, claimed, unused, err := jobs(ctx, in)
	if err != nil {
		return nil, nil, nil, err
	}
	var sources []evenstand.Source
	for i := range js {
		sources = append(sources, js[i].source())
	}
	for _, s := range sets {
		for _, t := range s.Tasks {
			if _, err := s.ReadGrid(t); err != nil {
				file := s.Main
				if f, ok := s.file(t.grid.text("G") + ".BIN"); ok {
					file = f
				}
				unused = append(unused, evenstand.Unused{File: file, Offset: -1, Count: 1, Of: "files", Why: "the prescription is refused: " + strings.TrimPrefix(err.Error(), file+": "), Do: "Ask for the prescription again; the logs do not depend on it."})
			}
		}
	}
	return sources, claimed, unused, nil
}

// survey is what a first look over the logs of a task tells.
type survey struct {
	clock   clockSurvey
	columns []Column
	told    Told
	yaw     yawSurvey
	moved   bool
	records int64
}

// Read streams a source that Find listed, fixes and readings each in time
// order. It goes over the logs twice: first for the
// clock and for the offsets that only the log tells.
func (f Format) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	js, _, _, _, err := jobs(ctx, in)
	if err != nil {
		return src, err
	}
	i := slices.IndexFunc(js, func(j job) bool { return j.name == src.Name })
	if i < 0 {
		return src, fmt.Errorf("%s: the input holds no such task any more. Read the input again", src.Name)
	}
	j := &js[i]
	sv, err := j.survey(ctx)
	if err != nil {
		return src, err
	}
	zone, whose := src.Zone, ""
	if zone == "" {
		zone, whose = f.Zone, f.Whose
	}
	ck, note, err := sv.clock.decide(j.task, zone, whose)
	if err != nil {
		return src, fmt.Errorf("%s: %w", j.name, err)
	}
	src.Zone = ""
	if ck.mode == modeZone {
		src.Zone = zone
	}
	layout := j.set.NewLayout(j.task, sv.columns, sv.told.Value)
	return j.stream(ctx, src, sink, sv, ck, note, layout)
}

func (j *job) survey(ctx context.Context) (*survey, error) {
	join, err := j.set.Join(j.logs)
	if err != nil {
		return nil, err
	}
	defer join.Close()
	sv := &survey{columns: join.Columns, told: Told{}}
	watch := make([]bool, len(join.Columns))
	yaw := -1
	for i, c := range join.Columns {
		watch[i] = c.Told()
		if c.DDI == ddiYaw && yaw < 0 {
			yaw = i
		}
	}
	var first LogRecord
	for n := 0; join.Next(); n++ {
		if n&0xfff == 0 && ctx.Err() != nil {
			return nil, ctx.Err()
		}
		r := join.Record()
		sv.clock.take(&r.LogRecord, join.scan[r.Log].h)
		if n == 0 {
			first = r.LogRecord
		}
		sv.moved = sv.moved || r.North != first.North || r.East != first.East
		for _, v := range r.Values {
			if watch[v.Column] {
				sv.told.Take(join.Columns[v.Column], v.Raw)
			}
			if v.Column == yaw && v.Raw != Missing {
				sv.yaw.set(float64(v.Raw) / 1000)
			}
		}
		if yaw >= 0 {
			sv.yaw.move(&r.LogRecord)
		}
		sv.records++
	}
	return sv, nil
}

// yawSurvey compares the logged yaw angle with the way the machine goes: a yaw
// that is not counted from north is no heading.
type yawSurvey struct {
	yaw      float64
	has      bool
	at       LogRecord
	started  bool
	sin, cos float64
	n        int
}

func (y *yawSurvey) set(deg float64) { y.yaw, y.has = deg, true }

func (y *yawSurvey) move(r *LogRecord) {
	if !y.started {
		y.at, y.started = *r, true
		return
	}
	dn := float64(r.North-y.at.North) * 1e-7 * 111_195 // m per degree on the mean sphere
	de := float64(r.East-y.at.East) * 1e-7 * 111_195 * math.Cos(float64(r.North)*1e-7*math.Pi/180)
	d := math.Hypot(dn, de)
	if d < 1 {
		return
	}
	dt := localMillis(r) - localMillis(&y.at)
	if y.has && d < 20 && dt > 0 && dt < 3000 {
		a := (math.Atan2(de, dn)*180/math.Pi - y.yaw) * math.Pi / 180
		y.sin, y.cos, y.n = y.sin+math.Sin(a), y.cos+math.Cos(a), y.n+1
	}
	y.at = *r
}

// heading tells whether the yaw is the heading: within 15 degrees on average
// and steady, over 20 m at least (judgement).
func (y *yawSurvey) heading() bool {
	return y.n >= 20 && math.Hypot(y.sin, y.cos) > 0.9*float64(y.n) && math.Abs(math.Atan2(y.sin, y.cos)) < 15*math.Pi/180
}

func (j *job) stream(ctx context.Context, src evenstand.Source, sink evenstand.Sink, sv *survey, ck clock, clockNote string, layout *Layout) (evenstand.Source, error) {
	join, err := j.set.Join(j.logs)
	if err != nil {
		return src, err
	}
	defer join.Close()
	em := j.set.NewFeed(layout, join.Columns, sink, sv.yaw.heading())
	tr := NewTrack(sink)
	runErr := func() error {
		for n := 0; join.Next(); n++ {
			if n&0x3ff == 0 {
				if err := ctx.Err(); err != nil {
					return err
				}
				sink.Progress(join.Read())
			}
			r := join.Record()
			now := ck.at(&r.LogRecord)
			if err := em.At(now, r.Values, r.Ended); err != nil {
				return err
			}
			fix, ok := fixOf(now, &r.LogRecord, join.scan[r.Log].h)
			if !ok {
				tr.Nowhere(r.Offset)
				continue
			}
			if em.yawTrue && now-em.headingAt <= silence {
				fix.Heading = em.heading
			}
			if err := tr.Add(fix, r.Offset); err != nil {
				return err
			}
		}
		return nil
	}()
	if err := tr.End(); err != nil && runErr == nil {
		runErr = err
	}
	if err := em.Flush(); err != nil && runErr == nil {
		runErr = err
	}
	sink.Progress(join.Read())
	for i, l := range j.logs {
		s := join.Scanner(i)
		for _, d := range s.Damage() {
			sink.Unused(evenstand.Unused{File: l.BIN, Offset: d.Offset, Count: d.Bytes, Of: "bytes", Why: d.Why, Do: "Copy the folder again if you can; what stands before and after is used."})
		}
		if err := s.Err(); err != nil {
			sink.Unused(evenstand.Unused{File: l.BIN, Offset: s.Offset(), Count: 1, Of: "files", Why: "cannot be read further: " + err.Error(), Do: "Copy the file again; what was read before is used."})
		}
	}
	tr.Report(j.logs[0].BIN, sink)
	em.Report(j.logs[0].BIN, sink)
	src = j.describe(src, sv, ck, clockNote, layout, em, tr, join)
	if runErr != nil && !errors.Is(runErr, context.Canceled) {
		runErr = fmt.Errorf("%s: %w", j.name, runErr)
	}
	return src, runErr
}

// describe fills in what only reading could tell.
func (j *job) describe(src evenstand.Source, sv *survey, ck clock, clockNote string, layout *Layout, em *Feed, tr *Track, join *Joiner) evenstand.Source {
	src.Grade = em.Grade()
	src.Card = layout.Card()
	if layout.Planter != nil {
		src.Planter = layout.Planter.Name
	}
	src.Latency = layout.Latency()
	if ck.mode != modeZone {
		// the receiver's time is UTC; half a record of doubt (judgement)
		src.ClockOffset, src.ClockError = 0, 0.1
		if ck.mode == modeOffset {
			src.ClockError = 1
		}
	}
	notes := []string{fmt.Sprintf("1 log with %d columns and %d records.", len(sv.columns), sv.records)}
	if len(j.logs) > 1 {
		notes[0] = fmt.Sprintf("%d logs joined into %d columns and %d records.", len(j.logs), len(sv.columns), sv.records)
	}
	if clockNote != "" {
		notes = append(notes, clockNote)
	}
	if sv.clock.back > 0 && ck.mode != modeGPS {
		notes = append(notes, fmt.Sprintf("The box's clock went back %d times, so times around it are doubtful. Set the clock at breakfast and leave it alone over the day.", sv.clock.back))
	}
	if sv.clock.epoch1970 > 0 {
		notes = append(notes, "The receiver's dates count from 1970 instead of 1980; they are put right.")
	}
	for i := range j.logs {
		if join.Scanner(i).OldLayout() {
			notes = append(notes, j.logs[i].Name+" holds more fields than its head lists, as old controllers wrote; it is read with all of them.")
		}
	}
	if !sv.moved && sv.records > 1 {
		notes = append(notes, "The position never changes: the machine stood, or the receiver was simulated.")
	}
	if src.Card != nil {
		products, more := layout.products(j.task, src.Card)
		src.Products = products
		notes = append(notes, more...)
		crop := j.set.Crops[j.set.Fields[j.task.Field].Crop]
		if c := cropName(crop); c != "" && len(layout.Rows) > 0 {
			src.Card.Meters = []evenstand.Meter{{Rows: layout.all(), Crop: c}}
		}
	}
	notes = append(notes, layout.Notes...)
	notes = append(notes, layout.Missing()...)
	src.Notes = append(src.Notes, append(notes, em.Notes()...)...)
	return src
}

// cropName finds the crops that are priced in the free text of a crop type.
func cropName(s string) string {
	s = strings.ToLower(s)
	for _, c := range [][2]string{{"corn", "corn"}, {"maize", "corn"}, {"soy", "soybeans"}, {"sorghum", "sorghum"}, {"sunflower", "sunflower"}} {
		if strings.Contains(s, c[0]) {
			return c[1]
		}
	}
	return ""
}
