package formulation

import "math"

// Along says which bound a frontier moves.
type Along struct {
	Limit     int // index into Problem.Limits, or -1
	Candidate int // index into Problem.Candidates whose stock moves, or -1
	// Side of the bound: of a limit with one bound that one, of a limit with two
	// the upper one, of stock what is available, when it is empty.
	Side Side
	// From and To keep to a part, in the limit's own unit or in kg of stock. Without
	// them the frontier goes from where the bound no longer binds to where there is
	// no formula any more.
	From, To *float64
}

// Frontier is the cheapest cost against one bound, exactly: within a segment the
// same candidates are used up to the same limits.
type Frontier struct {
	Outcome Outcome // Optimal; Infeasible when no place of the bound gives a formula
	Limit   int     // as asked
	// Candidate is the stock that moves, -1 for a limit.
	Candidate int
	Side      Side
	Unit      string
	// Quotient is true when the cost along a segment is a quotient of two linear
	// functions of the bound's blending index (a limit on something else than the
	// finished mass), false when it is linear in it. Curved is true when that index
	// is not the bound itself.
	Quotient, Curved bool
	Segments         []Segment // by rising bound
	// Low and High say what is beyond the ends.
	Low, High End
	LeftOut   []LeftOut
	// Solves is the number of programs that were solved.
	Solves int

	term *term
}

// Segment is a part of a frontier. Between its ends the formula is a mix of the
// two formulas at them: with a part w of the upper one,
//
//	cost = (1-w) From.CostPerKg + w To.CostPerKg
//	index(bound) = ((1-w) From.Denominator index(From.Bound) + w To.Denominator index(To.Bound))
//	               / ((1-w) From.Denominator + w To.Denominator)
//
// where index is the blending index of the limit's property.
type Segment struct{ From, To Point }

// Point is the cheapest formula at one place of the bound.
type Point struct {
	Bound     float64 // in the limit's own unit, or kg of stock
	CostPerKg float64
	// ShadowPrice is d CostPerKg / d Bound within the segment.
	ShadowPrice float64
	// Denominator of the limit per kg of ink: binder, litres; 1 on the finished
	// mass.
	Denominator float64
	Parts       []Part
}

// Part is one candidate of a formula, kg per kg of ink.
type Part struct {
	Candidate int // index into Problem.Candidates
	Share     float64
}

// End says what is beyond an end of a frontier.
type End string

// The ends.
const (
	// EndInfeasible: there is no formula beyond.
	EndInfeasible End = "infeasible"
	// EndFree: the bound no longer binds; the cost stays as it is.
	EndFree End = "free"
	// EndAsked: the frontier goes on, but that was not asked for.
	EndAsked End = "asked"
	// EndBound: the other bound of the limit stands there.
	EndBound End = "bound"
	// EndCut: there were more segments than are worked out.
	EndCut End = "cut"
)

// CostAt is the cheapest cost per kg at a place of the bound; false outside the
// frontier.
func (f *Frontier) CostAt(bound float64) (float64, bool) {
	for i := range f.Segments {
		s := &f.Segments[i]
		if w, ok := f.part(s, bound); ok {
			return (1-w)*s.From.CostPerKg + w*s.To.CostPerKg, true
		}
	}
	return 0, false
}

// part is the w of a place of the bound: see Segment.
func (f *Frontier) part(s *Segment, bound float64) (w float64, ok bool) {
	if !(s.From.Bound <= bound && bound <= s.To.Bound) {
		return 0, false
	}
	from, at, to := f.index(s.From.Bound), f.index(bound), f.index(s.To.Bound)
	if to == from {
		return 0, true
	}
	low, high := (at-from)*s.From.Denominator, (to-at)*s.To.Denominator
	return low / (low + high), true
}

func (f *Frontier) index(bound float64) float64 {
	if f.term == nil {
		return bound
	}
	return f.term.def.Forward(bound)
}

// Places are bounds at which to draw the frontier: both ends of every segment, and
// n-1 places between them where the cost is not a straight line.
func (f *Frontier) Places(n int) []float64 {
	var out []float64
	for i := range f.Segments {
		from, to := f.Segments[i].From.Bound, f.Segments[i].To.Bound
		out = append(out, from)
		for k := 1; k < n && (f.Quotient || f.Curved); k++ {
			out = append(out, from+(to-from)*float64(k)/float64(n))
		}
		if i == len(f.Segments)-1 && to > from {
			out = append(out, to)
		}
	}
	return out
}

// size is what counts as large beside a bound of the ratio.
func (b *built) sizeOf(i int) float64 {
	num, den := b.num[i*b.width():][:len(b.active)], b.den[i*b.width():][:len(b.active)]
	top, base := 0.0, 0.0
	for k := range num {
		top, base = max(top, math.Abs(num[k])), max(base, den[k])
	}
	if top == 0 || base == 0 {
		return 1
	}
	return top / base
}
