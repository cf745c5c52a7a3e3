package web

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"evenstand"
	"evenstand/book"
	"evenstand/core/advise"
)

// jobs is the long work: reading logs and making everything again. One runs at
// a time, the others wait; each can be stopped, and the book is sound after.
type jobs struct {
	s    *Server
	mu   sync.Mutex
	all  []*job
	next int
	turn chan struct{} // holds one while one runs
	wait sync.WaitGroup

	closed bool // nothing more is begun

	settling sync.Mutex
	settle   string // ID of the last work without files
}

type job struct {
	Job
	cancel context.CancelFunc
	begun  time.Time
	phase  time.Time
	told   time.Time
}

// Job is a piece of long work.
type Job struct {
	ID     string   `json:"id"`
	What   string   `json:"what" enum:"read,settle,rebuild" doc:"settle: what was changed is taken up, without new files"`
	State  string   `json:"state" enum:"waiting,running,done,failed,stopped"`
	Doing  string   `json:"doing" doc:"What goes on: copying, reading, settling"`
	Name   string   `json:"name" doc:"The file or day"`
	Done   int64    `json:"done"`
	Total  int64    `json:"total" doc:"0 unknown"`
	Unit   string   `json:"unit" enum:"bytes,days"`
	Left   float64  `json:"left_s" doc:"Time left in seconds, 0 not known"`
	Says   string   `json:"says" doc:"How far it is, in words"`
	Error  string   `json:"error"`
	Result *JobDone `json:"result,omitempty"`
}

// JobDone is what a piece of work came to.
type JobDone struct {
	Says    []string       `json:"says" doc:"What became of it, as sentences"`
	Sources []SourceView   `json:"sources" doc:"What each box gave"`
	Unused  []string       `json:"unused" doc:"What was not used, and why"`
	Tables  []UnknownTable `json:"tables" doc:"Tables that no recipe reads yet"`
	Days    int            `json:"days" doc:"Days that were made again"`
	Taken   int            `json:"taken" doc:"Files that were used, known ones too"`
	LeftOut int            `json:"left_out" doc:"Files that were not used, without those that wait for a recipe"`
}

func (j *jobs) init(s *Server) { j.s, j.turn = s, make(chan struct{}, 1) }

// looks finds what a reading left unexplained.
type looks func(context.Context, *book.Report) []UnknownTable

// mostJobs is how many finished ones are remembered.
const mostJobs = 20

func (j *jobs) start(what string, do func(ctx context.Context, tell func(book.Progress)) (book.Report, error), look looks, after func(ended Job)) Job {
	ctx, cancel := context.WithCancel(context.Background())
	j.mu.Lock()
	j.next++
	x := &job{Job: Job{ID: strconv.Itoa(j.next), What: what, State: "waiting", Unit: "bytes"}, cancel: cancel}
	j.all = append(j.all, x)
	if len(j.all) > mostJobs && over(j.all[0].State) {
		j.all = slices.Delete(j.all, 0, 1)
	}
	if j.closed {
		x.State = "stopped"
		out := x.Job
		j.mu.Unlock()
		cancel()
		if after != nil {
			after(out)
		}
		return out
	}
	out := x.Job
	j.wait.Go(func() {
		defer cancel()
		select {
		case j.turn <- struct{}{}:
			defer func() { <-j.turn }()
		case <-ctx.Done():
		}
		if !j.begin(ctx, x) {
			j.end(x, after, (*Job).stopWaiting)
			return
		}
		var done *JobDone
		_, err := j.try(func() (book.Report, error) {
			rep, err := do(ctx, func(p book.Progress) { j.progress(x, p) })
			if err != nil {
				return rep, err
			}
			var tables []UnknownTable
			if look != nil {
				tables = look(ctx, &rep)
			}
			view, err := j.s.jobDone(ctx, &rep, tables)
			done = &view
			return rep, err
		})
		j.s.changed("logs") // also what was read before a stop is there
		j.end(x, after, func(x *Job) {
			x.Left, x.Says = 0, ""
			switch {
			case err == nil:
				x.State, x.Result = "done", done
			case errors.Is(err, context.Canceled):
				x.State = "stopped"
				x.Says = "Stopped. What was read before stays, and the rest is taken up at the next reading."
			default:
				x.State, x.Error = "failed", sentence(err.Error())
			}
		})
	})
	j.mu.Unlock()
	return out
}

// begin lets a job run whose turn it is, unless it was stopped before that.
func (j *jobs) begin(ctx context.Context, x *job) bool {
	if ctx.Err() != nil {
		return false
	}
	now := time.Now()
	j.set(x, func() { x.State, x.begun, x.phase = "running", now, now })
	return true
}

// end ends a job; what comes after it is done before that is told.
func (j *jobs) end(x *job, after func(Job), change func(*Job)) {
	j.mu.Lock()
	ended := x.Job
	j.mu.Unlock()
	change(&ended)
	if after != nil {
		after(ended)
	}
	j.set(x, func() { x.Job = ended })
}

// stopWaiting ends a job that has not begun.
func (x *Job) stopWaiting() {
	x.State, x.Says = "stopped", "Stopped before it began. Nothing in the logbook was changed."
}

// try does a piece of work. A fault of the program in it ends that work and not
// the others; the book keeps what it had.
func (j *jobs) try(do func() (book.Report, error)) (rep book.Report, err error) {
	err = j.s.guarded(func() (err error) {
		rep, err = do()
		return err
	})
	return rep, err
}

// guarded does what runs beside the requests: a fault of the program in it is an
// error, and not the end of the program.
func (s *Server) guarded(do func() error) (err error) {
	defer func() {
		if v := recover(); v != nil {
			s.log.Error("work failed", "panic", v, "stack", string(debug.Stack()))
			err = fmt.Errorf("this program has a fault here: %v. Stop evenstand and start it again: what was read before stays. Tell those who make it, with the file", v)
		}
	}()
	return do()
}

func over(state string) bool { return state != "waiting" && state != "running" }

// set changes a job and tells the pages.
func (j *jobs) set(x *job, change func()) {
	j.mu.Lock()
	change()
	out := x.Job
	x.told = time.Now()
	j.mu.Unlock()
	j.s.events.send("job", out)
}

// progress tells how far a job is, at most four times a second.
func (j *jobs) progress(x *job, p book.Progress) {
	j.mu.Lock()
	now := time.Now()
	if x.Doing != p.Doing {
		x.phase = now
	} else if now.Sub(x.told) < 250*time.Millisecond {
		j.mu.Unlock()
		return
	}
	x.Doing, x.Name, x.Done, x.Total, x.Unit, x.Left = p.Doing, p.Name, p.Done, p.Total, "bytes", 0
	x.Says = advise.Capital(p.Doing)
	if p.Doing == "settling" {
		x.Unit = "days"
		x.Says = "Day " + strconv.FormatInt(min(p.Done+1, p.Total), 10) + " of " + strconv.FormatInt(p.Total, 10)
	}
	if p.Total > 0 && p.Done > 0 && p.Done < p.Total {
		x.Left = now.Sub(x.phase).Seconds() * float64(p.Total-p.Done) / float64(p.Done)
		if x.Left >= 1 {
			x.Says += ", about " + advise.Span(x.Left) + " left"
		}
	}
	x.told = now
	out := x.Job
	j.mu.Unlock()
	j.s.events.send("job", out)
}

// read starts reading paths into the book; none finishes what is left to do.
func (j *jobs) read(paths []string, look looks, after func(ended Job)) Job {
	what := "read"
	if len(paths) == 0 {
		what = "settle"
	}
	return j.start(what, func(ctx context.Context, tell func(book.Progress)) (book.Report, error) {
		fs, err := j.s.opt.Formats()
		if err != nil {
			return book.Report{}, err
		}
		rep, err := j.s.book.Read(ctx, paths, fs, book.ReadOptions{Progress: tell})
		for _, p := range paths { // nobody knows where files are kept until they are read
			if dir := filepath.Dir(p); err != nil && strings.Contains(err.Error(), dir) {
				err = said{"Not read: " + strings.ReplaceAll(err.Error(), dir+string(filepath.Separator), ""), err}
			}
		}
		return rep, err
	}, look, after)
}

// said is an error in other words.
type said struct {
	text string
	error
}

func (s said) Error() string { return s.text }
func (s said) Unwrap() error { return s.error }

// cancel tells all work to stop, and lets nothing more begin.
func (j *jobs) cancel() {
	j.mu.Lock()
	defer j.mu.Unlock()
	j.closed = true
	for _, x := range j.all {
		x.cancel()
	}
}

// jobDone puts a report into words.
func (s *Server) jobDone(ctx context.Context, rep *book.Report, tables []UnknownTable) (JobDone, error) {
	v := s.voice()
	out := JobDone{Says: []string{}, Sources: []SourceView{}, Unused: []string{}, Tables: some(tables), Days: len(rep.Days)}
	n := map[string]int64{}
	for _, f := range rep.Files {
		n[f.State]++
	}
	switch known, all := n["known"], int64(len(rep.Files)); {
	case all == 0:
	case known > 0 && known+n["ignored"] == all:
		out.Says = append(out.Says, "Nothing new: all of it is in the logbook already.")
	default:
		line := advise.Plural(n["new"]+n["grown"], "file", "files") + " taken in"
		if known > 0 {
			line += ", " + strconv.FormatInt(known, 10) + " known already"
		}
		if n["unused"] > 0 {
			line += ", " + strconv.FormatInt(n["unused"], 10) + " not used"
		}
		out.Says = append(out.Says, line+".")
	}
	waits := map[string]bool{}
	for _, t := range tables {
		for _, f := range t.ref.Files {
			waits[f] = true
		}
	}
	for _, f := range rep.Files {
		switch {
		case f.State == "new" || f.State == "grown" || f.State == "known":
			out.Taken++
		case f.State == "unused" && !waits[f.Path]:
			out.LeftOut++
		}
	}
	if len(rep.Days) > 0 {
		out.Says = append(out.Says, advise.Plural(int64(len(rep.Days)), "machine-day", "machine-days")+" settled: "+book.DayNames(rep.Days, v)+".")
	}
	out.Says = append(out.Says, rep.Notes...)
	for i := range rep.Sources {
		r := &rep.Sources[i]
		x := SourceView{Name: r.Name, Format: r.Format, Grade: r.Grade, First: r.First, Last: r.Last, Gave: r.Gave(), Can: some(r.Tells.Can), Cannot: some(r.Tells.Cannot), Better: some(r.Tells.Better), Line: r.Tells.Line(), Says: []string{}, Unused: []string{}, Notes: some(r.Notes), Files: some(r.Files), Gaps: []book.Gap{}}
		if r.Grade != evenstand.NoGrade {
			x.Means = advise.GradeWords(r.Grade)
		}
		out.Sources = append(out.Sources, x)
	}
	said := map[string]bool{}
	for _, t := range tables { // listed by themselves, with what to do here
		said[t.ref.Files[0]] = true
	}
	for _, u := range rep.Unused {
		if u.Of != "files" || !said[u.File] {
			out.Unused = append(out.Unused, book.SayUnused(u, v))
		}
	}
	for _, u := range rep.Unused {
		said[u.File] = true
	}
	for _, f := range rep.Files {
		if f.State == "unused" && !said[f.Path] {
			out.Unused = append(out.Unused, book.SayUnused(evenstand.Unused{File: f.Path, Offset: -1, Count: 1, Of: "files", Why: f.Why}, v))
		}
	}
	if len(out.Says)+len(out.Unused)+len(out.Sources) == 0 {
		out.Says = append(out.Says, "There was nothing in it to read.")
	}
	return out, ctx.Err()
}

// JobList is the work that runs and the last that ran.
type JobList struct {
	Jobs []Job `json:"jobs"`
}

func (s *Server) jobList(context.Context, *nothing) (JobList, error) {
	s.jobs.mu.Lock()
	defer s.jobs.mu.Unlock()
	out := JobList{Jobs: []Job{}}
	for _, x := range s.jobs.all {
		out.Jobs = append(out.Jobs, x.Job)
	}
	return out, nil
}

type jobIn struct {
	ID string `path:"id"`
}

func (s *Server) stopJob(_ context.Context, in *jobIn) (Job, error) {
	s.jobs.mu.Lock()
	defer s.jobs.mu.Unlock()
	for _, x := range s.jobs.all {
		if x.ID == in.ID {
			if x.State == "waiting" { // at once: nothing else is to join it
				x.stopWaiting()
			}
			x.cancel()
			return x.Job, nil
		}
	}
	return Job{}, huma.Error404NotFound("There is no such work.")
}

// finish takes up what is left to do: a changed card, a note, an interrupted
// reading.
func (s *Server) finish(context.Context, *nothing) (Job, error) {
	s.jobs.settling.Lock()
	defer s.jobs.settling.Unlock()
	s.jobs.mu.Lock()
	for _, x := range s.jobs.all {
		if x.ID == s.jobs.settle && x.State == "waiting" { // it will take up the rest too
			out := x.Job
			s.jobs.mu.Unlock()
			return out, nil
		}
	}
	s.jobs.mu.Unlock()
	j := s.jobs.read(nil, nil, nil)
	s.jobs.settle = j.ID
	return j, nil
}
