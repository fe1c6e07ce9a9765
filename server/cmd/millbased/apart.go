package main

import (
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"syscall"

	"millbase/solver/apart"
	"millbase/solver/cbc"
)

// workerArgument, alone on the command line, makes this program a worker of
// solver/apart. It is not for people.
const workerArgument = "solver-worker"

// serveSolver answers the solves that the server hands over, until the server
// closes the pipe or ends.
func serveSolver() int {
	// A terminal or a service manager may signal all processes at once, but calls
	// at work still get the grace: the server ends its workers itself.
	signal.Ignore(os.Interrupt, syscall.SIGTERM)
	if err := apart.Serve(os.Stdin, os.NewFile(3, "answers"), cbc.New()); err != nil {
		fmt.Fprintf(os.Stderr, "millbased %s: %v\n", workerArgument, err)
		return exitFail
	}
	return exitOK
}

// newApart returns the engine for whole numbers in processes of their own.
func newApart(workers int) (*apart.Engine, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("this program's own file can't be found, so it can't solve apart; try --solve-apart=false: %w", err)
	}
	return apart.New("cbc", workers, workerOf(program)), nil
}

// workerOf returns what makes the command of a worker.
func workerOf(program string) func() *exec.Cmd {
	return func() *exec.Cmd { return exec.Command(program, workerArgument) }
}
