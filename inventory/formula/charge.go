package formula

import "millbase/inventory/mass"

// Charges is how much of every ingredient is weighed for a finished quantity, on
// a scale of that division: Charge rounded to the nearest division, and never to
// nothing. A division of 0 leaves milligrams.
func (f Formula) Charges(quantity, division mass.Mass) []mass.Mass {
	out := make([]mass.Mass, len(f.Ingredients))
	for i := range f.Ingredients {
		out[i] = f.Charge(i, quantity)
		if division > 0 {
			out[i] = max(division, out[i].RoundTo(division, mass.RoundHalfEven))
		}
	}
	return out
}

// Yield is the share of the charge that ends up canned, in parts per million.
func (f Formula) Yield() int64 { return f.yield() }
