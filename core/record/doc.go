// Package record holds what was decided and makes the worklist, as values.
package record
