// Package stand puts counts of plants beside what the logs say of the same
// ground: which share of the seeds became plants, field by field and on the
// farm, whether seeds that no sensor saw lie in the ground all the same, and
// what ground that a finding doubts has lost.
//
// The model. A count of n seeds (as logged where it was taken, with the places
// of findings added) finds n e Π(1 − θ x) plants: e is the field's emergence, x
// the share of the places there that a finding says are empty, or 1 where it
// doubts the ground as a whole, and θ how much of that is so. Fields belong to a
// farm: e ~ N(μ, τ²), so that a field of few counts leans on the others and one
// of none is told by them. Counts scatter by chance (binomial) and by a
// coefficient of variation of their own beside, which is learned. A thin spot
// counts as what it is: with tails that took it for a slip of the pen the mean of
// a field with bad spots came out a hundredth too high. All is drawn together by
// Gibbs sampling on grids, from a seed: the same counts always say the same.
//
// Priors: R1's emergence for the farm's mean; R16's 8 to 15 % for the scatter of
// single counts; what fields differ by, and what doubted ground may lose, is
// judgement and marked so.
package stand
