package main

import (
	"context"
	"fmt"
	"os"
	"os/signal"
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

func main() {
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
