package apart

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"sync"
	"syscall"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/cbc"
	"millbase/solver/solvertest"
)

// TestMain lets the test's own program serve as the worker.
func TestMain(m *testing.M) {
	if os.Getenv("APART_WORKER") != "" {
		if err := Serve(os.Stdin, os.NewFile(3, "answers"), troubled{cbc.New()}); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	os.Exit(m.Run())
}

// troubled dies or hangs when a model asks for it by the name of its first
// variable.
type troubled struct{ solver.Engine }

// spoilt is set by a solve that is answered and leaves its worker to die in the
// next.
var spoilt bool

func (e troubled) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if spoilt {
		_ = syscall.Kill(os.Getpid(), syscall.SIGSEGV)
		select {}
	}
	if len(m.Variables) > 0 {
		switch m.Variables[0].Name {
		case "segmentation fault", "abort":
			signal := map[string]syscall.Signal{"segmentation fault": syscall.SIGSEGV, "abort": syscall.SIGABRT}[m.Variables[0].Name]
			time.AfterFunc(20*time.Millisecond, func() { _ = syscall.Kill(os.Getpid(), signal) })
			return e.Engine.Solve(context.Background(), solvertest.Weighable(2, 80, 30, 12), solver.Options{})
		case "hang":
			select {}
		case "spoil":
			spoilt = true
		case "noise":
			fmt.Println("a library prints what it likes")
		}
	}
	return e.Engine.Solve(ctx, m, o)
}

func newEngine(t *testing.T) *Engine {
	e := New("cbc apart", 2, func() *exec.Cmd {
		c := exec.Command(os.Args[0])
		c.Env = append(os.Environ(), "APART_WORKER=1")
		return c
	})
	t.Cleanup(e.Close)
	return e
}

func named(name string) *solver.Model {
	m := solvertest.Weighable(1, 12, 6, 5)
	m.Variables[0].Name = name
	return m
}

func TestConforms(t *testing.T) {
	e := newEngine(t)
	solvertest.RunWhole(t, func() solver.Engine { return e })
}

// TestCrash: the solve that kills its worker is an error, and all others, at the
// same time and after it, are answered.
func TestCrash(t *testing.T) {
	e := newEngine(t)
	want, err := cbc.New().Solve(t.Context(), named(""), solver.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var group sync.WaitGroup
	group.Go(func() {
		for _, name := range []string{"segmentation fault", "abort", "segmentation fault"} {
			if s, err := e.Solve(t.Context(), named(name), solver.Options{}); !errors.Is(err, ErrDied) {
				t.Errorf("%s: %+v, %v, want ErrDied", name, s, err)
			}
		}
	})
	for range 2 {
		group.Go(func() {
			for range 40 {
				s, err := e.Solve(t.Context(), named("noise"), solver.Options{})
				if err != nil || math.Abs(s.Objective-want.Objective) > 1e-9 {
					t.Errorf("beside a crash: %+v, %v, want %g", s, err, want.Objective)
				}
			}
		})
	}
	group.Wait()
}

// TestSpoilt: a solve is answered although the one before it left its worker to
// die, or the worker was ended while it was idle and nobody has noticed yet.
func TestSpoilt(t *testing.T) {
	e := newEngine(t)
	answered := func(name string) *worker {
		t.Helper()
		s, err := e.Solve(t.Context(), named(name), solver.Options{TimeLimit: time.Minute})
		if err != nil || s.Stop != solver.StopOptimal {
			t.Fatalf("%q: %+v, %v", name, s, err)
		}
		return e.idle[len(e.idle)-1]
	}
	first := answered("spoil")
	second := answered("")
	if second == first {
		t.Error("the spoilt worker is still in use")
	}
	second.kill()
	answered("")
	if _, err := e.Solve(t.Context(), named("abort"), solver.Options{}); !errors.Is(err, ErrDied) {
		t.Errorf("a used worker, then a fresh one killed: %v, want ErrDied", err)
	}
}

// TestHang: a worker that neither keeps its limit nor obeys is killed.
func TestHang(t *testing.T) {
	e := newEngine(t)
	ctx, cancel := context.WithTimeout(t.Context(), 50*time.Millisecond)
	defer cancel()
	begun := time.Now()
	s, err := e.Solve(ctx, named("hang"), solver.Options{})
	if took := time.Since(begun); err != nil || s.Stop != solver.StopCancelled || took > time.Second {
		t.Errorf("cancelled: %+v, %v after %v", s, err, took)
	}
	e.overrun = 100 * time.Millisecond
	begun = time.Now()
	s, err = e.Solve(t.Context(), named("hang"), solver.Options{TimeLimit: 50 * time.Millisecond})
	if took := time.Since(begun); err != nil || s.Stop != solver.StopLimit || s.Primal != solver.NoPoint || took > time.Second {
		t.Errorf("overrun: %+v, %v after %v", s, err, took)
	}
	if s, err := e.Solve(t.Context(), named(""), solver.Options{}); err != nil || s.Stop != solver.StopOptimal {
		t.Errorf("afterwards: %+v, %v", s, err)
	}
}

// TestWarm: a worker is used again, and one that died while it was idle is
// replaced.
func TestWarm(t *testing.T) {
	e := newEngine(t)
	pid := func() int {
		if s, err := e.Solve(t.Context(), named(""), solver.Options{}); err != nil || s.Stop != solver.StopOptimal {
			t.Fatalf("%+v, %v", s, err)
		}
		return e.idle[0].command.Process.Pid
	}
	first := pid()
	if again := pid(); again != first {
		t.Errorf("process %d, then %d", first, again)
	}
	w := e.idle[0]
	w.kill()
	<-w.ended
	if later := pid(); later == first {
		t.Error("a dead worker was used again")
	}
	w = e.idle[0]
	e.Close()
	<-w.ended
}

func TestErrorsKeepTheirKind(t *testing.T) {
	e := newEngine(t)
	var bad *solver.ModelError
	m := named("")
	m.Variables[1].Cost = math.NaN()
	if _, err := e.Solve(t.Context(), m, solver.Options{}); !errors.As(err, &bad) {
		t.Errorf("bad model: %v", err)
	}
	if _, err := e.Solve(t.Context(), named(""), solver.Options{Start: &solver.Basis{Rows: []solver.VarStatus{1}}}); !errors.Is(err, solver.ErrStart) {
		t.Errorf("basis of another shape: %v", err)
	}
}
