package cli

import (
	"fmt"
	"io"
	"strings"
	"time"

	"evenstand/book"
	"evenstand/core/advise"
)

// meter shows how far a long job is and how long it will still take: one line
// that is rewritten on a terminal, a line every ten seconds elsewhere. It says
// nothing about what is done within a second.
type meter struct {
	w     io.Writer
	tty   bool
	begun time.Time
	phase string
	since time.Time
	last  time.Time
	width int
}

func (c *call) meter() *meter {
	now := time.Now()
	return &meter{w: c.Stderr, tty: isTerminal(c.Stderr), begun: now, since: now}
}

func (m *meter) book(p book.Progress) {
	unit := bytesDone
	if p.Doing == "settling" {
		unit = func(n, of int64) string { return fmt.Sprintf("day %d of %d", min(n+1, of), of) }
	}
	m.show(p.Doing, p.Name, p.Done, p.Total, unit)
}

func (m *meter) share(doing string) func(float64) {
	return func(done float64) {
		m.show(doing, "", int64(done*1000), 1000, func(n, of int64) string { return fmt.Sprintf("%d %%", n*100/of) })
	}
}

func bytesDone(n, of int64) string {
	if of <= 0 {
		return fmt.Sprintf("%.1f MB", float64(n)/1e6)
	}
	return fmt.Sprintf("%.1f of %.1f MB", float64(n)/1e6, float64(of)/1e6)
}

func (m *meter) show(doing, name string, done, total int64, unit func(n, of int64) string) {
	now := time.Now()
	if doing != m.phase {
		m.phase, m.since = doing, now
	}
	every := 200 * time.Millisecond
	if !m.tty {
		every = 10 * time.Second
	}
	if now.Sub(m.begun) < time.Second || now.Sub(m.last) < every {
		return
	}
	m.last = now
	line := doing
	if name != "" {
		line += " " + name
	}
	line += ": " + unit(done, total)
	if total > 0 && done > 0 && done < total {
		left := time.Duration(float64(now.Sub(m.since)) * float64(total-done) / float64(done))
		if left >= time.Second {
			line += ", about " + advise.Span(left.Seconds()) + " left"
		}
	}
	if !m.tty {
		fmt.Fprintln(m.w, line)
		return
	}
	pad := max(0, m.width-len(line))
	m.width = len(line)
	fmt.Fprintf(m.w, "\r%s%s", line, strings.Repeat(" ", pad))
}

// done takes the line away.
func (m *meter) done() {
	if m.tty && m.width > 0 {
		fmt.Fprintf(m.w, "\r%s\r", strings.Repeat(" ", m.width))
		m.width = 0
	}
}
