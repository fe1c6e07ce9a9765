package solver_test

import (
	"errors"
	"math"
	"strings"
	"testing"

	"millbase/solver"
)

func small() *solver.Model {
	m := &solver.Model{}
	m.AddRow(solver.Row{Name: "VOC", Lower: -solver.Inf, Upper: 0.3})
	m.AddRow(solver.Row{Lower: 1, Upper: 1})
	m.AddVariable(solver.Variable{Name: "varnish", Cost: 3, Upper: solver.Inf}, solver.Entry{Row: 0, Value: 0.1}, solver.Entry{Row: 1, Value: 1})
	m.AddVariable(solver.Variable{Cost: 1, Upper: 2}, solver.Entry{Row: 1, Value: 1})
	return m
}

func TestValidateNamesTheFault(t *testing.T) {
	if err := small().Validate(); err != nil {
		t.Fatalf("a sound model: %v", err)
	}
	if err := new(solver.Model).Validate(); err != nil {
		t.Fatalf("an empty model: %v", err)
	}
	for _, c := range []struct {
		name     string
		spoil    func(m *solver.Model)
		variable int
		row      int
		says     string
	}{
		{"cost", func(m *solver.Model) { m.Variables[0].Cost = math.NaN() }, 0, -1, `variable "varnish": its cost is NaN`},
		{"huge cost", func(m *solver.Model) { m.Variables[1].Cost = -1e20 }, 1, -1, "variable number 1: its cost is -1e+20"},
		{"row bound", func(m *solver.Model) { m.Rows[0].Upper = math.NaN() }, -1, 0, `row "VOC": a bound is not a number`},
		{"row order", func(m *solver.Model) { m.Rows[1].Upper = 0.5 }, -1, 1, "row number 1: its lower bound 1 is above its upper bound 0.5"},
		{"lower +Inf", func(m *solver.Model) { m.Variables[0].Lower = solver.Inf }, 0, -1, "lower bound is +infinity"},
		{"upper -Inf", func(m *solver.Model) { m.Variables[0].Upper = -solver.Inf }, 0, -1, "upper bound is -infinity"},
		{"huge bound", func(m *solver.Model) { m.Variables[1].Upper = 1e300 }, 1, -1, "too large"},
		{"kind", func(m *solver.Model) { m.Variables[0].Kind = 9 }, 0, -1, "its kind is 9"},
		{"coefficient", func(m *solver.Model) { m.Value[0] = math.Inf(1) }, 0, 0, `its coefficient in row "VOC" is +Inf`},
		{"row number", func(m *solver.Model) { m.Index[1] = 2 }, 0, -1, "it has an entry in row 2; the model has rows 0 to 1"},
		{"row twice", func(m *solver.Model) { m.Index[1] = 0 }, 0, 0, `it has two entries in row "VOC"`},
		{"shape", func(m *solver.Model) { m.Variables = m.Variables[:1] }, -1, -1, "model: its column starts do not fit"},
	} {
		m := small()
		c.spoil(m)
		var e *solver.ModelError
		if !errors.As(m.Validate(), &e) {
			t.Errorf("%s: accepted", c.name)
			continue
		}
		if e.Variable != c.variable || e.Row != c.row || !strings.Contains(e.Error(), c.says) {
			t.Errorf("%s: got %+v %q, want variable %d, row %d, saying %q", c.name, e, e, c.variable, c.row, c.says)
		}
	}
}

// TestCopies: a Clone shares nothing, a Variant only coefficients.
func TestCopies(t *testing.T) {
	m := small()
	c, v := m.Clone(), m.Variant()
	c.Value[0], c.Variables[0].Cost, c.Rows[0].Upper = 9, 9, 9
	v.Variables[0].Cost, v.Rows[0].Upper = 8, 8
	v.AddVariable(solver.Variable{Upper: 1}, solver.Entry{Row: 0, Value: 5})
	if m.Value[0] != 0.1 || m.Variables[0].Cost != 3 || m.Rows[0].Upper != 0.3 || len(m.Variables) != 2 || len(m.Value) != 3 {
		t.Errorf("the original changed: %+v", m)
	}
	if err := v.Validate(); err != nil {
		t.Errorf("a variant with one more variable: %v", err)
	}
	m.Variables[0].Kind = solver.Integer
	if r := m.Relaxed(); r.HasInteger() || !m.HasInteger() {
		t.Error("Relaxed must free its copy only")
	}
}

// TestProofs checks both kinds of ray on models small enough to see through.
func TestProofs(t *testing.T) {
	m := &solver.Model{}
	m.AddRow(solver.Row{Lower: 2, Upper: solver.Inf})
	m.AddRow(solver.Row{Lower: -solver.Inf, Upper: 1})
	m.AddVariable(solver.Variable{Upper: solver.Inf}, solver.Entry{Row: 0, Value: 1}, solver.Entry{Row: 1, Value: 1})
	margin, scale := m.FarkasMargin([]float64{1, -1})
	if margin != 1 || scale != 3 {
		t.Errorf("margin %g of %g, want 1 of 3", margin, scale)
	}
	for _, y := range [][]float64{{1, 1}, {-1, 1}, {1, 0}, {0, 0}, {1}, nil, {math.NaN(), math.NaN()}} {
		if m.ProvesInfeasible(y) {
			t.Errorf("%v proves nothing", y)
		}
	}
	m = &solver.Model{}
	m.AddRow(solver.Row{Lower: -solver.Inf, Upper: 1})
	m.AddVariable(solver.Variable{Cost: -1, Upper: solver.Inf}, solver.Entry{Row: 0, Value: 1})
	m.AddVariable(solver.Variable{Cost: 0, Upper: solver.Inf}, solver.Entry{Row: 0, Value: -1})
	if !m.ProvesUnbounded([]float64{1, 1}) {
		t.Error("both together fall for ever")
	}
	for _, r := range [][]float64{{1, 0}, {0, 1}, {-1, -1}, {0, 0}, {1}, {math.NaN(), 1}} {
		if m.ProvesUnbounded(r) {
			t.Errorf("%v proves nothing", r)
		}
	}
}

func TestWriteMPS(t *testing.T) {
	m := small()
	m.Rows[1].Upper = 4
	m.Variables[1].Kind = solver.Integer
	m.AddVariable(solver.Variable{Lower: -solver.Inf, Upper: solver.Inf})
	var b strings.Builder
	if err := m.WriteMPS(&b); err != nil {
		t.Fatal(err)
	}
	const want = `NAME MODEL
ROWS
 N COST
 L R0
 G R1
COLUMNS
 C0 COST 3
 C0 R0 0.10000000000000001
 C0 R1 1
 M1 'MARKER' 'INTORG'
 C1 COST 1
 C1 R1 1
 M2 'MARKER' 'INTEND'
 C2 COST 0
RHS
 RHS R0 0.29999999999999999
 RHS R1 1
RANGES
 RNG R1 3
BOUNDS
 LO BND C0 0
 PL BND C0
 LO BND C1 0
 UP BND C1 2
 FR BND C2
ENDATA
`
	if b.String() != want {
		t.Errorf("got\n%s\nwant\n%s", b.String(), want)
	}
}
