// Package seedspacing measures how evenly one row dropped its seeds.
//
// It takes the distances between neighbouring seeds along the row and the
// spacing that was asked for, and returns the figures of ISO 7256-1: multiples
// index, miss index, quality of feed index, precision, and the counts they
// rest on. There are two ways of counting, and they give different figures:
// by spacing (the share of the distances measured) and by place (the share of
// the places at which a seed was due). Both are always given, under their own
// names, because a figure of one way must not be held against one of the
// other. It reads no files and keeps no state but what a Counter holds.
//
// Sources: ISO 7256-1:1984 as restated in the literature; Kachman and Smith,
// Transactions of the ASAE 38(2), 1995, 379-387 for the shares of places.
package seedspacing
