package iso11783

import (
	"fmt"
	"io"
	"io/fs"
	"slices"
)

// Log is one binary time log of a set with its header.
type Log struct {
	Name   string // TLG00001
	XML    string // names inside the input
	BIN    string
	Size   int64 // bytes of the binary, -1 unknown
	Header *Header
}

// OpenLog finds a log's two files and reads its header. The error says what is
// missing and what to do.
func (s *Set) OpenLog(name string) (*Log, error) {
	l := &Log{Name: name, Size: -1}
	var ok bool
	if l.BIN, ok = s.file(name + ".BIN"); !ok {
		return nil, fmt.Errorf("%s.BIN, the log itself, is not there. Copy the whole folder again", name)
	}
	if l.XML, ok = s.file(name + ".XML"); !ok {
		return nil, fmt.Errorf("%s.XML, the list of columns, is not there, and the numbers mean nothing without it. Copy the whole folder again", name)
	}
	f, err := s.fsys.Open(l.XML)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	if l.Header, err = ParseHeader(l.XML, f); err != nil {
		return nil, err
	}
	if st, err := fs.Stat(s.fsys, l.BIN); err == nil {
		l.Size = st.Size()
	}
	return l, nil
}

// JoinedRecord is one instant of a task: the record of every log that has it.
// Values are lent until the next call of Next; their columns are the joined
// ones.
type JoinedRecord struct {
	LogRecord // the first log's, without its values
	Log       int
	Logs      int // how many logs had it
	Values    []Value32
	Ended     []int // columns that no log holds any more from here on
}

// Joiner reads several logs of a task as one. Records of different logs belong
// together when date, time and position agree; records of one log with equal
// keys are taken in file order, so that a repeated instant stays two records.
type Joiner struct {
	Columns []Column // every (DDI, element, parameter group) once
	scan    []*Scanner
	header  []*Header
	to      [][]int // column of a log to joined column
	holders []int   // by joined column: logs that may still give it
	files   []io.Closer
	state   []joinState
	rec     JoinedRecord
	read    int64
	Records []int64 // of each log so far
	Alone   []int64 // of each log: records in which others that run at the time did not take part
}

type joinState uint8

const (
	fresh joinState = iota // nothing read yet
	held                   // a record waits
	used                   // its record was handed over
	ended
)

// Join opens the logs. Logs whose records carry no time cannot be joined and
// must not be handed in.
func (s *Set) Join(logs []*Log) (*Joiner, error) {
	j := &Joiner{Records: make([]int64, len(logs)), Alone: make([]int64, len(logs))}
	index := map[ColumnKey]int{}
	for _, l := range logs {
		f, err := s.fsys.Open(l.BIN)
		if err != nil {
			j.Close()
			return nil, fmt.Errorf("%s: %w", l.BIN, err)
		}
		j.files = append(j.files, f)
		j.add(l.Header, f, index)
	}
	return j, nil
}

func (j *Joiner) add(h *Header, in io.Reader, index map[ColumnKey]int) {
	to := make([]int, len(h.Columns))
	for i, c := range h.Columns {
		k, ok := index[c.Key()]
		if !ok {
			k = len(j.Columns)
			index[c.Key()] = k
			j.Columns = append(j.Columns, c)
			j.holders = append(j.holders, 0)
		}
		to[i] = k
		j.holders[k]++
	}
	j.to = append(j.to, to)
	j.header = append(j.header, h)
	j.scan = append(j.scan, NewScanner(h, in))
	j.state = append(j.state, fresh)
}

// Close closes the logs' files.
func (j *Joiner) Close() {
	for _, f := range j.files {
		f.Close()
	}
	j.files = nil
}

// Scanner gives the scanner of a log, for its damage.
func (j *Joiner) Scanner(log int) *Scanner { return j.scan[log] }

// Read gives the bytes read since the last call.
func (j *Joiner) Read() int64 {
	n := int64(0)
	for _, s := range j.scan {
		n += s.Offset()
	}
	d := n - j.read
	j.read = n
	return d
}

// Record gives what Next found.
func (j *Joiner) Record() *JoinedRecord { return &j.rec }

func before(a, b *LogRecord) bool {
	return a.Date < b.Date || a.Date == b.Date && a.Millis < b.Millis
}

// Next joins the next instant; false at the end of all logs.
func (j *Joiner) Next() bool {
	first := -1
	j.rec.Ended = j.rec.Ended[:0]
	for i, s := range j.scan {
		if j.state[i] == fresh || j.state[i] == used {
			if s.Next() {
				j.state[i] = held
			} else {
				j.state[i] = ended
				for _, k := range j.to[i] {
					if j.holders[k]--; j.holders[k] == 0 {
						j.rec.Ended = append(j.rec.Ended, k)
					}
				}
			}
		}
		if j.state[i] == held && (first < 0 || before(s.Record(), j.scan[first].Record())) {
			first = i
		}
	}
	if first < 0 {
		return false
	}
	r := &j.rec
	lead := j.scan[first].Record()
	values := r.Values[:0]
	r.LogRecord = *lead
	r.LogRecord.Values = nil
	r.Log, r.Logs = first, 0
	running := 0
	for i, s := range j.scan {
		if j.state[i] != held {
			continue
		}
		o := s.Record()
		if i != first && (o.Millis != lead.Millis || o.Date != lead.Date || o.North != lead.North || o.East != lead.East) {
			if j.Records[i] > 0 {
				running++
			}
			continue
		}
		if j.Records[i] == 0 {
			for c, col := range j.header[i].Columns {
				if col.Constant {
					values = append(values, Value32{j.to[i][c], col.Value})
				}
			}
		}
		j.state[i] = used
		j.Records[i]++
		r.Logs++
		to := j.to[i]
		for _, v := range o.Values {
			values = append(values, Value32{to[v.Column], v.Raw})
		}
	}
	if r.Logs == 1 && running > 0 {
		j.Alone[first]++
	}
	r.Values = values
	return true
}

// lanes splits the logs of a task into those that can be joined: logs that run
// at the same time on other instants come from another box, and stay apart.
// Logs in which no record can be read are given back.
func (s *Set) lanes(logs []*Log) (lanesOf [][]*Log, unreadable []*Log) {
	type span struct {
		log        *Log
		head, tail LogRecord
	}
	var spans []span
	for _, l := range logs {
		if sp, ok := s.ends(l, len(logs) > 1); ok {
			spans = append(spans, span{l, sp[0], sp[1]})
		} else {
			unreadable = append(unreadable, l)
		}
	}
	slices.SortStableFunc(spans, func(a, b span) int {
		switch {
		case before(&a.head, &b.head):
			return -1
		case before(&b.head, &a.head):
			return 1
		}
		return 0
	})
	var lanes [][]span
	for _, sp := range spans {
		placed := false
		for i := range lanes {
			fits := true
			for _, o := range lanes[i] {
				apart := before(&o.tail, &sp.head)
				if !apart && !sameKey(&o.head, &sp.head) && !s.holds(o.log, &sp.head) {
					fits = false
					break
				}
			}
			if fits {
				lanes[i] = append(lanes[i], sp)
				placed = true
				break
			}
		}
		if !placed {
			lanes = append(lanes, []span{sp})
		}
	}
	out := make([][]*Log, len(lanes))
	for i, lane := range lanes {
		// in the order of the task, which is the file order for equal instants
		for _, l := range logs {
			if slices.ContainsFunc(lane, func(sp span) bool { return sp.log == l }) {
				out[i] = append(out[i], l)
			}
		}
	}
	return out, unreadable
}

func sameKey(a, b *LogRecord) bool {
	return a.Date == b.Date && a.Millis == b.Millis && a.North == b.North && a.East == b.East
}

// ends reads a log's first record, and its last when it must be known.
func (s *Set) ends(l *Log, last bool) (sp [2]LogRecord, ok bool) {
	f, err := s.fsys.Open(l.BIN)
	if err != nil {
		return sp, false
	}
	defer f.Close()
	sc := NewScanner(l.Header, f)
	if !sc.Next() {
		return sp, false
	}
	sp[0] = *sc.Record()
	sp[0].Values = nil
	sp[1] = sp[0]
	if !last {
		return sp, true
	}
	const tail = 64 << 10
	if k, can := f.(io.Seeker); can && l.Size > 4*tail && !sc.OldLayout() {
		if _, err := k.Seek(l.Size-tail, io.SeekStart); err == nil {
			sc = NewScanner(l.Header, f)
		}
	}
	for sc.Next() {
		if r := sc.Record(); !before(r, &sp[1]) {
			sp[1] = *r
			sp[1].Values = nil
		}
	}
	return sp, true
}

// holds tells whether a log has a record with the given key.
func (s *Set) holds(l *Log, key *LogRecord) bool {
	f, err := s.fsys.Open(l.BIN)
	if err != nil {
		return false
	}
	defer f.Close()
	for sc := NewScanner(l.Header, f); sc.Next(); {
		if sameKey(sc.Record(), key) {
			return true
		}
		if before(key, sc.Record()) {
			return false
		}
	}
	return false
}
