// Package web serves a logbook to a browser: the page, and under /api/v1 what
// the page asks for, described by the OpenAPI 3.1 document that the server
// itself gives at /api/v1/openapi.json.
//
// Figures travel in SI with their interval and what they rest on, beside the
// words that people of the logbook read. Seeds travel as columns (columns.go).
// The package listens nowhere by itself: Server.Handler is handed to whoever
// does, and refuses what did not come from its own page (guard.go).
package web
