package effect

// Beyond tells what Verdict would call an effect if nothing were x.
func (f *Found) Beyond(x float64) int { return f.beyond(x) }
