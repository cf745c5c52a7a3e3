// Package find says what is off, on which rows, since when, and why with odds.
//
// An Engine takes what the stages before it made of the logs, in order of
// time: places on the disc (grade A) or counts and shares by the second
// (grade B), vacuum, what is switched on, how the bar moves. Once a second of
// log time, at Tick, it decides. Its state is a few tens of kilobytes a row,
// whatever the length of the day, and a line for each finding and each passing
// trouble. It reads no files and no clock, so a log and a live
// feed give the same answers.
//
// A finding has two stages. Suspected is shown on the row's page only; raised
// stands on the worklist. Thresholds are set by the number of false findings
// that a whole machine may raise in ten hours, not by "three sigma": rates
// wander with soil and speed, healthy rows differ for ever by a little, and
// both are built into the tests (over-dispersion, peers, the row's own ratio).
//
// One file holds one fault: cell.go, starved.go, rate.go, hourly.go, vacuum.go,
// stopped.go, leftoff.go, rateoff.go, bounce.go, drive.go, liquid.go and
// granular.go (on flow.go), alone.go, tank.go, load.go, furrow.go, furrowrow.go,
// slotopen.go, lot.go, labelcap.go, sensor.go, speed.go, turnrate.go, silent.go,
// recurring.go, forceswing.go and flowswing.go (on swing.go), pumplimit.go.
// Sources of the methods stand with them; measured
// power stands in docs/measured.md.
package find
