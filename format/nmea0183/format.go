package nmea0183

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"slices"
	"strings"

	"evenstand"
	"evenstand/format/files"
	"evenstand/format/plain"
)

// Format reads NMEA 0183. The zero value is ready.
type Format struct{}

var _ evenstand.Format = Format{}

// Name is the format's name.
func (Format) Name() string { return "NMEA 0183" }

const (
	sniffBytes = 8 << 10   // by which a file is known
	headBytes  = 256 << 10 // in which the first date is looked for; a longer line is none
	batch      = 4096
)

// isLog tells by its head whether a file is a log: half of its lines at least
// are sentences that are read, with a sum that is right or none.
func isLog(head []byte) bool {
	lines, good := 0, 0
	for len(head) > 0 {
		line, rest, found := bytes.Cut(head, []byte{'\n'})
		if !found && lines > 0 {
			break // may be cut
		}
		head = rest
		if len(bytes.TrimSpace(line)) == 0 {
			continue
		}
		lines++
		body, how := frame(line)
		if how != whole && how != unsummed {
			continue
		}
		if name, _, ok := bytes.Cut(body, []byte{','}); ok && len(name) == 5 && letters(name) {
			good++
		}
	}
	return good > 0 && 2*good >= lines
}

func letters(b []byte) bool {
	for _, c := range b {
		if c < 'A' || c > 'Z' {
			return false
		}
	}
	return true
}

// Find lists a source for each file that holds sentences, by its first bytes. A
// source.toml beside them tells box, planter and clock.
func (f Format) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	head := make([]byte, sniffBytes)
	shut, err := files.Walk(ctx, in, func(name string) {
		file, err := in.Open(name)
		if err != nil {
			return // another format says so
		}
		n, err := io.ReadFull(file, head)
		file.Close()
		ext := strings.ToLower(path.Ext(name))
		switch {
		case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
			if ext == ".nmea" {
				unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: files.Reason(err), Do: "Check that the file may be read, or copy it again."})
			}
			return
		case isLog(head[:n]):
		case ext == ".nmea":
			why := "it holds no sentences of NMEA 0183"
			if n == 0 {
				why = "the file is empty"
			}
			unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: why, Do: "Let the receiver log GGA and RMC."})
			claimed = append(claimed, name)
			return
		default:
			return
		}
		said, beside, bad := plain.Beside(in, path.Dir(name))
		unused = append(unused, bad...)
		src := evenstand.Source{
			Name: strings.TrimSuffix(name, path.Ext(name)), Format: f.Name(), Files: []string{name}, Grade: evenstand.GradeD, Planter: said.Planter,
			ClockOffset: said.ClockOffset, ClockError: said.ClockError, Latency: math.NaN(), Notes: slices.Clone(said.Notes),
		}
		if said.Name != "" {
			src.Name = said.Name
		}
		if beside != "" {
			src.Files = append(src.Files, beside)
		}
		if said.OneClock {
			src.Clock = src.Name
		}
		claimed = append(claimed, src.Files...)
		sources = append(sources, src)
	})
	if err != nil {
		return nil, nil, nil, err
	}
	unused = append(unused, shut...)
	slices.Sort(claimed)
	claimed = slices.Compact(claimed)
	names := map[string]bool{}
	for i := range sources {
		if names[sources[i].Name] {
			sources[i].Name = sources[i].Files[0]
		}
		names[sources[i].Name] = true
	}
	return sources, claimed, unused, nil
}

// epoch is what the sentences of one time said.
type epoch struct {
	open    bool
	of      evenstand.Micros // of the day
	day     evenstand.Micros // midnight, NoTime unknown
	gga     bool             // the place is GGA's
	has     bool             // there is a place
	void    bool             // RMC warns of it
	fix     evenstand.Fix
	course  float64
	heading float64
}

// reading is the reading of one file.
type reading struct {
	sink  evenstand.Sink
	file  string
	e     epoch
	day   evenstand.Micros // midnight of the date told last, NoTime before the first
	last  evenstand.Micros // time of day told last
	out   []evenstand.Fix
	f     [][]byte
	bad   evenstand.Tally
	line  int
	start int64

	unsummed, others, undated, none int64
	headings                        bool
	lastT                           evenstand.Micros
	back                            int64
	old                             evenstand.Micros // the oldest date before 2010, 0 none
	jumps                           int64            // of the date, by more than it may
	jumped                          [2]evenstand.Micros
}

// left counts a line that is not used.
func (r *reading) left(why, do string) {
	r.bad.Add(why, func() evenstand.Unused {
		return evenstand.Unused{File: r.file, Line: r.line, Offset: r.start, Of: "lines", Why: why, Do: do}
	})
}

// Read streams the fixes of a file, one for each epoch with a place.
func (f Format) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	file, err := in.Open(src.Files[0])
	if err != nil {
		return src, err
	}
	defer file.Close()
	r := &reading{sink: sink, file: src.Files[0], day: evenstand.NoTime, lastT: evenstand.NoTime, out: make([]evenstand.Fix, 0, batch)}
	b := bufio.NewReaderSize(file, headBytes)
	err = r.run(ctx, b)
	if e := r.flush(); err == nil {
		err = e
	}
	r.bad.Send(sink)
	src.Notes = append(src.Notes, r.notes()...)
	return src, err
}

func (r *reading) run(ctx context.Context, b *bufio.Reader) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	head, err := b.Peek(headBytes)
	if err != nil && !errors.Is(err, io.EOF) && len(head) == 0 {
		return err
	}
	r.first(head)
	told := int64(0)
	for at := int64(0); ; {
		line, err := b.ReadSlice('\n')
		r.line++
		r.start = at
		at += int64(len(line))
		if errors.Is(err, bufio.ErrBufferFull) {
			r.left("a line is longer than 256 KB", "Check that the file is a log of sentences.")
			for errors.Is(err, bufio.ErrBufferFull) {
				line, err = b.ReadSlice('\n')
				at += int64(len(line))
			}
			line = nil
		}
		if r.line%1024 == 0 {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			r.sink.Progress(at - told)
			told = at
		}
		if len(line) > 0 {
			if e := r.take(line, err != nil); e != nil {
				return e
			}
		}
		if err != nil {
			r.sink.Progress(at - told)
			if errors.Is(err, io.EOF) {
				return r.close()
			}
			return errors.Join(r.close(), err)
		}
	}
}

// overtaken is how late a sentence may come behind those of later times; judgement.
const overtaken = 60 * evenstand.Second

// on gives the day of a time of day; midnight may have gone by since the time
// that was told last.
func (r *reading) on(of evenstand.Micros) evenstand.Micros {
	if r.day != evenstand.NoTime {
		switch {
		case r.last-of > day/2:
			r.day += day
		case of-r.last > day-overtaken: // it comes late, from before midnight
			return r.day - day
		}
	}
	r.last = of
	return r.day
}

// first finds the first date in the head and goes back from it to the day of
// the first time.
func (r *reading) first(head []byte) {
	var firstOf evenstand.Micros = -1
	for len(head) > 0 {
		var line []byte
		line, head, _ = bytes.Cut(head, []byte{'\n'})
		body, how := frame(line)
		if how != whole && how != unsummed {
			continue
		}
		r.f = fields(body, r.f)
		k := kindOf(r.f[0])
		if k == gga && len(r.f) > 1 && firstOf < 0 {
			if of, ok := timeOfDay(r.f[1]); ok {
				firstOf = of
			}
		}
		if of, midnight, ok := dated(k, r.f); ok {
			r.day, r.last = midnight, of
			if firstOf >= 0 {
				switch {
				case firstOf-of > day/2: // the first was still the day before
					r.day -= day
				case of-firstOf > day-overtaken:
					r.day += day
				}
				r.last = firstOf
			}
			return
		}
	}
}

// take takes one line; cut: it has no end.
func (r *reading) take(line []byte, cut bool) error {
	body, how := frame(line)
	switch how {
	case noSentence:
		if len(bytes.TrimSpace(line)) > 0 {
			r.left("a line without a sentence", "Nothing to do, unless there are many.")
		}
		return nil
	case badSum:
		why, do := "a sentence whose check sum is wrong", "Nothing to do for a few; many tell of a loose plug or a wrong speed of the serial line."
		if cut {
			why, do = "the last line is cut short", "Copy the file again if more is wanted."
		}
		r.left(why, do)
		return nil
	case unsummed:
		if cut {
			r.left("the last line is cut short", "Copy the file again if more is wanted.")
			return nil
		}
		r.unsummed++
	}
	r.f = fields(body, r.f)
	f := r.f
	k := kindOf(f[0])
	switch k {
	case other:
		r.others++
		return nil
	case vtg:
		r.vtg(f)
		return nil
	case hdt:
		if len(f) > 1 {
			if v := decimal(f[1]); v >= 0 && v <= 360 {
				r.e.heading = math.Mod(v, 360)
				r.headings = true
			}
		}
		return nil
	case zda:
		if of, midnight, ok := dated(k, f); ok {
			r.date(of, midnight)
		}
		return nil
	}
	if len(f) < 10 {
		r.left("a sentence with too few fields", "Nothing to do, unless there are many.")
		return nil
	}
	of, ok := timeOfDay(f[1])
	if !ok {
		if len(f[1]) > 0 {
			r.left("a time that cannot be read", "Nothing to do, unless there are many.")
		} else {
			r.none++
		}
		return nil
	}
	if !r.e.open || of != r.e.of {
		if err := r.close(); err != nil {
			return err
		}
		nan := math.NaN()
		r.e = epoch{open: true, of: of, day: r.on(of), fix: evenstand.NewFix(0, nan, nan), course: nan, heading: nan}
	}
	if k == rmc {
		r.rmc(f)
	} else {
		r.gga(f)
	}
	return nil
}

// jump is by how much the date may go on within a log without being told of:
// one log may be continued on another day. Judgement.
const jump = 31 * day

func span(a, b evenstand.Micros) evenstand.Micros { return max(a-b, b-a) }

// date takes a date that was told with a time.
func (r *reading) date(of, midnight evenstand.Micros) {
	if r.day != evenstand.NoTime && span(midnight+of, r.day+r.last) > jump {
		if r.jumps == 0 {
			r.jumped = [2]evenstand.Micros{r.day, midnight}
		}
		r.jumps++
	}
	r.day, r.last = midnight, of
	if r.e.open && r.e.of == of {
		r.e.day = midnight
	}
	if midnight < 1_262_304_000*evenstand.Second && (r.old == 0 || midnight < r.old) { // 2010
		r.old = midnight
	}
}

func (r *reading) gga(f [][]byte) {
	e := &r.e
	e.fix.Kind = quality(f[6])
	if e.fix.Kind == evenstand.FixNone || len(f[2]) == 0 && len(f[4]) == 0 {
		e.has, e.void = false, true
		return
	}
	if r.place(f[2:6]) {
		e.gga, e.has, e.void = true, true, false
	}
	if n := decimal(f[7]); n >= 0 && n <= 200 {
		e.fix.Sats = int16(n)
	}
	if v := decimal(f[8]); v >= 0 && v < 1000 {
		e.fix.HDOP = v
	}
	if v := decimal(f[9]); v > -1000 && v < 10000 { // m: the ground of the earth, with a margin
		e.fix.Alt = v
	}
}

// place reads latitude and longitude with their letters.
func (r *reading) place(f [][]byte) bool {
	lat, ok1 := angle(f[0], f[1], 'N', 'S', 90)
	lon, ok2 := angle(f[2], f[3], 'E', 'W', 180)
	if !ok1 || !ok2 {
		r.left("a place that cannot be read", "Nothing to do, unless there are many.")
		return false
	}
	if lat == 0 && lon == 0 {
		r.none++ // no receiver logs that place by chance
		return false
	}
	r.e.fix.Lat, r.e.fix.Lon = lat, lon
	return true
}

func (r *reading) rmc(f [][]byte) {
	e := &r.e
	if midnight, ok := shortDate(f[9]); ok && !warns(f) {
		r.date(e.of, midnight)
	} else if !ok && len(f[9]) > 0 {
		r.left("a date that cannot be read", "Nothing to do, unless there are many.")
	}
	if warns(f) && !e.gga {
		e.void = true
		return
	}
	if !e.gga && len(f[3]) > 0 && r.place(f[3:7]) {
		e.has = true
	}
	if v := decimal(f[7]); v >= 0 {
		e.fix.Speed = v * knot
	}
	if v := decimal(f[8]); v >= 0 && v <= 360 {
		e.course = math.Mod(v, 360)
	}
}

// vtg has no time: it goes with the epoch that is open.
func (r *reading) vtg(f [][]byte) {
	e := &r.e
	if !e.open {
		return
	}
	if len(f) > 1 && math.IsNaN(e.course) {
		if v := decimal(f[1]); v >= 0 && v <= 360 {
			e.course = math.Mod(v, 360)
		}
	}
	if !math.IsNaN(e.fix.Speed) {
		return
	}
	if len(f) > 7 {
		if v := decimal(f[7]); v >= 0 {
			e.fix.Speed = v / 3.6
			return
		}
	}
	if len(f) > 5 {
		if v := decimal(f[5]); v >= 0 {
			e.fix.Speed = v * knot
		}
	}
}

// close gives the fix of the epoch that is open.
func (r *reading) close() error {
	e := &r.e
	if !e.open {
		return nil
	}
	e.open = false
	switch {
	case !e.has || e.void && !e.gga:
		r.none++
		return nil
	case e.day == evenstand.NoTime:
		r.undated++
		r.left("a place without a date: no RMC that holds good, nor ZDA, told one before it", "Let the receiver log RMC or ZDA too.")
		return nil
	}
	e.fix.T = e.day + e.of
	if e.fix.T < r.lastT {
		r.back++
	}
	r.lastT = e.fix.T
	if e.fix.Heading = e.course; math.IsNaN(e.course) {
		e.fix.Heading = e.heading
	}
	if e.fix.Speed > evenstand.GroundSpeed.Info().Max {
		e.fix.Speed = math.NaN()
	}
	r.out = append(r.out, e.fix)
	if len(r.out) < batch {
		return nil
	}
	return r.flush()
}

func (r *reading) flush() error {
	if len(r.out) == 0 {
		return nil
	}
	err := r.sink.Fixes(r.out)
	r.out = r.out[:0]
	return err
}

// more says how often else.
func more(n int64) string {
	switch n {
	case 0:
		return ""
	case 1:
		return ", and once more"
	}
	return fmt.Sprintf(", and %d times more", n)
}

func (r *reading) notes() []string {
	var out []string
	if r.others > 0 {
		out = append(out, fmt.Sprintf("In %s, %d sentences of other kinds were passed over.", r.file, r.others))
	}
	if r.unsummed > 0 {
		out = append(out, fmt.Sprintf("In %s, %d sentences have no check sum; they are used as they are.", r.file, r.unsummed))
	}
	if r.none > 0 {
		out = append(out, fmt.Sprintf("In %s, the receiver had no place at %d times.", r.file, r.none))
	}
	if r.back > 0 {
		out = append(out, fmt.Sprintf("In %s, %d times are earlier than the one before; all are used.", r.file, r.back))
	}
	if r.old != 0 {
		out = append(out, fmt.Sprintf("In %s, dates go back to %s. A receiver whose count of weeks has run over is 1,024 weeks, or a multiple, behind; such dates are not corrected.", r.file, r.old.Time().Format("2006-01-02")))
	}
	if r.jumps > 0 {
		out = append(out, fmt.Sprintf("In %s, the date jumps from %s to %s%s. Look whether the days before it are right; a receiver that has only begun may tell a wrong date.", r.file, r.jumped[0].Time().Format("2006-01-02"), r.jumped[1].Time().Format("2006-01-02"), more(r.jumps-1)))
	}
	if r.headings {
		out = append(out, fmt.Sprintf("%s tells where the tractor points (HDT) as well; that is used where it does not tell where it goes.", r.file))
	}
	return out
}
