// Package booktest makes up a season of planting of any size, as a format and
// a deriver that go with it, for tests of the book that want many seeds and
// do not care what they mean.
package booktest
