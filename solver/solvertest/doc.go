// Package solvertest is the conformance suite for engines. An engine's own
// test calls
//
//	solvertest.Run(t, func() solver.Engine { return clp.New() })
//
// and is then held to the contract of package solver: the kinds of answer, the
// signs of prices, rays and bases, ranging, cancelling, and bad input. Optima
// are compared with two solvers that share no code with ours, gonum's simplex
// and GLPK's glpsol (Debian package glpk-utils; the suite fails without it), and
// for small models with a simplex in exact fractions (Exact).
package solvertest
