// Package book keeps a season in one folder: the settings, the planter cards
// and the field boundaries that people wrote, the logs as they came in, a
// ledger of everything that people said and decided, and the data derived
// from all that.
//
// What people wrote and what came in is never changed or thrown away. What is
// derived lies under data/ and can be made again at any time from the
// originals and the ledger, equal to the byte. A derived file counts once the
// manifest, which is renamed into its place last, names it with its hash; so a
// program that is stopped at any moment leaves a sound book behind.
//
// The files and columns are drawn in docs/book-format.md.
package book
