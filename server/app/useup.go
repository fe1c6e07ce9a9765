package app

import (
	"context"
	"fmt"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/solver/formulation"
)

// UseUp says which lots are worth using up before they have to be scrapped, and
// what that is worth. The premium makes them more welcome; costs stay real.
type UseUp struct {
	WithinDays int  // of the date: their last day of use is by then; 0: none
	WorkOff    bool // work-off lots, whatever their last day
	// Premium per kg beyond the price: value that would be lost, disposal that is
	// saved. In the currency of the answer, or without one.
	Premium money.PerKg
	// Percent of the price that comes on top of Premium.
	Percent decimal.Decimal
}

// check reports a preference that prefers nothing, or by nothing.
func (u *UseUp) check(currency string) error {
	switch {
	case u.WithinDays < 0 || u.WithinDays > 3650:
		return InvalidField("use_up.within_days", "give a number of days from 0 to 3650")
	case u.WithinDays == 0 && !u.WorkOff:
		return InvalidField("use_up.within_days", "say which lots to use up: those that expire within so many days, work-off, or both")
	case u.Premium.Amount.Sign() < 0:
		return InvalidField("use_up.premium_per_kg", "must not be below 0")
	case u.Percent.Sign() < 0:
		return InvalidField("use_up.premium_percent", "must not be below 0")
	case u.Premium.Amount.Sign() == 0 && u.Percent.Sign() == 0:
		return InvalidField("use_up.premium_per_kg", "say what using a kg up is worth: an amount, or per cent of its price")
	case u.Premium.Currency != "" && u.Premium.Currency != currency:
		return InvalidField("use_up.premium_per_kg", "give it in %s, the currency of the answer", currency)
	}
	return nil
}

// premium is what using a kg of the lot is worth beyond its price.
func (u *UseUp) premium(l StockLot, class inventory.Class, price decimal.Decimal, date time.Time) decimal.Decimal {
	expires := u.WithinDays > 0 && !l.ExpiryDate.IsZero() && !l.ExpiryDate.After(date.AddDate(0, 0, u.WithinDays))
	if !expires && !(u.WorkOff && class == inventory.WorkOff) {
		return decimal.Zero
	}
	part := decimal.Max(price, decimal.Zero).Mul(u.Percent).Shift(-2)
	return u.Premium.Amount.Add(part).Round(pricePlaces)
}

// inWords says what is preferred, as an assumption.
func (u *UseUp) inWords(currency string, date time.Time) string {
	which := "Work-off lots"
	by := date.AddDate(0, 0, u.WithinDays)
	switch {
	case u.WithinDays > 0 && u.WorkOff:
		which = "Work-off lots, and lots whose last day is by " + dayOf(by) + ","
	case u.WithinDays > 0:
		which = "Lots whose last day is by " + dayOf(by)
	}
	worth := ""
	if u.Premium.Amount.Sign() > 0 {
		worth = u.Premium.Amount.String() + " " + currency
	}
	if u.Percent.Sign() > 0 {
		if worth != "" {
			worth += " and "
		}
		worth += u.Percent.String() + " % of the price"
	}
	return fmt.Sprintf("%s are worth %s per kg more in the choice; every cost shown is real.", which, worth)
}

// preferIn lets the chosen lots be worth more, as the request asks.
func (s *setting) preferIn(c *choice) error {
	if s.req.UseUp == nil {
		return nil
	}
	if err := s.req.UseUp.check(s.currency); err != nil {
		return err
	}
	c.useUp = s.req.UseUp
	s.say("%s", c.useUp.inWords(s.currency, s.date))
	return nil
}

// prefer gives the last candidate of the pool a premium.
func (p *pool) prefer(premium decimal.Decimal) {
	p.candidates[len(p.candidates)-1].UsePremium = premium.InexactFloat64()
}

// UsePremium is what the mass used of a component earns, in Currency.
func (o *Optimised) UsePremium(c *formulation.Component) decimal.Decimal {
	return decimal.NewFromFloat(o.Problem.Candidates[c.Candidate].UsePremium).Mul(money.Kilograms(c.Mass))
}

// batchesFinished are those that lots in stock may have come from.
var batchesFinished = Query{Where: []Condition{{"state", "=", string(batch.Finished)}}}

// madeHere fills in what the batches say that lots of ink came from: where the
// certificate of leftover ink is silent, it is what went in.
func (r *stockRoom) madeHere(ctx context.Context, tx Tx) error {
	wanted := false
	for _, l := range r.lots {
		wanted = wanted || l.Batch != "" && isInk(r.materials[l.Material].Class)
	}
	if !wanted {
		return nil
	}
	list, err := tx.Batches().List(ctx, batchesFinished)
	if err != nil {
		return err
	}
	made := make(map[string]batch.Batch, len(list))
	for _, rec := range list {
		made[rec.Value.ID] = rec.Value
	}
	for i := range r.lots {
		l := &r.lots[i]
		if isInk(r.materials[l.Material].Class) && len(made[l.Batch].Properties) > 0 {
			l.Certificate = made[l.Batch].Properties.Merge(l.Certificate)
		}
	}
	return nil
}

func isInk(c inventory.Class) bool {
	return c == inventory.WorkOff || c == inventory.Ink || c == inventory.BaseInk
}
