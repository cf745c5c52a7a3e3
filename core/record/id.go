package record

import (
	"crypto/sha256"
	"encoding/binary"
	"strconv"
	"strings"

	"evenstand"
)

// crockford is Crockford's base 32, lower case: no i, l, o, u.
const crockford = "0123456789abcdefghjkmnpqrstvwxyz"

// ID is a finding's id: the first 60 bits, as 12 characters of Crockford's
// base 32 in lower case, of the SHA-256 of planter, machine-day, family, lead
// row (0: none) and first-alarm time in microseconds, parted by line feeds.
func ID(planter string, day evenstand.Day, family string, lead int, alarm evenstand.Micros) string {
	sum := sha256.Sum256([]byte(strings.Join([]string{planter, string(day), family, strconv.Itoa(lead), strconv.FormatInt(int64(alarm), 10)}, "\n")))
	bits := binary.BigEndian.Uint64(sum[:8])
	out := make([]byte, 12)
	for i := range out {
		out[i] = crockford[bits>>59]
		bits <<= 5
	}
	return string(out)
}

// IDOf is the id that a finding has by itself; its lead row is its first.
func IDOf(f *evenstand.Finding) string {
	lead := 0
	if len(f.Rows) > 0 {
		lead = f.Rows[0]
	}
	return ID(f.Planter, f.Day, family(f), lead, f.Alarm)
}

// family is the one that a finding names, else that of its kind.
func family(f *evenstand.Finding) string {
	if f.Family != "" {
		return f.Family
	}
	return evenstand.Family(f.Kind)
}

// Keep gives the ids of fresh findings of a re-derivation: the old id where
// planter and family match, rows overlap by half (the shared rows over all
// rows of both) and times overlap, else the finding's own. Each old id is given
// once; of several candidates the one with the most rows in common wins, then
// the longest time in common, then the earlier alarm. A finding of the whole
// machine (no rows) matches another of the whole machine.
func Keep(old, fresh []evenstand.Finding) []string {
	ids := make([]string, len(fresh))
	taken := make([]bool, len(old))
	type pair struct {
		o, f int
		rows float64
		time evenstand.Micros
	}
	better := func(a, b pair) bool {
		switch {
		case a.rows != b.rows:
			return a.rows > b.rows
		case a.time != b.time:
			return a.time > b.time
		case old[a.o].Alarm != old[b.o].Alarm:
			return old[a.o].Alarm < old[b.o].Alarm
		}
		return a.o < b.o || a.o == b.o && a.f < b.f
	}
	for {
		var best *pair
		for i := range fresh {
			if ids[i] != "" {
				continue
			}
			for j := range old {
				if taken[j] {
					continue
				}
				rows, time, ok := same(&old[j], &fresh[i])
				if p := (pair{j, i, rows, time}); ok && (best == nil || better(p, *best)) {
					best = &p
				}
			}
		}
		if best == nil {
			break
		}
		ids[best.f], taken[best.o] = old[best.o].ID, true
	}
	for i := range fresh {
		if ids[i] == "" {
			ids[i] = IDOf(&fresh[i])
		}
	}
	return ids
}

// same tells whether two findings are one, with the share of rows and the time
// that they have in common.
func same(a, b *evenstand.Finding) (rows float64, time evenstand.Micros, ok bool) {
	if a.Planter != b.Planter || family(a) != family(b) {
		return 0, 0, false
	}
	rows = a.Rows.Jaccard(b.Rows)
	if len(a.Rows) == 0 && len(b.Rows) == 0 {
		rows = 1
	}
	time = min(end(a), end(b)) - max(start(a), start(b))
	return rows, time, rows >= 0.5 && time >= 0
}

// far is beyond any time that a log can hold.
const far evenstand.Micros = 1 << 61

// end is when a finding ended; an open one has not.
func end(f *evenstand.Finding) evenstand.Micros {
	if f.Until != nil {
		return *f.Until
	}
	return far
}

// start is when a finding began; one whose start is not known was always there.
func start(f *evenstand.Finding) evenstand.Micros { return max(f.Since, -far) }
