// Command evenstand reads what the boxes of a row-crop planter logged and says
// what is off, on which row, since when, why, what it costs and what to do.
package main

import (
	"context"
	"os"
	"os/signal"
	_ "time/tzdata" // zones on computers that have no zone database

	"evenstand/cli"
	"evenstand/internal/heap"
)

func main() {
	heap.Set()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt)
	code := cli.Run(ctx, cli.Env{Args: os.Args[1:], Stdin: os.Stdin, Stdout: os.Stdout, Stderr: os.Stderr, Getenv: os.Getenv, Name: os.Args[0]})
	stop()
	os.Exit(code)
}
