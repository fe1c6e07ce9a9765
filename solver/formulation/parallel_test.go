package formulation_test

import (
	"context"
	"reflect"
	"sync"
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Problems of many sizes at once, possible and impossible ones, give the answers
// that they give one after the other; no answer changes after it was given.
func TestInParallel(t *testing.T) {
	const n = 24
	problems := make([]*formulation.Problem, n)
	alone := make([]*formulation.Answer, n)
	for i := range n {
		kind := formulationtest.Problem
		if i%6 == 5 {
			kind = formulationtest.Impossible
		}
		problems[i] = kind(uint64(i), 10+5*(i%7), 2+i%13)
		alone[i] = optimise(t, problems[i])
	}
	together := make([]*formulation.Answer, 2*n)
	errs := make([]error, 2*n)
	var wait sync.WaitGroup
	for worker := range 4 {
		wait.Go(func() {
			for i := worker; i < 2*n; i += 4 {
				together[i], errs[i] = formulation.Optimise(context.Background(), engine, problems[i%n])
			}
		})
	}
	wait.Wait()
	for i, a := range together {
		if errs[i] != nil {
			t.Fatal(errs[i])
		}
		b := alone[i%n]
		if a.Outcome != b.Outcome || a.CostPerKg != b.CostPerKg || !reflect.DeepEqual(a.Components, b.Components) ||
			!reflect.DeepEqual(a.Limits, b.Limits) || !reflect.DeepEqual(a.Clash, b.Clash) {
			t.Errorf("problem %d has two answers", i%n)
		}
	}
}
