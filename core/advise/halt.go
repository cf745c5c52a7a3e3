package advise

import "evenstand"

// halt puts a stop that was weighed into words.
func (v Voice) halt(f *evenstand.Finding) {
	figure := func(name string) (e evenstand.Evidence) {
		for _, e := range f.Evidence {
			if e.Name == name {
				return e
			}
		}
		return e
	}
	lost, stop := figure("lost by the next fill"), figure("the stop, beyond the same work during the fill")
	one := func(x evenstand.Number) string { return v.Money(evenstand.Range{Low: x, Mid: x, High: x}, lost.Unit) }
	all := v.Money(evenstand.Range{Low: lost.Low, Mid: lost.Value, High: lost.High}, lost.Unit)
	what := "the planter"
	if len(f.Rows) > 0 {
		what = lower(Rows(f.Rows))
	}
	ground := ""
	if x, ok := Figure(f, "planted by the next fill"); ok {
		ground = ", " + v.Area(x) + " on,"
	}
	minutes, _ := Figure(f, "minutes")
	if f.Kind == evenstand.KindStopPays {
		f.Sentence = "A stop now for " + what + " pays: waiting for the next fill" + ground + " loses " + all + ", the stop of " + Digits(minutes) + " minutes costs " + one(stop.Value) + "."
		f.Advice.Do = "Stop at the end of this pass and do what the findings of " + what + " say."
		f.Advice.Cautions = cautions(f.Kind, machine|under|seed)
	} else {
		f.Sentence = Capital(what) + " can wait for the next fill: waiting loses " + all + ", a stop before it costs " + one(stop.Value) + "."
		f.Advice.Do = "Go on, and do it during the fill."
	}
	if f.Sources == nil {
		f.Sources = []string{"R21-timeliness"}
	}
	if f.Say == nil {
		f.Say = []string{}
	}
}
