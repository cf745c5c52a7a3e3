package find

import "math"

// lagScan finds the number of cells on a disc when the card does not say: the
// distances in places between the starts of late runs of misses, each
// distance against its neighbours. It never names a cell; it only tells the
// cell watch how many cells to count.
//
// Measured elsewhere for this method (N = 41, 60 runs): share 1 found after
// about 300 places, 0.5 after 1,300, 0.3 after 5,000; the number exact in 88
// to 100 %, otherwise a multiple of it.
type lagScan struct {
	at    [scanKeep]int64
	n     int
	hit   [scanMax + 1]int32
	found int
	off   bool
}

const (
	scanKeep  = 60
	scanMin   = 8
	scanMax   = 120
	scanAlarm = 9.2 // log of 10,000
)

// Logs of the shares that are tried, and of what is left of them.
var lnShare90, lnShare70, lnShare30, lnShare10 = math.Log(0.9), math.Log(0.7), math.Log(0.3), math.Log(0.1)

func (s *lagScan) want() bool { return !s.off && s.found == 0 }

// runStart takes the place at which a run of misses began.
func (s *lagScan) runStart(place int64) {
	if s.n > 0 && place-s.at[(s.n-1)%scanKeep] < 4 {
		return
	}
	if s.n >= scanKeep { // the oldest leaves: take its pairs back
		old := s.at[s.n%scanKeep]
		for i := s.n - scanKeep + 1; i < s.n; i++ {
			if d := s.at[i%scanKeep] - old; d >= scanMin && d <= scanMax {
				s.hit[d]--
			}
		}
	}
	for i := max(0, s.n-scanKeep+1); i < s.n; i++ {
		if d := place - s.at[i%scanKeep]; d >= scanMin && d <= scanMax {
			s.hit[d]++
		}
	}
	s.at[s.n%scanKeep] = place
	s.n++
	if s.n%4 == 0 && s.n >= 12 {
		s.look()
	}
}

func (s *lagScan) look() {
	n := float64(min(s.n, scanKeep))
	var sum [scanMax + 2]float64
	for l := scanMin; l <= scanMax; l++ {
		sum[l+1] = sum[l] + float64(s.hit[l])
	}
	const shares = 3
	var all [shares * (scanMax + 1 - scanMin)]float64 // log odds of each lag and share
	ll := all[:0]
	best, bestLag := 0.0, 0
	for l := scanMin; l <= scanMax; l++ {
		h := float64(s.hit[l])
		if h < 3 {
			continue
		}
		lo, hi := max(scanMin, l-12), min(scanMax, l+12)
		inner := sum[min(scanMax, l+1)+1] - sum[max(scanMin, l-1)]
		cnt := float64(hi-lo+1) - float64(min(scanMax, l+1)-max(scanMin, l-1)+1)
		base := math.Max(0.004, ((sum[hi+1]-sum[lo]-inner)/cnt+0.3)/(n+1))
		if h <= base*n { // no more than chance: every share above it has odds below one
			continue
		}
		hit, miss := math.Log(base), math.Log(1-base)
		for _, q := range [shares]struct{ q, hit, miss float64 }{
			{0.7, lnShare70, lnShare30}, {0.3, lnShare30, lnShare70}, {0.1, lnShare10, lnShare90},
		} {
			if q.q <= base {
				continue
			}
			x := h*(q.hit-hit) + (n-h)*(q.miss-miss)
			ll = append(ll, x)
			if x > best {
				best, bestLag = x, l
			}
		}
	}
	if best < scanAlarm { // their mean is no larger
		return
	}
	total := 0.0
	for _, x := range ll {
		total += math.Exp(math.Min(x, 300))
	}
	if math.Log(total/float64(len(all))) < scanAlarm {
		return
	}
	// A multiple of the true number scores as well: take the part that hits
	// nearly as often.
	for div := 5; div >= 2; div-- {
		if bestLag%div == 0 && bestLag/div >= scanMin && float64(s.hit[bestLag/div]) > 0.6*float64(s.hit[bestLag]) {
			bestLag /= div
			break
		}
	}
	s.found = bestLag
}
