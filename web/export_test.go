package web

// For tests of the package's outside.
var SafePath = safePath
