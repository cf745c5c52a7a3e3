package pipeline

// Targets gives what each row is asked for, in seeds a square metre.
func (l *Live) Targets() (perM2 []float64) {
	for _, r := range l.s.rows {
		perM2 = append(perM2, r.target)
	}
	return perM2
}

// Scatter gives each row's scatter about its places, in places, and the lag by
// which its seeds are taken to follow the speed, in s.
func (l *Live) Scatter() (sigma, lag []float64) {
	for _, r := range l.s.rows {
		sigma = append(sigma, r.dec.Sigma())
		lag = append(lag, r.lagT.Seconds())
	}
	return sigma, lag
}
