package app

import (
	"context"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/solver/formulation"
)

// correcting is a CorrectRequest with what the book had to say to it.
type correcting struct {
	req      CorrectRequest
	set      *setting
	room     *stockRoom
	shade    bool         // a shade is corrected: limits may be missing, and leftover ink finds no place
	batch    *batch.Batch // nil for a pot of the request
	pot      []inPot
	tests    map[string]float64
	weighing *formulation.Weighing // nil: to the milligram
	places   []formulation.Specification
	planned  []batch.Batch // with the specification that each has to meet
}

// inPot is a part of what is in the pot.
type inPot struct {
	formulation.Candidate
	mass  mass.Mass
	field string // of the request; empty: from the batch
}

// load reads what the request needs of the book.
func (c *correcting) load(ctx context.Context, b *Book, tx Tx) (err error) {
	if c.req.Batch == "" && len(c.req.Pot) == 0 {
		return Invalid{{"batch", "name the batch that is in the pot, or say what is in it (pot)"}, {"pot", "say what is in the pot, or name its batch"}}
	}
	book := c.req.Book
	if book == nil && len(c.req.Inline) == 0 {
		book = &BookCandidates{StockOnly: true}
	}
	if c.room, err = b.loadStockRoom(ctx, tx); err != nil {
		return err
	}
	c.set = &setting{plant: c.room.plant, catalogue: c.room.catalogue, req: OptimiseRequest{Limits: c.req.Limits, Date: c.req.Date, Basis: c.req.Basis, Book: book, Inline: c.req.Inline}}
	if c.set.date, err = onDate(c.req.Date, c.room.today, "date"); err != nil {
		return err
	}
	if err := c.loadWeighing(); err != nil {
		return err
	}
	c.tests = map[string]float64{}
	if err := c.loadPot(ctx, tx); err != nil {
		return err
	}
	for key, v := range c.req.Tests {
		c.tests[key] = v
	}
	if err := c.loadLimits(ctx, tx); err != nil {
		return err
	}
	if c.shade {
		return c.loadCandidates(ctx, tx, c.set.basesWithoutLimits(book))
	}
	if err := c.loadPlaces(ctx, tx); err != nil {
		return err
	}
	return c.loadCandidates(ctx, tx, book)
}

// loadWeighing takes the scales of the request or of the plant. What is added is
// as much as it takes, so there is no tolerance.
func (c *correcting) loadWeighing() (err error) {
	w := c.req.Weighing
	if w == nil {
		return nil
	}
	if w.Tolerance != 0 {
		return InvalidField("weighing.tolerance_kg", "a correction has no quantity to be off; leave it out")
	}
	c.set.req.Weighing = w
	if c.weighing, err = c.set.weighing(); err == nil {
		c.weighing.Tolerance = 0
	}
	return err
}

// loadCandidates fills the pool with what may be added.
func (c *correcting) loadCandidates(ctx context.Context, tx Tx, book *BookCandidates) error {
	if err := c.set.addInline(); err != nil {
		return err
	}
	if book == nil {
		return nil
	}
	if err := c.room.know(ctx, tx, book.Excluded); err != nil {
		return err
	}
	var total mass.Mass
	for _, x := range c.pot {
		total += x.mass
	}
	chosen, err := c.room.choose(*book, c.set.date, c.req.Basis, total)
	if err != nil {
		return err
	}
	c.room.fill(&c.set.pool, chosen)
	c.set.said = append(c.set.said, c.room.assumptions(&c.set.pool, chosen)...)
	return nil
}

// loadPot takes what is in the pot from the request, or else from the batch.
func (c *correcting) loadPot(ctx context.Context, tx Tx) error {
	if c.req.Batch != "" {
		rec, err := tx.Batches().Get(ctx, c.req.Batch)
		if err != nil {
			return absent(err, "batches/"+c.req.Batch)
		}
		c.batch = &rec.Value
	}
	if len(c.req.Pot) == 0 {
		return c.potOfBatch(ctx, tx)
	}
	inline := map[string]formulation.Candidate{}
	for _, x := range c.req.Inline {
		inline[x.ID] = x.Candidate
	}
	for i, x := range c.req.Pot {
		field := fmt.Sprintf("pot[%d]", i)
		of, ok := inline[x.Candidate]
		if !ok {
			var err error
			if of, err = c.component(ctx, tx, field+".candidate", x.Candidate); err != nil {
				return err
			}
		}
		c.pot = append(c.pot, inPot{of, x.Mass, field})
	}
	return nil
}

// component is a lot or material of the book as a part of a pot.
func (c *correcting) component(ctx context.Context, tx Tx, field, name string) (formulation.Candidate, error) {
	collection, id, _ := strings.Cut(name, "/")
	out := formulation.Candidate{ID: name, Available: -1}
	certificate := map[string]float64(nil)
	material := id
	switch collection {
	case "lots":
		rec, err := tx.Lots().Get(ctx, id)
		if err != nil {
			return out, missing(err, field, name)
		}
		material, certificate = rec.Value.Material, rec.Value.Values()
	case "materials":
	default:
		return out, InvalidField(field, "%.80q is no lot, no material and none of the candidates of the request; write it like lots/... or materials/...", name)
	}
	m, known := c.room.materials[material]
	if !known {
		return out, InvalidField(field, "materials/%s is not in the book", material)
	}
	out.Title, out.Material, out.Class, out.ColourIndex = m.Title, m.ID, m.Class, m.ColourIndex
	if collection == "lots" {
		out.Title += ", lot " + id
	}
	out.Properties = m.Properties.Merge(certificate)
	return out, nil
}

// potOfBatch takes the weights of the batch: what was weighed, before that what
// its ticket asks for. Of a finished batch what was canned is in the pot, and what
// quality control entered for its lot was measured.
func (c *correcting) potOfBatch(ctx context.Context, tx Tx) error {
	of := c.batch
	if len(of.Lines) == 0 || of.State == batch.Planned {
		return Faultf(ErrNotReady, "BATCH_STATE", "batches/"+of.ID, "Batch %s is %s and has no weights; reserve it first, or say what is in the pot (pot).", of.ID, of.State)
	}
	finished := of.State == batch.Finished
	charge := batch.Charge(of.Lines)
	at := map[string]int{}
	for _, l := range of.Lines {
		m := l.Quantity
		if finished {
			m = mass.RoundKilograms(l.Weighed.Kilograms()*float64(of.FinishedMass)/float64(charge), mass.RoundHalfEven)
		}
		if m == 0 {
			continue
		}
		if i, again := at[l.Lot]; again {
			c.pot[i].mass += m
			continue
		}
		component, err := c.component(ctx, tx, "batch", "lots/"+l.Lot)
		if err != nil {
			return err
		}
		at[l.Lot] = len(c.pot)
		c.pot = append(c.pot, inPot{component, m, ""})
	}
	if !finished {
		c.set.say("The pot holds what the ticket of batch %s asks for.", of.ID)
		return nil
	}
	c.set.say("The pot holds the %s that came of batch %s, in the proportions weighed.", of.FinishedMass, of.ID)
	return c.testsOfLot(ctx, tx)
}

// testsOfLot takes what stands in the certificate of the finished lot and differs
// from what was worked out for the batch.
func (c *correcting) testsOfLot(ctx context.Context, tx Tx) error {
	rec, err := tx.Lots().Get(ctx, c.batch.FinishedLot)
	if err != nil {
		return absent(err, "lots/"+c.batch.FinishedLot)
	}
	for key, v := range rec.Value.Values() {
		if was, ok := c.batch.Properties[key]; !ok || was != v {
			c.tests[key] = v
		}
	}
	if len(c.tests) > 0 {
		c.set.say("What was entered for lot %s counts as measured.", c.batch.FinishedLot)
	}
	return nil
}

var potField = regexp.MustCompile(`^pot\[(\d+)\](.*)$`)

// translatePot names a fault of a component of the pot.
func (c *correcting) translatePot(index, rest, problem string) FieldError {
	i, err := strconv.Atoi(index)
	if err != nil || i >= len(c.pot) {
		return FieldError{"pot", problem}
	}
	x := c.pot[i]
	if x.field != "" && strings.HasPrefix(rest, ".mass") {
		return FieldError{x.field + ".mass_kg", problem}
	}
	field := "batch"
	if x.field != "" {
		field = x.field + ".candidate"
	}
	return FieldError{field, fmt.Sprintf("%s (%s) can't be used as it stands (%s): %s", x.Name(), x.ID, strings.TrimPrefix(rest, "."), problem)}
}
