package app

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// QuoteRequest is what a quote is asked for.
type QuoteRequest struct {
	ID             string
	Customer       string
	Formula        string // "id@3", or "id": the newest released revision
	Title          string // the ink as the customer knows it; empty: the material's title
	Quantities     []mass.Mass
	Basis          valuation.Basis
	Margin         *decimal.Decimal // percent of the price; nil: the plant's
	Currency       string           // empty: the plant's
	ValidUntil     time.Time
	Pack           string
	Minimum        money.Money // zero: none
	WithLaboratory bool
	Target         money.PerKg      // the price that is asked; zero: it follows from the margin
	FullBatches    bool             // quote full batches too
	Sequence       Sequence         // of shades, for washing up
	Shade          *QuoteShadeTerms `json:"-"` // instead of Formula: matched to a colour
}

// Quote is one revision of a quote as the plant sees it: it holds the formula, the
// cost and the margin, and must not leave the plant.
type Quote struct {
	ID             string
	Revision       int
	Version        int64 // of the quote as a whole: its etag
	Customer       string
	Formula        string // "id@3"; empty: matched to a shade
	State          QuoteState
	Made           time.Time // calendar date at the plant that its prices are of
	Sent           time.Time // calendar date; zero: not sent
	ValidUntil     time.Time
	Title          string
	Basis          valuation.Basis
	Margin         decimal.Decimal
	Currency       string
	PlantCurrency  string
	Rate           decimal.Decimal // plant currency per unit of the quote's
	RateDate       time.Time       // zero in the plant's own currency
	Pack           string
	Minimum        money.Money
	WithLaboratory bool
	Target         money.PerKg // zero: the prices follow from the margin
	FullBatches    bool
	Sequence       Sequence
	CappedBy       string // name of the offer that ends first; empty: ValidUntil is as asked
	Components     []QuoteComponent
	Shade          *QuoteShade // nil: from a formula
	Breaks         []QuoteBreak
	Assumptions    []string
	Accepted       *Acceptance // nil: this revision was not accepted
	Created        time.Time   // the quote's first revision
}

// QuoteComponent is one part of the quoted ink.
type QuoteComponent struct {
	Material        string
	Lot             string // empty: any
	Title           string
	PartsPerMillion int64
}

// QuoteBreak is one quantity of a quote.
type QuoteBreak struct {
	Quantity      mass.Mass
	Price         money.PerKg
	Total         money.Money
	Cost          money.Money // in the plant's currency, exact
	CostKg        money.PerKg
	Margin        money.Money     // Total less cost, in the quote's currency, exact
	MarginPercent decimal.Decimal // reached, of the price, to two places
	Minimum       bool            // Total is the minimum charge
	Batches       int
	Cans          []QuoteCans
	Lead          QuoteLead
	Lines         []CostLine
	FullBatch     bool        // not asked for: see Quote.FullBatches
	ByBasis       []BasisCost // the quote's basis first
}

// QuoteCans are the cans of one size that a quantity comes in.
type QuoteCans struct {
	Pack, Title string
	Count       int64
}

// QuoteLead is when a quantity can be had if it is ordered on the day of the
// quote.
type QuoteLead struct {
	Possible  bool
	Days      int // calendar days from the day of the quote
	Ready     time.Time
	DecidedBy Decides
	Reason    string // for the plant
}

// QuoteState is how far a revision of a quote is; the words are those of the API.
type QuoteState string

// The states of a revision. What was not accepted by its last day has lapsed,
// whatever the book says.
const (
	QuoteDraft    QuoteState = "draft"
	QuoteSent     QuoteState = "sent"
	QuoteAccepted QuoteState = "accepted"
	QuoteLapsed   QuoteState = "lapsed"
	QuoteReplaced QuoteState = "replaced" // by a later revision
)

// CreateQuote prices an ink at several quantities and keeps the quote whole.
func (b *Book) CreateQuote(ctx context.Context, r QuoteRequest, req Request) (Quote, error) {
	if err := r.check(); err != nil {
		return Quote{}, err
	}
	var out Quote
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		seen, err := seenBefore(ctx, tx, req, r.ID)
		if err != nil {
			return err
		}
		if seen != "" {
			out, err = b.readQuote(ctx, tx, seen)
			return err
		}
		p, err := b.priceQuote(ctx, tx, r)
		if err != nil {
			return err
		}
		rec, err := tx.Quotes().Create(ctx, StoredQuote{ID: r.ID, Customer: r.Customer, Formula: p.quote.Formula, State: string(QuoteDraft),
			ValidUntil: p.quote.ValidUntil, Made: p.quote.Made, Body: p.body, Inputs: p.inputs})
		if err != nil {
			return taken(err, "quotes/"+r.ID)
		}
		// What is answered now is what will be answered later: it is read from the
		// stored form.
		out, err = quoteOf(rec, p.quote.Made)
		return err
	})
	return out, err
}

// pricedQuote is a quote with the forms in which it is kept.
type pricedQuote struct {
	quote        Quote
	body, inputs json.RawMessage
}

// priceQuote works a quote out with the book as it stands.
func (b *Book) priceQuote(ctx context.Context, tx Tx, r QuoteRequest) (*pricedQuote, error) {
	if _, err := tx.ReadAhead(ctx, r.ahead()...); err != nil {
		return nil, err
	}
	s, err := b.loadSupply(ctx, tx)
	if err != nil {
		return nil, err
	}
	if r.ValidUntil.Before(s.today) {
		return nil, InvalidField("quote.valid_until_date", "%s is past; give today, %s, or later.",
			r.ValidUntil.Format(time.DateOnly), s.today.Format(time.DateOnly))
	}
	planning := b.beginPlans(s) // while the shade is matched
	f, shade, assumed, err := b.quotedOn(ctx, tx, s, &r)
	plans, planErr := planning.wait()
	if err == nil {
		err = planErr
	}
	if err != nil {
		return nil, err
	}
	p := &pricedQuote{}
	if p.quote, err = s.quote(r, f); err != nil {
		return nil, err
	}
	p.quote.Shade, p.quote.Assumptions = shade, append(assumed, p.quote.Assumptions...)
	if p.inputs, err = s.inputsOf(r, f); err != nil {
		return nil, err
	}
	if err := s.leadTimes(&p.quote, f, plans); err != nil {
		return nil, err
	}
	p.body, err = json.Marshal(bodyOf(p.quote))
	return p, err
}

// quotedOn is the formula that a quote is worked out from: the book's, or that of
// a mixture, with its shade and what was assumed of it.
func (b *Book) quotedOn(ctx context.Context, tx Tx, s *supply, r *QuoteRequest) (formula.Formula, *QuoteShade, []string, error) {
	if r.Shade == nil {
		f, err := quotedFormula(ctx, tx, r.Formula)
		return f, nil, nil, err
	}
	found, f, assumed, err := b.quotedShade(ctx, tx, s, r)
	if err == nil && r.Sequence.Lightness == nil && len(found.shade.Lights) > 0 {
		r.Sequence.Lightness = &found.shade.Lights[0].Predicted.L
	}
	return f, &found.shade, assumed, err
}

// ahead is what a quote lists of the book.
func (r *QuoteRequest) ahead() []Ahead {
	out := slices.Clone(supplyAhead)
	if r.Shade != nil && r.Shade.Found == nil {
		out = append(out, Ahead{List: AheadProperties}, Ahead{AheadLots, lotsInStock}, Ahead{AheadBatches, batchesFinished},
			Ahead{AheadSubstrates, r.Shade.Match.Print.substrate()}, Ahead{AheadCharacterisations, r.Shade.Match.Print.characterisations()})
	}
	return out
}

// check refuses what is wrong whatever the book holds.
func (r *QuoteRequest) check() error {
	var bad Invalid
	say := func(field, format string, args ...any) {
		bad = append(bad, FieldError{field, fmt.Sprintf(format, args...)})
	}
	if err := inventory.CheckID(r.ID); err != nil {
		say("quote_id", "%v", err)
	}
	if strings.TrimSpace(r.Customer) == "" {
		say("quote.customer", "say who it is for.")
	}
	switch {
	case r.Formula == "" && r.Shade == nil:
		say("quote.formula", "name the formula that is quoted, or give the shade that is to be matched.")
	case r.Formula != "" && r.Shade != nil:
		say("quote.shade", "a quote is from a formula or from a shade; leave one of them out.")
	}
	if len(r.Quantities) == 0 {
		say("quote.quantities_kg", "give at least one quantity.")
	}
	for i, q := range r.Quantities {
		if q <= 0 {
			say(fmt.Sprintf("quote.quantities_kg[%d]", i), "give a quantity above zero.")
		}
		if slices.Contains(r.Quantities[:i], q) {
			say(fmt.Sprintf("quote.quantities_kg[%d]", i), "%s stands there twice.", q)
		}
	}
	if m := r.Margin; m != nil && (m.Sign() < 0 || m.GreaterThanOrEqual(decimal.NewFromInt(100))) {
		say("quote.margin_percent", "the margin is a share of the price: from 0 to below 100 %%, not %s.", m)
	}
	var err error
	if r.Basis, err = checkBasis(r.Basis); err != nil {
		say("quote.cost_basis", "use lot, average, replacement or standard.")
	}
	if r.Target.Amount.Sign() < 0 || r.Target.Currency != "" && r.Target.Amount.IsZero() {
		say("quote.target_price_per_kg", "a price is above zero; leave it out for one that follows from the margin.")
	}
	if r.Minimum.Sign() < 0 {
		say("quote.minimum_charge", "a charge is zero or more.")
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}
