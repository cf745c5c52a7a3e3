package evenstand

// The verdicts of a check-back.
const (
	VerdictWorked = "worked"
	VerdictOpen   = "not yet known"
	VerdictFailed = "did not work"
)

// CheckBack is what planting says of something that was done: to a finding, or
// to rows. It is looked at as often as one likes without losing its error rate.
type CheckBack struct {
	Verdict  string  `json:"verdict"`   // worked, not yet known, did not work
	Says     string  `json:"says"`      // one sentence
	By       string  `json:"by"`        // what armed it: done, fix, setting
	Done     Micros  `json:"done"`      // when it was done
	Since    Micros  `json:"since"`     // from when on is counted; null: the planter was not lowered since
	Decided  *Micros `json:"decided"`   // when the verdict was certain enough
	CameBack bool    `json:"came_back"` // it had worked, and does no more
	Measure  string  `json:"measure"`   // what is looked at; empty: planting cannot tell
	Unit     string  `json:"unit"`
	Of       string  `json:"of"`   // what is counted: seeds, stretches
	Seen     Number  `json:"seen"` // so many of them since then
	Before   Number  `json:"before"`
	// Usual is what it should come to, Line what it must get past, Peers what the
	// other rows did at the same time.
	Usual Number `json:"usual"`
	Line  Number `json:"line"`
	Peers Number `json:"peers"`
	// PeersLow to PeersHigh hold eight of ten of the other rows.
	PeersLow  Number `json:"peers_low"`
	PeersHigh Number `json:"peers_high"`
	// After holds Low to High with 95 %, at all times at once.
	After Number `json:"after"`
	Low   Number `json:"low"`
	High  Number `json:"high"`
	// What a verdict still needs, by what is known now; null: no telling.
	NeedSeen    Number       `json:"need_seen"`
	NeedSeconds Number       `json:"need_seconds"` // of planting
	NeedArea    Number       `json:"need_area_m2"` // by the whole machine
	Course      []CheckPoint `json:"course"`
}

// CheckPoint is how a check-back stood at one moment.
type CheckPoint struct {
	Seen  Number `json:"seen"`
	T     Micros `json:"time"`
	After Number `json:"after"`
	Low   Number `json:"low"`
	High  Number `json:"high"`
	Line  Number `json:"line"`
	Peers Number `json:"peers"`
}

// Failed tells whether something was done about a finding that did not work and
// that is not over: it waits for someone to act again.
func (f *Finding) Failed() bool {
	return f.Status == Checked && f.CheckBack != nil && f.CheckBack.Verdict == VerdictFailed && f.Until == nil
}

// Healed tells whether something was done about a finding that worked.
func (f *Finding) Healed() bool {
	return f.Status == Checked && f.CheckBack != nil && f.CheckBack.Verdict == VerdictWorked
}

// Waits tells whether a finding stands open: nothing was done about it, or what
// was done did not work.
func (f *Finding) Waits() bool { return f.Status == Open || f.Failed() }
