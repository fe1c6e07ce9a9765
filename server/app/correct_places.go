package app

import (
	"context"
	"sort"

	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// loadLimits finds the specification that counts.
func (c *correcting) loadLimits(ctx context.Context, tx Tx) error {
	id, err := c.specification(ctx, tx)
	if err != nil {
		return err
	}
	if id == "" {
		c.set.overlay(nil)
		if len(c.set.limits) == 0 && !c.shade {
			return Invalid{{"specification", "name the specification that the ink has to meet, or give limits"}, {"limits", "give the limits, or name a specification"}}
		}
		return nil
	}
	rec, err := tx.Specifications().Get(ctx, id)
	if err != nil {
		return absent(err, "specifications/"+id)
	}
	c.set.title = rec.Value.Title
	c.set.overlay(rec.Value.Limits)
	return nil
}

// specification is that of the request, of the batch, of its formula, or the only
// one of the material that it makes; "" when there is none.
func (c *correcting) specification(ctx context.Context, tx Tx) (string, error) {
	switch {
	case c.req.Specification != "":
		return c.req.Specification, nil
	case c.batch == nil:
		return "", nil
	case c.batch.Specification != "":
		return c.batch.Specification, nil
	}
	var f Record[formula.Formula]
	f, err := tx.Formulas().Get(ctx, revisionID(c.batch.Formula, c.batch.FormulaRevision))
	if err != nil {
		return "", absent(err, "formulas/"+revisionID(c.batch.Formula, c.batch.FormulaRevision))
	}
	if f.Value.Specification != "" || len(c.req.Limits) > 0 {
		return f.Value.Specification, nil
	}
	list, err := tx.Specifications().List(ctx, Query{})
	if err != nil {
		return "", err
	}
	var found []string
	for _, rec := range list {
		if rec.Value.Material == c.batch.Material && !rec.Value.Archived {
			found = append(found, rec.Value.ID)
		}
	}
	switch {
	case len(found) != 1 && c.shade:
		return "", nil
	case len(found) != 1:
		return "", InvalidField("specification", "the formula of batch %s names none and there are %d for materials/%s: name the one that the ink has to meet",
			c.batch.ID, len(found), c.batch.Material)
	}
	return found[0], nil
}

// loadPlaces reads where leftover ink could go: the specifications, and the planned
// batches that have to meet one; by formula, that of the material that they make.
func (c *correcting) loadPlaces(ctx context.Context, tx Tx) error {
	specs, err := tx.Specifications().List(ctx, Query{})
	if err != nil {
		return err
	}
	of := map[string]string{} // by material
	for _, rec := range specs {
		if s := rec.Value; !s.Archived {
			c.places = append(c.places, s)
			if s.Material != "" && of[s.Material] == "" {
				of[s.Material] = s.ID
			}
		}
	}
	planned, err := tx.Batches().List(ctx, Query{Where: []Condition{{"state", "=", string(batch.Planned)}}})
	for _, rec := range planned {
		x := rec.Value
		if x.Specification == "" {
			x.Specification = of[x.Material]
		}
		if x.Specification != "" {
			c.planned = append(c.planned, x)
		}
	}
	return err
}

// mostPlaces is the largest number of inks that are tried as a place for what has
// to leave the pot, and leastShare the least worth naming.
const (
	mostPlaces = 200
	leastShare = 1e-3
)

// workOff finds where what has to leave the pot could go, the largest mass first:
// into planned batches, and into a batch of the pot's size of each specification.
func (c *correcting) workOff(ctx context.Context, b *Book, a *formulation.Correction) ([]WorkOffPlace, error) {
	rest := a.Pot - a.Kept
	if rest <= 0 {
		return nil, nil
	}
	material := ""
	if c.batch != nil {
		material = c.batch.Material
	}
	left := a.AsWorkOff("pot", "what leaves the pot", material, -1)
	byID := map[string]*formulation.Specification{}
	var out []WorkOffPlace
	try := func(into, title string, spec *formulation.Specification, quantity mass.Mass) error {
		p := c.set.problem()
		p.Quantity, p.Limits = quantity, spec.Limits
		p.Candidates = append(append([]formulation.Candidate{}, p.Candidates...), left)
		share, ok, why, err := formulation.MostShare(ctx, b.engine, p, len(p.Candidates)-1)
		if err != nil {
			return c.set.translate(err)
		}
		if ok && why == "" && share >= leastShare {
			out = append(out, WorkOffPlace{into, title, share, min(rest, mass.RoundKilograms(share*quantity.Kilograms(), mass.RoundFloor)), quantity})
		}
		return nil
	}
	for i := range c.places[:min(len(c.places), mostPlaces)] {
		spec := &c.places[i]
		byID[spec.ID] = spec
		if err := try("specifications/"+spec.ID, spec.Title, spec, a.Pot); err != nil {
			return nil, err
		}
	}
	for _, x := range c.planned[:min(len(c.planned), mostPlaces)] {
		spec, known := byID[x.Specification]
		if !known || c.batch != nil && x.ID == c.batch.ID {
			continue
		}
		if err := try("batches/"+x.ID, spec.Title+", due "+dayOf(x.DueDate), spec, x.Quantity); err != nil {
			return nil, err
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Mass > out[j].Mass })
	return out, nil
}

// cautions are those of a ticket that weighs the additions into a running mixer.
func (c *correcting) cautions(p *formulation.CorrectionProblem, a *formulation.Correction) []string {
	if len(a.Additions) == 0 {
		return nil
	}
	materials := make(map[string]BookMaterial, len(c.room.materials)+len(a.Additions))
	t := Ticket{Route: []formula.RouteStep{{Step: formula.LetDown}}}
	contents := contentsOfPot(c.pot)
	for _, x := range a.Additions {
		of := &p.Candidates[x.Candidate]
		m, known := c.room.materials[of.Material]
		if !known {
			m = BookMaterial{Material: inventory.Material{ID: of.ID, Title: of.Name(), Class: of.Class}}
		}
		materials[m.ID] = m
		t.Lines = append(t.Lines, TicketLine{Line: batch.Line{Material: m.ID}})
		contents = append(contents, of.Properties)
	}
	return cautions(t, materials, contents)
}
