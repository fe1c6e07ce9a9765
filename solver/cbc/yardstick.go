package cbc

// #include <stdlib.h>
// #include <coin/Cbc_C_Interface.h>
import "C"

import (
	"sync"
	"time"
	"unsafe"

	"millbase/solver"
)

// yardstickTurn lets one yardstick run at a time: Cbc's C interface keeps its
// state in globals.
var yardstickTurn sync.Mutex

// Yardstick solves a model by Cbc's C interface as its documentation shows it,
// with its own settings, and returns the objective and whether the optimum was
// proven. It is what benchmarks measure against, and trusts the model: no
// validation, no certificate, no cancelling. limit is none when zero.
func Yardstick(m *solver.Model, limit time.Duration) (objective float64, proven bool) {
	yardstickTurn.Lock()
	defer yardstickTurn.Unlock()
	rows, cols := len(m.Rows), len(m.Variables)
	in := make([]float64, 3*cols+2*rows)
	whole := make([]byte, cols)
	load(m, in, whole)
	at := func(k int) *C.double { return (*C.double)(&in[k]) }
	model := C.Cbc_newModel()
	defer C.Cbc_deleteModel(model)
	C.Cbc_loadProblem(model, C.int(cols), C.int(rows),
		(*C.CoinBigIndex)(unsafe.Pointer(&m.Start[0])), (*C.int)(unsafe.Pointer(&m.Index[0])), (*C.double)(&m.Value[0]),
		at(cols), at(2*cols), at(0), at(3*cols), at(3*cols+rows))
	for j, w := range whole {
		if w != 0 {
			C.Cbc_setInteger(model, C.int(j))
		}
	}
	C.Cbc_setLogLevel(model, 0)
	if limit > 0 {
		C.Cbc_setMaximumSeconds(model, C.double(limit.Seconds()))
	}
	C.Cbc_solve(model)
	return float64(C.Cbc_getObjValue(model)), C.Cbc_isProvenOptimal(model) != 0
}
