// Package effect tells what a change of a setting did, and joins what many
// changes did into a curve.
//
// Of picks the best design that the change allows (methods document, section h):
// rows that were changed against rows that were not, the row as the unit; all
// rows back and forth by pass; all rows once, near the break. What all rows did
// in common is told from a break by how the same estimate comes out at moments of
// the same day when nothing was changed: those placebo breaks set the error of
// the second and third design, whatever the memory of the ground.
//
// Join is a random-effects meta-regression on differences of u and u² over the
// season's changes, with the error of its own residuals and Satterthwaite's
// degrees of freedom (see robust).
package effect
