package formulation

import (
	"context"
	"fmt"
	"slices"

	"millbase/solver"
	"millbase/solver/certify"
)

// Program is a problem's linear program, for those who keep many of them solved
// while prices and stock move.
type Program struct {
	Model   *solver.Model
	Columns []int     // the candidate of each variable, in rising order
	Stays   []float64 // per variable, what of a kg stays in the ink
	LeftOut []LeftOut
}

// NewProgram makes the program of p. Its model shares nothing with p; two problems
// that differ in prices and stock alone have the same one but for the costs and
// the upper bounds (see Most). A program without variables has no answer: nothing
// can take part. Safety of limits and goals play no part: it is the program by
// nominal values. The errors are FieldErrors.
func NewProgram(p *Problem) (*Program, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	p = p.nominal()
	b := scratch.Get().(*built)
	defer b.release()
	if err := b.build(p, false); err != nil {
		return nil, err
	}
	out := &Program{Model: b.model.Clone(), LeftOut: b.leftOut, Stays: append([]float64(nil), b.stays[:len(b.active)]...)}
	for _, j := range b.active {
		out.Columns = append(out.Columns, int(j))
	}
	return out, nil
}

// Linear reports whether the program of p says all that p asks for. Where it does
// not (whole divisions to weigh, aims, limits that hold with a confidence), only
// Optimise answers.
func (p *Problem) Linear() bool {
	return p.Weighing == nil && len(p.Goals) == 0 && !slices.ContainsFunc(p.Limits, func(l Limit) bool { return l.guarded() })
}

// Most is the upper bound of the variable of c in p: its stock as a share of the
// quantity, +Inf where that is more than the whole ink.
func (p *Problem) Most(c *Candidate, stays float64) float64 {
	// What is more than the whole ink can't bind.
	u := c.Available.Kilograms() * (1 / p.Quantity.Kilograms())
	if c.Available >= 0 && !(u*stays > 1) {
		return u
	}
	return solver.Inf
}

// Read is Optimise for a problem whose program was solved elsewhere: it certifies
// the solution s of it and turns it into weighable masses, checked against every
// limit, and the words of the trade. The errors are those of Optimise, and
// ErrNumerical when s is not the optimum of p's program.
func Read(ctx context.Context, engine solver.Engine, p *Problem, s *solver.Solution) (*Answer, error) {
	if err := p.Validate(); err != nil {
		return nil, err
	}
	p = p.nominal()
	b := scratch.Get().(*built)
	defer b.release()
	if err := b.build(p, false); err != nil {
		return nil, err
	}
	a := &Answer{LeftOut: b.leftOut, Solution: s, Proof: certify.Check(&b.model, s)}
	if s.Stop != solver.StopOptimal || !a.Proof.OK {
		return nil, fmt.Errorf("%w: %s", ErrNumerical, a.Proof.Reason)
	}
	return a, b.explain(ctx, engine, a)
}
