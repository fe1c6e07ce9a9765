package formulation

import (
	"fmt"
	"math"
	"sync"

	"millbase/solver"
)

// built is a Problem made into a model, with what is needed to read its answer.
type built struct {
	p     *Problem
	terms []term
	// active are the candidates that take part; column k of the model is
	// candidate active[k].
	active  []int32
	leftOut []LeftOut
	stays   []float64 // per column, what of a kg stays in the ink
	flat    []float64 // backs the next three
	num     []float64 // num[i*width()+k]: term i, column k
	den     []float64 // likewise; of a term on the finished mass it is stays
	rows    []rowPair // per term
	given   int32     // the first of the problem's own Rows in the model
	model   solver.Model
	// goals are true when the terms of the goals follow those of the limits.
	goals   bool
	aims    []aimed
	guards  []guard
	rough   bool              // guards need not hold to the last digit: on the way to the answer
	moments map[int][]moments // per guarded term, per column
	// empty is set to explain a clash: candidates of which nothing is available
	// take part, and each side of a ratio has its own row even in an equation.
	empty bool
}

// rowPair says which rows a term has: one two-sided row on the finished mass or
// for an equation, else one per bound; -1 for none. Coefficients are multiplied
// by a scale, a power of two, so that a row reads in parts of its bound.
type rowPair struct {
	lower, upper           int32
	lowerScale, upperScale float64
}

// build makes the model of a valid problem; for empty see built.
func build(p *Problem, empty bool) (*built, error) {
	b := new(built)
	return b, b.build(p, empty)
}

// scratch keeps what Optimise works in. Most of what it allocates is here, and
// nothing of it goes into an answer.
var scratch = sync.Pool{New: func() any { return new(built) }}

// release returns b to scratch, without what belongs to others.
func (b *built) release() {
	clear(b.terms)
	clear(b.model.Variables)
	clear(b.model.Rows)
	b.p, b.leftOut = nil, nil
	b.aims, b.guards, b.moments, b.rough = nil, nil, nil, false
	if cap(b.flat) <= 1<<20 {
		scratch.Put(b)
	}
}

// sized is s with length n; its elements may hold anything.
func sized[T any](s []T, n int) []T {
	if cap(s) < n {
		return make([]T, n)
	}
	return s[:n]
}

func (b *built) build(p *Problem, empty bool) error {
	b.p, b.empty = p, empty
	b.goals = len(p.Goals) > 0 && !empty
	n := len(p.Limits)
	if b.goals {
		n += len(p.Goals)
	}
	b.terms = sized(b.terms, n)
	for i := range b.terms {
		if i < len(p.Limits) {
			b.terms[i] = newTerm(&p.Limits[i], p)
		} else {
			b.terms[i] = newTerm(&p.Goals[i-len(p.Limits)].Limit, p)
		}
	}
	if err := b.coefficients(); err != nil {
		return err
	}
	b.makeGuards()
	b.makeAims()
	b.makeModel()
	return nil
}

// makeModel makes the model from the coefficients and the bounds of the terms.
func (b *built) makeModel() {
	b.makeRows()
	b.makeColumns()
	b.addGuards()
	b.addAims()
}

// coefficients fills num and den, leaving out candidates that lack a value.
func (b *built) coefficients() error {
	n, m := len(b.p.Candidates), len(b.terms)
	b.flat = sized(b.flat, n*(2*m+1))
	b.num, b.den, b.stays = b.flat[:n*m:n*m], b.flat[n*m:2*n*m:2*n*m], b.flat[2*n*m:]
	b.active, b.leftOut = sized(b.active, n)[:0], nil
	var errs FieldErrors
	var wanted wants
	for i := range b.terms {
		wanted.add(&b.terms[i])
	}
	for j := range b.p.Candidates {
		c := &b.p.Candidates[j]
		k := len(b.active)
		of := wanted.of(c)
		b.stays[k] = of.stays
		if c.Available == 0 && !b.empty {
			b.leftOut = append(b.leftOut, LeftOut{j, "nothing of it is available"})
			continue
		}
		missing, at := "", 0
		for i := range b.terms {
			num, den, miss := b.terms[i].at(&of)
			if miss != "" {
				missing, at = miss, i
				break
			}
			b.num[i*n+k], b.den[i*n+k] = num, den
		}
		if missing != "" {
			why := fmt.Sprintf("it has no %s, which the limit %s needs", missing, b.terms[at].limit.Name())
			if c.AtLeast > 0 {
				errs = append(errs, FieldError{fmt.Sprintf("candidates[%d].properties[%s]", j, missing),
					fmt.Sprintf("at least %s of it must be used, but %s", c.AtLeast, why)})
			}
			b.leftOut = append(b.leftOut, LeftOut{j, why})
			continue
		}
		b.active = append(b.active, int32(j))
	}
	if len(errs) > 0 {
		return errs
	}
	return nil
}

// width is the distance between terms in num and den.
func (b *built) width() int { return len(b.p.Candidates) }

func (b *built) makeRows() {
	n := len(b.active)
	b.rows = sized(b.rows, len(b.terms))
	b.model.Rows = sized(b.model.Rows, 2*len(b.terms)+1)[:1]
	b.model.Rows[0] = solver.Row{Name: "quantity", Lower: 1, Upper: 1}
	for i := range b.terms {
		t := &b.terms[i]
		num, den := b.num[i*b.width():][:n], b.den[i*b.width():][:n]
		pair := &b.rows[i]
		pair.lower, pair.upper = -1, -1
		switch {
		case t.ofInk && !b.split(i):
			s := t.scale(larger(t.lower, t.upper), num, nil)
			r := b.model.AddRow(solver.Row{Name: t.limit.ID, Lower: t.lower * s, Upper: t.upper * s})
			*pair = rowPair{int32(r), int32(r), s, s}
		case t.lower == t.upper && !b.empty:
			s := t.scale(t.lower, num, den)
			r := b.model.AddRow(solver.Row{Name: t.limit.ID})
			*pair = rowPair{int32(r), int32(r), s, s}
		default:
			b.oneRowEach(t, pair, num, den)
		}
	}
	b.given = int32(len(b.model.Rows))
	if b.empty { // what clashes are limits and stocks
		return
	}
	for i := range b.p.Rows {
		r := &b.p.Rows[i]
		b.model.AddRow(solver.Row{Name: r.Title, Lower: r.Lower, Upper: r.Upper})
	}
}

// oneRowEach makes a row for each bound of a term.
func (b *built) oneRowEach(t *term, pair *rowPair, num, den []float64) {
	if t.ofInk {
		den = nil
	}
	if !math.IsInf(t.lower, 0) {
		pair.lowerScale = t.scale(t.lower, num, den)
		r := solver.Row{Name: t.limit.ID, Upper: solver.Inf}
		if t.ofInk {
			r.Lower = t.lower * pair.lowerScale
		}
		pair.lower = int32(b.model.AddRow(r))
	}
	if !math.IsInf(t.upper, 0) {
		pair.upperScale = t.scale(t.upper, num, den)
		r := solver.Row{Name: t.limit.ID, Lower: -solver.Inf}
		if t.ofInk {
			r.Upper = t.upper * pair.upperScale
		}
		pair.upper = int32(b.model.AddRow(r))
	}
}

// larger is the finite one of two bounds with the larger size.
func larger(lower, upper float64) float64 {
	switch {
	case math.IsInf(lower, 0):
		return upper
	case math.IsInf(upper, 0), math.Abs(lower) > math.Abs(upper):
		return lower
	}
	return upper
}

// scale is the factor that makes a row with the bound r of its ratio read in
// parts of the limit's value: 1/(|f'(v)| |v|), times the largest denominator of
// a ratio. It is a power of two, so that it rounds nothing, at most what keeps
// every coefficient below 10,000, and never beyond 2^30.
func (t *term) scale(r float64, num, den []float64) float64 {
	largest, base := 0.0, 1.0
	if den == nil {
		for _, a := range num {
			largest = max(largest, math.Abs(a))
		}
	} else {
		base = 0
		for k, a := range num {
			largest = max(largest, math.Abs(a-r*den[k]))
			base = max(base, den[k])
		}
	}
	v := t.def.Inverse(r)
	size := math.Abs(t.def.Slope(v)*v) * base
	switch {
	case size == 0 || math.IsInf(size, 0) || math.IsNaN(size):
		size = largest
	case size*1e4 < largest:
		size = largest / 1e4
	}
	if size == 0 {
		return 1
	}
	_, e := math.Frexp(size)
	return math.Ldexp(1, min(max(-e, -30), 30))
}

func (b *built) makeColumns() {
	n, m := len(b.active), &b.model
	m.Variables, m.Start = sized(m.Variables, n), sized(m.Start, n+1)
	m.Start[0] = 0
	room := n * len(m.Rows)
	m.Index, m.Value = sized(m.Index, room)[:0], sized(m.Value, room)[:0]
	perKg := 1 / b.p.Quantity.Kilograms()
	for k, j := range b.active {
		c := &b.p.Candidates[j]
		v := &m.Variables[k]
		*v = solver.Variable{Name: c.ID, Cost: c.CostPerKg - c.UsePremium, Upper: b.p.Most(c, b.stays[k])}
		if c.AtLeast > 0 {
			v.Lower = c.AtLeast.Kilograms() * perKg
		}
		b.column(k)
		m.Start[k+1] = int32(len(m.Index))
	}
}

// negligible is a coefficient that does nothing: rows read in parts of their
// bound and are met to 1e-7.
const negligible = 1e-12

func (b *built) column(k int) {
	m := &b.model
	put := func(row int32, v float64) {
		if math.Abs(v) >= negligible {
			m.Index, m.Value = append(m.Index, row), append(m.Value, v)
		}
	}
	put(0, b.stays[k])
	for i := range b.terms {
		t, pair, at := &b.terms[i], &b.rows[i], i*b.width()+k
		num, den := b.num[at], b.den[at]
		switch {
		case t.ofInk && pair.lower == pair.upper:
			put(pair.lower, num*pair.lowerScale)
		case t.ofInk:
			if pair.lower >= 0 {
				put(pair.lower, num*pair.lowerScale)
			}
			if pair.upper >= 0 {
				put(pair.upper, num*pair.upperScale)
			}
		case pair.lower == pair.upper:
			put(pair.lower, excess(num, t.lower*den)*pair.lowerScale)
		default:
			if pair.lower >= 0 {
				put(pair.lower, excess(num, t.lower*den)*pair.lowerScale)
			}
			if pair.upper >= 0 {
				put(pair.upper, excess(num, t.upper*den)*pair.upperScale)
			}
		}
	}
	if b.empty {
		return
	}
	for i := range b.p.Rows {
		put(b.given+int32(i), b.p.Rows[i].Coefficients[b.active[k]])
	}
}

// excess is a-b, 0 where nothing but rounding is left: a material that is
// exactly at a limit should not get a coefficient of 1e-17.
func excess(a, b float64) float64 {
	d := a - b
	if math.Abs(d) <= 1e-14*math.Abs(a) {
		return 0
	}
	return d
}
