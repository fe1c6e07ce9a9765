// Package clp holds the two linear-programming engines of the house, both on
// the Clp library.
//
// New is the engine to use: one call into a small C++ file loads the whole
// model, solves it and reads everything back, on one Clp object that is freed
// before the call returns. It takes a starting basis, can be cancelled, gives
// rays for models without an answer and ranging for those with one.
//
// NewLanl is a second engine on the Go package github.com/lanl/clp, with a
// different way in (columns appended one by one), different settings and no
// basis. It is slower and serves as the reference and as the engine to ask
// again when an answer of the first does not pass its check.
//
// Clp ends the process on some bad input and answers nonsense to other, so
// both engines refuse any model that fails solver.Model.Validate before
// anything is loaded. Neither keeps memory after a solve, except that
// github.com/lanl/clp frees its C memory by finalizer: NewLanl lets at most
// two solves run at once and collects after each few of them.
package clp
