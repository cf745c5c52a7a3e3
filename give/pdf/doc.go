// Package pdf writes papers as PDF: pages of A4 or US Letter, with page numbers,
// table heads that come again on each page, and text that can be copied.
//
// The same papers give the same bytes: the date in the file is that of what it
// shows. The face is the Go font (BSD licence), of which the glyphs that are used
// go into the file.
package pdf
