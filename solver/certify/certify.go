package certify

import (
	"fmt"
	"math"

	"millbase/solver"
)

// Tolerances are the largest scaled violations that pass.
type Tolerances struct {
	Primal      float64 // rows and bounds
	Dual        float64 // reduced costs and row prices
	Gap         float64 // primal against dual objective, and each slackness term
	Integrality float64 // distance from a whole number, not scaled
	// Whole is the gap, relative to the objective or the bound, that an optimum
	// with whole numbers may have: solver.Options.Gap.
	Whole float64
}

// Default is ten times what engines aim at (1e-7), so that a sound answer
// passes and a wrong one does not.
var Default = Tolerances{Primal: 1e-6, Dual: 1e-6, Gap: 1e-6, Integrality: 1e-6}

// Certificate is the outcome of a check. Violations are scaled, see the
// package comment; zero where the claim has no such part.
type Certificate struct {
	OK     bool
	Claim  solver.Stop // what the engine claims
	Reason string      // empty if OK, else what failed, in a sentence
	// Proven means that the whole claim follows from the model alone. An answer
	// can be OK without: then its point was checked, and Word says what is the
	// engine's word.
	Proven bool
	Word   string

	Primal        float64 // largest violation of a row or bound
	Dual          float64 // largest violation of a sign
	Slackness     float64 // largest complementary slackness term
	Gap           float64 // |primal - dual objective|
	Integrality   float64 // largest distance from a whole number
	Reported      float64 // largest difference to a figure that the engine reported
	PrimalValue   float64 // objective of the point, recomputed
	DualValue     float64 // objective of the prices: a lower bound, recomputed
	FarkasMargin  float64 // by how much an infeasible model can't be met, over its scale
	worstPrimal   place
	worstDual     place
	worstReported string
}

// place names where the worst of a kind was found.
type place struct {
	row    bool
	number int
}

// Check checks s against m with the default tolerances.
func Check(m *solver.Model, s *solver.Solution) Certificate { return Default.Check(m, s) }

// Check checks s against m. The model must be valid. An answer without a claim
// to check (cancelled, stopped at a limit without a point) gets OK false and
// says so.
//
// With whole-number variables there are no prices to prove an optimum by, nor a
// weighting of rows to prove that no whole point exists: only a search can
// tell. The point is checked and compared with the bound that the engine
// reports; that bound, or that there is no point, is the engine's word, unless
// the relaxation proves it.
func (t Tolerances) Check(m *solver.Model, s *solver.Solution) Certificate {
	c := Certificate{}
	if s == nil {
		c.Reason = "there is no answer to check"
		return c
	}
	c.Claim = s.Stop
	switch s.Stop {
	case solver.StopOptimal:
		t.optimal(&c, m, s)
	case solver.StopInfeasible:
		if m.HasInteger() && s.Dual == solver.NoPoint {
			c.Word = "that no point with whole numbers exists was found by search, and there is no short proof of it"
			break
		}
		margin, scale := m.FarkasMargin(s.Farkas)
		if scale > 0 {
			c.FarkasMargin = margin / scale
		}
		if s.Dual != solver.Ray || !m.ProvesInfeasible(s.Farkas) {
			c.Reason = "the model is said to have no answer, but the proof (a weighting of its rows) does not hold"
		}
	case solver.StopUnbounded:
		if s.Primal != solver.Ray || !m.ProvesUnbounded(s.X) {
			c.Reason = "the objective is said to fall for ever, but the direction given does not do that"
		}
		if m.HasInteger() {
			c.Word = "that there is a point with whole numbers to fall from was found by search"
		}
	case solver.StopLimit:
		t.limit(&c, m, s)
	default:
		c.nothing(s)
	}
	c.OK = c.Reason == ""
	c.Proven = c.OK && c.Word == ""
	return c
}

func (c *Certificate) nothing(s *solver.Solution) {
	c.Reason = fmt.Sprintf("there is nothing to check: the solve was %s", s.Stop)
}

// limit checks the point that a solve had when it was stopped.
func (t Tolerances) limit(c *Certificate, m *solver.Model, s *solver.Solution) {
	if s.Primal != solver.FeasiblePoint {
		c.nothing(s)
		return
	}
	if w := t.reportedPoint(c, m, s); w != nil {
		defer w.release()
		t.Whole = math.MaxFloat64 // any gap
		t.bound(c, s, w)
	}
}

// Point checks only a point: rows, bounds, whole numbers. Use it for a rounded
// answer.
func (t Tolerances) Point(m *solver.Model, x []float64) Certificate {
	var c Certificate
	if len(x) != len(m.Variables) {
		c.Reason = fmt.Sprintf("the point has %d values for %d variables", len(x), len(m.Variables))
		return c
	}
	w := newWork(m)
	defer w.release()
	t.point(&c, m, x, w)
	c.OK = c.Reason == ""
	return c
}

func (t Tolerances) optimal(c *Certificate, m *solver.Model, s *solver.Solution) {
	withDual := s.Dual == solver.FeasiblePoint
	switch {
	case s.Primal != solver.FeasiblePoint:
		c.Reason = "an optimum without a feasible point"
	case !sized(m, s):
		c.Reason = wrongSize
	case !withDual && !m.HasInteger():
		c.Reason = "an optimum without prices to prove it"
	case withDual && (len(s.RowDual) != len(m.Rows) || len(s.ReducedCost) != len(m.Variables)):
		c.Reason = "the prices do not have the size of the model"
	}
	if c.Reason != "" {
		return
	}
	w := t.reportedPoint(c, m, s)
	if w == nil {
		return
	}
	defer w.release()
	if !withDual {
		t.bound(c, s, w)
		return
	}
	t.prices(c, m, s, w)
	c.Gap = math.Abs(c.PrimalValue-c.DualValue) / max(1, w.terms)
	t.verdict(c, m)
}

const wrongSize = "the point does not have the size of the model"

func sized(m *solver.Model, s *solver.Solution) bool {
	return len(s.X) == len(m.Variables) && len(s.Activity) == len(m.Rows)
}

// reportedPoint checks the point of an answer, its activities and its
// objective; nil when it does not have the size of the model. The caller
// releases what it gets.
func (t Tolerances) reportedPoint(c *Certificate, m *solver.Model, s *solver.Solution) *work {
	if !sized(m, s) {
		c.Reason = wrongSize
		return nil
	}
	w := newWork(m)
	t.point(c, m, s.X, w)
	for i, a := range w.act {
		c.reported(math.Abs(a-s.Activity[i])/w.size[i], "the activity of a row")
	}
	c.reported(math.Abs(c.PrimalValue-s.Objective)/max(1, w.terms), "the objective")
	return w
}

// bound compares the objective with the bound that the engine reports.
func (t Tolerances) bound(c *Certificate, s *solver.Solution, w *work) {
	scale := max(1, w.terms)
	c.DualValue = s.Bound
	c.Word = "the bound was found by search, and there is no short proof of it"
	gap := c.PrimalValue - s.Bound
	c.Gap = max(0, gap) / scale
	allowed := max(t.Gap*scale, t.Whole*max(math.Abs(c.PrimalValue), math.Abs(s.Bound)))
	switch {
	case c.Reason != "":
	case !(gap >= -t.Gap*scale):
		c.Reason = fmt.Sprintf("the objective %g is below its bound %g", c.PrimalValue, s.Bound)
	case !(gap <= allowed):
		c.Reason = fmt.Sprintf("the objective %g and its bound %g are further apart than was asked for", c.PrimalValue, s.Bound)
	default:
		t.verdictReported(c)
	}
}

func (c *Certificate) reported(difference float64, what string) {
	if worse(difference, c.Reported) {
		c.Reported, c.worstReported = difference, what
	}
}

// verdict turns figures into a reason. Comparisons are written so that a NaN
// fails.
func (t Tolerances) verdict(c *Certificate, m *solver.Model) {
	switch {
	case c.Reason != "":
	case !(c.Dual <= t.Dual):
		c.Reason = fmt.Sprintf("the price of %s has the wrong sign by %.3g (scaled)", c.worstDual.name(m), c.Dual)
	case !(c.Slackness <= t.Gap):
		c.Reason = fmt.Sprintf("a limit that does not bind has a price: %.3g (scaled)", c.Slackness)
	case !(c.Gap <= t.Gap):
		c.Reason = fmt.Sprintf("the objective %g and its proven bound %g are apart", c.PrimalValue, c.DualValue)
	default:
		t.verdictReported(c)
	}
}

func (t Tolerances) verdictReported(c *Certificate) {
	if !(c.Reported <= t.Primal) {
		c.Reason = fmt.Sprintf("%s differs from the recomputed one by %.3g (scaled)", c.worstReported, c.Reported)
	}
}

func (p place) name(m *solver.Model) string {
	kind, name := "variable", ""
	if p.row {
		kind = "row"
		name = m.Rows[p.number].Name
	} else if p.number < len(m.Variables) {
		name = m.Variables[p.number].Name
	}
	if name == "" {
		return fmt.Sprintf("%s number %d", kind, p.number)
	}
	return fmt.Sprintf("%s %q", kind, name)
}
