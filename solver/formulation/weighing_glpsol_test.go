package formulation_test

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"testing"

	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// Random inks in whole divisions, of few components that are worth weighing and one
// lot per material, against glpsol (Debian glpk-utils): a model made here, of whole
// divisions and yes-or-no variables, from limits that need no index.
func TestWeighableAgainstGLPK(t *testing.T) {
	same := map[formulation.Outcome]int{}
	for seed := range uint64(14) {
		p := formulationtest.Problem(seed, 12+int(seed%4), 6)
		p.Limits = slices.DeleteFunc(p.Limits, func(l formulation.Limit) bool { return l.Kind == formulation.Blended })
		p.Weighing = &formulation.Weighing{Balances: []formulation.Balance{{Division: 500 * mass.Gram}},
			Least: 2 * mass.Kilogram, AtMost: 6 + int(seed%4), LotsPerMaterial: 1 + int(seed%2)}
		want, state := glpkCost(t, p)
		if state == "undecided" {
			continue
		}
		a := weigh(t, p)
		switch {
		case a.Outcome == formulation.Optimal && state == "optimal":
			near(t, "cost by glpsol", a.CostPerKg, want, 1e-6*want)
		case a.Outcome == formulation.Infeasible && state == "infeasible":
		default:
			t.Errorf("seed %d: %s, by glpsol %s %g; %+v", seed, a.Outcome, state, want, a.Weighed)
		}
		same[a.Outcome]++
	}
	t.Log(same)
	if same[formulation.Optimal] < 3 {
		t.Errorf("compared %v only", same)
	}
}

var (
	glpkStatus    = regexp.MustCompile(`(?m)^Status: +(.*)$`)
	glpkObjective = regexp.MustCompile(`(?m)^Objective: +COST = (\S+)`)
)

// glpkCost is the least cost per kg by glpsol.
func glpkCost(t *testing.T, p *formulation.Problem) (cost float64, state string) {
	t.Helper()
	dir := t.TempDir()
	in, out := filepath.Join(dir, "model.mps"), filepath.Join(dir, "answer.txt")
	var text bytes.Buffer
	if err := plainModel(p).WriteMPS(&text); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(in, text.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	said, err := exec.Command("glpsol", "--freemps", in, "--tmlim", "4", "--cuts", "-o", out).CombinedOutput()
	if err != nil {
		t.Fatalf("glpsol (Debian package glpk-utils): %v\n%s", err, said)
	}
	answer, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	if bytes.Contains(said, []byte("HAS NO PRIMAL FEASIBLE")) || bytes.Contains(said, []byte("HAS NO INTEGER FEASIBLE")) ||
		bytes.Contains(said, []byte("HAS NO FEASIBLE")) {
		return 0, "infeasible"
	}
	status, value := glpkStatus.FindSubmatch(answer), glpkObjective.FindSubmatch(answer)
	if status == nil || value == nil || string(bytes.TrimSpace(status[1])) != "INTEGER OPTIMAL" {
		return 0, "undecided"
	}
	if cost, err = strconv.ParseFloat(string(value[1]), 64); err != nil {
		t.Fatal(err)
	}
	return cost / p.Quantity.Kilograms(), "optimal"
}

// plainModel has whole divisions n_j and y_j for whether j is used.
func plainModel(p *formulation.Problem) *solver.Model {
	m, w := &solver.Model{}, p.Weighing
	d := w.Balances[0].Division
	total := float64(p.Quantity / d)
	n := make([][]solver.Entry, len(p.Candidates))
	y := make([][]solver.Entry, len(p.Candidates))
	quantity := m.AddRow(solver.Row{Lower: total, Upper: total})
	most := m.AddRow(solver.Row{Lower: -solver.Inf, Upper: float64(w.AtMost)})
	lots := map[string]int{}
	for j, c := range p.Candidates {
		if _, ok := lots[c.Material]; !ok {
			lots[c.Material] = m.AddRow(solver.Row{Lower: -solver.Inf, Upper: float64(w.LotsPerMaterial)})
		}
		high := m.AddRow(solver.Row{Lower: -solver.Inf})
		low := m.AddRow(solver.Row{Upper: solver.Inf})
		n[j] = append(n[j], solver.Entry{Row: quantity, Value: 1}, solver.Entry{Row: high, Value: 1}, solver.Entry{Row: low, Value: 1})
		y[j] = append(y[j], solver.Entry{Row: most, Value: 1}, solver.Entry{Row: lots[c.Material], Value: 1},
			solver.Entry{Row: high, Value: -stock(&c, d, total)}, solver.Entry{Row: low, Value: -float64(w.Least / d)})
	}
	for _, l := range p.Limits {
		for _, side := range []struct {
			at           *float64
			lower, upper float64
		}{{l.Lower, 0, solver.Inf}, {l.Upper, -solver.Inf, 0}} {
			if side.at == nil {
				continue
			}
			row := m.AddRow(solver.Row{Lower: side.lower, Upper: side.upper})
			for j, c := range p.Candidates {
				num, den := perKg(l, c)
				n[j] = append(n[j], solver.Entry{Row: row, Value: (num - *side.at*den) / math.Max(1e-3, *side.at)})
			}
		}
	}
	for j, c := range p.Candidates {
		m.AddVariable(solver.Variable{Cost: c.CostPerKg * d.Kilograms(), Upper: stock(&c, d, total), Kind: solver.Integer}, n[j]...)
		m.AddVariable(solver.Variable{Upper: 1, Kind: solver.Integer}, y[j]...)
	}
	return m
}

func stock(c *formulation.Candidate, d mass.Mass, total float64) float64 {
	if c.Available < 0 {
		return total
	}
	return math.Min(total, float64(c.Available/d))
}
