// Package align puts what was logged on the ground: it smooths the receiver's
// track, follows the bar behind the tractor, says where each row was at each
// moment and how far its own way went, and cuts the day into passes.
//
// East and north are metres in a ground.Frame. Headings are radians clockwise
// from the frame's north and unwrapped, so that their differences are turns.
// y is metres right of the bar's centre, looking forward. S is metres along
// the path of the bar's centre; it grows while the bar goes forward and stands
// still otherwise, backing up included.
//
// Sources: Rauch, Tung and Striebel 1965, AIAA Journal 3:1445-1450 (the
// smoother); Bar-Shalom, Li and Kirubarajan 2001 (its noise model), both from
// memory; the tractrix for a trailed bar (classical). Limits and defaults are
// those of the methods document, section l, where not said otherwise.
package align
