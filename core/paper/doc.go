// Package paper makes the papers of a season: application records with what each
// is to hold, the sheet for the central posting place, calibration sheets, acres,
// hand-overs, the parts list and the season report.
//
// Every paper is a Document: sections with pairs, tables and sentences. Command,
// page, print, CSV and JSON are made from it, so that paper equals screen. What a
// record is to hold, who asks for it and by when stands in elements.csv with its
// source; a logbook may add lines for its state. What is not known is said to be
// missing and never made up.
//
// Sources: 40 CFR 170.311 and 171.303, and what was read of state rules, as each
// line of elements.csv says. None of it is legal advice.
package paper
