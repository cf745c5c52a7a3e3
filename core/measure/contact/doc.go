// Package contact measures how gauge wheels carry their rows: the share of
// readings off the ground with its interval, what load the ground asks for,
// zones of soil that need unlike force, and the change of force that suits the
// loads of a zone.
//
// It takes loads in newtons and gives shares, newtons and losses in percent of
// yield. It reads no files; a histogram is its only state.
//
// Sources: Wilson 1927, JASA 22:209-212, with the effective number of readings;
// relations R7 and R8; methods document, section f.
package contact
