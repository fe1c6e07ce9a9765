// Package landed works out what a receipt costs once it stands in the plant's
// store: price, freight, duty and other charges, each in its own currency,
// converted at the rate of its day.
//
// Charges that belong to a whole delivery are shared out over its lines, by mass
// or by value, so that the shares add up to the charge exactly. Duty is charged
// on the customs value: the goods, plus the part of the freight up to the border
// where the rules count it in (a setting of the line, as rules differ).
//
// The cost of a line is exact, item by item, in the plant's currency. Only the
// cost per kg is a quotient: it is rounded once, to the places asked for.
package landed
