package book

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"sync"

	"evenstand/core/advise"
)

// standKey is what answers rest on: what is derived and written, and the
// journal, which is only ever added to. It never comes back once it was another.
type standKey struct {
	stamp         int
	lines, undone int64
}

// standKey gives the present one.
func (b *Book) standKey(ctx context.Context) (k standKey, err error) {
	b.mu.Lock()
	k.stamp = b.stamp
	b.mu.Unlock()
	err = b.db.QueryRowContext(ctx, "SELECT (SELECT coalesce(max(id), 0) FROM journal), (SELECT count(*) FROM taken_back)").Scan(&k.lines, &k.undone)
	return k, err
}

// kept are the last answers.
type kept struct {
	journal answer[journalKey, JournalLine]
	effects answer[standKey, DayEffects]
	balance answer[balanceKey, Lever]
	grown   answer[grownKey, *grown]
}

// journalKey is what the journal rests on: of standKey only what was written.
type journalKey struct{ lines, undone int64 }

func (k standKey) journal() journalKey { return journalKey{k.lines, k.undone} }

// answer is the last one of a question. Its key is taken before it is made, so
// that one which something came into meanwhile is under a key that nobody asks for
// any more. Whoever gets one must not change what it points to.
type answer[K comparable, V any] struct {
	mu  sync.Mutex
	has bool
	of  K
	v   []V
}

func (a *answer[K, V]) get(k K) ([]V, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	return slices.Clone(a.v), a.has && a.of == k
}

func (a *answer[K, V]) put(k K, v []V) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.v, a.of, a.has = slices.Clone(v), k, true
}

// balanceKey is what the balance rests on beside.
type balanceKey struct {
	standKey
	days  string
	voice advise.Voice
}

func balanceKeyOf(k standKey, days []DaySummary, v advise.Voice) balanceKey {
	var s strings.Builder
	for i := range days {
		d := &days[i]
		fmt.Fprintf(&s, "%q %s %d %d\n", d.Planter, d.Day, d.AsOf, d.Passes)
	}
	return balanceKey{k, s.String(), v}
}
