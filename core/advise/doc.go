// Package advise says what a finding is in one plain sentence and what to do
// about it: steps, minutes, who, when, and what to be careful of.
//
// Fill takes a finding as find and price left it (kind, grade, rows, times,
// evidence, causes, harm, money) and sets Sentence, Advice, When, Say and
// Sources. Sentences are in the logbook's units, on its clock and in its time
// zone; everything else of a finding stays in SI and UTC. Evidence that is
// missing is left out of the sentence; it never fails.
//
// Voice is also how every other part writes numbers for people: lengths,
// areas, rates, clock times, ranges of money.
//
// Steps, minutes and remedies come from the catalogue of core/relation, which
// marks them as trade knowledge without a published source. The words of
// caution are those of the design, given with every advice to look at or touch
// the machine.
package advise
