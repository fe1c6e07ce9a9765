package clp

import (
	"testing"

	"millbase/solver"
	"millbase/solver/solvertest"
)

func TestEngine(t *testing.T) {
	solvertest.Run(t, func() solver.Engine { return New() })
}

func TestLanl(t *testing.T) {
	solvertest.Run(t, func() solver.Engine { return NewLanl() })
}
