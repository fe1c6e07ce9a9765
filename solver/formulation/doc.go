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
package formulation
