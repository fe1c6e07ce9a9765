package main

import (
	"math"
	"testing"
)

func TestParallelSolves(t *testing.T) {
	n, err := parallelRun(t.Context(), 500, 2500)
	if err != nil || n.wrong != 0 || n.before <= 0 || n.after <= 0 {
		t.Fatalf("got %+v, %v", n, err)
	}
	if grown := n.after - n.before; grown > 16 {
		t.Errorf("memory grew by %.1f MiB over 16,000 solves, want 16 at most", grown)
	}
	read, err := readParallel(n.String())
	if err != nil || read.wrong != n.wrong || math.Abs(read.before-n.before) > 1e-9 || math.Abs(read.after-n.after) > 1e-9 {
		t.Errorf("%+v read back: %+v, %v", n, read, err)
	}
	if _, err := readParallel("0 0 12"); err == nil {
		t.Error("no memory at all passed")
	}
	if _, err := readParallel("died"); err == nil {
		t.Error("noise passed")
	}
}
