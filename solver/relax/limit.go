package relax

import (
	"context"
	"errors"
	"fmt"
	"math"

	"millbase/solver"
)

// Side is a side of a row or variable.
type Side uint8

// The sides.
const (
	Lower Side = iota
	Upper
)

// String names the side.
func (s Side) String() string {
	if s == Upper {
		return "upper"
	}
	return "lower"
}

// Limit is one bound of the model: a side of a row or, with OnVariable, of a
// variable.
type Limit struct {
	OnVariable bool
	Number     int // of the row or variable
	Side       Side
}

// Row returns the limit on one side of a row.
func Row(number int, side Side) Limit { return Limit{Number: number, Side: side} }

// Variable returns the limit on one side of a variable.
func Variable(number int, side Side) Limit {
	return Limit{OnVariable: true, Number: number, Side: side}
}

// Rows lists every finite side of every row of m.
func Rows(m *solver.Model) []Limit {
	var out []Limit
	for i, r := range m.Rows {
		if !math.IsInf(r.Lower, -1) {
			out = append(out, Row(i, Lower))
		}
		if !math.IsInf(r.Upper, 1) {
			out = append(out, Row(i, Upper))
		}
	}
	return out
}

// bound returns where the bound of l is kept in m.
func (l Limit) bound(m *solver.Model) *float64 {
	switch {
	case l.OnVariable && l.Side == Lower:
		return &m.Variables[l.Number].Lower
	case l.OnVariable:
		return &m.Variables[l.Number].Upper
	case l.Side == Lower:
		return &m.Rows[l.Number].Lower
	}
	return &m.Rows[l.Number].Upper
}

// open removes the limit from m.
func (l Limit) open(m *solver.Model) {
	*l.bound(m) = math.Inf(int(l.outward()))
}

// outward is +1 if the limit eases by going up, -1 if by going down.
func (l Limit) outward() float64 {
	if l.Side == Upper {
		return 1
	}
	return -1
}

// ErrLimit is wrapped by the error for a limit that can't be used.
var ErrLimit = errors.New("unusable limit")

// check makes sure that the limits exist, are finite and differ.
func check(m *solver.Model, limits []Limit) error {
	seen := make(map[Limit]bool, len(limits))
	for _, l := range limits {
		count, kind := len(m.Rows), "row"
		if l.OnVariable {
			count, kind = len(m.Variables), "variable"
		}
		switch {
		case l.Number < 0 || l.Number >= count:
			return fmt.Errorf("%w: %s %d; the model has %s numbers 0 to %d", ErrLimit, kind, l.Number, kind, count-1)
		case l.Side > Upper:
			return fmt.Errorf("%w: %s %d has side %d; use Lower or Upper", ErrLimit, kind, l.Number, l.Side)
		case math.IsInf(*l.bound(m), 0):
			return fmt.Errorf("%w: %s %d has no %s bound; leave it out", ErrLimit, kind, l.Number, l.Side)
		case seen[l]:
			return fmt.Errorf("%w: the %s bound of %s %d is named twice; name it once", ErrLimit, l.Side, kind, l.Number)
		}
		seen[l] = true
	}
	return nil
}

// ErrStopped is wrapped by the error for a solve that did not come to an end.
var ErrStopped = errors.New("the search was stopped before it came to an end")

// ask solves and accepts only a proven optimum or proven infeasibility.
func ask(ctx context.Context, e solver.Engine, m *solver.Model) (*solver.Solution, error) {
	s, err := e.Solve(ctx, m, solver.Options{})
	if err != nil {
		return nil, err
	}
	if s.Stop != solver.StopOptimal && s.Stop != solver.StopInfeasible {
		if err := ctx.Err(); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrStopped, err)
		}
		return nil, fmt.Errorf("%w: a solve was %s", ErrStopped, s.Stop)
	}
	return s, nil
}

// free returns a relaxed copy without costs.
func free(m *solver.Model) *solver.Model {
	f := m.Relaxed()
	for j := range f.Variables {
		f.Variables[j].Cost = 0
	}
	return f
}
