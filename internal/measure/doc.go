// Command measure says how good the program is, in figures: it drives the
// built evenstand over simulated days whose truth is known, over a real log,
// through kills and rebuilds, times the group-by over a season, and fuzzes the
// readers. Each figure comes with its target and the command that gives it.
//
//	go run ./internal/measure [flags] PART…
//
// The parts are days, real, kills, rebuild, season, fuzz and demo; all is every
// one of them, and small is the two days that CI scores. With -write the
// figures go between the markers of docs/measured.md; the rest of that page
// stays. A figure that misses its target gives exit code 1.
//
// A scored day is kept under bin/measure, by the hash of the program and of the
// scenario, so that a run that was stopped goes on where it was.
package main
