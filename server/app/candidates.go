package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver/formulation"
)

// BookCandidates says which lots and offers of the book may go into a formula.
type BookCandidates struct {
	Materials []string // ids; empty: all but packaging and finished ink
	// Excluded are names of lots, materials or offers: "lots/l-1".
	Excluded        []string
	StockOnly       bool            // no offers
	WithFinishedInk bool            // finished ink may be worked in, named in Materials or not
	Class           inventory.Class // only materials of it; empty: of any
}

// LeftOut is a candidate that could not take part, and why.
type LeftOut struct{ Candidate, Title, Why string }

// pool is what may go into the pot, with exact prices beside the solver's.
type pool struct {
	candidates []formulation.Candidate
	prices     []decimal.Decimal // per kg, in the currency of the answer
	ladders    [][]rung          // of offers; nil for the rest
	leftOut    []LeftOut
}

func (p *pool) add(c formulation.Candidate, price decimal.Decimal, ladder []rung) {
	c.CostPerKg = price.InexactFloat64()
	p.candidates = append(p.candidates, c)
	p.prices = append(p.prices, price)
	p.ladders = append(p.ladders, ladder)
}

func (p *pool) leave(id, title, why string, args ...any) {
	p.leftOut = append(p.leftOut, LeftOut{id, title, fmt.Sprintf(why, args...)})
}

// stockRoom is what the book knows on one day, loaded by a fixed number of
// queries however many lots there are.
type stockRoom struct {
	plant     Plant
	today     time.Time
	catalogue *property.Catalogue
	materials map[string]BookMaterial
	lots      []StockLot              // those with something on hand
	places    map[string][]LotBalance // of a lot, by location
	onHand    map[string]mass.Mass    // by lot
	free      map[string]mass.Mass
	offers    []purchase.Offer
	suppliers map[string]purchase.Supplier
	names     map[string]bool // of every lot and offer
}

// lotsInStock are those with something on hand: a plant has used up many more
// lots than it has.
var lotsInStock = Query{Where: []Condition{{"in_stock", "=", "true"}}}

// roomAhead is what loadStockRoom lists.
var roomAhead = []Ahead{{List: AheadPlant}, {List: AheadProperties}, {List: AheadMaterials}, {List: AheadBalances}, {AheadLots, lotsInStock},
	{List: AheadSuppliers}, {List: AheadOffers}, {AheadBatches, batchesFinished}}

// keptRoom is the stock room as it was seen last, put in order.
type keptRoom struct {
	seen string
	room stockRoom
}

func (b *Book) loadStockRoom(ctx context.Context, tx Tx, extra ...property.Definition) (*stockRoom, error) {
	seen, err := tx.ReadAhead(ctx, roomAhead...)
	if err != nil {
		return nil, err
	}
	r, err := b.roomSeen(ctx, tx, seen)
	if err != nil {
		return nil, err
	}
	if r.today, err = b.today(r.plant); err != nil {
		return nil, err
	}
	r.offers = slices.DeleteFunc(slices.Clone(r.offers), func(o purchase.Offer) bool { return !o.ValidUntil.IsZero() && r.today.After(o.ValidUntil) })
	if len(extra) > 0 {
		r.catalogue, err = propertyCatalogue(ctx, tx, extra...)
	}
	return r, err
}

// roomSeen puts what loadStockRoom lists in order, or takes it as it was put in
// order for the same lists: a room is not changed once it is read.
func (b *Book) roomSeen(ctx context.Context, tx Tx, seen string) (*stockRoom, error) {
	if k := b.keptRoom.Load(); k != nil && seen != "" && k.seen == seen {
		r := k.room
		return &r, nil
	}
	r, err := readRoom(ctx, tx)
	if err == nil && seen != "" {
		b.keptRoom.Store(&keptRoom{seen, *r})
	}
	return r, err
}

func readRoom(ctx context.Context, tx Tx) (*stockRoom, error) {
	plant, err := tx.Plant().Get(ctx)
	if err != nil {
		return nil, err
	}
	r := &stockRoom{plant: plant.Value, places: map[string][]LotBalance{}, onHand: map[string]mass.Mass{}, free: map[string]mass.Mass{},
		suppliers: map[string]purchase.Supplier{}, names: map[string]bool{}}
	if r.catalogue, err = propertyCatalogue(ctx, tx); err != nil {
		return nil, err
	}
	if r.materials, err = materialsByID(ctx, tx); err != nil {
		return nil, err
	}
	if err := r.loadLots(ctx, tx); err != nil {
		return nil, err
	}
	if err := r.madeHere(ctx, tx); err != nil {
		return nil, err
	}
	return r, r.loadOffers(ctx, tx)
}

func (r *stockRoom) loadLots(ctx context.Context, tx Tx) error {
	balances, err := tx.Stock().Balances(ctx, Query{}, time.Time{})
	if err != nil {
		return err
	}
	for _, x := range balances {
		r.places[x.Lot] = append(r.places[x.Lot], x)
		r.onHand[x.Lot] += x.OnHand
		r.free[x.Lot] += x.Free()
	}
	lots, err := tx.Lots().List(ctx, lotsInStock)
	if err != nil {
		return err
	}
	for _, l := range lots {
		r.names["lots/"+l.Value.ID] = true
		r.lots = append(r.lots, l.Value)
	}
	return nil
}

// know adds those of the names that are lots without stock.
func (r *stockRoom) know(ctx context.Context, tx Tx, names []string) error {
	for _, name := range names {
		id, isLot := strings.CutPrefix(name, "lots/")
		if !isLot || r.names[name] {
			continue
		}
		if _, err := tx.Lots().Get(ctx, id); err == nil {
			r.names = maps.Clone(r.names) // the room is others' as well
			r.names[name] = true
		} else if !errors.Is(err, ErrNotFound) {
			return err
		}
	}
	return nil
}

func (r *stockRoom) loadOffers(ctx context.Context, tx Tx) error {
	suppliers, err := tx.Suppliers().List(ctx, Query{})
	if err != nil {
		return err
	}
	for _, s := range suppliers {
		r.suppliers[s.Value.ID] = s.Value
	}
	offers, err := tx.Offers().List(ctx, Query{})
	if err != nil {
		return err
	}
	for _, o := range offers {
		r.names[offerName(o.Value)] = true
		r.offers = append(r.offers, o.Value)
	}
	return nil
}

// choice is which candidates of the stock room a request asks for.
type choice struct {
	of       BookCandidates
	date     time.Time
	basis    valuation.Basis
	quantity mass.Mass
	useUp    *UseUp          // nil: no lot is worth more for being used up
	only     map[string]bool // materials; nil: all
	excluded map[string]bool // resource names
}

// choose checks the names in a request.
func (r *stockRoom) choose(of BookCandidates, date time.Time, basis valuation.Basis, quantity mass.Mass) (*choice, error) {
	c := &choice{of: of, date: date, basis: basis, quantity: quantity, excluded: map[string]bool{}}
	var bad Invalid
	for i, m := range of.Materials {
		field := fmt.Sprintf("book.materials[%d]", i)
		if known, ok := r.materials[m]; !ok {
			bad = append(bad, FieldError{field, fmt.Sprintf("materials/%s is not in the book", m)})
		} else if known.Class == inventory.Packaging {
			bad = append(bad, FieldError{field, fmt.Sprintf("materials/%s is packaging; it does not go into the pot", m)})
		}
		if c.only == nil {
			c.only = map[string]bool{}
		}
		c.only[m] = true
	}
	for i, name := range of.Excluded {
		if _, material := r.materials[strings.TrimPrefix(name, "materials/")]; !r.names[name] && !(material && strings.HasPrefix(name, "materials/")) {
			bad = append(bad, FieldError{fmt.Sprintf("book.excluded[%d]", i),
				fmt.Sprintf("%.80q is no lot, material or offer of the book; write it like lots/..., materials/... or suppliers/.../offers/...", name)})
		}
		c.excluded[name] = true
	}
	if len(bad) > 0 {
		return nil, bad
	}
	return c, nil
}

// asksFor reports whether candidates of the material are wanted at all.
func (c *choice) asksFor(m BookMaterial) bool {
	switch {
	case m.Class == inventory.Packaging, m.Class == inventory.Ink && !c.of.WithFinishedInk && !c.only[m.ID]:
		return false
	case c.only != nil && !c.only[m.ID], c.of.Class != "" && m.Class != c.of.Class:
		return false
	}
	return !c.excluded["materials/"+m.ID]
}

// fill puts the lots and offers of the book that c asks for into the pool.
func (r *stockRoom) fill(p *pool, c *choice) {
	prices := r.pricesOn(c)
	for _, l := range r.lots {
		m, known := r.materials[l.Material]
		name := "lots/" + l.ID
		if !known || !c.asksFor(m) || c.excluded[name] {
			continue
		}
		title := m.Title + ", lot " + l.ID
		if ok, why := l.UsableOn(c.date); !ok {
			p.leave(name, title, "it is %s", strings.TrimPrefix(why, "it is "))
			continue
		}
		if r.free[l.ID] <= 0 {
			p.leave(name, title, "all %s of it is reserved", r.onHand[l.ID])
			continue
		}
		price, why := prices.of(l)
		if why != "" {
			p.leave(name, title, "%s", why)
			continue
		}
		values := m.Properties.Merge(l.Values())
		p.add(formulation.Candidate{ID: name, Title: title, Material: m.ID, Class: m.Class, ColourIndex: m.ColourIndex, Properties: values,
			Deviation: deviationsOf(values, r.catalogue, m.Deviations, l.Deviations), Available: r.free[l.ID], FromStock: true}, price, nil)
		if c.useUp != nil {
			p.prefer(c.useUp.premium(l, m.Class, price, c.date))
		}
	}
	if !c.of.StockOnly {
		r.fillOffers(p, c)
	}
}

func (r *stockRoom) fillOffers(p *pool, c *choice) {
	for _, o := range r.offers {
		m, known := r.materials[o.Material]
		name := offerName(o)
		if !known || m.Archived || r.suppliers[o.Supplier].Archived || !c.asksFor(m) || c.excluded[name] {
			continue
		}
		title := m.Title + ", offer of " + r.supplierTitle(o.Supplier)
		if r.today.Before(o.ValidFrom) {
			p.leave(name, title, "the offer holds only from %s", o.ValidFrom.Format(time.DateOnly))
			continue
		}
		if arrives := r.today.AddDate(0, 0, r.leadTime(o)); arrives.After(c.date) {
			p.leave(name, title, "ordered today it arrives on %s, after %s", arrives.Format(time.DateOnly), c.date.Format(time.DateOnly))
			continue
		}
		ladder, why := r.ladder(o)
		if why != "" {
			p.leave(name, title, "%s", why)
			continue
		}
		price := ladder[rungFor(ladder, mostOf(c.quantity, m.Properties))].price
		p.add(formulation.Candidate{ID: name, Title: title, Material: m.ID, Class: m.Class, ColourIndex: m.ColourIndex,
			Properties: m.Properties, Deviation: deviationsOf(m.Properties, r.catalogue, m.Deviations), Available: -1}, price, ladder)
	}
}

func (r *stockRoom) supplierTitle(id string) string {
	if s, ok := r.suppliers[id]; ok && s.Title != "" {
		return s.Title
	}
	return id
}

// leadTime is the offer's, or else the supplier's usual one, in calendar days.
func (r *stockRoom) leadTime(o purchase.Offer) int {
	if o.LeadTimeDays > 0 {
		return o.LeadTimeDays
	}
	return r.suppliers[o.Supplier].LeadTimeDays
}

// mostOf is the most of a material that can go into the quantity.
func mostOf(quantity mass.Mass, s property.Set) mass.Mass {
	if r := s.Retained(); r > 0 && r < 1 {
		return mass.RoundKilograms(min(quantity.Kilograms()/r, mass.Max.Kilograms()), mass.RoundCeil)
	}
	return quantity
}
