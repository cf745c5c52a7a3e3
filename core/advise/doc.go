// Package advise says what a finding is in a plain sentence and what to do
// about it, when, who, and what to be careful of.
package advise
