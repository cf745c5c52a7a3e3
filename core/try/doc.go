// Package try holds what is common to settings and attachments as experiments:
// what rows did stretch by stretch (Panel), what was changed (Change), what one
// change did (Effect) and what a lever does over its range (Curve).
//
// A lever is what somebody sets: it goes by the registry's name of its quantity
// (cleaner_pressure), or by depth or force_mode, which have none. The unit of
// evidence is the row: stretches of one row resemble each other, so that more of
// them never stand for more rows (methods document, section 0, lesson 3).
//
// Measures are those of core/measure/group: a ratio of two sums over stretches,
// each with its own weight.
package try
