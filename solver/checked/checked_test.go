package checked_test

import (
	"context"
	"errors"
	"strings"
	"testing"

	"millbase/solver"
	"millbase/solver/checked"
	"millbase/solver/clp"
	"millbase/solver/solvertest"
)

// spoiler is an engine whose answers are changed on their way out.
type spoiler struct {
	spoil func(s *solver.Solution) (*solver.Solution, error)
	asked int
}

func (e *spoiler) Name() string { return "spoiler" }

func (e *spoiler) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	e.asked++
	s, err := clp.New().Solve(ctx, m, o)
	if err != nil {
		return nil, err
	}
	return e.spoil(s)
}

func TestFallsBack(t *testing.T) {
	m := solvertest.Blend(1, 20, 8)
	want, err := clp.New().Solve(t.Context(), m, solver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	spoils := map[string]func(s *solver.Solution) (*solver.Solution, error){
		"wrong point": func(s *solver.Solution) (*solver.Solution, error) { s.X[0] += 0.01; return s, nil },
		"says infeasible": func(*solver.Solution) (*solver.Solution, error) {
			return &solver.Solution{Stop: solver.StopInfeasible}, nil
		},
		"gave up": func(*solver.Solution) (*solver.Solution, error) {
			return &solver.Solution{Stop: solver.StopNumerical}, nil
		},
		"failed altogether": func(*solver.Solution) (*solver.Solution, error) { return nil, errors.New("out of order") },
	}
	for name, spoil := range spoils {
		e := checked.New(&spoiler{spoil: spoil}, clp.NewLanl())
		s, c, err := e.SolveProven(t.Context(), m, solver.Options{})
		if err != nil || !c.OK || s.Engine != "lanl/clp" || s.Objective-want.Objective > 1e-9 || want.Objective-s.Objective > 1e-9 {
			t.Errorf("%s: got %+v, %+v, %v, want the second engine's optimum of %g", name, s, c, err, want.Objective)
		}
		// With both spoiled there is no answer, but the reason of each.
		_, err = checked.New(&spoiler{spoil: spoil}, &spoiler{spoil: spoil}).Solve(t.Context(), m, solver.Options{})
		var failed *checked.Error
		if !errors.As(err, &failed) || len(failed.Attempts) != 2 || !strings.Contains(err.Error(), "no engine gave an answer that can be trusted") {
			t.Errorf("%s twice: got %v, want an Error of two attempts", name, err)
		}
	}
}

func TestDoesNotAskTwiceInVain(t *testing.T) {
	pass := func(s *solver.Solution) (*solver.Solution, error) { return s, nil }
	first, second := &spoiler{spoil: pass}, &spoiler{spoil: pass}
	e := checked.New(first, second)
	if _, err := e.Solve(t.Context(), solvertest.Blend(1, 20, 8), solver.Options{}); err != nil || second.asked != 0 {
		t.Errorf("a sound answer: %v, the second engine was asked %d times", err, second.asked)
	}
	bad := solvertest.Blend(1, 20, 8)
	bad.Variables[0].Cost = 1e300
	var fault *solver.ModelError
	if _, err := e.Solve(t.Context(), bad, solver.Options{}); !errors.As(err, &fault) || second.asked != 0 {
		t.Errorf("bad model: got %v, the second engine was asked %d times", err, second.asked)
	}
	whole := solvertest.Blend(1, 20, 8)
	whole.Variables[0].Kind = solver.Integer
	if _, err := e.Solve(t.Context(), whole, solver.Options{}); !errors.Is(err, solver.ErrInteger) || second.asked != 0 {
		t.Errorf("whole numbers: got %v, the second engine was asked %d times", err, second.asked)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	s, c, err := e.SolveProven(ctx, solvertest.Blend(1, 20, 8), solver.Options{})
	if err != nil || s.Stop != solver.StopCancelled || c.OK || second.asked != 0 {
		t.Errorf("cancelled: got %+v, %+v, %v", s, c, err)
	}
}

func TestConforms(t *testing.T) {
	solvertest.Run(t, func() solver.Engine { return checked.New(clp.New(), clp.NewLanl()) })
}
