package record

import (
	"math"
	"strconv"

	"evenstand"
	"evenstand/core/advise"
)

// SayTarget says that a target was changed on a box, from and to values in the
// quantity's SI unit, or, when times is not 0, that it changed so often that it
// follows a map.
func SayTarget(q evenstand.Quantity, was, to float64, rows evenstand.Rows, times int, v advise.Voice) string {
	name := advise.Capital(q.Info().Label)
	if times > 0 {
		return name + " changed " + advise.Plural(int64(times), "time", "times") + ": it follows a map, " + rowsSay(rows)
	}
	return name + " set to " + targetSay(q, to, v) + " (was " + targetSay(q, was, v) + "), " + rowsSay(rows)
}

// SayLevel says that a level that a box measures was changed, from and to values
// in the quantity's SI unit, or, when times is not 0, that it changes too often to
// be somebody's doing.
func SayLevel(q evenstand.Quantity, was, to float64, rows evenstand.Rows, times int, v advise.Voice) string {
	name := advise.Capital(q.Info().Label)
	if times > 0 {
		return name + " changed " + advise.Plural(int64(times), "time", "times") + ": it is set by itself, " + rowsSay(rows)
	}
	return name + " went from " + targetSay(q, was, v) + " to " + targetSay(q, to, v) + ", " + rowsSay(rows)
}

func targetSay(q evenstand.Quantity, x float64, v advise.Voice) string {
	in := q.Info()
	switch in.SI {
	case "1/m2", "N":
		return v.Value(x, in.SI)
	}
	name := in.US
	if v.Units == evenstand.Metric {
		name = in.Metric
	}
	u, err := evenstand.ParseUnit(name)
	if err != nil {
		return v.Value(x, in.SI)
	}
	three, err := strconv.ParseFloat(strconv.FormatFloat(u.FromSI(x), 'g', 3, 64), 64)
	if err != nil || math.IsNaN(three) {
		return advise.Unknown
	}
	if name == "inH2O" {
		return amountOf(three, "") + " in of water"
	}
	return amountOf(three, name)
}
