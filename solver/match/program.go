package match

import (
	"context"
	"errors"
	"fmt"
	"math"

	"millbase/solver"
	"millbase/solver/checked"
	"millbase/solver/formulation"
)

// program is the linear program of a problem with rows for the shade. Its
// variables are the shares of the columns, and the excess: by how much the
// difference is more than allowed.
type program struct {
	ctx    context.Context
	engine solver.Engine
	p      *Problem
	prog   *formulation.Program
	shade  *shade
	model  *solver.Model
	cost   []float64 // per column
	lower  []float64 // per column, of the program without the shade
	upper  []float64
	most   []float64 // upper, but for what is shut out
	slot   []int     // per column, where its entries of the shade's rows begin; -1: colourless
	excess int       // the column of the excess
	basis  *solver.Basis
	solves int
	from   []float64 // the point that the shade is linearised around

	main family // the difference that is minimised, or kept within
	// guard is a difference to another eye that is kept within as well; nil: none.
	guard *family
}

// newProgram makes the program of a valid problem.
func newProgram(ctx context.Context, engine solver.Engine, p *Problem) (*program, error) {
	linear := *p.Blend
	linear.Weighing = nil
	prog, err := formulation.NewProgram(&linear)
	if err != nil {
		return nil, err
	}
	s := &program{ctx: ctx, engine: engine, p: p, prog: prog, shade: newShade(p, prog.Columns),
		from: make([]float64, len(prog.Columns)), excess: len(prog.Columns)}
	s.makeModel()
	return s, nil
}

// guarded is a program beside s that counts the difference to the second eye and
// keeps the one to the first within allowed.
func (s *program) guarded(allowed float64) *program {
	g := &program{ctx: s.ctx, engine: s.engine, p: s.p, prog: s.prog, shade: s.shade,
		from: make([]float64, len(s.from)), excess: s.excess, main: family{eye: 1}, guard: &family{allowed: allowed}}
	g.makeModel()
	return g
}

// families are those of the program.
func (s *program) families() []*family {
	if s.guard == nil {
		return []*family{&s.main}
	}
	return []*family{&s.main, s.guard}
}

// makeModel adds the rows of the shade, and room for their coefficients.
func (s *program) makeModel() {
	old, n := s.prog.Model, len(s.prog.Columns)
	m := &solver.Model{Rows: append([]solver.Row(nil), old.Rows...)}
	first := len(m.Rows)
	for i, f := range s.families() {
		f.cube()
		f.near.by = make([][3]float64, n)
		f.at, f.first = i*cuts, len(m.Rows)
		for range cuts {
			m.AddRow(solver.Row{Name: "shade", Lower: -solver.Inf, Upper: solver.Inf})
		}
	}
	s.slot = make([]int, n)
	m.Start = append(m.Start, 0)
	for k := range n {
		rows, values := old.Column(k)
		m.Index, m.Value = append(m.Index, rows...), append(m.Value, values...)
		s.slot[k] = -1
		if s.shade.unit[k] != nil {
			s.slot[k] = len(m.Index)
			for i := first; i < len(m.Rows); i++ {
				m.Index, m.Value = append(m.Index, int32(i)), append(m.Value, 0)
			}
		}
		m.Variables = append(m.Variables, old.Variables[k])
		m.Start = append(m.Start, int32(len(m.Index)))
		s.cost = append(s.cost, old.Variables[k].Cost)
		s.lower = append(s.lower, old.Variables[k].Lower)
		s.upper = append(s.upper, old.Variables[k].Upper)
	}
	for c := range cuts {
		m.Index, m.Value = append(m.Index, int32(s.main.first+c)), append(m.Value, -1)
	}
	s.most = append([]float64(nil), s.upper...)
	m.Variables = append(m.Variables, solver.Variable{Name: "excess", Upper: solver.Inf})
	m.Start = append(m.Start, int32(len(m.Index)))
	s.model = m
}

// closest minimises the difference.
func (s *program) closest() {
	s.main.allowed = 0
	for k := range s.cost {
		s.model.Variables[k].Cost = 0
	}
	s.model.Variables[s.excess].Cost, s.model.Variables[s.excess].Upper = 1, solver.Inf
}

// within minimises the cost within a difference; beyond it at a price that is far
// above what a difference is worth.
func (s *program) within(difference float64) {
	s.main.allowed = difference
	high := 1.0
	for k, c := range s.cost {
		s.model.Variables[k].Cost = c
		high = max(high, math.Abs(c))
	}
	s.model.Variables[s.excess].Cost, s.model.Variables[s.excess].Upper = 100*high, solver.Inf
}

// around linearises the shade around x.
func (s *program) around(x []float64) {
	copy(s.from, x)
	s.shade.at(x)
	s.shade.slopes()
	for _, f := range s.families() {
		s.shade.linearise(&s.shade.eyes[f.eye], &f.near)
		for c := range f.n {
			s.put(f, c)
		}
	}
}

// solve solves the program as it stands, cutting until the length of the
// difference vector, to first order, is right to within; ok is false when there
// is no point.
func (s *program) solve(within float64) (last *solver.Solution, ok bool, err error) {
	for range 40 {
		if last, err = s.ask(s.model, s.basis); err != nil {
			return nil, false, err
		}
		switch last.Stop {
		case solver.StopOptimal:
		case solver.StopInfeasible:
			return last, false, nil
		case solver.StopCancelled, solver.StopLimit:
			return nil, false, context.Cause(s.stopped())
		default:
			return nil, false, fmt.Errorf("%w: the shade's program stopped without an answer", formulation.ErrNumerical)
		}
		s.basis = last.Basis
		more := s.cut(&s.main, last, s.main.allowed+last.X[s.excess]+within)
		if s.guard != nil && s.cut(s.guard, last, s.guard.allowed*1.001) {
			more = true
		}
		if !more {
			break
		}
	}
	return last, true, nil
}

// ask solves a model. That no engine gave an answer which passes its check is
// formulation.ErrNumerical.
func (s *program) ask(m *solver.Model, start *solver.Basis) (*solver.Solution, error) {
	s.solves++
	a, err := s.engine.Solve(s.ctx, m, solver.Options{Start: start})
	var untrusted *checked.Error
	if errors.As(err, &untrusted) {
		return nil, errors.Join(err, formulation.ErrNumerical)
	}
	return a, err
}

// stopped is a context that is done: the engine's own limit counts as a deadline.
func (s *program) stopped() context.Context {
	if s.ctx.Err() != nil {
		return s.ctx
	}
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(context.DeadlineExceeded)
	return ctx
}

// shut keeps some coloured columns out; nil opens all.
func (s *program) shut(out func(column int) bool) {
	for k, u := range s.upper {
		s.most[k] = u
		if out != nil && s.slot[k] >= 0 && out(k) {
			s.most[k] = s.lower[k]
		}
	}
	s.unbound()
	s.basis = nil
}

// bound keeps the coloured shares near x: a part of what they are and of a little
// more than nothing, where the shade to first order can be trusted.
func (s *program) bound(x []float64, part float64) {
	for k, slot := range s.slot {
		if slot < 0 {
			continue
		}
		room := part * (x[k] + 0.02)
		v := &s.model.Variables[k]
		v.Upper = max(s.lower[k], min(s.most[k], x[k]+room))
		v.Lower = min(v.Upper, max(s.lower[k], x[k]-room))
	}
}

// unbound lets all shares go as far as the program does.
func (s *program) unbound() {
	for k := range s.most {
		v := &s.model.Variables[k]
		v.Lower, v.Upper = s.lower[k], s.most[k]
	}
}

// point is a mixture with its true differences: to the eye that counts, and to the
// guard's, 0 without one.
type point struct {
	x     []float64
	de    float64
	other float64
	cost  float64 // per kg, less premiums
}

func (s *program) point(x []float64) point {
	out := point{x: append([]float64(nil), x[:len(s.cost)]...)}
	out.de = s.shade.difference(out.x, s.main.eye)
	if s.guard != nil {
		out.other = s.shade.difference(out.x, s.guard.eye)
	}
	for k, c := range s.cost {
		out.cost += c * out.x[k]
	}
	return out
}

// between is the point that lies a part t of the way from a to b.
func (s *program) between(a, b point, t float64) point {
	x := make([]float64, len(a.x))
	for k := range x {
		x[k] = a.x[k] + t*(b.x[k]-a.x[k])
	}
	return s.point(x)
}

func finite(v float64) bool { return !math.IsInf(v, 0) && !math.IsNaN(v) }
