package cbc_test

import (
	"context"
	_ "embed"
	"math"
	"strconv"
	"strings"
	"testing"

	"millbase/solver"
	"millbase/solver/cbc"
)

// A small model (34 rows, 39 columns, orders of a plan) for which strong branching
// that trusts what it has seen of a variable before closes the branch that holds the
// optimum. glpsol (GLPK 5.0) finds -19.
//
//go:embed testdata/strong-branching.txt
var strongBranching string

func TestStrongBranchingKeepsTheOptimum(t *testing.T) {
	m := &solver.Model{}
	for line := range strings.Lines(strongBranching) {
		f := strings.Fields(line)
		number := func(s string) float64 {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				t.Fatal(err)
			}
			return v
		}
		if f[0] == "row" {
			m.AddRow(solver.Row{Lower: number(f[1]), Upper: number(f[2])})
			continue
		}
		v := solver.Variable{Cost: number(f[1]), Lower: number(f[2]), Upper: number(f[3])}
		if f[4] == "1" {
			v.Kind = solver.Integer
		}
		var entries []solver.Entry
		for _, e := range f[5:] {
			row, value, _ := strings.Cut(e, ":")
			entries = append(entries, solver.Entry{Row: int(number(row)), Value: number(value)})
		}
		m.AddVariable(v, entries...)
	}
	s, err := cbc.New().Solve(context.Background(), m, solver.Options{})
	if err != nil || s.Stop != solver.StopOptimal || math.Abs(s.Objective+19) > 1e-9 {
		t.Errorf("%v, %v: %g, the optimum is -19", err, s.Stop, s.Objective)
	}
}
