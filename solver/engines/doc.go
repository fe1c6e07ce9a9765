// Package engines puts together the engine that the house solves with, in one
// place for the server, its tests and its benchmarks.
package engines

import (
	"millbase/solver/cbc"
	"millbase/solver/checked"
	"millbase/solver/clp"
	"millbase/solver/dense"
)

// New returns the engine for everything: formula-sized models are solved by the
// dense kernel, larger ones, and those whose answer does not pass its check, by
// Clp, and what does not pass there by lanl/clp; models with whole numbers by
// Cbc.
func New() *checked.Engine {
	return &checked.Engine{Small: dense.New(), First: clp.New(), Second: clp.NewLanl(), Whole: cbc.New()}
}
