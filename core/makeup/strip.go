package makeup

import "math"

// Piece is what one row got over a second or so.
type Piece struct {
	X, Y    float64 // m, of its middle in a flat frame, east and north
	Heading float64 // of travel, radians clockwise from north
	Length  float64 // m
	Got     float64 // product per m2 that went on; NaN not known
	Want    float64 // asked for; 0 where the ground had its share before
	Double  bool    // the ground had its share before
}

// Kind says how a strip is off.
type Kind string

// The kinds.
const (
	Missed  Kind = "missed"  // next to nothing went on
	Short   Kind = "short"   // less than asked for
	Over    Kind = "over"    // more
	Doubled Kind = "doubled" // ground that had its share before
)

// Strip is a part of a row's way that is off.
type Strip struct {
	Kind      Kind
	Row       int
	From, To  int     // indexes of the pieces, To after the last
	Length    float64 // m
	Got, Want float64 // means, product per m2
	Lacks     float64 // product per m of row's width, m2 of it times the shortage: (Want-Got)*Length; below 0 too much
}

// Limits of what is cut out.
const (
	// Least is how far off a rate is told at least, as a share of what was asked
	// for: rates of liquid monitors and pumps are held to 5 to 10 % (judgement).
	Least = 0.15
	// Nothing is what counts as next to nothing, as a share.
	Nothing = 0.2
	// LeastLength is how long a strip is at least, m: shorter ones are the swing of
	// a loop as the planter takes up speed (judgement). Of missed strips, where next
	// to nothing went on, LeastMissed.
	LeastLength = 30
	LeastMissed = 6
)

// Cut finds the strips of a row's way: pieces that are off the same way, one after
// another, a single one between them that is not taken along. least is the share
// from which it counts, 0 for Least.
func Cut(row int, ps []Piece, least float64) (out []Strip) {
	if least <= 0 {
		least = Least
	}
	state := func(p *Piece) int {
		switch {
		case math.IsNaN(p.Got) || !(p.Length > 0):
			return 0
		case p.Double:
			if p.Got > 0 {
				return 2
			}
			return 0
		case !(p.Want > 0):
			return 0
		case p.Got < (1-least)*p.Want:
			return -1
		case p.Got > (1+least)*p.Want:
			return 1
		}
		return 0
	}
	at := func(i int) int {
		if i < 0 || i >= len(ps) {
			return 0
		}
		return state(&ps[i])
	}
	for i := 0; i < len(ps); {
		s := at(i)
		if s == 0 {
			i++
			continue
		}
		to := i + 1
		for to < len(ps) && (at(to) == s || at(to+1) == s && at(to) == 0 && !math.IsNaN(ps[to].Got)) {
			to++
		}
		if st := sum(row, ps, i, to, s); st.Length >= LeastLength || st.Length >= LeastMissed && (st.Kind == Missed || st.Kind == Doubled) {
			out = append(out, st)
		}
		i = to
	}
	return out
}

func sum(row int, ps []Piece, from, to, state int) Strip {
	s := Strip{Row: row, From: from, To: to}
	for i := from; i < to; i++ {
		p := &ps[i]
		s.Length += p.Length
		s.Got += p.Got * p.Length
		s.Want += p.Want * p.Length
	}
	s.Lacks = s.Want - s.Got
	s.Got, s.Want = s.Got/s.Length, s.Want/s.Length
	switch {
	case state == 2:
		s.Kind = Doubled
	case state == 1:
		s.Kind = Over
	case s.Got < Nothing*s.Want:
		s.Kind = Missed
	default:
		s.Kind = Short
	}
	return s
}
