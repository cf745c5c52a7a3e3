package pipeline

// Targets gives what each row is asked for, in seeds a square metre.
func (l *Live) Targets() (perM2 []float64) {
	for _, r := range l.s.rows {
		perM2 = append(perM2, r.target)
	}
	return perM2
}
