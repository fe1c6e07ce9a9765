package solvertest

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"
	"pgregory.net/rapid"

	"millbase/solver"
)

// TB is what an oracle asks of a test; testing.TB and rapid.T are both.
type TB = tester

// GLPK is what glpsol says of m: optimal with the objective, infeasible or
// unbounded. dir is a folder for its files.
func GLPK(t TB, dir string, m *solver.Model) (solver.Stop, float64) {
	t.Helper()
	return glpk(t, dir, m)
}

// glpk solves m with glpsol.
func glpk(t tester, dir string, m *solver.Model) (solver.Stop, float64) {
	t.Helper()
	in, out := filepath.Join(dir, "model.mps"), filepath.Join(dir, "answer.txt")
	var text bytes.Buffer
	if err := m.WriteMPS(&text); err != nil {
		t.Fatalf("write the model: %v", err)
	}
	if err := os.WriteFile(in, text.Bytes(), 0o600); err != nil {
		t.Fatalf("%v", err)
	}
	// Its preprocessing of whole numbers (--intopt) aborts on some small models.
	said, err := exec.Command("glpsol", "--freemps", in, "--nopresol", "--nointopt", "-w", out).CombinedOutput()
	if err != nil {
		t.Fatalf("glpsol (Debian package glpk-utils): %v\n%s", err, said)
	}
	answer, err := os.ReadFile(out)
	if err != nil {
		t.Fatalf("%v", err)
	}
	// s bas rows columns primal-status dual-status objective
	// s mip rows columns status objective
	for line := range strings.Lines(string(answer)) {
		f := strings.Fields(line)
		if len(f) == 6 && f[0] == "s" && f[1] == "mip" {
			return glpkWhole(t, dir, m, f[4], f[5])
		}
		if len(f) != 7 || f[0] != "s" {
			continue
		}
		switch primal, dual := f[4], f[5]; {
		case primal == "n":
			return solver.StopInfeasible, 0
		case primal == "f" && dual == "n":
			return solver.StopUnbounded, 0
		case primal != "f" || dual != "f":
			t.Fatalf("glpsol did not solve the model:\n%s", said)
		}
		v, err := strconv.ParseFloat(f[6], 64)
		if err != nil {
			t.Fatalf("glpsol's objective: %v", err)
		}
		return solver.StopOptimal, v
	}
	t.Fatalf("glpsol wrote no objective:\n%s", answer)
	return 0, 0
}

// glpkWhole reads glpsol's answer to a model with whole numbers. An undefined
// one means that the relaxation has no optimum.
func glpkWhole(t tester, dir string, m *solver.Model, status, objective string) (solver.Stop, float64) {
	t.Helper()
	switch status {
	case "n":
		return solver.StopInfeasible, 0
	case "u":
		switch stop, _ := glpk(t, dir, m.Relaxed()); stop {
		case solver.StopUnbounded:
		case solver.StopInfeasible:
			return stop, 0
		default:
			t.Fatalf("glpsol refused the model")
		}
		still := m.Variant()
		for j := range still.Variables {
			still.Variables[j].Cost = 0
		}
		if stop, _ := glpk(t, dir, still); stop != solver.StopOptimal {
			return stop, 0
		}
		return solver.StopUnbounded, 0
	case "o":
		v, err := strconv.ParseFloat(objective, 64)
		if err != nil {
			t.Fatalf("glpsol's objective: %v", err)
		}
		return solver.StopOptimal, v
	}
	t.Fatalf("glpsol did not solve the model: status %s", status)
	return 0, 0
}

// agree compares an answer with an oracle's.
func agree(t tester, s *solver.Solution, stop solver.Stop, objective float64) {
	t.Helper()
	switch {
	case s.Stop != stop:
		t.Fatalf("%v, the oracle says %v", s.Stop, stop)
	case stop == solver.StopOptimal && !near(s.Objective, objective, 1e-6):
		t.Fatalf("objective %.12g, the oracle says %.12g", s.Objective, objective)
	}
}

func randomAgainstGLPK(t *testing.T, e solver.Engine) {
	dir := t.TempDir()
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		s := solve(t, e, m, solver.Options{Ranging: true})
		proven(t, m, s)
		if len(m.Variables) == 0 || len(m.Rows) == 0 {
			return // glpsol refuses these
		}
		stop, objective := glpk(t, dir, m)
		agree(t, s, stop, objective)
	})
}

func blendsAgainstGLPK(t *testing.T, e solver.Engine) {
	for seed, size := range [][2]int{{20, 8}, {60, 20}, {60, 20}, {150, 30}, {300, 40}} {
		t.Run(fmt.Sprintf("%dx%d", size[0], size[1]), func(t *testing.T) {
			m := Blend(uint64(seed), size[0], size[1])
			s := optimum(t, e, m, solver.Options{})
			stop, objective := glpk(t, t.TempDir(), m)
			agree(t, s, stop, objective)
		})
	}
	t.Run("plan", func(t *testing.T) {
		m := Plan(1, 12, 60, 8)
		s := optimum(t, e, m, solver.Options{})
		stop, objective := glpk(t, t.TempDir(), m)
		agree(t, s, stop, objective)
	})
}

// randomAgainstGonum compares on models in which every row is an inequality,
// so that gonum's matrix has full rank.
func randomAgainstGonum(t *testing.T, e solver.Engine) {
	compared := 0
	rapid.Check(t, func(t *rapid.T) {
		m := &solver.Model{}
		rows, cols := rapid.IntRange(1, 6).Draw(t, "rows"), rapid.IntRange(1, 6).Draw(t, "variables")
		for range rows {
			at := float64(rapid.IntRange(1, 36).Draw(t, "bound")) / 4
			if rapid.Bool().Draw(t, "at most") {
				m.AddRow(atMost(at))
			} else {
				m.AddRow(atLeast(at))
			}
		}
		for range cols {
			var entries []solver.Entry
			for i := range rows {
				entries = append(entries, solver.Entry{Row: i, Value: float64(rapid.IntRange(-2, 6).Draw(t, "coefficient")) + 0.5})
			}
			m.AddVariable(solver.Variable{Cost: float64(rapid.IntRange(-8, 72).Draw(t, "cost")) / 8, Upper: solver.Inf}, entries...)
		}
		s := solve(t, e, m, solver.Options{})
		proven(t, m, s)
		objective, err := gonumSimplex(m)
		switch {
		case errors.Is(err, lp.ErrInfeasible):
			agree(t, s, solver.StopInfeasible, 0)
		case errors.Is(err, lp.ErrUnbounded):
			agree(t, s, solver.StopUnbounded, 0)
		case err == nil:
			agree(t, s, solver.StopOptimal, objective)
		default:
			return // gonum gave up on numerical grounds
		}
		compared++
	})
	if compared < 50 {
		t.Errorf("gonum gave an opinion on %d models only", compared)
	}
}

// gonumSimplex solves min c'x, Ax + slack = b, x >= 0.
func gonumSimplex(m *solver.Model) (float64, error) {
	rows, cols := len(m.Rows), len(m.Variables)
	a := mat.NewDense(rows, cols+rows, nil)
	b, c := make([]float64, rows), make([]float64, cols+rows)
	for j, v := range m.Variables {
		c[j] = v.Cost
		index, values := m.Column(j)
		for k, i := range index {
			a.Set(int(i), j, values[k])
		}
	}
	for i, r := range m.Rows {
		if math.IsInf(r.Lower, -1) {
			b[i] = r.Upper
			a.Set(i, cols+i, 1)
		} else {
			b[i] = r.Lower
			a.Set(i, cols+i, -1)
		}
	}
	return Gonum(c, a, b)
}

// patience is how long gonum's simplex may take: now and then it goes round in
// circles.
const patience = 20 * time.Second

// Gonum is the optimum of min c'x, Ax = b, x >= 0 by gonum's simplex. Errors are
// lp.ErrInfeasible, lp.ErrUnbounded, and others where it has no verdict.
func Gonum(c []float64, a *mat.Dense, b []float64) (float64, error) {
	type verdict struct {
		objective float64
		err       error
	}
	done := make(chan verdict, 1)
	go func() {
		objective, _, err := lp.Simplex(c, a, b, 1e-10, nil)
		done <- verdict{objective, err}
	}()
	select {
	case v := <-done:
		return v.objective, v.err
	case <-time.After(patience):
		return 0, errors.New("gonum does not come to an end")
	}
}
