package cbc

import (
	"testing"

	"millbase/solver"
	"millbase/solver/solvertest"
)

func TestEngine(t *testing.T) {
	solvertest.RunWhole(t, func() solver.Engine { return New() })
}
