package evenstand

// Origin says where a figure comes from.
type Origin string

// The three origins. A figure of none of them is not shown.
const (
	Measured Origin = "measured" // a source logged it
	Computed Origin = "computed" // a formula over measured or assumed figures
	Assumed  Origin = "assumed"  // a person or a default set it
)

// Figure is a number with its birth certificate.
type Figure struct {
	Value     Number `json:"value"`
	Low, High Number // 90 % interval; unknown when not known
	Unit      string `json:"unit"`
	Origin    Origin `json:"origin"`
	From      string `json:"from"` // the source, the formula, or who assumed it
}
