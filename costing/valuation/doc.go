// Package valuation says what a mass of a material costs, on a named basis.
//
//	lot          the landed cost of the very lots that are used
//	average      the weighted average of what is on hand
//	fifo         the oldest layers first
//	replacement  the best current offer at the quantity, with price breaks,
//	             pack size and minimum order
//	standard     the plant's own standard cost on the day
//
// Stock comes in layers: a mass received at one cost per kg. All layers, offers
// and standards of one question are in one currency, the plant's; foreign
// prices are converted (package landed) before they come here.
//
// Issues conserve value: what an issue costs and what is left always add up to
// what was there, exactly. Where an average must be rounded, the issue is
// rounded and the rest keeps the difference.
package valuation
