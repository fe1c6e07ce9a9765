package app

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/ledger"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// Receipt is a delivery of one lot.
type Receipt struct {
	Lot           StockLot
	Quantity      mass.Mass
	Location      string
	MovementID    string
	PurchaseOrder string  // id; may be empty
	Request       Request // of the movement id
}

// ReceiveLot makes the lot and posts its receipt, both or neither. Without a
// status the lot is quarantined; only quality control and the administrator may
// receive it as released. Without dates it is received today and expires after
// the material's shelf life.
func (b *Book) ReceiveLot(ctx context.Context, r Receipt) (LotView, error) {
	if err := inventory.CheckID(r.Lot.ID); err != nil {
		return LotView{}, InvalidField("lot_id", "%s", err)
	}
	var out LotView
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, r.Request, r.Lot.ID)
		if err != nil {
			return err
		}
		rec := Record[StockLot]{}
		if seen != "" {
			rec, err = tx.Lots().Get(ctx, seen)
		} else {
			rec, err = b.receive(ctx, tx, r)
		}
		if err != nil {
			return err
		}
		out, err = b.viewLot(ctx, tx, rec)
		return err
	})
	return out, err
}

func (b *Book) receive(ctx context.Context, tx Tx, r Receipt) (Record[StockLot], error) {
	var none Record[StockLot]
	v := r.Lot
	if err := b.checkReceivedStatus(ctx, &v); err != nil {
		return none, err
	}
	if r.PurchaseOrder != "" {
		if err := ordered(ctx, tx, r.PurchaseOrder, &v); err != nil {
			return none, err
		}
	}
	if err := b.completeLot(ctx, tx, &v); err != nil {
		return none, err
	}
	rec, err := tx.Lots().Create(ctx, v)
	if err != nil {
		return none, taken(err, "lots/"+v.ID)
	}
	if r.PurchaseOrder != "" {
		d := purchase.Delivery{Movement: strings.ToLower(r.MovementID), Lot: v.ID, Date: v.ReceivedDate}
		if err := b.receiveAgainstOrder(ctx, tx, r.PurchaseOrder, v.Material, r.Quantity, d); err != nil {
			return none, err
		}
	}
	m, err := ledger.NewReceipt(ledger.Head{ID: r.MovementID, Actor: CallerOf(ctx).Title}, ledger.Place{Lot: v.ID, Location: r.Location}, v.Supplier, r.Quantity)
	if err != nil {
		return none, movementFault(err, "")
	}
	return rec, tx.Ledger().Post(ctx, m)
}

// ordered takes the supplier, and where the delivery names no price the price,
// from the purchase order.
func ordered(ctx context.Context, tx Tx, order string, v *StockLot) error {
	rec, err := tx.PurchaseOrders().Get(ctx, order)
	if err != nil {
		return missing(err, "purchase_order", "purchaseOrders/"+order)
	}
	o := rec.Value
	if v.Supplier == "" {
		v.Supplier = o.Supplier
	}
	if v.Supplier != o.Supplier {
		return InvalidField("lot.supplier", "suppliers/%s is not the supplier of purchaseOrders/%s, suppliers/%s; name the right order", v.Supplier, order, o.Supplier)
	}
	for _, line := range o.Lines {
		if line.Material == v.Material && v.Cost.PriceCurrency == "" {
			v.Cost.PriceCurrency, v.Cost.PricePerKg = o.Currency, line.PricePerKg
		}
	}
	return nil
}

func (b *Book) checkReceivedStatus(ctx context.Context, v *StockLot) error {
	if v.Status == "" {
		v.Status = lot.Quarantined
	}
	role := CallerOf(ctx).Role
	if v.Status == lot.Released && role != Quality && role != Admin {
		return Faultf(ErrForbidden, "RELEASE_BY_QUALITY", "lots/"+v.ID, "only quality control releases a lot; receive it as quarantined")
	}
	return nil
}

// completeLot checks a lot against the book and fills in what follows from it:
// dates, and the landed cost in the plant's currency.
func (b *Book) completeLot(ctx context.Context, tx Tx, v *StockLot) error {
	plant, err := plantIn(ctx, tx)
	if err != nil {
		return err
	}
	today, err := b.today(plant.Value)
	if err != nil {
		return err
	}
	material, err := tx.Materials().Get(ctx, v.Material)
	if err != nil {
		return missing(err, "lot.material", "materials/"+v.Material)
	}
	if v.Supplier != "" {
		if _, err := tx.Suppliers().Get(ctx, v.Supplier); err != nil {
			return missing(err, "lot.supplier", "suppliers/"+v.Supplier)
		}
	}
	bad, err := checkSet(ctx, tx, "lot.certificate", v.Certificate, material.Value.ColourIndex)
	if err != nil {
		return err
	}
	spread, err := checkDeviations(ctx, tx, "lot.deviations", v.Deviations)
	if err != nil {
		return err
	}
	bad = append(bad, spread...)
	if v.ReceivedDate.IsZero() {
		v.ReceivedDate = today
		if days := material.Value.ShelfLifeDays; v.ExpiryDate.IsZero() && days > 0 {
			v.ExpiryDate = today.AddDate(0, 0, days)
		}
	}
	if v.ReceivedDate.After(today) {
		bad = append(bad, FieldError{"lot.received_date", fmt.Sprintf("lies after today, %s; receive a lot when it has come", today.Format(time.DateOnly))})
	}
	if !v.ExpiryDate.IsZero() && v.ExpiryDate.Before(v.ReceivedDate) {
		bad = append(bad, FieldError{"lot.expiry_date", "lies before the received date; check both"})
	}
	if bad = append(bad, landLot(&v.Cost, plant.Value)...); len(bad) > 0 {
		return bad
	}
	return nil
}

// landLot computes the landed cost per kg in the plant's currency:
// (price + freight + duty % of the price) x exchange rate (common practice). A
// cost without a price currency is one that was computed here (a batch's), and
// stays as it is.
func landLot(c *LotCost, p Plant) Invalid {
	if c.PriceCurrency == "" {
		return nil
	}
	rate := money.Rate{From: c.PriceCurrency, To: p.Currency, Value: c.ExchangeRate, Date: c.RateDate}
	if rate.Value.IsZero() {
		found := false
		if rate, found = plantRate(p, c.PriceCurrency); !found {
			return InvalidField("lot.cost.exchange_rate", "the plant has no rate from %s to %s; give one here, or add it to the plant's figures", c.PriceCurrency, p.Currency)
		}
	}
	dutied := c.PricePerKg.Add(c.PricePerKg.Mul(c.DutyPercent).Shift(-2))
	cost, err := rate.ConvertPerKg(money.PerKg{Currency: c.PriceCurrency, Amount: dutied.Add(c.FreightPerKg)})
	if err != nil {
		return InvalidField("lot.cost.exchange_rate", "%s", plainMoney(err))
	}
	c.ExchangeRate, c.RateDate, c.CostPerKg = rate.Value, rate.Date, cost.Amount
	return nil
}

// plantRate is the plant's exchange rate from a currency; the plant's own is 1.
func plantRate(p Plant, from string) (money.Rate, bool) {
	if from == p.Currency {
		return money.Rate{From: from, To: from, Value: decimal.NewFromInt(1)}, true
	}
	for _, r := range p.Rates {
		if r.Currency == from {
			return money.Rate{From: from, To: p.Currency, Value: r.Rate, Date: r.Date}, true
		}
	}
	return money.Rate{}, false
}

func plainMoney(err error) string {
	if errors.Is(err, money.ErrRate) {
		return "must be above zero: the plant's currency per unit of the supplier's, and 1 from a currency to itself"
	}
	return err.Error()
}
