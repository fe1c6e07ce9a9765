package plan

import "millbase/solver"

// Model is the plan as a linear program with nothing merged: every lot and every
// batch has its columns, orders may be of any amount. fixed is what it costs
// whatever is done. It is what a general solver would be given; Make solves a much
// smaller one with the same optimum.
func Model(p *Problem) (m *solver.Model, fixed float64, err error) {
	if err := p.Validate(); err != nil {
		return nil, 0, err
	}
	b, err := newBuilt(p, true)
	if err != nil {
		return nil, 0, err
	}
	return &b.model, b.fixed, nil
}
