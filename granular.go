package evenstand

// Kinds of finding about granules.
const (
	KindGranularRowOff  = "granular-row-off"
	KindGranularRateOff = "granular-rate-off"
)

// Causes of findings about granules.
const (
	CauseGranulesBridged    = "granules bridged or caked"
	CauseGranuleGate        = "granule gate, coupling or clutch"
	CauseGranuleCalibration = "granule calibration"
	CauseGranulesOff        = "granule drive or switch off"
)
