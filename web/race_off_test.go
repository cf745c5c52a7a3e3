//go:build !race

package web_test

// raceOn says that the race detector slows this run down and takes memory.
const raceOn = false
