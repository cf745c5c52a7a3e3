// Package makeup plans what the next machine puts on where a product that went
// on beside seed was missed, fell short, or was doubled.
//
// The way. Every row's flow, second by second, is held against what was asked
// for there (Piece). Strips are cut out of it where it is off by more than the
// next machine can tell (Cut): shorter swings are left alone. What a strip lacks
// or has too much of, in kg of the nutrient, is laid into the cells of the next
// machine (Lay): its swaths over the field, each as many parts wide as it can
// set by itself, a metre long. Laying keeps the mass: what is owed is found again
// in the cells, to the last gram. A cell then wants the planned rate and what it
// is owed; limits of the machine, of the product beside seed or plant, and of the
// season cut that, and what is cut off is said with its reason (Plan). Last,
// neighbouring cells of the same rate are joined to zones.
//
// No sum of the whole field is made even by putting more elsewhere: what a cell
// may not have stays missing.
package makeup
