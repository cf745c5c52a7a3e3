// Package files lists the files of an input, for all readers of formats alike.
package files
