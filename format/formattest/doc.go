// Package formattest is the suite that every reader of a format must pass:
// nothing at all, empty files, files cut at each byte, records in the wrong
// order, huge counts, flipped bytes, a context that is cancelled, a sink that
// fails, a disk that fails, a zip in place of a folder. It knows no format;
// a test hands it a few small inputs with the counts that a person expects.
package formattest
