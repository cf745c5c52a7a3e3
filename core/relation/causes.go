package relation

// Remedy is what is known about one cause of one kind of finding: how often
// the usual advice cures it, how long it takes and who does it. The figures are
// trade knowledge without a published source; each line says so.
type Remedy struct {
	Kind, Cause string
	Fault       string  // section of the fault reference, "F01"
	SeedsFall   bool    // the seeds lie in the ground all the same: nothing was lost
	Works       float64 // chance that the advice cures it
	Minutes     int     // one person, in the field
	Who         string  // operator, mechanic, agronomist
	Do          string  // whole sentences
	Source      string
	Status      Status
}

// RemedyFor finds the remedy of a cause within a kind; false when the
// catalogue has none.
func RemedyFor(kind, cause string) (Remedy, bool) { return Remedy{}, false }
