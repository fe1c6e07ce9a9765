// Package solver holds the optimisation model and its answer, free of any
// engine and of any knowledge of ink.
//
// A Model is a linear program, with optional integrality:
//
//	minimise   c'x
//	subject to rowLower <= A x <= rowUpper
//	           lower <= x <= upper
//	           x[j] whole for the integer variables
//
// An Engine solves it. Engines live below this package (solver/clp is the
// first); nothing here imports one. An infeasible or unbounded model is an
// answer, not an error: see Solution.
package solver
