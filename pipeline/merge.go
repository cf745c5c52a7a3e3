package pipeline

import (
	"iter"
	"math"

	"evenstand"
)

// merged gives the events of several streams in order of time. Each stream is
// in order by itself; batches are only lent.
type merged[T any] struct {
	heads []head[T]
	time  func(*T) evenstand.Micros
}

type head[T any] struct {
	batch  []T
	at     int
	stream int
	next   func() ([]T, bool)
	stop   func()
	err    *error
}

func merge[T any](time func(*T) evenstand.Micros) *merged[T] { return &merged[T]{time: time} }

// add joins a stream; read is its push function.
func (m *merged[T]) add(stream int, read func(yield func([]T) bool) error) {
	err := new(error)
	next, stop := iter.Pull(func(yield func([]T) bool) {
		*err = read(func(b []T) bool { return yield(b) })
	})
	m.heads = append(m.heads, head[T]{stream: stream, next: next, stop: stop, err: err})
}

// close ends all streams.
func (m *merged[T]) close() {
	for _, h := range m.heads {
		h.stop()
	}
}

// fill makes sure that each head has an event, and drops finished ones.
func (m *merged[T]) fill(i int) (bool, error) {
	h := &m.heads[i]
	for h.at >= len(h.batch) {
		b, ok := h.next()
		if !ok {
			if *h.err != nil {
				return false, *h.err
			}
			return false, nil
		}
		h.batch, h.at = b, 0
	}
	return true, nil
}

// peek gives the earliest event without taking it; nil when all have ended.
func (m *merged[T]) peek() (*T, int, error) {
	best := -1
	for i := 0; i < len(m.heads); i++ {
		ok, err := m.fill(i)
		if err != nil {
			return nil, 0, err
		}
		if !ok {
			m.heads[i].stop()
			m.heads = append(m.heads[:i], m.heads[i+1:]...)
			i--
			continue
		}
		if best < 0 || m.time(&m.heads[i].batch[m.heads[i].at]) < m.time(&m.heads[best].batch[m.heads[best].at]) {
			best = i
		}
	}
	if best < 0 {
		return nil, 0, nil
	}
	h := &m.heads[best]
	return &h.batch[h.at], best, nil
}

// take drops the event that peek gave, and the n-1 after it of the same stream.
func (m *merged[T]) take(i, n int) { m.heads[i].at += n }

// lent gives the events at hand of the stream of head i, the one that peek gave
// first.
func (m *merged[T]) lent(i int) []T { return m.heads[i].batch[m.heads[i].at:] }

// after gives the earliest event of the streams other than that of head i, by
// its time; the end of time when there is none.
func (m *merged[T]) after(i int) evenstand.Micros {
	t := evenstand.Micros(math.MaxInt64)
	for k := range m.heads {
		if h := &m.heads[k]; k != i {
			t = min(t, m.time(&h.batch[h.at]))
		}
	}
	return t
}

// stream gives the index of the stream that head i reads.
func (m *merged[T]) stream(i int) int { return m.heads[i].stream }
