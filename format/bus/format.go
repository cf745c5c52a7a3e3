package bus

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"math"
	"path"
	"strings"

	"evenstand"
	"evenstand/format/files"
)

// Format reads captures of a bus. The zero value is ready.
type Format struct {
	// Zone is the IANA name of the zone in which times with a date are read
	// when no receiver on the bus tells the time; Whose says whose it is, such
	// as "the logbook's".
	Zone, Whose string
}

var _ evenstand.Format = Format{}

// Name is "bus capture".
func (Format) Name() string { return "bus capture" }

// headBytes is how much of a file tells whether it is a capture.
const headBytes = 16 << 10

// isCapture tells by its head whether a file is a capture: half of its lines
// at least are frames of some kind.
func isCapture(head []byte) bool {
	if len(head) == headBytes { // the last line goes on
		i := bytes.LastIndexByte(head, '\n')
		if i < 0 {
			return false
		}
		head = head[:i+1]
	}
	if bytes.IndexByte(head, 0) >= 0 {
		return false
	}
	sc := Scanner{in: bytes.NewReader(head), buf: make([]byte, headBytes+1)}
	for sc.Next() {
	}
	n := sc.frames + sc.left[isShort].n + sc.left[isRemote].n + sc.left[isError].n + sc.left[isFD].n
	return n > 0 && sc.left[isBad].n <= n
}

// named tells names that candump gives its logs.
func named(name string) bool {
	return strings.HasPrefix(strings.ToLower(path.Base(name)), "candump-")
}

// Find lists a source for every file that looks like a capture: it reads the
// first 16 KB of each file. A source's grade, card and clock come with Read.
func (f Format) Find(ctx context.Context, in fs.FS) (sources []evenstand.Source, claimed []string, unused []evenstand.Unused, err error) {
	names, unused, err := captures(ctx, in)
	if err != nil {
		return nil, nil, nil, err
	}
	nan := math.NaN()
	for _, name := range names {
		claimed = append(claimed, name)
		sources = append(sources, evenstand.Source{Name: name, Format: f.Name(), Files: []string{name}, ClockOffset: nan, ClockError: nan, Latency: nan})
	}
	for _, u := range unused {
		if named(u.File) {
			claimed = append(claimed, u.File)
		}
	}
	return sources, claimed, unused, nil
}

// captures lists the captures of an input, and what cannot be used that is
// named like one.
func captures(ctx context.Context, in fs.FS) (names []string, unused []evenstand.Unused, err error) {
	head := make([]byte, headBytes)
	say := func(name, why, do string) {
		unused = append(unused, evenstand.Unused{File: name, Offset: -1, Count: 1, Of: "files", Why: why, Do: do})
	}
	shut, err := files.Walk(ctx, in, func(name string) {
		file, err := in.Open(name)
		if err != nil {
			if named(name) {
				say(name, files.Reason(err), "Check that the file may be read.")
			}
			return // some other format's to say
		}
		defer file.Close()
		n, err := io.ReadFull(file, head)
		bad := err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF)
		switch {
		case isCapture(head[:n]):
			names = append(names, name)
		case !named(name):
		case bad:
			say(name, files.Reason(err), "Copy the file again.")
		case n == 0:
			say(name, "the capture is empty", "Look whether the logger was plugged in and its interface was up.")
		default:
			say(name, "it is named like a capture and no frame stands at its beginning", "Write captures with candump -l, or send the file as it came from the logger.")
		}
	})
	return names, append(unused, shut...), err
}

// Read streams one capture, fixes and readings each in time order. It goes
// over the file twice: first for the names of addresses, the descriptions of
// devices, the clock, and which of several receivers says most.
func (f Format) Read(ctx context.Context, in fs.FS, src evenstand.Source, sink evenstand.Sink) (evenstand.Source, error) {
	if len(src.Files) != 1 {
		return src, fmt.Errorf("%s: a capture is one file, not %d", src.Name, len(src.Files))
	}
	name := src.Files[0]
	sv, err := survey1(ctx, in, name, -1)
	if err != nil && ctx.Err() != nil {
		return src, err
	}
	if sv == nil {
		return src, fmt.Errorf("%s: %w", name, err)
	}
	lender := ""
	if sv.strangers() {
		if lender, err = sv.ask(ctx, in, name); err != nil {
			return src, err
		}
	}
	c := sv.choose()
	zone, whose := src.Zone, ""
	if zone == "" {
		zone, whose = f.Zone, f.Whose
	}
	times := sv.style()
	ck, err := newClock(times, sv.delta, c.beats, c.gnss, zone, whose)
	if err != nil {
		return src, fmt.Errorf("%s: %w", name, err)
	}
	src.Zone = ""
	if ck.mode == modeZone {
		src.Zone = zone
	}
	r := sv.resolve(c)
	st := &stream{name: name, sink: sink, sv: sv, c: c, ck: ck, r: r, times: times, lender: lender}
	runErr := st.run(ctx, in)
	src = st.describe(src)
	if runErr != nil && !errors.Is(runErr, context.Canceled) {
		runErr = fmt.Errorf("%s: %w", name, runErr)
	}
	return src, runErr
}

// survey1 looks over one capture, or its first bytes; what was read before an
// error counts.
func survey1(ctx context.Context, in fs.FS, name string, most int64) (*survey, error) {
	file, err := in.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	var from io.Reader = file
	if most >= 0 {
		from = io.LimitReader(file, most)
	}
	sv := newSurvey()
	return sv, sv.look(ctx, from)
}

// style is what most of the times are.
func (s *survey) style() Times {
	best := NoTimes
	for t := NoTimes; t <= Relative; t++ {
		if s.times[t] > s.times[best] {
			best = t
		}
	}
	return best
}

// strangers tells whether somebody gives values who does not describe itself.
func (s *survey) strangers() bool {
	for i := range s.epochs {
		for k := range s.epochs[i].seen {
			name, ok := s.initial[k.from()]
			if s.controller[k.from()] <= 0 && (!ok || s.earliest[name] == nil) {
				return true
			}
		}
	}
	return false
}

// Devices describe themselves within a minute after the key is turned on, so
// the head of another capture is enough; at 250 kbit/s it is two minutes.
const (
	lendBytes   = 8 << 20
	mostLenders = 32
)

// ask looks for descriptions in the captures that lie in the same folder: a
// logger that begins a new file every hour has them in the first of the day.
// The nearest before goes first, then those after.
func (s *survey) ask(ctx context.Context, in fs.FS, name string) (lender string, err error) {
	entries, err := fs.ReadDir(in, path.Dir(name))
	if err != nil {
		return "", nil //nolint:nilerr // there is nobody to ask
	}
	var before, after []string
	for _, e := range entries {
		p := path.Join(path.Dir(name), e.Name())
		switch {
		case e.IsDir() || p == name || strings.HasPrefix(e.Name(), "."):
		case p < name:
			before = append([]string{p}, before...)
		default:
			after = append(after, p)
		}
	}
	asked := 0
	for _, p := range append(before, after...) {
		if ctx.Err() != nil {
			return "", ctx.Err()
		}
		if asked >= mostLenders {
			break
		}
		file, err := in.Open(p)
		if err != nil {
			continue
		}
		head := make([]byte, headBytes)
		n, _ := io.ReadFull(file, head) // a short file is read whole
		file.Close()
		if !isCapture(head[:n]) {
			continue
		}
		asked++
		other, _ := survey1(ctx, in, p, lendBytes) // what was read counts
		if other == nil || len(other.earliest) == 0 {
			continue
		}
		if s.lend(other); !s.strangers() {
			return p, nil
		}
	}
	return "", nil
}
