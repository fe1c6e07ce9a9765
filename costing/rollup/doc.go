// Package rollup works out what it costs to make a quantity by a formula,
// through all levels: an ingredient may itself be made by a formula, as a base
// ink inside an ink is.
//
// A formula states the finished composition. Its route is the plant's process
// steps in order (premix, bead mill, three-roll mill, let-down, quality test,
// last pass, canning); an ingredient enters at one of them. Every step loses a
// share of what goes through it, and a fixed mass in every run (what stays in a
// mill, a sample for the laboratory). So the masses are worked out backwards,
// from the finished quantity to what must be weighed in, each rounded up to a
// whole milligram: what is weighed in is exactly what is finished plus the
// losses. An ingredient that comes to less than a milligram is left out of the
// cost. Steps have a capacity; a larger quantity takes more runs, so cost
// climbs in steps.
//
//	time of a step = set-up + runs x time per run
//	                 + passes x mass in / throughput + wash-up
//	cost of a step = time x machine rate + time x crew x labour rate
//
// Overhead is added on each level to that level's own figures only, so that a
// base ink does not carry it twice. A base ink with a standard batch is costed
// at that batch and shared out; without one it is made in just the quantity
// needed.
//
// Every line is exact, or rounded once to Places; totals are the exact sums of
// the lines. Rates, times and losses are the plant's own: none is built in.
package rollup
