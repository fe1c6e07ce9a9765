package clp

// #cgo pkg-config: clp
// #cgo CXXFLAGS: -O2 -std=c++14 -Wall
// #include "bridge.h"
import "C"

import (
	"context"
	"errors"
	"fmt"
	"math"
	"sync"
	"sync/atomic"
	"time"
	"unsafe"

	"millbase/solver"
)

// presolveFrom is the size, rows + variables, from which presolve pays when
// there is no basis to start from.
const presolveFrom = 2000

// Clp's own codes for the state of a model after a solve (ClpModel::status).
const (
	statusOptimal    = 0
	statusInfeasible = 1
	statusUnbounded  = 2
	statusLimit      = 3
	statusErrors     = 4
	statusEvent      = 5
)

// Why a solve with statusEvent stopped.
const stoppedByFlag = 1

var setup sync.Once

// Engine is the default engine. Its zero value is ready to use.
type Engine struct{}

// New returns the default engine.
func New() *Engine { return &Engine{} }

var _ solver.Engine = (*Engine)(nil)

// Name implements solver.Engine.
func (*Engine) Name() string { return "clp" }

// Solve implements solver.Engine. A starting basis of another shape is an
// error; one with the wrong number of basic places is left aside.
func (e *Engine) Solve(ctx context.Context, m *solver.Model, o solver.Options) (*solver.Solution, error) {
	return solve(ctx, e.Name(), m, o, bridge)
}

// call is what an engine's raw solve needs to know.
type call struct {
	model    *solver.Model
	start    *solver.Basis
	cancel   *int32        // raised when the context is done; nil if it never is
	limit    time.Duration // zero for none
	presolve bool
	careful  bool // slower and by another method than usual
}

// raw is what Clp answers, before it is judged.
type raw struct {
	status     int
	stoppedBy  int
	iterations int
	x, rc      []float64
	act, y     []float64
	ray        []float64 // nil if none
	basis      *solver.Basis
}

// errThrown is returned when Clp threw an exception.
var errThrown = errors.New("clp: the solver library failed; try again with better scaled figures")

// bridgeSetup sets the allocator up, once for both engines.
func bridgeSetup() { setup.Do(func() { C.mb_setup() }) }

// bridge solves through the C++ file beside this one.
func bridge(c call) (*raw, error) {
	bridgeSetup()
	m := c.model
	rows, cols := len(m.Rows), len(m.Variables)
	in := make([]float64, 3*cols+2*rows)
	load(m, in)
	out := make([]float64, 2*cols+2*rows)
	status := make([]solver.VarStatus, 2*(cols+rows))
	var basisIn *C.uchar
	if c.start != nil {
		n := copy(status[cols+rows:], c.start.Variables)
		copy(status[cols+rows+n:], c.start.Rows)
		basisIn = (*C.uchar)(unsafe.Pointer(&status[cols+rows]))
	}
	flags := 0
	if c.presolve {
		flags |= C.MB_PRESOLVE
	}
	if c.careful {
		flags |= C.MB_CAREFUL
	}
	if c.cancel != nil || c.limit > 0 {
		flags |= C.MB_WATCH
	}
	ray := make([]float64, max(rows, cols))
	var ints [C.MB_INTS]C.int
	failed := C.mb_solve(C.int(rows), C.int(cols),
		(*C.int)(unsafe.Pointer(&m.Start[0])), (*C.int)(unsafe.Pointer(unsafe.SliceData(m.Index))),
		(*C.double)(unsafe.SliceData(m.Value)), (*C.double)(&in[0]), basisIn,
		(*C.int)(unsafe.Pointer(c.cancel)), C.double(c.limit.Seconds()), C.int(flags),
		(*C.double)(&out[0]), (*C.double)(&ray[0]),
		(*C.uchar)(unsafe.Pointer(&status[0])), &ints[0])
	if failed != 0 {
		return nil, errThrown
	}
	r := &raw{
		status:     int(ints[C.MB_STATUS]),
		stoppedBy:  int(ints[C.MB_STOPPED_BY]),
		iterations: int(ints[C.MB_ITERATIONS]),
		x:          out[:cols:cols],
		rc:         out[cols : 2*cols : 2*cols],
		act:        out[2*cols : 2*cols+rows : 2*cols+rows],
		y:          out[2*cols+rows:],
		basis: &solver.Basis{
			Variables: status[:cols:cols],
			Rows:      status[cols : cols+rows : cols+rows],
		},
	}
	for k, s := range status[:cols+rows] {
		status[k] = s & 7 // the higher bits are Clp's own
	}
	if ints[C.MB_HAS_RAY] != 0 {
		r.ray = ray[:rows]
		if r.status == statusUnbounded {
			r.ray = ray[:cols]
		}
	}
	return r, nil
}

// load lays the bounds and costs out as mb_solve wants them.
func load(m *solver.Model, in []float64) {
	rows, cols := len(m.Rows), len(m.Variables)
	lower, upper := in[cols:2*cols], in[2*cols:3*cols]
	for j := range m.Variables {
		v := &m.Variables[j]
		in[j], lower[j], upper[j] = v.Cost, finite(v.Lower), finite(v.Upper)
	}
	rowLower, rowUpper := in[3*cols:3*cols+rows], in[3*cols+rows:]
	for i := range m.Rows {
		rowLower[i], rowUpper[i] = finite(m.Rows[i].Lower), finite(m.Rows[i].Upper)
	}
}

// finite turns an infinity into Clp's.
func finite(v float64) float64 {
	return max(-math.MaxFloat64, min(v, math.MaxFloat64))
}

// solve is common to both engines: check, watch the context, solve, judge.
func solve(ctx context.Context, name string, m *solver.Model, o solver.Options, engine func(call) (*raw, error)) (*solver.Solution, error) {
	if err := m.Validate(); err != nil {
		return nil, err
	}
	if m.HasInteger() {
		return nil, solver.ErrInteger
	}
	rows, cols := len(m.Rows), len(m.Variables)
	if s := o.Start; s != nil && (len(s.Rows) != rows || len(s.Variables) != cols) {
		return nil, fmt.Errorf("%w: it is for %d rows and %d variables, the model has %d and %d; start without one",
			solver.ErrStart, len(s.Rows), len(s.Variables), rows, cols)
	}
	if ctx.Err() != nil {
		return &solver.Solution{Stop: solver.StopCancelled, Bound: math.Inf(-1), Engine: name}, nil
	}
	if len(m.Index) == 0 {
		s := separable(m)
		s.Engine = name
		return s, nil
	}
	c := call{model: m, limit: max(o.TimeLimit, 0), start: usable(o.Start, rows)}
	c.presolve = c.start == nil && rows+cols >= presolveFrom
	if ctx.Done() != nil {
		c.cancel = new(int32)
		defer context.AfterFunc(ctx, func() { atomic.StoreInt32(c.cancel, 1) })()
	}
	s, err := judge(c, engine)
	if err != nil {
		return nil, err
	}
	s.Engine = name
	if o.Ranging && s.Stop == solver.StopOptimal {
		s.Ranging = m.Ranging(s)
	}
	return s, nil
}

// usable returns the basis if it has as many basic places as rows, else nil.
func usable(b *solver.Basis, rows int) *solver.Basis {
	if b == nil {
		return nil
	}
	basic := 0
	for _, list := range [2][]solver.VarStatus{b.Variables, b.Rows} {
		for _, s := range list {
			if s > solver.Fixed {
				return nil
			}
			if s == solver.Basic {
				basic++
			}
		}
	}
	if basic != rows {
		return nil
	}
	return b
}
