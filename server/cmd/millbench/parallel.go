package main

import (
	"context"
	"fmt"
	"math"
	"os"
	"os/exec"
	"sync"
	"sync/atomic"
	"time"

	"millbase/solver"
	"millbase/solver/cbc"
	"millbase/solver/clp"
	"millbase/solver/engines"
	"millbase/solver/solvertest"
)

// parallelArgument, alone on the command line, makes this program run the
// parallel solves only. It is not for people.
const parallelArgument = "parallel-solves"

// The parallel solves: goroutines, and solves of each, of which so many come
// before memory is looked at for the first time.
const (
	parallelGoroutines = 8
	parallelSolves     = 50_000
	parallelEarly      = 5_000
)

// parallelCount is what came of the parallel solves. Memory is in MiB.
type parallelCount struct {
	wrong         int64
	before, after float64
}

// measureParallel solves 8 x 50,000 small models, every eighth with whole
// numbers, and compares each with its known objective. It does so in a process
// of its own: what the other groups took would count as the solver's, and would
// leave room for a leak under the bar of growth.
func measureParallel(ctx context.Context, _ settings) ([]bar, error) {
	program, err := os.Executable()
	if err != nil {
		return nil, err
	}
	c := exec.CommandContext(ctx, program, parallelArgument)
	c.Stderr = os.Stderr
	begun := time.Now()
	out, err := c.Output()
	if err != nil {
		return nil, fmt.Errorf("parallel solves: %w", err)
	}
	n, err := readParallel(string(out))
	if err != nil {
		return nil, err
	}
	fmt.Printf("%d goroutines x %d solves in %.0f s, %d wrong, %.0f MiB after the first %d each, %.0f MiB at the end\n",
		parallelGoroutines, parallelSolves, time.Since(begun).Seconds(), n.wrong, n.before, parallelEarly, n.after)
	return []bar{{name: "parallel_wrong", value: float64(n.wrong)}, {name: "solver_rss_mib", value: n.after, goal: 150},
		{name: "rss_growth", value: n.after / n.before, goal: 1.3}}, nil
}

// String is the line that readParallel reads.
func (n parallelCount) String() string { return fmt.Sprintln(n.wrong, n.before, n.after) }

func readParallel(line string) (n parallelCount, err error) {
	if _, err = fmt.Sscanln(line, &n.wrong, &n.before, &n.after); err != nil {
		return n, fmt.Errorf("parallel solves: got %q, want how many are wrong, and memory early and at the end: %w", line, err)
	}
	if n.before <= 0 {
		return n, fmt.Errorf("parallel solves: got %q, want memory above 0", line)
	}
	return n, nil
}

// parallelRun is the parallel solves themselves: of each goroutine so many
// before memory is looked at, and so many in all.
func parallelRun(ctx context.Context, early, each int) (n parallelCount, err error) {
	models, want, err := parallelModels(ctx)
	if err != nil {
		return n, err
	}
	engine, wrong := engines.New(), atomic.Int64{}
	solve := func(from, to int) {
		var group sync.WaitGroup
		for g := range parallelGoroutines {
			group.Go(func() {
				for i := from; i < to; i++ {
					k := (i + g) % len(models)
					s, err := engine.Solve(ctx, models[k], solver.Options{})
					if err != nil || s.Stop != solver.StopOptimal || math.Abs(s.Objective-want[k]) > 1e-6 {
						wrong.Add(1)
					}
				}
			})
		}
		group.Wait()
	}
	solve(0, early)
	if n.before, err = resident(); err != nil {
		return n, err
	}
	solve(early, each)
	n.after, err = resident()
	n.wrong = wrong.Load()
	return n, err
}

// parallelModels returns models and their optima, by Clp and Cbc one at a time.
func parallelModels(ctx context.Context) ([]*solver.Model, []float64, error) {
	models, want := make([]*solver.Model, 16), make([]float64, 16)
	for k := range models {
		models[k] = solvertest.Blend(uint64(k), 8+k, 6)
		var engine solver.Engine = clp.New()
		if k%8 == 7 {
			models[k] = solvertest.Weighable(uint64(k), 7, 4, 5)
			engine = cbc.New()
		}
		s, err := engine.Solve(ctx, models[k], solver.Options{})
		if err != nil {
			return nil, nil, err
		}
		if s.Stop != solver.StopOptimal {
			return nil, nil, fmt.Errorf("parallel solves: model %d is %v, want optimal", k, s.Stop)
		}
		want[k] = s.Objective
	}
	return models, want, nil
}

// resident is the memory of this process in MiB, C's included.
func resident() (float64, error) {
	text, err := os.ReadFile("/proc/self/statm")
	if err != nil {
		return 0, err
	}
	var size, pages float64
	_, err = fmt.Sscan(string(text), &size, &pages)
	return pages * float64(os.Getpagesize()) / (1 << 20), err
}
