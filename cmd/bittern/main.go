// Command bittern turns a drone's picture of a rice field into a spray
// decision: which ground departs from the rest of the crop, where to walk,
// whether treating pays, and the sheets and files to treat it with.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"bittern/internal/cli"
	"bittern/internal/heap"
)

func main() {
	heap.Set()
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	code := cli.Main(ctx, cli.Env{
		Args:   os.Args[1:],
		Stdout: os.Stdout,
		Stderr: os.Stderr,
		Getenv: os.Getenv,
	})
	stop()
	os.Exit(code)
}
