// Package nmea0183 reads and writes logs of a GNSS receiver in the sentences of
// NMEA 0183: GGA, RMC, VTG, ZDA and HDT, of any talker.
//
// A sentence begins with $ and ends with * and the exclusive or of all
// characters between, in two hexadecimal digits. One that is wrong is left
// out and counted; one without is used. What stands in front of the $ on a
// line, such as a logger's own time, is passed over, and so are other
// sentences and bytes that are none.
//
// Sentences with one time of day are one epoch and become one fix. The date is
// that of RMC or ZDA, but none of which RMC warns; GGA has none, so it keeps the
// date told last and counts on over midnight, and one that comes late over
// midnight is of the day before. Before the first date in a file the one that comes in its
// first quarter of a megabyte is used. Times are UTC by the receiver. Dates of
// receivers whose week number has run over lie 1024 weeks or a multiple back;
// they are kept as they came and told.
//
// Course is that of RMC, else VTG; HDT, which is where the tractor points and
// not where it goes, stands in only where neither says anything. Altitude is
// above mean sea level, as GGA has it.
package nmea0183
