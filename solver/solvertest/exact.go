package solvertest

import (
	"math"
	"math/big"
	"testing"

	"pgregory.net/rapid"

	"millbase/solver"
)

// randomAgainstExact compares with a simplex in exact fractions.
func randomAgainstExact(t *testing.T, e solver.Engine) {
	var seen [solver.StopUnbounded + 1]int
	rapid.Check(t, func(t *rapid.T) {
		m := drawn(t)
		s := solve(t, e, m, solver.Options{})
		proven(t, m, s)
		stop, objective := Exact(m)
		agree(t, s, stop, objective)
		seen[stop]++
	})
	for _, stop := range []solver.Stop{solver.StopOptimal, solver.StopInfeasible, solver.StopUnbounded} {
		if seen[stop] == 0 {
			t.Errorf("no model was %v", stop)
		}
	}
}

// Exact solves a small valid model without whole-number demands in exact
// fractions: the figures of the model are taken as they are and nothing is
// rounded, so that the answer is beyond doubt. It returns StopOptimal with the
// objective (rounded once), StopInfeasible or StopUnbounded.
//
// Method: the simplex method on dictionaries in two phases with Bland's rule
// (Chvatal, Linear Programming, 1983, chapters 2 and 3, from memory).
func Exact(m *solver.Model) (solver.Stop, float64) {
	d := newDictionary(m)
	if !d.feasible() {
		return solver.StopInfeasible, 0
	}
	if !d.minimise() {
		return solver.StopUnbounded, 0
	}
	v, _ := d.constant.Float64()
	return solver.StopOptimal, v
}

// dictionary states basic variables and objective by the others, all of which
// are at zero and may only rise:
//
//	basic_i = right_i - sum_j a_ij other_j >= 0
//	minimise constant + sum_j cost_j other_j
type dictionary struct {
	a               [][]*big.Rat
	right, cost     []*big.Rat
	constant        *big.Rat
	basics, outside []int // labels, for Bland's rule
}

func newDictionary(m *solver.Model) *dictionary {
	d := &dictionary{constant: new(big.Rat)}
	rows := make([][]*big.Rat, len(m.Rows)) // coefficients in the shifted variables
	shift := make([]*big.Rat, len(m.Rows))  // what the shifts alone make of each row
	for i := range shift {
		shift[i] = new(big.Rat)
	}
	var caps []func() // upper bounds, added once all columns are there
	column := func(j int, sign float64) int {
		d.cost = append(d.cost, rat(sign*m.Variables[j].Cost))
		for i := range rows {
			rows[i] = append(rows[i], new(big.Rat))
		}
		index, values := m.Column(j)
		for k, i := range index {
			rows[i][len(rows[i])-1] = rat(sign * values[k])
		}
		return len(d.cost) - 1
	}
	for j := range m.Variables {
		v := &m.Variables[j]
		at := 0.0
		switch {
		case !math.IsInf(v.Lower, -1):
			at = v.Lower
			if k := column(j, 1); !math.IsInf(v.Upper, 1) {
				caps = append(caps, func() { d.cap(k, new(big.Rat).Sub(rat(v.Upper), rat(v.Lower))) })
			}
		case !math.IsInf(v.Upper, 1):
			at = v.Upper
			column(j, -1)
		default:
			column(j, 1)
			column(j, -1)
		}
		d.constant.Add(d.constant, new(big.Rat).Mul(rat(v.Cost), rat(at)))
		index, values := m.Column(j)
		for k, i := range index {
			shift[i].Add(shift[i], new(big.Rat).Mul(rat(values[k]), rat(at)))
		}
	}
	for i, r := range m.Rows {
		if !math.IsInf(r.Upper, 1) {
			d.add(rows[i], new(big.Rat).Sub(rat(r.Upper), shift[i]))
		}
		if !math.IsInf(r.Lower, -1) {
			line := make([]*big.Rat, len(rows[i]))
			for c, v := range rows[i] {
				line[c] = new(big.Rat).Neg(v)
			}
			d.add(line, new(big.Rat).Sub(shift[i], rat(r.Lower)))
		}
	}
	for _, add := range caps {
		add()
	}
	for j := range d.cost {
		d.outside = append(d.outside, j)
	}
	for i := range d.basics {
		d.basics[i] = len(d.cost) + i
	}
	return d
}

func rat(v float64) *big.Rat { return new(big.Rat).SetFloat64(v) }

// add appends the row: line times the variables is at most right.
func (d *dictionary) add(line []*big.Rat, right *big.Rat) {
	copied := make([]*big.Rat, len(line))
	for c, v := range line {
		copied[c] = new(big.Rat).Set(v)
	}
	d.a, d.right, d.basics = append(d.a, copied), append(d.right, right), append(d.basics, 0)
}

// cap adds the row: variable k is at most right.
func (d *dictionary) cap(k int, right *big.Rat) {
	line := make([]*big.Rat, len(d.cost))
	for c := range line {
		line[c] = new(big.Rat)
	}
	line[k].SetInt64(1)
	d.add(line, right)
}

// feasible finds a dictionary with nothing below zero: it adds a variable that
// loosens every row, and minimises that.
func (d *dictionary) feasible() bool {
	worst := -1
	for i, r := range d.right {
		if r.Sign() < 0 && (worst < 0 || r.Cmp(d.right[worst]) < 0) {
			worst = i
		}
	}
	if worst < 0 {
		return true
	}
	cost, constant := d.cost, d.constant
	loose := len(d.outside)
	label := -1 // below all others: it leaves as soon as it may
	d.cost, d.constant = nil, new(big.Rat)
	for range cost {
		d.cost = append(d.cost, new(big.Rat))
	}
	d.cost = append(d.cost, big.NewRat(1, 1))
	for i := range d.a {
		d.a[i] = append(d.a[i], big.NewRat(-1, 1))
	}
	d.outside = append(d.outside, label)
	// The true objective is carried along as a row that never leaves.
	line := make([]*big.Rat, loose+1)
	for j, c := range cost {
		line[j] = new(big.Rat).Neg(c)
	}
	line[loose] = new(big.Rat)
	d.a, d.right = append(d.a, line), append(d.right, constant)
	d.pivot(worst, loose)
	d.minimise()
	if d.constant.Sign() > 0 {
		return false
	}
	for i, b := range d.basics { // basic at zero: any exchange will do
		if b == label {
			for j := range d.outside {
				if d.a[i][j].Sign() != 0 {
					d.pivot(i, j)
					break
				}
			}
		}
	}
	d.drop(label)
	return true
}

// drop takes out the loosening variable, which is at zero, and puts the true
// objective back.
func (d *dictionary) drop(label int) {
	last := len(d.a) - 1
	d.constant, d.cost = d.right[last], nil
	for _, v := range d.a[last] {
		d.cost = append(d.cost, new(big.Rat).Neg(v))
	}
	d.a, d.right = d.a[:last], d.right[:last]
	for j, o := range d.outside {
		if o != label {
			continue
		}
		d.outside = append(d.outside[:j], d.outside[j+1:]...)
		d.cost = append(d.cost[:j], d.cost[j+1:]...)
		for i := range d.a {
			d.a[i] = append(d.a[i][:j], d.a[i][j+1:]...)
		}
		return
	}
}

// minimise goes on to the optimum; false if there is none.
func (d *dictionary) minimise() bool {
	for {
		q := -1
		for j, c := range d.cost {
			if c.Sign() < 0 && (q < 0 || d.outside[j] < d.outside[q]) {
				q = j
			}
		}
		if q < 0 {
			return true
		}
		p := -1
		best := new(big.Rat)
		for i := range d.basics {
			if d.a[i][q].Sign() <= 0 {
				continue
			}
			step := new(big.Rat).Quo(d.right[i], d.a[i][q])
			if c := step.Cmp(best); p < 0 || c < 0 || c == 0 && d.basics[i] < d.basics[p] {
				p, best = i, step
			}
		}
		if p < 0 {
			return false
		}
		d.pivot(p, q)
	}
}

// pivot exchanges the basic variable of row p for the one outside in column q.
func (d *dictionary) pivot(p, q int) {
	d.basics[p], d.outside[q] = d.outside[q], d.basics[p]
	line := d.a[p]
	f := new(big.Rat).Inv(line[q])
	line[q] = big.NewRat(1, 1)
	for j := range line {
		line[j].Mul(line[j], f)
	}
	d.right[p].Mul(d.right[p], f)
	var t big.Rat
	for i := range d.a {
		g := d.a[i][q]
		if i == p || g.Sign() == 0 {
			continue
		}
		d.a[i][q] = new(big.Rat)
		for j, v := range line {
			if v.Sign() != 0 {
				d.a[i][j].Sub(d.a[i][j], t.Mul(g, v))
			}
		}
		d.right[i].Sub(d.right[i], t.Mul(g, d.right[p]))
	}
	g := d.cost[q]
	d.cost[q] = new(big.Rat)
	for j, v := range line {
		if v.Sign() != 0 {
			d.cost[j].Sub(d.cost[j], t.Mul(g, v))
		}
	}
	d.constant.Add(d.constant, t.Mul(g, d.right[p]))
}
