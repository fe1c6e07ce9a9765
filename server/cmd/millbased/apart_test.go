package main

import (
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/apart"
	"millbase/solver/certify"
	"millbase/solver/solvertest"
)

// TestSolvesApart: this program, run again as a worker, solves with whole
// numbers.
func TestSolvesApart(t *testing.T) {
	e, err := newApart(1)
	if err != nil {
		t.Fatal(err)
	}
	defer e.Close()
	m := solvertest.Weighable(1, 12, 6, 5)
	s, err := e.Solve(t.Context(), m, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal || !certify.Check(m, s).OK || s.Engine != "cbc" {
		t.Errorf("got %+v, %v", s, err)
	}
}

// TestWorkerOutlivesSignals: what stops the server does not end its workers
// before the calls at work are done.
func TestWorkerOutlivesSignals(t *testing.T) {
	program, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	var made []*exec.Cmd
	command := workerOf(program)
	e := apart.New("cbc", 1, func() *exec.Cmd {
		made = append(made, command())
		return made[len(made)-1]
	})
	defer e.Close()
	for _, sent := range []syscall.Signal{0, syscall.SIGINT, syscall.SIGTERM} {
		if sent != 0 {
			if err := made[0].Process.Signal(sent); err != nil {
				t.Fatal(err)
			}
			time.Sleep(50 * time.Millisecond) // an end by the signal would show by then
		}
		s, err := e.Solve(t.Context(), solvertest.Weighable(1, 12, 6, 5), solver.Options{})
		if err != nil || s.Stop != solver.StopOptimal || len(made) != 1 {
			t.Fatalf("after %v: %+v, %v, by worker %d", sent, s, err, len(made))
		}
	}
}
