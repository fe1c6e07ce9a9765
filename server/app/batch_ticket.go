package app

import (
	"context"
	"time"

	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// Ticket is what weigh-up and mill hands need of a batch. It carries no prices.
type Ticket struct {
	Batch    string
	Title    string
	DueDate  time.Time
	Quantity mass.Mass
	Lines    []TicketLine // in weighing order
	Route    []formula.RouteStep
	Cautions []string
}

// TicketLine is one weighing.
type TicketLine struct {
	batch.Line
	Title string // of the material
}

// BatchTicket writes the ticket of a batch whose lots are reserved; ErrNotReady
// before that.
func (b *Book) BatchTicket(ctx context.Context, id string) (Ticket, error) {
	var t Ticket
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Batches().Get(ctx, id)
		if err != nil {
			return absent(err, "batches/"+id)
		}
		of := rec.Value
		if len(of.Lines) == 0 || of.State == batch.Planned {
			return Faultf(ErrNotReady, "BATCH_STATE", "batches/"+id, "Batch %s is %s and has no lots to weigh; reserve it first.", id, of.State)
		}
		materials, err := materialsByID(ctx, tx)
		if err != nil {
			return err
		}
		var route []formula.RouteStep
		if of.Formula != "" {
			f, err := tx.Formulas().Get(ctx, revisionID(of.Formula, of.FormulaRevision))
			if err != nil {
				return absent(err, "formulas/"+revisionID(of.Formula, of.FormulaRevision))
			}
			route = f.Value.Route
		}
		contents, err := contentsOf(ctx, tx, of, materials)
		t = newTicket(of, materials, route, contents)
		return err
	})
	return t, err
}

// contentsOf are the properties of what is weighed in.
func contentsOf(ctx context.Context, tx Tx, b batch.Batch, materials map[string]BookMaterial) ([]property.Set, error) {
	var out []property.Set
	for _, l := range b.Lines {
		rec, err := tx.Lots().Get(ctx, l.Lot)
		if err != nil {
			return nil, absent(err, "lots/"+l.Lot)
		}
		out = append(out, materials[l.Material].Properties.Merge(rec.Value.Values()))
	}
	return out, nil
}

func newTicket(of batch.Batch, materials map[string]BookMaterial, route []formula.RouteStep, contents []property.Set) Ticket {
	t := Ticket{Batch: of.ID, Title: materials[of.Material].Title, DueDate: of.DueDate, Quantity: of.Quantity, Route: route}
	for _, l := range batch.WeighingOrder(of.Lines, func(m string) inventory.Class { return materials[m].Class }) {
		t.Lines = append(t.Lines, TicketLine{l, materials[l.Material].Title})
	}
	t.Cautions = cautions(t, materials, contents)
	return t
}

// cautions are the hazard notes of the materials, then general ones for what is
// in the batch. They name hazards; what to do about them stands in the safety
// data sheets and the plant's rules.
func cautions(t Ticket, materials map[string]BookMaterial, contents []property.Set) []string {
	var out []string
	said := map[string]bool{}
	say := func(sentence string) {
		if !said[sentence] {
			said[sentence] = true
			out = append(out, sentence)
		}
	}
	var dust, solvent, drier, cobalt bool
	for _, l := range t.Lines {
		m := materials[l.Material]
		for _, c := range m.Cautions {
			say(m.Title + ": " + c)
		}
		dust = dust || m.Class == inventory.Pigment || m.Class == inventory.Wax
		drier = drier || m.Class == inventory.Drier
	}
	for _, s := range contents {
		solvent = solvent || s[property.VolatileFraction] > s[property.WaterFraction]
		cobalt = cobalt || s[property.Key(property.MetalFraction, "cobalt")] > 0
	}
	if dust {
		say("Powders raise dust when they are weighed and charged.")
	}
	if solvent {
		say("Volatile oils and solvents give off vapour that can be breathed in and can burn.")
	}
	if cobalt {
		say("A cobalt drier is in this batch: cobalt compounds are hazardous to health.")
	}
	if drier {
		say("Rags and residues with driers and drying oils can heat up and catch fire by themselves.")
	}
	for _, s := range t.Route {
		switch s.Step {
		case formula.BeadMill, formula.ThreeRoll, formula.FinalPass:
			say("Running mills and rolls draw in and crush.")
		case formula.Premix, formula.LetDown:
			say("Running mixers catch clothing and hands.")
		}
	}
	say("These notes do not replace the safety data sheets or the rules of the plant: read those first.")
	return out
}
