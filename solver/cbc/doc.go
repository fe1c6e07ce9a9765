// Package cbc is the mixed-integer engine of the house, on the branch-and-cut
// library Cbc.
//
// New solves the linear relaxation first, with solver/clp. Often that settles
// the matter: it has no answer, and proves it, or its optimum is whole already.
// Otherwise one call into a small C++ file builds a CbcModel, searches, and
// frees everything before it returns. The point it found is not taken as it
// is: the whole numbers are rounded exactly, fixed, and the rest is solved
// again, so that the point is clean and not merely near one.
//
// Cbc's own C interface keeps its state in globals and goes wrong when several
// goroutines use it. It serves as the yardstick of benchmarks only, one call at
// a time.
//
// A solve stops when the context is done or the time is up, by the clock on
// the wall: event handlers of Cbc and of the Clp below it look at a flag and at
// the clock. Cbc's own limit counts processor time of the whole process.
package cbc
