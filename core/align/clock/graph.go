package clock

import (
	"math"

	"evenstand"
)

// Link is the offset of the clock of box B against that of box A, as a pair of
// their logs tells it.
type Link struct {
	A, B int
	Fit
}

// stray is how many standard errors a link may lie from what the others make
// of it (methods document, section k).
const stray = 4

// Graph puts n clocks on that of the first by least squares over all links,
// with one robust pass that drops those that contradict the others. It gives
// the offset of each at a moment, with drift and errors; unknown clocks, to
// which no link leads, have a NaN offset. Of a link between two of which
// neither has to do with the first nothing follows.
func Graph(n int, links []Link, at evenstand.Micros) []Fit {
	keep := links
	var out []Fit
	for round := range 2 {
		out = solve(n, keep, at)
		if round == 1 {
			break
		}
		var good []Link
		for _, l := range keep {
			if d, sd := l.against(out, at); sd > 0 && d > stray*sd {
				continue
			}
			good = append(good, l)
		}
		if len(good) == len(keep) {
			break
		}
		keep = good
	}
	return out
}

// against gives how far a link lies from the solution, and its own error.
func (l *Link) against(fits []Fit, at evenstand.Micros) (d, sd float64) {
	a, b := fits[l.A], fits[l.B]
	if math.IsNaN(a.Offset) || math.IsNaN(b.Offset) {
		return 0, 0
	}
	return math.Abs(l.Off(at) - (b.Offset - a.Offset)), l.ErrorAt(at)
}

// solve is the least squares: two unknowns a clock, offset and drift, the
// first clock's being zero.
func solve(n int, links []Link, at evenstand.Micros) []Fit {
	reached := make([]bool, n)
	reached[0] = true
	for range n {
		for _, l := range links {
			if reached[l.A] || reached[l.B] {
				reached[l.A], reached[l.B] = true, true
			}
		}
	}
	m := 2 * n
	inv := make([][]float64, m)
	for i := range inv {
		inv[i] = make([]float64, m)
		inv[i][i] = 1
	}
	rhs := make([]float64, m)
	mat := make([][]float64, m)
	for i := range mat {
		mat[i] = make([]float64, m)
	}
	for i := range n {
		w := 1e-12 // says nothing
		if i == 0 || !reached[i] {
			w = 1e18
		}
		mat[2*i][2*i] += w
		mat[2*i+1][2*i+1] += w
	}
	for _, l := range links {
		if !reached[l.A] {
			continue
		}
		// Information of the link about offset (at the moment) and drift.
		v0 := l.ErrorAt(at)
		x := (at - l.At).Seconds()
		c := l.Cov + x*l.DriftSE*l.DriftSE
		v, w := v0*v0, l.DriftSE*l.DriftSE
		det := v*w - c*c
		if !(det > 0) {
			continue
		}
		q := [2][2]float64{{w / det, -c / det}, {-c / det, v / det}}
		y := [2]float64{l.Off(at), l.Drift}
		for r := range 2 {
			for s := range 2 {
				mat[2*l.B+r][2*l.B+s] += q[r][s]
				mat[2*l.A+r][2*l.A+s] += q[r][s]
				mat[2*l.A+r][2*l.B+s] -= q[r][s]
				mat[2*l.B+r][2*l.A+s] -= q[r][s]
				rhs[2*l.B+r] += q[r][s] * y[s]
				rhs[2*l.A+r] -= q[r][s] * y[s]
			}
		}
	}
	// Scaled, since offsets and drifts differ by a million, then eliminated.
	scale := make([]float64, m)
	for i := range m {
		scale[i] = 1 / math.Sqrt(mat[i][i])
	}
	for i := range m {
		rhs[i] *= scale[i]
		for j := range m {
			mat[i][j] *= scale[i] * scale[j]
		}
	}
	for k := range m {
		p := k
		for r := k + 1; r < m; r++ {
			if math.Abs(mat[r][k]) > math.Abs(mat[p][k]) {
				p = r
			}
		}
		mat[k], mat[p] = mat[p], mat[k]
		inv[k], inv[p] = inv[p], inv[k]
		rhs[k], rhs[p] = rhs[p], rhs[k]
		d := mat[k][k]
		for c := range m {
			mat[k][c] /= d
			inv[k][c] /= d
		}
		rhs[k] /= d
		for r := range m {
			f := mat[r][k]
			if r == k || f == 0 {
				continue
			}
			for c := range m {
				mat[r][c] -= f * mat[k][c]
				inv[r][c] -= f * inv[k][c]
			}
			rhs[r] -= f * rhs[k]
		}
	}
	out := make([]Fit, n)
	for i := range n {
		o, d := 2*i, 2*i+1
		out[i] = Fit{
			At: at, Offset: rhs[o] * scale[o], Drift: rhs[d] * scale[d],
			SE: math.Sqrt(inv[o][o]) * scale[o], DriftSE: math.Sqrt(inv[d][d]) * scale[d], Cov: inv[o][d] * scale[o] * scale[d],
		}
		if !reached[i] {
			out[i] = Fit{At: at, Offset: math.NaN(), Drift: math.NaN(), SE: math.NaN(), DriftSE: math.NaN(), Cov: math.NaN()}
		}
	}
	out[0] = Fit{At: at}
	return out
}
