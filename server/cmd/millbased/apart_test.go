package main

import (
	"testing"

	"millbase/solver"
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
