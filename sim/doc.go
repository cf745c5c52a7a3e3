// Package sim makes a planting day with known truth: what every box in the
// cab would have logged, and beside it what really happened. It is the demo,
// and the truth that tests ask "did we find it?".
//
// A scenario (TOML) says planter, fields, timetable, faults and boxes. One
// seed number in, byte-identical files out:
//
//	OUT/boxes/<box>/…          what the box logged, each box with its own clock
//	OUT/card.toml              the planter card
//	OUT/fields/*.geojson       the boundaries
//	OUT/truth.jsonl            one line a fault
//	OUT/truth/*.csv, *.json    the truth behind it, which no analysis may read
//
// The world is made pass by pass: the tractor follows its lines (drive.go),
// the bar follows the tractor, every row's disc turns and drops seeds
// (meter.go), faults change what a row does (fault.go), and boxes write down
// what they see of it (box.go). Every stream of chance has a generator of its
// own, keyed by name, row and pass, and every place on a disc takes the same
// number of draws whatever happens to it, so that the difference between a
// day with a fault and the same day without it is the fault alone.
//
// Inside, everything is SI: metres, seconds, east and north of the field's
// origin. Orders of magnitude follow published planter literature or are
// judgements, as the comments say: a method that does well here has been
// shown to work on this world only.
package sim
