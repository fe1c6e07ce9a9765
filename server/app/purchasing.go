package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/mass"
)

// CreatePurchaseOrder drafts an order. The supplier, the materials and the
// offers must be in the book; a line that names an offer follows its currency,
// pack size and minimum order.
func (b *Book) CreatePurchaseOrder(ctx context.Context, o purchase.Order, req Request) (Record[purchase.Order], error) {
	var rec Record[purchase.Order]
	if err := inventory.CheckID(o.ID); err != nil {
		return rec, InvalidField("purchase_order_id", "%v", err)
	}
	o = draft(o)
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, o.ID)
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.PurchaseOrders().Get(ctx, seen)
			return err
		}
		plant, err := tx.Plant().Get(ctx)
		if err != nil {
			return err
		}
		today, err := b.today(plant.Value)
		if err != nil {
			return err
		}
		if err := checkOrder(ctx, tx, o, today); err != nil {
			return err
		}
		rec, err = tx.PurchaseOrders().Create(ctx, o)
		return taken(err, "purchaseOrders/"+o.ID)
	})
	return rec, err
}

// draft is an order of which nothing has happened yet.
func draft(o purchase.Order) purchase.Order {
	o.State, o.SentDate, o.Lines = purchase.Draft, time.Time{}, slices.Clone(o.Lines)
	for i := range o.Lines {
		o.Lines[i].Received, o.Lines[i].Closing, o.Lines[i].Deliveries = 0, "", nil
	}
	return o
}

// seenBefore records a request id, if there is one, and returns the resource
// that the same request made before.
func seenBefore(ctx context.Context, tx Tx, req Request, resource string) (string, error) {
	if req.ID == "" {
		return "", nil
	}
	return tx.Once(ctx, req, resource)
}

// taken turns ErrExists into a sentence that says what to change.
func taken(err error, resource string) error {
	var f *Fault
	if errors.Is(err, ErrExists) && !errors.As(err, &f) {
		return Faultf(ErrExists, "ALREADY_EXISTS", resource, "%s is there already; choose another id.", resource)
	}
	return err
}

// missing turns ErrNotFound of a referred resource into a field error, so that
// the caller learns which field names something that is not in the book.
func missing(err error, field, resource string) error {
	if errors.Is(err, ErrNotFound) {
		return InvalidField(field, "%s is not in the book.", resource)
	}
	return err
}

func checkOrder(ctx context.Context, tx Tx, o purchase.Order, today time.Time) error {
	supplier, err := tx.Suppliers().Get(ctx, o.Supplier)
	if err != nil {
		return missing(err, "purchase_order.supplier", "suppliers/"+o.Supplier)
	}
	if supplier.Value.Archived {
		return InvalidField("purchase_order.supplier", "suppliers/%s is archived; order from another supplier.", o.Supplier)
	}
	if len(o.Lines) == 0 {
		return InvalidField("purchase_order.lines", "an order needs at least one line.")
	}
	var bad Invalid
	for i, l := range o.Lines {
		field := fmt.Sprintf("purchase_order.lines[%d]", i)
		found, err := checkOrderLine(ctx, tx, o, l, supplier.Value, field)
		if err != nil {
			return err
		}
		bad = append(bad, found...)
		if l.DueDate.Before(today) {
			bad = append(bad, FieldError{field + ".due_date", fmt.Sprintf("%s is past; give today, %s, or later.",
				l.DueDate.Format(time.DateOnly), today.Format(time.DateOnly))})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

func checkOrderLine(ctx context.Context, tx Tx, o purchase.Order, l purchase.Line, s purchase.Supplier, field string) (Invalid, error) {
	var bad Invalid
	say := func(name, format string, args ...any) {
		bad = append(bad, FieldError{field + name, fmt.Sprintf(format, args...)})
	}
	material, err := tx.Materials().Get(ctx, l.Material)
	switch {
	case errors.Is(err, ErrNotFound):
		say(".material", "materials/%s is not in the book.", l.Material)
	case err != nil:
		return nil, err
	case material.Value.Archived:
		say(".material", "materials/%s is archived; order another material.", l.Material)
	}
	if l.Quantity <= 0 {
		say(".quantity_kg", "give a quantity above zero.")
	}
	if l.PricePerKg.Sign() < 0 {
		say(".price_per_kg", "a price is zero or more.")
	}
	currency := s.Currency
	if l.Offer != "" {
		offer, err := tx.Offers().Get(ctx, o.Supplier+"/"+l.Offer)
		if errors.Is(err, ErrNotFound) {
			say(".offer", "suppliers/%s/offers/%s is not in the book.", o.Supplier, l.Offer)
			return bad, nil
		}
		if err != nil {
			return nil, err
		}
		currency = offer.Value.Currency
		bad = append(bad, checkAgainstOffer(l, offer.Value, field)...)
	}
	if o.Currency != currency {
		say(".price_per_kg", "the price is in %s, but suppliers/%s sells this in %s; give the price in %s.", o.Currency, o.Supplier, currency, currency)
	}
	return bad, nil
}

func checkAgainstOffer(l purchase.Line, offer purchase.Offer, field string) Invalid {
	var bad Invalid
	if offer.Material != l.Material {
		bad = append(bad, FieldError{field + ".offer", fmt.Sprintf("this offer is for materials/%s, not for materials/%s.", offer.Material, l.Material)})
	}
	switch {
	case l.Quantity < offer.MinimumOrder:
		bad = append(bad, FieldError{field + ".quantity_kg", fmt.Sprintf("the offer's smallest order is %s.", offer.MinimumOrder)})
	case offer.PackSize > 0 && l.Quantity%offer.PackSize != 0:
		bad = append(bad, FieldError{field + ".quantity_kg", fmt.Sprintf("the offer comes in packs of %s; order %s or %s.", offer.PackSize,
			l.Quantity.RoundTo(offer.PackSize, mass.RoundFloor), l.Quantity.RoundTo(offer.PackSize, mass.RoundCeil))})
	}
	return bad
}

// inWords is a state as people write it: "part received".
func inWords[S ~string](state S) string { return strings.ReplaceAll(string(state), "_", " ") }

// GetPurchaseOrder reads one order.
func (b *Book) GetPurchaseOrder(ctx context.Context, id string) (Record[purchase.Order], error) {
	var rec Record[purchase.Order]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		rec, err = getOrder(ctx, tx, id)
		return err
	})
	return rec, err
}

// ListPurchaseOrders lists orders; conditions: state, supplier.
func (b *Book) ListPurchaseOrders(ctx context.Context, q Query) ([]Record[purchase.Order], error) {
	var recs []Record[purchase.Order]
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		recs, err = tx.PurchaseOrders().List(ctx, q)
		return err
	})
	return recs, err
}

func getOrder(ctx context.Context, tx Tx, id string) (Record[purchase.Order], error) {
	rec, err := tx.PurchaseOrders().Get(ctx, id)
	var f *Fault
	if errors.Is(err, ErrNotFound) && !errors.As(err, &f) {
		return rec, Faultf(ErrNotFound, "NOT_FOUND", "purchaseOrders/"+id, "purchaseOrders/%s is not in the book.", id)
	}
	return rec, err
}
