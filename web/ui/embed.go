// Package ui holds the built page. Its source is in src; `make ui` builds it
// into dist, which is kept in the repository so that building the program needs
// no Node.
package ui

import (
	"embed"
	"io/fs"
)

//go:embed all:dist
var dist embed.FS

// Page gives the files of the page.
func Page() fs.FS {
	sub, err := fs.Sub(dist, "dist")
	if err != nil {
		panic(err) // a broken build
	}
	return sub
}
