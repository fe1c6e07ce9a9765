package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
	"runtime/debug"
	"syscall"
)

// version is set when a release is built.
var version = "development"

// The exit codes.
const (
	exitOK    = 0
	exitFail  = 1
	exitUsage = 2
)

// gcPercent lets the heap grow to five times what lives: the server lives in a
// few megabytes, and at the usual 100 the collector would take a tenth of the
// time under load. GOGC in the environment is obeyed.
const gcPercent = 400

func main() {
	if len(os.Args) == 2 && os.Args[1] == workerArgument {
		os.Exit(serveSolver())
	}
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(gcPercent)
	}
	cfg, done, err := parse(os.Args[1:], os.LookupEnv, os.Stdout)
	if err != nil {
		fmt.Fprintf(os.Stderr, "millbased: %v\n", err)
		os.Exit(exitUsage)
	}
	if done {
		os.Exit(exitOK)
	}
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	go func() {
		<-ctx.Done()
		stop() // the next signal has its usual effect
	}()
	if err := run(ctx, cfg, os.Stderr); err != nil {
		fmt.Fprintf(os.Stderr, "millbased: %v\n", err)
		os.Exit(exitFail)
	}
}
