package clp

import (
	"context"
	"math"
	"runtime"
	"sync/atomic"
	"time"

	lanl "github.com/lanl/clp"

	"millbase/solver"
)

// Lanl is the reference engine, on github.com/lanl/clp. Its answers carry no
// basis and so no ranging, and it makes no use of a starting basis.
type Lanl struct{}

// NewLanl returns the reference engine.
func NewLanl() *Lanl { return &Lanl{} }

var _ solver.Engine = (*Lanl)(nil)

// Name implements solver.Engine.
func (*Lanl) Name() string { return "lanl/clp" }

// Solve implements solver.Engine.
func (e *Lanl) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	o.Ranging = false
	return solve(ctx, e.Name(), m, o, appended)
}

// lanl/clp frees its C memory by finalizer only: at most two solves at a time
// hold any, and garbage is collected after about this many bytes.
const collectAfter = 8 << 20

var (
	lanlSlots = make(chan struct{}, 2)
	lanlHeld  atomic.Int64
)

// The solve goes in slices of iterations so that the context is looked at in
// between, since lanl/clp has no way to stop a solve from outside.
const (
	firstSlice = 400
	sliceTime  = 5 * time.Millisecond
)

// appended solves through lanl/clp, column by column.
func appended(c call) (*raw, error) {
	bridgeSetup()
	lanlSlots <- struct{}{}
	defer func() { <-lanlSlots }()
	m := c.model
	rows, cols := len(m.Rows), len(m.Variables)
	if lanlHeld.Add(int64(64*len(m.Index)+400*(rows+cols)+4096)) > collectAfter {
		lanlHeld.Store(0)
		runtime.GC()
	}
	started := time.Now()
	s := lanl.NewSimplex()
	if !loadLanl(s, c) {
		return &raw{status: statusEvent, stoppedBy: stoppedByFlag}, nil
	}
	slice := firstSlice
	r := &raw{}
	for {
		s.SetMaxIterations(slice)
		begun := time.Now()
		if c.careful {
			r.status = int(s.Primal(lanl.NoValuesPass, lanl.NoStartFinishOptions))
		} else {
			r.status = int(s.Dual(lanl.NoValuesPass, lanl.NoStartFinishOptions))
		}
		if r.status != statusLimit {
			break
		}
		r.iterations += slice
		if c.cancel != nil && atomic.LoadInt32(c.cancel) != 0 {
			r.status, r.stoppedBy = statusEvent, stoppedByFlag
			return r, nil
		}
		if c.limit > 0 && time.Since(started) >= c.limit {
			return r, nil
		}
		slice = nextSlice(slice, time.Since(begun))
	}
	r.finish(s, m)
	runtime.KeepAlive(s)
	return r, nil
}

// finish reads an optimum, after a second solve with the primal simplex if Clp
// ended outside its own tolerance or at one of the bounds it made up.
func (r *raw) finish(s *lanl.Simplex, m *solver.Model) {
	if r.status != statusOptimal {
		return
	}
	r.read(s)
	second := s.SecondaryStatus()
	outside := second >= lanl.SecondaryScaledOptimalUnscaledPrimalInfeasible && second <= lanl.SecondaryScaledOptimalUnscaledBothInfeasible
	if outside || r.madeUp(m) {
		s.SetScaling(lanl.NoScaling)
		s.SetMaxIterations(20*(len(m.Rows)+len(m.Variables)) + 1000)
		r.status = int(s.Primal(lanl.NoValuesPass, lanl.NoStartFinishOptions))
		r.read(s)
	}
}

func (r *raw) read(s *lanl.Simplex) {
	r.x, r.rc = s.PrimalColumnSolution(), s.DualColumnSolution()
	r.act, r.y = s.PrimalRowSolution(), s.DualRowSolution()
}

// madeUp reports whether a price leans on a bound that is not there.
func (r *raw) madeUp(m *solver.Model) bool {
	leans := func(price, size, lower, upper float64) bool {
		return price > 1e-6*max(1, size) && math.IsInf(lower, -1) || price < -1e-6*max(1, size) && math.IsInf(upper, 1)
	}
	for j, v := range m.Variables {
		if leans(r.rc[j], math.Abs(v.Cost), v.Lower, v.Upper) {
			return true
		}
	}
	for i, row := range m.Rows {
		if leans(r.y[i], 1, row.Lower, row.Upper) {
			return true
		}
	}
	return false
}

// nextSlice aims at sliceTime per slice. It grows slowly in any case, so that a
// solve that gains nothing in one slice does not do so for ever.
func nextSlice(slice int, took time.Duration) int {
	if took < sliceTime {
		return slice * 2
	}
	return max(50, slice*int(sliceTime)/int(took)) + slice/64 + 1
}

// loadLanl loads the model; false if the context was done meanwhile.
func loadLanl(s *lanl.Simplex, c call) bool {
	m := c.model
	rows, cols := len(m.Rows), len(m.Variables)
	matrix := lanl.NewPackedMatrix()
	matrix.Reserve(cols, len(m.Index), false)
	column := make([]lanl.Nonzero, 0, rows)
	costs, bounds := make([]float64, cols), make([]lanl.Bounds, cols)
	for j := range m.Variables {
		index, values := m.Column(j)
		column = column[:0]
		for k, i := range index {
			column = append(column, lanl.Nonzero{Index: int(i), Value: values[k]})
		}
		matrix.AppendColumn(column)
		v := &m.Variables[j]
		costs[j], bounds[j] = v.Cost, lanl.Bounds{Lower: finite(v.Lower), Upper: finite(v.Upper)}
		if j%256 == 255 && c.cancel != nil && atomic.LoadInt32(c.cancel) != 0 {
			return false
		}
	}
	// Only now, or trailing rows without entries are missing from the matrix.
	matrix.SetDimensions(rows, cols)
	limits := make([]lanl.Bounds, rows)
	for i := range m.Rows {
		limits[i] = lanl.Bounds{Lower: finite(m.Rows[i].Lower), Upper: finite(m.Rows[i].Upper)}
	}
	s.LoadProblem(matrix, bounds, costs, limits, nil)
	s.SetOptimizationDirection(lanl.Minimize)
	return true
}
