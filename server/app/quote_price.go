package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"millbase/costing/money"
	"millbase/costing/quote"
	"millbase/costing/rollup"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// quotedFormula is the revision named, or the newest released one.
func quotedFormula(ctx context.Context, tx Tx, name string) (formula.Formula, error) {
	rec, err := tx.Formulas().Get(ctx, name)
	if err != nil {
		return formula.Formula{}, missing(err, "quote.formula", "formulas/"+name)
	}
	if strings.Contains(name, "@") || rec.Value.Released {
		return rec.Value, nil
	}
	f, err := newestReleased(ctx, tx, name)
	if err == nil && !f.Released {
		err = Faultf(ErrNotReady, "NOT_RELEASED", "formulas/"+name,
			"formulas/%s has no released revision; release one, or name the revision to quote, as in formulas/%s.", name, revisionID(name, rec.Value.Revision))
	}
	return f, err
}

// quote works a quote out, all but when it can be had. It hangs on the supply and
// its arguments only, so that it can be done again later.
func (s *supply) quote(r QuoteRequest, f formula.Formula) (Quote, error) {
	rate, perUnit, err := s.quoteRate(&r)
	if err != nil {
		return Quote{}, err
	}
	cans, err := s.cans(r.Pack, "quote.pack")
	if err != nil {
		return Quote{}, err
	}
	q := Quote{ID: r.ID, Customer: r.Customer, State: QuoteDraft, Made: s.today, ValidUntil: r.ValidUntil,
		Title: r.Title, Basis: r.Basis, Margin: s.plant.MarginPercent, Currency: rate.To, PlantCurrency: s.plant.Currency,
		Rate: perUnit.Value, RateDate: perUnit.Date, Pack: r.Pack, Minimum: r.Minimum, WithLaboratory: r.WithLaboratory,
		Target: r.Target, FullBatches: r.FullBatches, Sequence: r.Sequence}
	if f.Revision > 0 { // one that is matched is not in the book yet
		q.Formula = revisionID(f.ID, f.Revision)
	}
	if r.Margin != nil {
		q.Margin = *r.Margin
	}
	if q.Title == "" {
		q.Title = s.title(f.Material)
	}
	for _, in := range f.Ingredients {
		q.Components = append(q.Components, QuoteComponent{in.Material, in.Lot, s.title(in.Material), in.PartsPerMillion})
	}
	if !f.Released {
		q.Assumptions = append(q.Assumptions, fmt.Sprintf("formulas/%s is not released.", q.Formula))
	}
	if rate.To != rate.From {
		q.Assumptions = append(q.Assumptions, fmt.Sprintf("One %s is worth %s %s, the rate of %s.", rate.To, perUnit.Value, rate.From, perUnit.Date.Format(time.DateOnly)))
	}
	quantities := slices.Sorted(slices.Values(r.Quantities))
	if r.FullBatches {
		quantities = s.withFullBatches(f, quantities)
	}
	var assumed [][]string
	for _, quantity := range quantities {
		brk, taken, err := s.quoteBreak(r, &q, f, quantity, rate, cans)
		if err != nil {
			return Quote{}, err
		}
		brk.FullBatch = !slices.Contains(r.Quantities, quantity)
		q.Breaks, assumed = append(q.Breaks, brk), append(assumed, taken)
	}
	if q.CappedBy != "" {
		q.Assumptions = append(q.Assumptions, fmt.Sprintf("It holds until %s and not until %s: %s, which its costs rest on, ends then.",
			q.ValidUntil.Format(time.DateOnly), r.ValidUntil.Format(time.DateOnly), q.CappedBy))
	}
	q.Assumptions = append(q.Assumptions, forAll(quantities, assumed)...)
	return q, nil
}

// capped shortens how long a quote holds to the first end of the offers that its
// costs rest on.
func (q *Quote) capped(restsOn map[string]time.Time) {
	for _, name := range sortedKeys(restsOn) {
		if until := restsOn[name]; until.Before(q.ValidUntil) {
			q.ValidUntil, q.CappedBy = until, name
		}
	}
}

// forAll lists what is assumed for every quantity once, and then what is assumed
// for some, under their quantity.
func forAll(quantities []mass.Mass, assumed [][]string) []string {
	times := map[string]int{}
	for _, list := range assumed {
		for _, a := range list {
			times[a]++
		}
	}
	var common, own []string
	for i, list := range assumed {
		for _, a := range list {
			switch {
			case times[a] < len(quantities):
				own = append(own, quantities[i].String()+": "+a)
			case i == 0:
				common = append(common, a)
			}
		}
	}
	return append(common, own...)
}

// quoteBreak prices one quantity. Each is costed on the whole book: the
// quantities of a quote are alternatives, they do not share the lots.
func (s *supply) quoteBreak(r QuoteRequest, q *Quote, f formula.Formula, quantity mass.Mass, rate money.Rate, cans []rollup.Can) (QuoteBreak, []string, error) {
	c := s.costing(r.Basis, s.today)
	c.sequence = r.Sequence
	if r.WithLaboratory {
		c.once = []rollup.OverheadLine{{Name: "laboratory", Cost: money.Money{Currency: s.plant.Currency, Amount: s.plant.LaboratoryCharge}}}
	}
	book, err := c.book(f, quantity)
	if err != nil {
		return QuoteBreak{}, nil, ofQuote(err)
	}
	made, err := quote.Make(quote.Request{Reference: q.ID, Customer: q.Customer, Product: q.Title, Book: book, Formula: revisionID(f.ID, f.Revision),
		Quantities: []mass.Mass{quantity}, Cans: cans, Margins: []quote.MarginBreak{{Percent: q.Margin}}, Target: r.Target, Minimum: r.Minimum, Rate: rate,
		PricePlaces: money.MinorUnits(rate.To), Date: s.today,
		// The last day counts to its end, so that a quote may be for today.
		ValidUntil: r.ValidUntil.Add(12 * time.Hour)})
	if errors.Is(err, quote.ErrRequest) {
		return QuoteBreak{}, nil, InvalidField("quote", "%v.", err)
	}
	if err != nil {
		return QuoteBreak{}, nil, ofQuote(costFault(err, f))
	}
	line := made.Lines[0]
	answer, err := c.answer(f, line.Cost)
	if err != nil {
		return QuoteBreak{}, nil, err
	}
	if line.Minimum {
		answer.Assumptions = append(answer.Assumptions, fmt.Sprintf("The minimum charge of %s applies.", r.Minimum.Format()))
	}
	brk := QuoteBreak{Quantity: quantity, Price: line.Price, Total: line.Total, Cost: line.Cost.Total, CostKg: answer.PerKg,
		Margin: line.Margin, MarginPercent: line.Percent, Minimum: line.Minimum, Batches: mixerBatches(line.Cost), Lines: answer.Lines}
	q.capped(c.restsOn)
	if brk.ByBasis, err = c.byBasis(f, answer, cans); err != nil {
		return QuoteBreak{}, nil, ofQuote(err)
	}
	for _, p := range line.Cost.Packaging {
		brk.Cans = append(brk.Cans, QuoteCans{p.Can, s.packTitle(p.Can), p.Count})
	}
	return brk, answer.Assumptions, nil
}

// ofQuote names the field of a quote where a cost's refusal names that of a cost.
func ofQuote(err error) error {
	var invalid Invalid
	if !errors.As(err, &invalid) {
		return err
	}
	out := slices.Clone(invalid)
	for i := range out {
		if out[i].Field == "quantity_kg" {
			out[i].Field = "quote.quantities_kg"
		}
	}
	return out
}

// mixerBatches is how many charges of the mixers the quantity takes.
func mixerBatches(r rollup.Result) int {
	most := int64(1)
	for _, s := range r.Steps {
		if s.Kind == rollup.Premix || s.Kind == rollup.LetDown {
			most = max(most, s.Runs)
		}
	}
	return int(most)
}

// ratePlaces is to how many decimals the inverse of an exchange rate is kept.
const ratePlaces = 18

// quoteRate is the rate from the plant's currency to the quote's, and the one
// the plant keeps, the other way round. The inverse is rounded down: the price
// is rounded up afterwards, so it never costs the customer a cent too much.
func (s *supply) quoteRate(r *QuoteRequest) (rate, kept money.Rate, err error) {
	if r.Currency == "" {
		r.Currency = s.plant.Currency
	}
	kept, ok := s.plant.exchange(r.Currency)
	if !ok {
		return rate, kept, InvalidField("quote.currency_code", "the plant has no exchange rate for %s; enter one in the plant's figures, or quote in %s.", r.Currency, s.plant.Currency)
	}
	if r.Minimum.Currency != "" && r.Minimum.Currency != r.Currency {
		return rate, kept, InvalidField("quote.minimum_charge", "it is in %s, the quote in %s; give both in one currency.", r.Minimum.Currency, r.Currency)
	}
	if r.Currency == s.plant.Currency {
		return kept, kept, nil
	}
	rate, err = kept.Inverse(ratePlaces, money.RoundDown)
	return rate, kept, err
}
