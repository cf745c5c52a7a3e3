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

// kept are the last answers. The key is taken before an answer is made, so that
// one which something came into meanwhile is under a key that nobody asks for
// any more. Whoever gets one must not change what it points to.
type kept struct {
	mu          sync.Mutex
	journal     []JournalLine
	journalOf   standKey
	effects     []DayEffects
	effectsOf   standKey
	balance     []Lever
	balanceOf   balanceKey
	hasJ, hasE  bool
	hasBalances bool
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

func (c *kept) getJournal(k standKey) ([]JournalLine, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	// Of the journal only what was written counts.
	ok := c.hasJ && c.journalOf.lines == k.lines && c.journalOf.undone == k.undone
	return slices.Clone(c.journal), ok
}

func (c *kept) putJournal(k standKey, lines []JournalLine) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.journal, c.journalOf, c.hasJ = slices.Clone(lines), k, true
}

func (c *kept) getEffects(k standKey) ([]DayEffects, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.effects), c.hasE && c.effectsOf == k
}

func (c *kept) putEffects(k standKey, days []DayEffects) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.effects, c.effectsOf, c.hasE = slices.Clone(days), k, true
}

func (c *kept) getBalance(k balanceKey) ([]Lever, bool) {
	c.mu.Lock()
	defer c.mu.Unlock()
	return slices.Clone(c.balance), c.hasBalances && c.balanceOf == k
}

func (c *kept) putBalance(k balanceKey, ls []Lever) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.balance, c.balanceOf, c.hasBalances = slices.Clone(ls), k, true
}
