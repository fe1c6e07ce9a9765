package dense

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/certify"
)

// reader makes figures of bytes: plain ones mostly, now and then any at all.
type reader struct {
	data []byte
	any  bool // some figure was not plain
}

func (r *reader) small() int {
	if len(r.data) == 0 {
		return 0
	}
	v := int(r.data[0])
	r.data = r.data[1:]
	return v
}

func (r *reader) figure() float64 {
	switch b := r.small(); {
	case b < 240:
		return float64(b-120) / 8
	case b == 240:
		return solver.Inf
	case b == 241:
		return -solver.Inf
	case b < 244 && len(r.data) >= 8:
		v := math.Float64frombits(binary.LittleEndian.Uint64(r.data))
		r.data = r.data[8:]
		r.any = r.any || v != math.Trunc(v) || math.Abs(v) > 100
		return v
	}
	return 0
}

// bounds are in order when that is what it takes to be finite.
func (r *reader) bounds() (lower, upper float64) {
	lower, upper = r.figure(), r.figure()
	if lower > upper && r.small()%8 != 0 {
		lower, upper = upper, lower
	}
	return lower, upper
}

func (r *reader) model() (*solver.Model, solver.Options) {
	m := &solver.Model{}
	for range r.small() % 9 {
		lower, upper := r.bounds()
		m.AddRow(solver.Row{Lower: lower, Upper: upper})
	}
	for range r.small() % 12 {
		v := solver.Variable{Cost: r.figure()}
		v.Lower, v.Upper = r.bounds()
		var entries []solver.Entry
		for i := range m.Rows {
			if r.small()%3 > 0 {
				entries = append(entries, solver.Entry{Row: i, Value: r.figure()})
			}
		}
		m.AddVariable(v, entries...)
	}
	var o solver.Options
	if r.small()%2 == 1 {
		o.Start = &solver.Basis{Variables: make([]solver.VarStatus, len(m.Variables)), Rows: make([]solver.VarStatus, len(m.Rows))}
		for j := range o.Start.Variables {
			o.Start.Variables[j] = solver.VarStatus(r.small() % 7)
		}
		for i := range o.Start.Rows {
			o.Start.Rows[i] = solver.VarStatus(r.small() % 7)
		}
	}
	return m, o
}

// FuzzAgainstClp: whatever the figures and the basis to start from, the kernel
// neither panics nor hangs. Of plain figures its answer is proven and that of
// Clp; it may give up, but hardly ever does.
func FuzzAgainstClp(f *testing.F) {
	f.Add([]byte{1, 128, 240, 0, 2, 128, 120, 240, 0, 1, 128, 112, 120, 160, 0, 1, 104, 0})
	f.Add([]byte{3, 120, 120, 0, 241, 128, 0, 128, 240, 0, 4, 130, 120, 240, 0, 1, 128, 1, 112, 1, 140, 126, 120, 128, 0, 1, 128, 2, 130, 0, 1, 1, 1, 1, 1, 2, 3})
	f.Add([]byte{2, 241, 240, 0, 120, 120, 0, 3, 100, 241, 240, 0, 1, 128, 1, 128, 140, 241, 130, 0, 1, 112, 1, 242, 1, 2, 3, 4, 5, 6, 7, 8})
	f.Fuzz(func(t *testing.T, data []byte) {
		r := &reader{data: data}
		m, o := r.model()
		ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
		defer cancel()
		o.Ranging = true
		s, err := New().Solve(ctx, m, o)
		var bad *solver.ModelError
		switch {
		case errors.As(err, &bad) && m.Validate() != nil:
			return
		case err != nil:
			t.Fatalf("unexpected error: %v", err)
		case s.Stop == solver.StopCancelled:
			t.Fatal("took more than five seconds")
		case r.any || s.Stop == solver.StopNumerical && o.Start != nil:
			return
		}
		if c := certify.Check(m, s); !c.OK {
			t.Fatalf("%v not proven: %s", s.Stop, c.Reason)
		}
		agrees(t, m, s)
	})
}
