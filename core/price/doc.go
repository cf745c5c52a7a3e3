// Package price turns what a finding lost into money, as a range, through the
// relations and the prices that the people set.
//
// A finding carries its harm in the ground's own units: seeds that are
// missing, seeds too many, ground left empty, ground planted at another rate.
// Each kind has its relation (R2, R3, R1 of core/relation). The factors of a
// relation and the amount of harm are drawn 1,000 times from one seeded table
// that serves the whole report, so that sums and differences of findings are
// coherent; low, mid and high are the 10th, 50th and 90th percentile if the
// named cause is right. Only Expected counts the chance of the causes, of the
// advice working, and the cost of the stop.
//
// Choices that the sources leave open: a relation's low, likely and high are
// the ends and the mode of a triangle; an amount of harm is two half normals
// that meet at its median; yield goal and prices are taken as set, without a
// spread of their own; a yield goal that nobody has set is drawn from what corn
// usually brings, and said as assumed; seed that was not planted is not credited, as R2 and its
// worked examples do not; a second seed in one place costs the seed and gains
// nothing (R3). The skip relation is corn's: other crops are not priced and say
// what is missing. Without a price of grain the unit is the bushel; what a bag
// of seed costs cannot be said in bushels.
package price
