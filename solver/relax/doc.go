// Package relax explains a model without an answer, in two ways, through any
// engine and without knowing what its rows mean.
//
// Least finds the least weighted movement of the limits that may move which
// makes the model feasible: every such limit gets a column that lets it be
// exceeded at a price (elastic programming; Brown and Graves 1975, from
// memory).
//
// Find names a smallest set of limits that clash: a set that can't be met
// together, though it can as soon as any one of them is left out (an
// irreducible infeasible subset). The first set comes from the Farkas ray by
// the deletion filter (Chinneck and Dravnieks, ORSA J. Computing 3, 1991, from
// memory). It is then shown to be the smallest, or replaced by a smaller one,
// through the sets of limits that would have to go: any clash has a member in
// each of those, so a smallest set that meets them all is no larger than the
// smallest clash (implicit hitting sets).
//
// A limit is one side of a row, or the upper or lower bound of a variable
// (stock on hand, say) that the caller names. Everything else is taken as
// given. Whole-number demands are left aside throughout.
package relax
