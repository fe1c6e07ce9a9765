package app

import (
	"context"
	"errors"
	"regexp"
	"slices"
	"strconv"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/solver/colour"
	"millbase/solver/formulation"
	"millbase/solver/match"
)

// ShadeCorrectRequest asks how a batch in the pot comes to its shade.
type ShadeCorrectRequest struct {
	// Pot is the pot, what may be added and the limits to keep, which may be none.
	Pot       CorrectRequest
	Print     ShadePrint
	Measured  colour.Curve // the drawdown of what is in the pot
	Target    match.Target
	Viewing   colour.Viewing
	Second    *colour.Viewing // nil: A with the same observer
	Tolerance float64         // CIEDE2000; 0: usualTolerance
}

// ShadeCorrected is the answer to a ShadeCorrectRequest.
type ShadeCorrected struct {
	// Corrected holds pot, additions, limits and cost as a correction does; its
	// clash is nil, and it has no places for leftover ink.
	*Corrected
	Shade   *match.Correction
	Problem *match.CorrectProblem
}

// CorrectShade finds the additions that bring a pot to its shade, or says how near
// it comes and why. Nothing is booked. Errors are those of CorrectBatch, and
// ErrNotFound for the substrate.
func (b *Book) CorrectShade(ctx context.Context, req ShadeCorrectRequest) (*ShadeCorrected, error) {
	if b.store == nil {
		return nil, Faultf(ErrNotReady, "NO_BOOK", "", "There is no book here that knows batches and lots.")
	}
	basis, err := checkBasis(req.Pot.Basis)
	if err != nil {
		return nil, err
	}
	if req.Pot.Basis = basis; req.Tolerance == 0 {
		req.Tolerance = usualTolerance
	}
	var c *shading
	err = b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		c = &shading{correcting: correcting{req: req.Pot, shade: true}, req: req}
		return c.load(ctx, b, tx)
	})
	if err != nil {
		return nil, err
	}
	return c.solve(ctx, b)
}

// shading is a ShadeCorrectRequest with what the book had to say to it.
type shading struct {
	correcting
	req   ShadeCorrectRequest
	print *printed
	inPot []match.Colourant
}

func (c *shading) load(ctx context.Context, b *Book, tx Tx) (err error) {
	if err := c.correcting.load(ctx, b, tx); err != nil {
		return err
	}
	if c.print, err = b.printOf(ctx, tx, c.req.Print, c.req.Target.Curve); err != nil {
		return err
	}
	for i := range c.pot {
		x := &c.pot[i]
		of, known := c.print.of(&x.Candidate)
		if !known {
			field := "batch"
			if x.field != "" {
				field = x.field + ".candidate"
			}
			return InvalidField(field, "the colour of %s (%s) is not known on %s: make drawdowns of it there and characterise it, or give its k in print.colourants",
				x.Name(), x.ID, c.print.onWhat())
		}
		c.inPot = append(c.inPot, of)
	}
	return c.print.colour(c.set, c.pot...)
}

// problem is the question in the solver's terms.
func (c *shading) problem() *match.CorrectProblem {
	limits := c.correcting.problem()
	p := &match.CorrectProblem{Pot: limits.Pot, PotColourants: c.inPot, Measured: c.print.sameGrid(c.req.Measured), Capacity: limits.Capacity, LeastMass: limits.LeastMass}
	p.Problem = match.Problem{Blend: c.set.problem(), Colourants: c.print.colourants, Mode: c.print.Mode, Substrate: c.print.bare, Surface: c.print.surface,
		Target: c.req.Target, Viewing: c.req.Viewing, Second: c.req.Second, Tolerance: c.req.Tolerance}
	if t := p.Target.Curve; t != nil {
		on := c.print.sameGrid(*t)
		p.Target.Curve = &on
	}
	p.Blend.Weighing = c.weighing
	return p
}

// solve asks the solver, with every offer at the price of the break that its
// addition reaches.
func (c *shading) solve(ctx context.Context, b *Book) (*ShadeCorrected, error) {
	p := c.problem()
	out := &ShadeCorrected{Problem: p, Corrected: &Corrected{Capacity: p.Capacity, View: &Optimised{Currency: c.set.currency, Title: c.set.title,
		Date: c.set.date, Basis: c.correcting.req.Basis, Problem: p.Blend}}}
	for {
		s, err := match.Correct(ctx, b.engine, p)
		if err != nil {
			return nil, c.translate(err)
		}
		out.Shade = s
		out.Answer = &formulation.Correction{Outcome: s.Outcome, Pot: s.Pot, Kept: s.Kept, Additions: s.Additions, Added: s.Added, Cost: s.Cost,
			Before: s.Before, After: s.Limits, Assumed: s.Assumed, LeftOut: s.LeftOut, Proof: s.Proof}
		if !c.set.pool.reprice(p.Blend, &formulation.Answer{Components: out.Answer.Components()}, false) {
			break
		}
	}
	c.explain(out)
	out.Summary = out.inWords(CallerOf(ctx).Role.SeesCost())
	return out, nil
}

// explain fills in costs and cautions.
func (c *shading) explain(out *ShadeCorrected) {
	v, a := out.View, out.Answer
	v.Prices, v.LeftOut = c.set.pool.prices, c.set.pool.leftOut
	for _, l := range a.LeftOut {
		of := &v.Problem.Candidates[l.Candidate]
		v.LeftOut = append(v.LeftOut, LeftOut{of.ID, of.Title, l.Why})
	}
	c.set.sayWater(v.Problem)
	v.Assumptions = append(slices.Clone(a.Assumed), c.set.said...)
	exact := decimal.Zero
	for _, x := range a.Additions {
		exact = exact.Add(v.Prices[x.Candidate].Mul(money.Kilograms(x.Mass)))
	}
	out.Cost = money.Money{Currency: c.set.currency, Amount: exact}.RoundMinor(money.RoundHalfEven)
	out.Cautions = c.cautions(&formulation.CorrectionProblem{Candidates: v.Problem.Candidates}, a)
}

var potColourField = regexp.MustCompile(`^pot_colourants\[(\d+)\](.*)$`)

// translate says the faults that the solver found in the words of the request.
func (c *shading) translate(err error) error {
	var faults formulation.FieldErrors
	if !errors.As(err, &faults) {
		return c.correcting.translate(err)
	}
	var bad Invalid
	for _, f := range faults {
		if m := potColourField.FindStringSubmatch(f.Field); m != nil {
			i, _ := strconv.Atoi(m[1])
			bad = append(bad, c.print.fault(&c.pot[i].Candidate, m[2], f.Problem))
		} else if out, ok := c.print.translateFault(f, c.set.pool.candidates); ok {
			bad = append(bad, out)
		} else if rest, ok := c.correcting.translate(formulation.FieldErrors{f}).(Invalid); ok {
			bad = append(bad, rest...)
		}
	}
	return bad
}
