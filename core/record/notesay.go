package record

import (
	"math"
	"strconv"
	"strings"

	"evenstand"
	"evenstand/core/advise"
)

// SayEntry writes a journal line in plain words, without its time: "Row-cleaner
// pressure set to 22 psi (was 30 psi), the whole planter".
func SayEntry(e *evenstand.Entry) string {
	val := amountOf(e.Value, e.Unit)
	where := ", " + rowsSay(e.Rows)
	note := e.Note
	switch {
	case e.What == "setting" && !math.IsNaN(e.Value):
		name, more, _ := strings.Cut(note, ": ")
		name, was, _ := strings.Cut(name, ", was ")
		if _, known := evenstand.ParseQuantity(name); !known && name != depth {
			return say("setting", e) // somebody else's journal
		}
		s := advise.Capital(settingName(name)) + " set to " + asShown.Replace(val)
		if was != "" {
			s += " (was " + asShown.Replace(was) + ")"
		}
		if s += where; more != "" {
			s += ": " + more
		}
		return s
	case e.What == "setting":
		x, ok := SettingOf(e)
		if !ok || x.State == "" {
			return say("setting", e)
		}
		s := advise.Capital(LeverSay(x.Lever)) + " set to " + x.State
		if x.StateWas != "" {
			s += " (was " + x.StateWas + ")"
		}
		if s += where; x.Words != "" {
			s += ": " + x.Words
		}
		return s
	case e.What == "refill":
		if math.IsNaN(e.Value) {
			val = ""
		}
		if val == "" && strings.Contains(strings.ToLower(note), "filled") { // in a box's own words
			return advise.Capital(note) + where
		}
		return strings.Join(nonempty("Filled", val, note), " ") + where
	case e.What == "dig" && !math.IsNaN(e.Value):
		s := "Dug: seed " + val + " deep" + where
		if note != "" {
			s += ": " + note
		}
		return s
	case e.What == "count" && e.Unit != "":
		u := strings.TrimPrefix(e.Unit, "1/")
		s := "Stand of " + amountOf(e.Value, "") + " " + perArea("1/"+u) + where
		if note != "" {
			s += ": " + note
		}
		return s
	case e.What == "count" && !math.IsNaN(e.Value):
		return strings.Join(nonempty("Counted", val, note), " ") + where
	case e.What == "lot":
		return "Seed lot " + note + where
	case e.What == "remark" && len(e.Rows) == 0:
		return "Remark: " + note
	}
	return say(e.What, e)
}

// asShown writes units of a setting as the screens do: loads are read as weights.
var asShown = strings.NewReplacer(" lbf", " lb", " kgf", " kg", " inH2O", " in of water")

// say writes a line of which only the kind is known.
func say(what string, e *evenstand.Entry) string {
	if what == "fix" {
		what = "fixed"
	}
	s := advise.Capital(what) + ", " + rowsSay(e.Rows)
	if !math.IsNaN(e.Value) {
		s += ", " + amountOf(e.Value, e.Unit)
	}
	if e.Note != "" {
		s += ": " + e.Note
	}
	return s
}

// settingName writes the registry's name of a setting in words.
func settingName(name string) string {
	if q, ok := evenstand.ParseQuantity(name); ok {
		return q.Info().Label
	}
	return name
}

// amountOf writes a number as it was said, with its unit.
func amountOf(v float64, unit string) string {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	if v == math.Trunc(v) && math.Abs(v) < 1e15 {
		s = advise.Thousands(int64(v))
	}
	switch unit {
	case "":
		return s
	case "%":
		return s + "%"
	}
	return s + " " + unitSay(unit)
}

// unitSay writes a unit as people say it.
func unitSay(unit string) string {
	switch unit {
	case "1/ac", "1/ha":
		return perArea(unit)
	case "1/min":
		return "rpm"
	}
	return unit
}

func perArea(unit string) string {
	switch unit {
	case "1/ac":
		return "an acre"
	case "1/ha":
		return "a hectare"
	case "1/m2":
		return "a square metre"
	}
	return unit
}
