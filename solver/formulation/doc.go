// Package formulation turns the limits of an ink into a linear program and the
// program's answer back into the words of the trade.
//
// # Every limit is a ratio of two blends
//
// A candidate j (a lot or a purchase offer) has properties per kg; a blend is a
// linear functional of the masses, num(x) = sum a_j x_j. A limit is
// lower <= num(x)/den(x) <= upper, which is linear in x:
// lower*den(x) <= num(x) <= upper*den(x).
//
// The variables are shares, kg of component per kg of ink. A shadow price is
// reported per unit of the limit: money per kg of ink per g/L of VOC, say. The
// limit stands inside the row's coefficients, so by the chain rule it is the
// row's dual times den(x) (times the slope of the blending index).
//
// # What does not stay
//
// Of a candidate's mass the retained_fraction stays in the ink; the quantity asked
// for is what stays. Amounts per kg ("..._fraction") are of the mass as weighed in,
// all other properties are those of what stays.
//
// # Nothing to relate to
//
// A row holds at a denominator of 0 when its numerator is 0 too. So in a blend
// without binder a limit of cobalt on binder is met if there is no cobalt, whatever
// its lower bound, and can't be met if there is some. Such a report has no value and
// says why; its price is 0. A specification that needs a binder must ask for one.
//
// # Missing values
//
// A property without a value has its default (0 for amounts, 1 for tint strength);
// the answer says where that could hide something. Density, tack, viscosity and oil
// absorption have none: a candidate without a value that a limit needs is left out,
// with the reason.
//
// # Weighable, and checked again
//
// Masses are rounded to milligrams that add up, and every limit is then worked out
// from those masses by code that shares nothing with the rows. A limit is met to one
// part in 100,000; where a milligram is more than that (a laboratory batch), the
// limits are drawn in and solved again, and then whole milligrams are searched for.
// A formula that misses a limit is never an answer.
//
// # Sure enough
//
// Values deviate, independently from lot to lot and property to property. A limit
// that asks for a confidence holds with that probability when they vary normally: a
// second-order cone, met by linear cuts. One that asks for a budget holds whatever
// the distributions, as long as no more than so many components are off (Bertsimas
// and Sim 2004). Deviations enter a limit to first order: a product by both of its
// factors, a curved property by the slope of its index at the nominal value.
//
// # Goals
//
// Aims beside the cost may be missed: weighed against it in money, or ranked, each
// rank brought as near as the earlier ones allow. The formula is then the cheapest
// that misses no goal by more, so every price is in money.
//
// # When there is no blend
//
// The answer names a smallest clashing set of limits and stocks, what each would
// have to become to resolve it alone, and the least weighted movements, all proved
// by solving again. A limit weighs 1 per 1 % of its size (MoveWeight overrides),
// stock 1 per 1 % of the quantity of ink. Where all that may move is on the finished
// mass and blends linearly, they are the least there are; otherwise the problem is
// not convex, and they are the best of many descents.
//
// # A batch that came out wrong
//
// Correct takes a pot as a fixed mass whose properties are worked out from what
// went in, with what was measured in their place, and looks for the additions
// that bring every limit back within the capacity. When not all of it can be
// brought back, it proves that and keeps the largest part for which it can.
package formulation
