// Package quote makes a price out of a cost: for each quantity the rolled-up
// cost, the margin, the minimum charge, in the customer's currency.
//
// The margin is a share of the price, as the trade counts it:
//
//	price = cost / (1 - margin)
//
// so a margin of 40 % on a cost of 6 is a price of 10. The price per kg is
// rounded up to its places, and the total is rounded up to the currency's minor
// unit, so that rounding never eats into the margin.
//
// Cost climbs in steps with the capacity of the mixers and mills, so a larger
// quantity may be dearer per kg than a smaller one; such lines are marked.
//
// A quote has two sides, as two types. Quote is the plant's: costs, formula,
// margin reached. Customer is what leaves the house: prices only. The second is
// built field by field from the first and holds nothing that refers back to it.
package quote
