// Package cli is the command line: one file a command. Results go to standard
// output, progress and what a person should know to standard error; every
// command that reports takes --json. Flags stand before or after arguments.
package cli
