// Package certify checks an engine's answer from the model alone. It shares no
// code with any engine and solves nothing: it multiplies out.
//
// What it checks, and against what, follows the duality theorem of linear
// programming (Dantzig, Linear Programming and Extensions, 1963, chapter 6):
// a point within its bounds and rows (primal feasible) and a set of row prices
// whose signs fit the bounds they lean on (dual feasible), of equal objective,
// are both optimal. The two objectives differ by the sum of all complementary
// slackness terms, so a gap of zero is complementary slackness.
//
// Every violation is scaled before it is compared:
//
//	row, bound        by max(1, |bound|, largest |coefficient x value| in the row)
//	reduced cost      by max(1, |cost|, largest |coefficient x price| in the column)
//	price of a row    by max(1, largest |price|)
//	gap, slackness    by max(1, sum of |cost x value|)
//
// An infeasible model needs a Farkas ray, an unbounded one a direction of
// endless fall; see the solver package for both.
package certify
