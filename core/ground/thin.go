package ground

// Thin leaves out points of a line that lie within off of what is left, its ends
// kept; off is in the units of the points. The points left are a part of ps.
//
// Source: Douglas and Peucker, Cartographica 10(2), 1973, 112-122.
func Thin(ps []Point, off float64) []Point {
	if len(ps) < 3 {
		return ps
	}
	keep := make([]bool, len(ps))
	keep[0], keep[len(ps)-1] = true, true
	for open := [][2]int{{0, len(ps) - 1}}; len(open) > 0; {
		a, b := open[len(open)-1][0], open[len(open)-1][1]
		open = open[:len(open)-1]
		far, at := off*off, -1
		for i := a + 1; i < b; i++ {
			if d := distance2(ps[a], ps[b], ps[i]); d > far {
				far, at = d, i
			}
		}
		if at >= 0 {
			keep[at] = true
			open = append(open, [2]int{a, at}, [2]int{at, b})
		}
	}
	var out []Point
	for i, p := range ps {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}
