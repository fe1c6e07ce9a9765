// Package match finds the mixture of base inks that looks like a colour.
//
// # One program with the other limits
//
// A match is a blend like any other: candidates with properties, stock and cost,
// and limits (package formulation). The shade is one limit more, on the CIEDE2000
// difference between the predicted print and the target. Kubelka and Munk's K/S
// is linear in the shares of the base inks, and the curve, the tristimulus values
// and the difference are smooth functions of it, so the difference is met by
// successive linear programming: around the current mixture it is, to first
// order, the length of a vector that is linear in the shares, and a bound on a
// length is met by linear cuts. Every step re-solves the program of formulation,
// with the cuts as further rows, from the basis of the step before.
//
// # The length
//
// Around the target the CIEDE2000 difference is a quadratic form: lightness,
// chroma and hue over their weights, and the term that turns the blues. Further
// out the form is not exact, and the vector is stretched to have the length of
// the true difference. So it is smooth at the target, at a grey one too, and its
// length is the difference itself everywhere.
//
// # What is proved
//
// A match is not a convex problem. Each answer is a local optimum, the best of
// several starts: its formula is the proven optimum of the program with the shade
// to first order around it, and its difference is worked out from the whole
// masses by package colour, not by the rows. That no better one exists is not
// proved; tests hold it against a grid.
//
// A prediction is as good as the drawdowns behind it: a drawdown of the mixture
// on the customer's stock decides.
package match
