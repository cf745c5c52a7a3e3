package contact

import "math"

// Needs counts ground by the force that it needs, in steps of 50 N: applied
// force and the row's weight less the load. The weight is the same everywhere,
// so that it may be left out.
type Needs struct {
	n [needBins]float64
}

const (
	needWidth = 50.0
	needLow   = -3000.0
	needBins  = 160
)

// Bin is the step in which a need lies.
func Bin(need float64) int {
	return min(max(int(math.Floor((need-needLow)/needWidth)), 0), needBins-1)
}

// Add counts some ground that needs so much.
func (s *Needs) Add(need, ground float64) { s.n[Bin(need)] += ground }

// Steps is the number of steps of need.
const Steps = needBins

// Need is the need in the middle of a step.
func Need(bin int) float64 { return needLow + (float64(bin)+0.5)*needWidth }

// Middle is the need of the middle of the ground; 0 without any.
func (s *Needs) Middle() float64 {
	total, sum := 0.0, 0.0
	for _, c := range s.n {
		total += c
	}
	for b, c := range s.n {
		if sum += c; c > 0 && 2*sum >= total {
			return Need(b)
		}
	}
	return 0
}

// Zones parts the ground into at most most zones by k-means in one dimension,
// started at even shares, and gives their lower limits in rising order, the
// first being -Inf. Two zones must lie 150 N apart (judgement: a step of force
// that a person would set) and hold a tenth of the ground each, else they are
// one.
func (s *Needs) Zones(most int) []float64 {
	total := 0.0
	for _, c := range s.n {
		total += c
	}
	for k := most; k > 1 && total > 0; k-- {
		if means, share := s.means(k, total); apart(means, share) {
			limits := []float64{math.Inf(-1)}
			for i := 1; i < k; i++ {
				limits = append(limits, (means[i-1]+means[i])/2)
			}
			return limits
		}
	}
	return []float64{math.Inf(-1)}
}

// means are k centres and the share of the ground that is nearest to each.
func (s *Needs) means(k int, total float64) (means, share []float64) {
	means, share = make([]float64, k), make([]float64, k)
	sum, i := 0.0, 0
	for b, c := range s.n {
		for i < k && sum+c >= (float64(i)+0.5)/float64(k)*total && c > 0 {
			means[i] = Need(b)
			i++
		}
		sum += c
	}
	for range 100 {
		n, x := make([]float64, k), make([]float64, k)
		for b, c := range s.n {
			if c == 0 {
				continue
			}
			near := 0
			for j := range means {
				if math.Abs(means[j]-Need(b)) < math.Abs(means[near]-Need(b)) {
					near = j
				}
			}
			n[near] += c
			x[near] += c * Need(b)
		}
		moved := 0.0
		for j := range means {
			share[j] = n[j] / total
			if n[j] > 0 {
				moved += math.Abs(x[j]/n[j] - means[j])
				means[j] = x[j] / n[j]
			}
		}
		if moved < 0.01 {
			break
		}
	}
	return means, share
}

func apart(means, share []float64) bool {
	for i := range means {
		if share[i] < 0.1 || (i > 0 && means[i]-means[i-1] < 150) {
			return false
		}
	}
	return true
}

// Zone tells in which zone a need lies.
func Zone(limits []float64, need float64) int {
	z := 0
	for i, l := range limits {
		if need >= l {
			z = i
		}
	}
	return z
}
