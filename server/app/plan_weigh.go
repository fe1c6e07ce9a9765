package app

import (
	"context"
	"errors"
	"slices"
	"strings"

	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// lines are what is weighed for a batch, from where it lies; nil when what the plan
// gives it can't be weighed on the scale within its limits, or is out of date on the
// day: it is then left to be reserved by hand.
func (a *accepting) lines(ctx context.Context, of PlannedBatch, b batch.Batch) ([]batch.Line, error) {
	run := of.Runs[0]
	day := run.Begin
	if day.Before(a.j.today) {
		day = a.j.today
	}
	for _, c := range run.Components {
		if l := a.j.supply.lots[strings.TrimPrefix(c.Candidate, "lots/")]; l.ID != "" {
			if ok, _ := l.UsableOn(day); !ok {
				return nil, nil
			}
		}
	}
	components := a.onScale(run.Components)
	if f, known := a.j.supply.formulas.of(b); b.Formula != "" && known && len(of.Changes) == 0 {
		components = a.charged(components, f, b.Quantity)
	} else {
		var err error
		if components, err = a.weighed(ctx, components, b); components == nil || err != nil {
			return nil, err
		}
	}
	for _, c := range components {
		if a.places.sum(strings.TrimPrefix(c.Candidate, "lots/")) < c.Mass {
			return nil, nil
		}
	}
	var lines []batch.Line
	for _, c := range components {
		lot := strings.TrimPrefix(c.Candidate, "lots/")
		lines = append(lines, a.places.take(c.Material, lot, c.Mass)...)
	}
	return batch.WeighingOrder(lines, a.j.room.class), nil
}

// onScale puts masses into whole divisions of the scale, the sum up to the next one.
func (a *accepting) onScale(in []PlannedComponent) []PlannedComponent {
	out := append([]PlannedComponent(nil), in...)
	kg := make([]float64, len(in))
	var sum mass.Mass
	for i, c := range in {
		kg[i] = c.Mass.Kilograms()
		sum += c.Mass
	}
	division := max(a.j.room.plant.ScaleDivision, mass.Milligram)
	for i, m := range shared(sum.RoundTo(division, mass.RoundCeil), kg, division) {
		out[i].Mass = m
	}
	return slices.DeleteFunc(out, func(c PlannedComponent) bool { return c.Mass == 0 })
}

// part is what a batch takes from stock, as far as it is there.
func (a *accepting) part(of PlannedBatch) []batch.Line {
	var lines []batch.Line
	for _, run := range of.Runs {
		for _, c := range a.onScale(run.Components) {
			lot, inStock := strings.CutPrefix(c.Candidate, "lots/")
			if l := a.j.supply.lots[lot]; inStock && l.ID != "" {
				if ok, _ := l.UsableOn(a.j.today); ok {
					lines = append(lines, a.places.take(c.Material, lot, min(c.Mass, a.places.sum(lot)))...)
				}
			}
		}
	}
	return joined(lines)
}

// joined adds up lines of one lot in one place.
func joined(lines []batch.Line) []batch.Line {
	var out []batch.Line
	for _, l := range lines {
		at := slices.IndexFunc(out, func(o batch.Line) bool { return o.Lot == l.Lot && o.Location == l.Location })
		if at < 0 {
			out = append(out, l)
			continue
		}
		out[at].Quantity += l.Quantity
	}
	return out
}

// charged sets each material of a formula to its charge on the scale; the largest of
// its lots takes the difference.
func (a *accepting) charged(in []PlannedComponent, f formula.Formula, quantity mass.Mass) []PlannedComponent {
	out := append([]PlannedComponent(nil), in...) // the largest first
	want := map[string]mass.Mass{}
	for i, m := range f.Charges(quantity, a.j.room.plant.ScaleDivision) {
		want[f.Ingredients[i].Material] += m
	}
	for _, c := range out {
		want[c.Material] -= c.Mass
	}
	for i := range out {
		if d := want[out[i].Material]; d != 0 && out[i].Mass+d > 0 {
			out[i].Mass += d
			want[out[i].Material] = 0
		}
	}
	return out
}

// weighed checks the masses of a batch against its specification. Where rounding
// them to the scale has broken a limit, it looks for others among the same lots.
func (a *accepting) weighed(ctx context.Context, in []PlannedComponent, b batch.Batch) ([]PlannedComponent, error) {
	spec := a.j.specs[b.Specification]
	if f, known := a.j.supply.formulas.of(b); b.Formula != "" && known {
		spec = a.j.specs[f.Specification]
	}
	division := max(a.j.room.plant.ScaleDivision, mass.Milligram)
	set := &setting{req: OptimiseRequest{Specification: spec.ID, Quantity: b.Quantity}, plant: a.j.supply.plant, catalogue: a.j.room.catalogue,
		currency: a.j.supply.plant.Currency, title: spec.Title}
	set.overlay(spec.Limits)
	masses := make([]mass.Mass, len(in))
	for i, c := range in {
		l := a.j.supply.lots[strings.TrimPrefix(c.Candidate, "lots/")]
		m := a.j.supply.materials[l.Material]
		set.pool.add(formulation.Candidate{ID: c.Candidate, Title: c.Title, Material: m.ID, Class: m.Class, ColourIndex: m.ColourIndex,
			Properties: m.Properties.Merge(l.Values()), FromStock: true, Available: min(a.places.sum(l.ID), c.Mass+slack*division)}, l.Cost.CostPerKg, nil)
		masses[i] = c.Mass
	}
	p := set.problem()
	broken, err := brokenLimits(p, masses)
	if err != nil {
		return nil, set.translate(err)
	}
	if len(broken) > 0 {
		var ok bool
		if masses, ok = repair(p, masses, division); !ok {
			masses, err = a.b.onScale(ctx, set, b, division)
		}
		var fault *Fault
		if errors.As(err, &fault) && errors.Is(fault, ErrConflict) {
			return nil, nil
		}
		if err != nil {
			return nil, err
		}
	}
	var out []PlannedComponent
	for i, m := range masses {
		if m > 0 {
			in[i].Mass = m
			out = append(out, in[i])
		}
	}
	return out, nil
}

// slack is by how many divisions of the scale a lot may give more than planned, so
// that rounded masses can meet the limits.
const slack = 5
