package clp

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"testing"
	"time"

	"millbase/solver"
	"millbase/solver/certify"
	"millbase/solver/checked"
)

// fuzzed builds any model at all from bytes.
func fuzzed(data []byte) *solver.Model {
	next := func() float64 {
		if len(data) < 8 {
			return 1
		}
		v := math.Float64frombits(binary.LittleEndian.Uint64(data))
		data = data[8:]
		return v
	}
	small := func() int {
		if len(data) == 0 {
			return 1
		}
		v := int(data[0])
		data = data[1:]
		return v
	}
	m := &solver.Model{}
	for range small() % 6 {
		m.AddRow(solver.Row{Lower: next(), Upper: next()})
	}
	for range small() % 8 {
		v := solver.Variable{Cost: next(), Lower: next(), Upper: next()}
		var entries []solver.Entry
		for range small() % 5 {
			entries = append(entries, solver.Entry{Row: small() % 7, Value: next()})
		}
		m.AddVariable(v, entries...)
	}
	return m
}

// FuzzAnyFigures: whatever the figures, an engine neither ends the process nor
// hangs, and the checked engine hands out only what is proven.
func FuzzAnyFigures(f *testing.F) {
	bytes := func(list ...any) []byte {
		var out []byte
		for _, v := range list {
			switch v := v.(type) {
			case int:
				out = append(out, byte(v))
			case float64:
				out = binary.LittleEndian.AppendUint64(out, math.Float64bits(v))
			}
		}
		return out
	}
	inf, nan := math.Inf(1), math.NaN()
	f.Add(bytes(1, 1.0, inf, 2, 1.0, 0.0, inf, 1, 0, 1.0, -1.0, 0.0, 5.0, 1, 0, -2.0))
	f.Add(bytes(2, -inf, 1e19, nan, 2.0, 1, 1e19, -1e19, 1e19, 2, 0, 1e15, 1, 1e-300))
	f.Add(bytes(3, 0.0, 0.0, -inf, inf, 1e-9, 1e-9, 3, -1e-7, -inf, inf, 2, 0, 1e-12, 1, 1e12, 1e-7, 0.0, 1e18, 1, 2, 5e-324))
	f.Add(bytes(1, 1.0, 1.0, 1, nan, 0.0, 1.0, 1, 0, 1.0))
	f.Add(bytes(0, 3, 1.0, 0.0, 1.0, 0, -1.0, 0.0, inf, 0))
	e := checked.New(New(), NewLanl())
	f.Fuzz(func(t *testing.T, data []byte) {
		m := fuzzed(data)
		ctx, cancel := context.WithTimeout(context.Background(), 2*time.Second)
		defer cancel()
		s, c, err := e.SolveProven(ctx, m, solver.Options{Ranging: true})
		var bad *solver.ModelError
		var failed *checked.Error
		switch {
		case err == nil && s.Stop == solver.StopCancelled:
			t.Fatalf("took more than two seconds")
		case err == nil && !c.OK:
			t.Fatalf("handed out without proof: %+v, %+v", s, c)
		case err == nil:
			if again := certify.Check(m, s); !again.OK {
				t.Fatalf("second check differs: %+v", again)
			}
		case !errors.As(err, &bad) && !errors.As(err, &failed):
			t.Fatalf("unexpected error: %v", err)
		case m.Validate() != nil != errors.As(err, &bad):
			t.Fatalf("validate says %v, the engine %v", m.Validate(), err)
		}
	})
}
