package clp

import (
	"context"
	"os"
	"strconv"
	"strings"
	"sync"
	"testing"

	"millbase/solver"
	"millbase/solver/solvertest"
)

// resident is the memory of this process in MiB, C's included.
func resident(t *testing.T) float64 {
	t.Helper()
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		t.Fatal(err)
	}
	pages, err := strconv.Atoi(strings.Fields(string(text))[1])
	if err != nil {
		t.Fatal(err)
	}
	return float64(pages) * float64(os.Getpagesize()) / (1 << 20)
}

// many solves n models from 8 goroutines.
func many(t *testing.T, e solver.Engine, n int) {
	t.Helper()
	models := make([]*solver.Model, 16)
	for k := range models {
		models[k] = solvertest.Blend(uint64(k), 12+k, 7)
	}
	var group sync.WaitGroup
	for g := range 8 {
		group.Go(func() {
			for k := range n / 8 {
				m := models[(g+k)%len(models)]
				if k%10 == 9 { // an infeasible one now and then
					m = m.Variant()
					m.Rows[0].Lower, m.Rows[0].Upper = 50, 50
				}
				s, err := e.Solve(context.Background(), m, solver.Options{Ranging: true})
				if err != nil || s.Stop != solver.StopOptimal && k%10 != 9 {
					t.Errorf("got %+v, %v", s, err)
					return
				}
			}
		})
	}
	group.Wait()
}

// TestMemoryIsFlat: 20,000 solves from 8 goroutines leave nothing behind.
func TestMemoryIsFlat(t *testing.T) {
	many(t, New(), 4_000)
	before := resident(t)
	many(t, New(), 20_000)
	grown := resident(t) - before
	t.Logf("%.1f MiB before, %.1f MiB more after 20,000 solves", before, grown)
	if grown > 16 {
		t.Errorf("memory grew by %.1f MiB over 20,000 solves, want 16 at most", grown)
	}
}

// TestMemoryOfLanl: finalizers lag, but not without end.
func TestMemoryOfLanl(t *testing.T) {
	many(t, NewLanl(), 2_000)
	before := resident(t)
	many(t, NewLanl(), 8_000)
	grown := resident(t) - before
	t.Logf("%.1f MiB before, %.1f MiB more after 8,000 solves", before, grown)
	if grown > 96 {
		t.Errorf("memory grew by %.1f MiB over 8,000 solves, want 96 at most", grown)
	}
}
