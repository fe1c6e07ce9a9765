package cbc

// #cgo pkg-config: cbc
// #cgo CXXFLAGS: -O2 -std=c++14 -Wall
// #include "bridge.h"
import "C"

import (
	"context"
	"errors"
	"math"
	"sync/atomic"
	"time"
	"unsafe"

	"millbase/solver"
	"millbase/solver/clp"
)

// Engine is the mixed-integer engine. Its zero value is ready to use.
type Engine struct{}

// New returns the mixed-integer engine.
func New() *Engine { return &Engine{} }

var _ solver.Engine = (*Engine)(nil)

// Name implements solver.Engine.
func (*Engine) Name() string { return "cbc" }

// Solve implements solver.Engine. It solves any valid model; one without
// whole-number variables is solved by solver/clp.
//
// Options.Start is a basis for the relaxation. Ranging, Dual and Basis are
// there only when the optimum of the relaxation is whole: a mixed-integer
// optimum has no shadow prices. Bound is proven by the search, and the optimum
// is within Options.Gap of it. When the time is up the best point so far, if
// there is one, comes back with Bound.
func (e *Engine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	w := &work{ctx: ctx, linear: clp.New(), model: m, options: o, begun: time.Now()}
	s, err := w.solve()
	if err != nil {
		return nil, err
	}
	s.Engine = e.Name()
	return s, nil
}

// errThrown is returned when Cbc threw an exception.
var errThrown = errors.New("cbc: the solver library failed; try again with better scaled figures")

// How a search ended.
const (
	searched  = C.MB_SEARCHED
	outOfTime = C.MB_OUT_OF_TIME
	cancelled = C.MB_CANCELLED
	gaveUp    = C.MB_GAVE_UP
)

// call is one search: the model with whole bounds for its whole numbers, and
// the optimum of its relaxation.
type call struct {
	model   *solver.Model
	relaxed *solver.Solution
	gap     float64
	limit   time.Duration // zero for none
	careful bool
}

// found is what Cbc answers.
type found struct {
	end        int
	x          []float64 // nil if no point was found
	objective  float64
	bound      float64
	iterations int
}

// search runs Cbc until it is done, the time is up or the context is done.
func search(ctx context.Context, c call) (*found, error) {
	m := c.model
	rows, cols := len(m.Rows), len(m.Variables)
	in := make([]float64, 3*cols+2*rows)
	whole := make([]byte, cols)
	load(m, in, whole)
	x := make([]float64, cols)
	var basis *C.uchar
	if b := c.relaxed.Basis; b != nil {
		status := make([]solver.VarStatus, 0, rows+cols)
		status = append(append(status, b.Variables...), b.Rows...)
		basis = (*C.uchar)(unsafe.Pointer(&status[0]))
	}
	cancel := new(int32)
	if ctx.Done() != nil {
		defer context.AfterFunc(ctx, func() { atomic.StoreInt32(cancel, 1) })()
	}
	careful := 0
	if c.careful {
		careful = 1
	}
	var figures [C.MB_FIGURES]C.double
	var ints [C.MB_INTS]C.int
	failed := C.mb_search(C.int(rows), C.int(cols),
		(*C.int)(unsafe.Pointer(&m.Start[0])), (*C.int)(unsafe.Pointer(unsafe.SliceData(m.Index))),
		(*C.double)(unsafe.SliceData(m.Value)), (*C.double)(&in[0]),
		(*C.uchar)(&whole[0]), basis, C.double(c.relaxed.Objective), C.double(c.gap),
		(*C.int)(unsafe.Pointer(cancel)), C.double(c.limit.Seconds()), C.int(careful),
		(*C.double)(&x[0]), &figures[0], &ints[0])
	if failed != 0 {
		return nil, errThrown
	}
	f := &found{
		end:        int(ints[C.MB_END]),
		objective:  float64(figures[C.MB_OBJECTIVE]),
		bound:      float64(figures[C.MB_BOUND]),
		iterations: int(ints[C.MB_ITERATIONS]),
	}
	if ints[C.MB_HAS_POINT] != 0 {
		f.x = x
	}
	return f, nil
}

// load lays the model out as mb_search wants it.
func load(m *solver.Model, in []float64, whole []byte) {
	rows, cols := len(m.Rows), len(m.Variables)
	lower, upper := in[cols:2*cols], in[2*cols:3*cols]
	for j := range m.Variables {
		v := &m.Variables[j]
		in[j], lower[j], upper[j] = v.Cost, finite(v.Lower), finite(v.Upper)
		if v.Kind == solver.Integer {
			whole[j] = 1
		}
	}
	rowLower, rowUpper := in[3*cols:3*cols+rows], in[3*cols+rows:]
	for i := range m.Rows {
		rowLower[i], rowUpper[i] = finite(m.Rows[i].Lower), finite(m.Rows[i].Upper)
	}
}

// finite turns an infinity into the library's.
func finite(v float64) float64 {
	return max(-math.MaxFloat64, min(v, math.MaxFloat64))
}
