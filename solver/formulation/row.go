package formulation

import (
	"context"
	"fmt"
	"math"

	"millbase/solver"
)

// MaxRows is the largest number of Rows of a Problem.
const MaxRows = 1_000

// rowTolerance is the part of the size of a row's terms by which it may be missed.
const rowTolerance = 1e-6

// holds reports whether portions of a quantity, kg, meet the row.
func (r *Row) holds(active []int32, portions []portion, quantity float64) bool {
	sum, size := 0.0, 0.0
	for _, o := range portions {
		v := r.Coefficients[active[o.column]] * o.mass.Kilograms() / quantity
		sum += v
		size += math.Abs(v)
	}
	for _, b := range [...]float64{r.Lower, r.Upper} {
		if !math.IsInf(b, 0) {
			size = max(size, math.Abs(b))
		}
	}
	return sum >= r.Lower-rowTolerance*size && sum <= r.Upper+rowTolerance*size
}

// rows checks the Rows of a problem.
func (v *validator) rows() {
	if len(v.p.Rows) > MaxRows {
		v.add(fmt.Sprintf("%d are too many: give at most %d", len(v.p.Rows), MaxRows), "rows")
		return
	}
	for i := range v.p.Rows {
		r := &v.p.Rows[i]
		if len(r.Coefficients) != len(v.p.Candidates) {
			v.add(fmt.Sprintf("give one for each of the %d candidates", len(v.p.Candidates)), "rows[%d].coefficients", i)
		}
		for j, a := range r.Coefficients {
			if !(math.Abs(a) <= MaxBound) {
				v.add("must be a finite number of at most 1e9 in size", "rows[%d].coefficients[%d]", i, j)
			}
		}
		if !(r.Lower <= r.Upper) || math.IsInf(r.Lower, 1) || math.IsInf(r.Upper, -1) {
			v.add("must have a lower bound that is not above the upper one", "rows[%d].lower", i)
		}
	}
}

// withoutRows explains why there is no formula of a problem with Rows: its limits
// clash without them, or else it is the rows.
func (b *built) withoutRows(ctx context.Context, engine solver.Engine, a *Answer) error {
	free := *b.p
	free.Rows, free.Weighing, free.Goals = nil, nil, nil
	other, err := Optimise(ctx, engine, &free)
	switch {
	case err != nil:
		return err
	case other.Outcome == Infeasible:
		*a = *other
	case other.Outcome == Unfinished:
		a.Outcome = Unfinished
	default:
		a.Clash = &Clash{Rows: true}
	}
	return nil
}
