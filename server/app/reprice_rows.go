package app

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"runtime"
	"slices"

	"github.com/shopspring/decimal"
	"golang.org/x/sync/errgroup"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver"
	"millbase/solver/formulation"
	"millbase/solver/reprice"
)

// answer makes a row of every formula.
func (r *repricing) answer(ctx context.Context) (*Repriced, error) {
	currency := r.supply.plant.Currency
	out := &Repriced{Currency: currency, Date: r.date, Basis: r.req.Basis, SavingPerYear: money.Zero(currency)}
	rows := make([]RepricedFormula, len(r.asked))
	group, inner := errgroup.WithContext(ctx)
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, a := range r.asked {
		group.Go(func() (err error) {
			rows[i], err = r.row(inner, a)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	out.Count.Formulas = len(rows)
	for i := range rows {
		row := &rows[i]
		switch {
		case row.Cheapest == nil:
			out.Count.Impossible++
		case row.Way == reprice.Unchanged:
			out.Count.Unchanged++
		case row.Way == reprice.Solved:
			out.Count.Solved++
		default:
			out.Count.Proved++
		}
		if row.Reformulate {
			out.Count.Reformulate++
		}
		out.SavingPerYear.Amount = out.SavingPerYear.Amount.Add(row.SavingPerYear.Amount)
	}
	slices.SortStableFunc(rows, largerSaving)
	out.Rows = rows[:min(len(rows), r.req.Most)]
	out.Assumptions = r.assumptions(len(rows))
	return out, nil
}

// largerSaving orders rows by what is saved in a year, then per kg, then by id;
// what can't be made comes first among those that save nothing.
func largerSaving(a, b RepricedFormula) int {
	perKg := func(x RepricedFormula) decimal.Decimal {
		if x.Saving == nil {
			return decimal.Zero
		}
		return x.Saving.Amount
	}
	none := func(x RepricedFormula) int {
		if x.Cheapest == nil {
			return 0
		}
		return 1
	}
	return cmp.Or(b.SavingPerYear.Amount.Cmp(a.SavingPerYear.Amount), perKg(b).Cmp(perKg(a)), none(a)-none(b), cmp.Compare(a.Formula, b.Formula))
}

func (r *repricing) assumptions(formulas int) []string {
	out := []string{"Costs are those of the materials per kg of ink, yield loss included; mills, mixers and packaging are the same for every formula of an ink and are not counted."}
	if r.req.Basis == valuation.Lot {
		out = append(out, "Candidates are the lots on hand at their own landed cost, released and in date on "+dayOf(r.date)+", and the offers that can arrive by then.")
	} else {
		out = append(out, "Candidates are the materials of the book with their own properties (where the book has none, those of the lot received last), at "+r.req.Basis.String()+" cost, any amount; of work-off what is on hand, counted for each formula on its own.")
	}
	if r.req.Quantity == 0 {
		out = append(out, "Each formula is costed in its usual batch: what the machines of its route hold, 100 kg where they have no limit.")
	}
	out = append(out, "A year's saving is for what was finished in the last 365 days.")
	if formulas > r.req.Most {
		out = append(out, "Only the formulas with the largest savings are listed; the counts are of all.")
	}
	return append(out, r.said...)
}

// row answers for one formula.
func (r *repricing) row(ctx context.Context, a repricedInk) (RepricedFormula, error) {
	f := a.formula
	currency := r.supply.plant.Currency
	place := r.next.at[r.key(a)]
	kept, answer := r.next.programs[place], r.after.Answer(place)
	out := RepricedFormula{Formula: revisionID(f.ID, f.Revision), Title: f.Title, Specification: f.Specification,
		YearlyMass: r.yearly[f.ID], SavingPerYear: money.Zero(currency), Way: r.ways[place]}
	var err error
	if out.Before, err = r.recipe(a, false, &out); err != nil {
		return out, err
	}
	if out.AsIs, err = r.recipe(a, true, &out); err != nil {
		return out, err
	}
	if kept.bad != nil {
		out.Summary = "The specification can't be used as it stands: " + kept.bad.Error()
		return out, nil
	}
	var parts []part
	moved := r.changed[place]
	switch {
	case kept.afresh:
		out.Way = reprice.Solved
		if parts, out.Summary, err = r.afresh(ctx, a, true); err == nil && parts != nil && len(r.trials) > 0 {
			var before []part
			before, _, err = r.afresh(ctx, a, false)
			moved = !slices.Equal(before, parts)
		}
	case answer == nil || answer.Stop == solver.StopUnbounded:
		out.Summary = noAnswer
	case answer.Stop != solver.StopOptimal:
		out.Summary, err = r.clash(ctx, a, kept, answer)
	default:
		parts, err = r.parts(ctx, a, kept, answer)
	}
	if err != nil || parts == nil {
		return out, err
	}
	cheapest := r.costOf(a, parts)
	out.Cheapest = &cheapest
	r.compare(a, parts, moved, &out)
	return out, nil
}

const noAnswer = "The solver found no answer that passes its check; look for figures of very different size side by side, such as a slipped unit."

// afresh asks Optimise for the cheapest formula; without one it says why.
func (r *repricing) afresh(ctx context.Context, a repricedInk, tried bool) ([]part, string, error) {
	o := &Optimised{Problem: r.problem(a, tried), Title: a.spec.Value.Title}
	var err error
	o.Answer, err = formulation.Optimise(ctx, r.engine, o.Problem)
	var bad formulation.FieldErrors
	switch {
	case errors.As(err, &bad):
		return nil, "The specification can't be used as it stands: " + bad.Error(), nil
	case errors.Is(err, formulation.ErrNumerical):
		return nil, noAnswer, nil
	case err != nil:
		return nil, "", err
	}
	switch o.Answer.Outcome {
	case formulation.Optimal:
		return componentsOf(o.Answer), "", nil
	case formulation.Infeasible:
		return nil, o.summary(), nil
	}
	return nil, "No formula was found in time.", ctx.Err()
}

// recipe is what the materials of the recipe as it stands cost per kg of ink; nil,
// with the reason, where one of them has no cost.
func (r *repricing) recipe(a repricedInk, tried bool, out *RepricedFormula) (*money.PerKg, error) {
	pool := r.pools[a.quantity]
	if pool.at == nil {
		return r.recipeFromLots(a, tried, out)
	}
	prices := pool.now
	if tried {
		prices = pool.then
	}
	masses := a.formula.Charges(a.quantity, 0)
	var of []decimal.Decimal
	for _, in := range a.formula.Ingredients {
		j, ok := pool.at[in.Material]
		if !ok {
			out.Summary = "The recipe as it stands can't be costed: " + r.supply.title(in.Material) + " takes no part."
			return nil, nil
		}
		of = append(of, prices[j])
	}
	_, perKg, err := exactCost(r.supply.plant.Currency, masses, of, a.quantity)
	return &perKg, err
}

// recipeFromLots values the recipe at the lots that weigh-up would take.
func (r *repricing) recipeFromLots(a repricedInk, tried bool, out *RepricedFormula) (*money.PerKg, error) {
	c := r.supply.costing(r.req.Basis, r.date)
	if tried {
		c.tried = r.trials
	}
	result, err := c.cost(a.formula, a.quantity, nil)
	if err != nil {
		out.Summary = "The recipe as it stands can't be costed: " + err.Error()
		return nil, nil
	}
	sum := money.Zero(r.supply.plant.Currency)
	for _, m := range result.Materials {
		sum.Amount = sum.Amount.Add(m.Cost.Amount)
	}
	perKg, err := sum.PerKg(a.quantity, 4, money.RoundHalfEven)
	return &perKg, err
}

// parts is the cheapest formula in weighable masses, checked against every limit;
// it is worked out once for each point.
func (r *repricing) parts(ctx context.Context, a repricedInk, kept *keptProgram, s *solver.Solution) ([]part, error) {
	kept.mutex.Lock()
	defer kept.mutex.Unlock()
	if kept.point == &s.X[0] {
		return kept.parts, nil
	}
	answer, err := formulation.Read(ctx, r.engine, r.problem(a, true), s)
	if err != nil {
		return nil, err
	}
	kept.point, kept.parts = &s.X[0], componentsOf(answer)
	return kept.parts, nil
}

// componentsOf are the weighable masses of an answer.
func componentsOf(a *formulation.Answer) []part {
	out := make([]part, len(a.Components))
	for i, c := range a.Components {
		out[i] = part{c.Candidate, c.Mass}
	}
	return out
}

// clash says why there is no formula; it is worked out once for each proof.
func (r *repricing) clash(ctx context.Context, a repricedInk, kept *keptProgram, s *solver.Solution) (string, error) {
	kept.mutex.Lock()
	defer kept.mutex.Unlock()
	if kept.ray == s {
		return kept.why, nil
	}
	_, why, err := r.afresh(ctx, a, true)
	if err == nil {
		kept.ray, kept.why = s, why
	}
	return why, err
}

// costOf is what a formula costs per kg of ink at the prices tried out, yield loss
// included, rounded half even to 1/10000.
func (r *repricing) costOf(a repricedInk, parts []part) money.PerKg {
	then, total := r.pools[a.quantity].then, decimal.Zero
	for _, p := range parts {
		total = total.Add(then[p.candidate].Mul(money.Kilograms(p.mass)))
	}
	total = total.Mul(decimal.NewFromInt(formula.Whole))
	canned := money.Kilograms(a.quantity).Mul(decimal.NewFromInt(yieldOf(a.formula)))
	return money.PerKg{Currency: r.supply.plant.Currency, Amount: total.DivRound(canned, 8).RoundBank(4)}
}

// compare fills in what the cheapest formula saves and what it changes.
func (r *repricing) compare(a repricedInk, parts []part, moved bool, out *RepricedFormula) {
	out.Changes = r.shares(a, parts)
	if out.AsIs == nil {
		return
	}
	saving := money.PerKg{Currency: out.AsIs.Currency, Amount: out.AsIs.Amount.Sub(out.Cheapest.Amount)}
	if saving.Amount.Sign() < 0 {
		saving.Amount = decimal.Zero
		out.Summary = r.shortOf(a)
	}
	out.Saving = &saving
	out.SavingPerYear.Amount = saving.Amount.Mul(money.Kilograms(out.YearlyMass)).RoundBank(2)
	out.Reformulate = saving.Amount.Sign() > 0 && (moved || len(r.trials) == 0)
}

// shares compares the recipe with the cheapest formula, material by material, in
// weighing order.
func (r *repricing) shares(a repricedInk, parts []part) []ShareChange {
	at := map[string]*ShareChange{}
	of := func(material string) *ShareChange {
		if at[material] == nil {
			at[material] = &ShareChange{Material: material, Title: r.supply.title(material)}
		}
		return at[material]
	}
	for _, in := range a.formula.Ingredients {
		of(in.Material).Now += float64(in.PartsPerMillion) / float64(formula.Whole)
	}
	masses := map[string]mass.Mass{}
	for _, p := range parts {
		masses[r.pools[a.quantity].candidates[p.candidate].Material] += p.mass
	}
	for m, sum := range masses {
		of(m).Cheapest = sum.Kilograms() / a.quantity.Kilograms()
	}
	rank := func(c *ShareChange) int { return slices.Index(inventory.Classes, r.supply.materials[c.Material].Class) }
	sorted := slices.SortedFunc(maps.Values(at), func(x, y *ShareChange) int {
		return cmp.Or(rank(x)-rank(y), cmp.Compare(x.Material, y.Material))
	})
	out := make([]ShareChange, len(sorted))
	for i, c := range sorted {
		out[i] = *c
	}
	return out
}

// shortOf says why the recipe as it stands is cheaper than the cheapest formula
// that meets the limits.
func (r *repricing) shortOf(a repricedInk) string {
	const other = "The recipe as it stands costs less than any formula that meets the limits."
	pool := r.pools[a.quantity]
	if pool.at == nil {
		return other
	}
	p := r.problem(a, true)
	charge := make([]float64, len(p.Candidates))
	for _, in := range a.formula.Ingredients {
		j := pool.at[in.Material]
		charge[j] += float64(in.PartsPerMillion)
	}
	reports, err := formulation.Evaluate(p, charge)
	if err != nil {
		return other
	}
	var missed []string
	for _, x := range reports {
		if !x.Met {
			missed = append(missed, p.Limits[x.Limit].Name())
		}
	}
	if len(missed) == 0 {
		return other
	}
	return other + " By the properties in the book it misses " + listOf(few(missed), "and") + "."
}
