package find

import "evenstand"

// Strip is one stretch of a pass over all rows, as it is known when the pass is
// over: what can be said of speed and of curves rests on whole stretches.
type Strip struct {
	T       evenstand.Micros // middle
	E, N    float64          // m, of the bar's centre at its beginning
	Length  float64          // m along the bar's centre
	Turn    float64          // rad that the bar turns over it
	Speed   float64          // m/s, mean
	SpeedSD float64          // m/s within it
	End     bool             // within two stretches of either end of the pass
	Rows    []StripRow       // by row, from 0
}

// StripRow is one row's part of a strip.
type StripRow struct {
	Way    float64 // m along the row's own path
	Seeds  float64
	Target float64 // m between seeds; NaN unknown
	CV     float64 // of the gaps of single seeds, fraction; NaN when not known
	Gaps   float64 // that CV rests on
	Off    float64 // m on which it was switched off
}

// Strips takes the stretches of a pass that is over at t, in order of the way.
func (e *Engine) Strips(xs []Strip, t evenstand.Micros) {
	e.speedPass(xs, t)
	e.turnPass(xs, t)
}
