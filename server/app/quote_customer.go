package app

import (
	"context"
	"slices"
	"time"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// CustomerQuote is what the customer may see. It is a type of its own so that no
// cost and no formula can leave with it.
type CustomerQuote struct {
	ID         string
	Revision   int
	Plant      string // who quotes
	Customer   string
	Title      string
	State      QuoteState
	Made       time.Time
	ValidUntil time.Time
	Currency   string
	RateDate   time.Time // zero in the plant's own currency
	Prices     []CustomerPrice
	Shade      *CustomerShade // nil: no shade was matched
	Cautions   []string
	Accepted   *Acceptance
}

// CustomerPrice is one quantity for the customer.
type CustomerPrice struct {
	Quantity mass.Mass
	Price    money.PerKg
	Total    money.Money
	Minimum  bool // Total is the minimum charge
	Cans     []QuoteCans
	LeadDays int // calendar days from the order; negative: on request
}

// CustomerShade is how near the ink comes to the shade that was asked for.
type CustomerShade struct {
	InWords string
	Lights  []SeenShade
}

// Acceptance is that a customer took a quote at one of its quantities.
type Acceptance struct {
	Quote    string // "id@2"
	Quantity mass.Mass
	Price    money.PerKg
	Total    money.Money
	Batch    string
	Due      time.Time
	Date     time.Time
}

// cautionDrawdown is what a quote on a shade says; common practice.
const cautionDrawdown = "The shade was matched by calculation; a drawdown on your own substrate decides before the run."

// cautionQuantities is what every quote says; common practice.
const cautionQuantities = "Each price holds for its quantity ordered and delivered at once."

// GetCustomerQuote reads what the customer may see of a quote: of "id" what was
// sent last, or the revision of "id@2". The order desk reads nothing that was not
// sent; the ink maker reads a draft that way before it goes out.
func (b *Book) GetCustomerQuote(ctx context.Context, name string) (CustomerQuote, error) {
	var out CustomerQuote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		rec, err := tx.Quotes().Get(ctx, name)
		if err != nil {
			return absent(err, "quotes/"+name)
		}
		if _, _, named := splitRevision(name); !named && rec.Value.SentRevision > 0 && rec.Value.Revision != rec.Value.SentRevision {
			if rec, err = tx.Quotes().Get(ctx, revisionID(name, rec.Value.SentRevision)); err != nil {
				return err
			}
		}
		if rec.Value.Sent.IsZero() && !CallerOf(ctx).Role.SeesFormula() {
			return notSent(name)
		}
		plant, today, err := b.plantToday(ctx, tx)
		if err != nil {
			return err
		}
		q, err := quoteOf(rec, today)
		out = q.customerCopy(plant.Title)
		return err
	})
	return out, err
}

func notSent(name string) error {
	return Faultf(ErrNotReady, "NOT_SENT", "quotes/"+name, "quotes/%s has not been sent; the ink maker has to send it first.", name)
}

// ListCustomerQuotes lists the customer copies of what was sent last of every
// quote; conditions: customer, state.
func (b *Book) ListCustomerQuotes(ctx context.Context, query Query) ([]CustomerQuote, error) {
	var out []CustomerQuote
	query.Where = append(query.Where, Condition{"sent", "=", "true"})
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		list, plant, err := b.listQuotes(ctx, tx, query)
		out = nil
		for _, q := range list {
			out = append(out, q.customerCopy(plant.Title))
		}
		return err
	})
	return out, err
}

// customerCopy is built field by field: nothing of it refers back to the quote.
func (q Quote) customerCopy(plant string) CustomerQuote {
	c := CustomerQuote{ID: q.ID, Revision: q.Revision, Plant: plant, Customer: q.Customer, Title: q.Title, State: q.State, Made: q.Made,
		ValidUntil: q.ValidUntil, Currency: q.Currency, RateDate: q.RateDate, Cautions: []string{cautionQuantities}}
	for _, k := range q.Breaks {
		p := CustomerPrice{Quantity: k.Quantity, Price: k.Price, Total: k.Total, Minimum: k.Minimum, LeadDays: -1}
		p.Cans = append(p.Cans, k.Cans...)
		if k.Lead.Possible {
			p.LeadDays = k.Lead.Days
		}
		c.Prices = append(c.Prices, p)
	}
	if q.Shade != nil {
		c.Shade = &CustomerShade{q.Shade.InWords(), slices.Clone(q.Shade.Lights)}
		c.Cautions = append(c.Cautions, cautionDrawdown)
	}
	if q.Accepted != nil {
		accepted := *q.Accepted
		c.Accepted = &accepted
	}
	return c
}

// breakFor is the price of a quantity.
func (q Quote) breakFor(quantity mass.Mass) (QuoteBreak, bool) {
	for _, k := range q.Breaks {
		if k.Quantity == quantity {
			return k, true
		}
	}
	return QuoteBreak{}, false
}

// acceptance is how the revision was accepted.
func (q Quote) acceptance(v StoredQuote) *Acceptance {
	k, _ := q.breakFor(v.AcceptedQuantity)
	return &Acceptance{Quote: revisionID(q.ID, q.Revision), Quantity: v.AcceptedQuantity, Price: k.Price, Total: k.Total,
		Batch: v.AcceptedBatch, Due: v.AcceptedDue, Date: v.Accepted}
}
