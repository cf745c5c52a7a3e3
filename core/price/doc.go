// Package price turns what a finding lost into money, as a range, through the
// relations and the prices that the people set.
package price
