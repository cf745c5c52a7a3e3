// Package plain reads and writes the plain layout: seeds.csv, track.csv,
// readings.csv and journal.csv with a source.toml beside them, and the planter
// card. It is for anyone who builds a logger, and what the simulator writes.
//
// Text is UTF-8, with or without byte order mark; fields are parted by commas
// and quoted where they hold one; the first line names the columns, in any
// order. A time is RFC 3339 with zone or seconds since 1970 with decimals; a
// time without zone needs the zone of source.toml. Rows count from 1 at the
// left, looking forward. Each file is a source of its own. What the reader
// hands over is in SI; what it cannot use it reports by reason with the first
// line, the count and what to do, and it uses the rest.
//
//	seeds.csv     time,row
//	track.csv     time,latitude,longitude[,altitude_m][,speed_m_s][,heading_deg][,hdop][,satellites]
//	readings.csv  time,quantity,element,value,unit
//	journal.csv   time,what,rows,value,unit,note
//	source.toml   one_clock, name, planter, zone, clock_offset_s, clock_error_s, count_from, rows_from, rows, notes
package plain
