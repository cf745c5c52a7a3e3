// Package level tells when a level that a box measures was set anew: a pressure,
// a vacuum, a fan's speed, a fixed force.
//
// What is logged is taken in means over a few seconds (Log). A step is a change
// from one steady level to another that holds for a minute of work on both sides
// and stands out from how such differences scatter on the same day (Steps); what
// was driven at another speed is told by whole passes (Passes).
package level
