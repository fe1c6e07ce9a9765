package app

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/google/uuid"
	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

// FinishRequest says what came of a batch.
type FinishRequest struct {
	Batch    string
	Finished mass.Mass            // what was canned
	Weights  map[string]mass.Mass // actual weights by lot; missing: the ticket's
	Lot      string               // id of the finished lot
	Location string               // where it is put
	Version  int64                // of the batch as it was read; 0 skips the check
	Request  Request
}

// FinishBatch consumes the reserved lots by their actual weights, puts the
// finished lot into stock (quarantined, with a certificate worked out from what
// went in) and books the loss to scrap: movements, lot and batch in one
// transaction, or nothing of it. The same request sent again is answered with
// the batch as it stands.
func (b *Book) FinishBatch(ctx context.Context, req FinishRequest) (Record[batch.Batch], error) {
	var rec Record[batch.Batch]
	if err := checkFinish(req); err != nil {
		return rec, err
	}
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req.Request, req.Batch)
		if err != nil {
			return err
		}
		if seen != "" {
			rec, err = tx.Batches().Get(ctx, seen)
			return err
		}
		current, err := readBatch(ctx, tx, req.Batch, req.Version)
		if err != nil {
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
		f := &finishing{req: req, plant: plant.Value, today: today, now: b.clock()}
		if err := f.load(ctx, tx, current.Value); err != nil {
			return err
		}
		finished, err := f.finish(current.Value)
		if err != nil {
			return err
		}
		if err := f.createLot(ctx, tx, finished); err != nil {
			return err
		}
		// The batch before its movements: who finishes the same one at the same
		// moment waits here, and is told that it has changed.
		if rec, err = tx.Batches().Update(ctx, finished, current.Version); err != nil {
			return err
		}
		return f.post(ctx, tx, finished)
	})
	return rec, err
}

func checkFinish(req FinishRequest) error {
	var bad Invalid
	if _, err := uuid.Parse(req.Request.ID); err != nil {
		bad = append(bad, FieldError{"request_id", "give a UUID of your own, so that the same request sent again is not booked twice"})
	}
	if err := inventory.CheckID(req.Lot); err != nil {
		bad = append(bad, FieldError{"finished_lot_id", err.Error()})
	}
	if err := inventory.CheckID(req.Location); err != nil {
		bad = append(bad, FieldError{"location", err.Error()})
	}
	if req.Finished <= 0 {
		bad = append(bad, FieldError{"finished_kg", "must be above 0; cancel a batch that came to nothing"})
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// finishing is a batch on its way to being finished.
type finishing struct {
	req       FinishRequest
	plant     Plant
	today     time.Time
	now       time.Time
	catalogue *property.Catalogue
	materials map[string]BookMaterial
	lots      map[string]StockLot
	open      map[string]mass.Mass // by reservation, what is left of it
}

func (f *finishing) load(ctx context.Context, tx Tx, b batch.Batch) (err error) {
	if f.catalogue, err = propertyCatalogue(ctx, tx); err != nil {
		return err
	}
	if f.materials, err = materialsByID(ctx, tx); err != nil {
		return err
	}
	f.lots, f.open = map[string]StockLot{}, map[string]mass.Mass{}
	for _, l := range b.Lines {
		if _, known := f.lots[l.Lot]; known {
			continue
		}
		rec, err := tx.Lots().Get(ctx, l.Lot)
		if err != nil {
			return absent(err, "lots/"+l.Lot)
		}
		f.lots[l.Lot] = rec.Value
	}
	open, err := tx.Stock().Reservations(ctx, Query{Where: []Condition{{"batch", "=", b.ID}}})
	for _, r := range open {
		f.open[r.ID] = r.Remaining
	}
	return err
}

// finish works out the finished batch and its properties.
func (f *finishing) finish(b batch.Batch) (batch.Batch, error) {
	done := batch.Done{Weighed: f.req.Weights, Lot: f.req.Lot, Mass: f.req.Finished, At: f.now}
	out, err := b.Finish(done)
	switch {
	case errors.Is(err, batch.ErrWeight) && f.req.Finished > f.charge(b):
		return out, InvalidField("finished_kg", "%s", plainly(err, batch.ErrWeight))
	case err != nil:
		return out, batchFault(err, b.ID)
	}
	sets := make([]property.Set, len(out.Lines))
	kg := make([]float64, len(out.Lines))
	for i, l := range out.Lines {
		sets[i], kg[i] = f.propertiesOf(l), l.Weighed.Kilograms()
	}
	out.Properties = batch.Properties(f.catalogue, sets, kg)
	return out, nil
}

func (f *finishing) charge(b batch.Batch) mass.Mass {
	lines, err := batch.Weigh(b.Lines, f.req.Weights)
	if err != nil {
		return mass.Max
	}
	return batch.Charge(lines)
}

// propertiesOf are the lot's, the pigment named by its Colour Index name so that
// it can be told from others in the ink.
func (f *finishing) propertiesOf(l batch.Line) property.Set {
	m := f.materials[l.Material]
	s := m.Properties.Merge(f.lots[l.Lot].Values())
	if dry, plain := s[property.PigmentFraction]; plain && m.ColourIndex != "" {
		delete(s, property.PigmentFraction)
		s[property.Key(property.PigmentFraction, m.ColourIndex)] += dry
	}
	return s
}

func (f *finishing) createLot(ctx context.Context, tx Tx, b batch.Batch) error {
	_, err := tx.Lots().Create(ctx, f.finishedLot(b))
	if errors.Is(err, ErrExists) {
		return Faultf(ErrExists, "ALREADY_EXISTS", "lots/"+f.req.Lot, "lots/%s is there already; choose another id for the finished lot.", f.req.Lot)
	}
	return err
}

// post writes all movements.
func (f *finishing) post(ctx context.Context, tx Tx, b batch.Batch) error {
	issues, err := f.issues(ctx, b)
	if err != nil {
		return err
	}
	if err := tx.Ledger().Post(ctx, issues...); err != nil {
		return err
	}
	if ids := reservationsOf(b); len(ids) > 0 {
		if err := tx.Ledger().Release(ctx, ids...); err != nil {
			return err
		}
	}
	made, err := ledger.NewProduction(f.head(ctx, "production"), ledger.Place{Lot: b.FinishedLot, Location: f.req.Location},
		b.ID, b.FinishedMass, batch.Charge(b.Lines)-b.FinishedMass)
	if err != nil {
		return InvalidField("finished_kg", "%v", err)
	}
	return tx.Ledger().Post(ctx, made)
}

// issues takes what was weighed out of stock, using up the reservations; what is
// more than reserved comes from free stock, which the ledger checks.
func (f *finishing) issues(ctx context.Context, b batch.Batch) ([]ledger.Movement, error) {
	var out []ledger.Movement
	for i, l := range b.Lines {
		if l.Weighed == 0 {
			continue
		}
		m, err := ledger.NewIssue(f.head(ctx, fmt.Sprintf("issue %d", i)), ledger.Place{Lot: l.Lot, Location: l.Location},
			ledger.Destination{Batch: b.ID}, l.Weighed)
		if err != nil {
			return nil, InvalidField("weights", "%v", err)
		}
		if use := min(l.Weighed, f.open[l.Reservation]); use > 0 {
			m.Uses = []ledger.ReservationUse{{Reservation: l.Reservation, Quantity: use}}
		}
		out = append(out, m)
	}
	return out, nil
}

// head names a movement by the request and what it is for, so that it has the
// same id when the request is sent again.
func (f *finishing) head(ctx context.Context, what string) ledger.Head {
	request, err := uuid.Parse(f.req.Request.ID)
	if err != nil {
		request = uuid.Nil
	}
	return ledger.Head{ID: uuid.NewSHA1(request, []byte("finish "+f.req.Batch+" "+what)).String(), Actor: CallerOf(ctx).Title}
}

func (f *finishing) finishedLot(b batch.Batch) StockLot {
	l := StockLot{Lot: lot.Lot{ID: b.FinishedLot, Material: b.Material, Status: lot.Quarantined, Certificate: b.Properties,
		ReceivedDate: f.today, Batch: b.ID}}
	if days := f.materials[b.Material].ShelfLifeDays; days > 0 {
		l.ExpiryDate = f.today.AddDate(0, 0, days)
	}
	cost := f.costPerKg(b)
	l.Cost = LotCost{CostPerKg: cost, PricePerKg: cost, PriceCurrency: f.plant.Currency, ExchangeRate: decimal.NewFromInt(1), RateDate: f.today}
	return l
}

// costPerKg is the landed cost of all that went in over what came out, rounded
// once, half-even.
func (f *finishing) costPerKg(b batch.Batch) decimal.Decimal {
	total := decimal.Zero
	for _, l := range b.Lines {
		total = total.Add(f.lots[l.Lot].Cost.CostPerKg.Mul(money.Kilograms(l.Weighed)))
	}
	return money.DivDecimal(total, money.Kilograms(b.FinishedMass), pricePlaces, money.RoundHalfEven)
}
