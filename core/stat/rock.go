package stat

import "math"

// Burst is the misses counted within the first Length places of an alarm.
type Burst struct{ Length, Misses float64 }

// BurstLengths are the lengths of bursts that RockOrPart is asked about.
var BurstLengths = []float64{20, 30, 40, 60, 100, 200, 400}

// Verdict is what RockOrPart says.
type Verdict struct {
	LogLasting float64   // log likelihood of one lasting rate
	LogBurst   []float64 // the same of a burst of each length, then the base rate
	LogOdds    float64   // lasting against burst, all lengths alike; negative: it was a burst
}

// RockOrPart weighs, from the onset of an alarm on, one lasting rate with
// prior Beta(1, 12) against a burst with prior Beta(1, 3) that was followed by
// the base rate. n places hold misses in all; bursts longer than n are left
// out (methods document, section d). Before 400 places there is no verdict.
func RockOrPart(n, misses, base float64, bursts []Burst) Verdict {
	v := Verdict{LogLasting: LogBeta(1+misses, 12+n-misses) - LogBeta(1, 12)}
	for _, b := range bursts {
		if b.Length > n {
			continue
		}
		rest := misses - b.Misses
		v.LogBurst = append(v.LogBurst, LogBeta(1+b.Misses, 3+b.Length-b.Misses)-LogBeta(1, 3)+
			rest*math.Log(base)+(n-b.Length-rest)*math.Log1p(-base))
	}
	v.LogOdds = math.NaN()
	if len(v.LogBurst) > 0 {
		v.LogOdds = v.LogLasting - LogSumExp(v.LogBurst...) + math.Log(float64(len(v.LogBurst)))
	}
	return v
}
