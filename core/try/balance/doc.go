// Package balance says which setting of a lever to try next: inside the
// operator's limits, for how long, and what it is expected to bring.
package balance
