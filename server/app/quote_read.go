package app

import (
	"context"
	"time"
)

// stateOn is the state of a revision on a day: what was not accepted by its last
// day has lapsed, and where an earlier revision was accepted the later is void.
func (v *StoredQuote) stateOn(today time.Time) QuoteState {
	switch state := QuoteState(v.State); {
	case state == QuoteAccepted && v.Revision != v.SentRevision:
		return QuoteReplaced
	case state != QuoteAccepted && state != QuoteReplaced && v.ValidUntil.Before(today):
		return QuoteLapsed
	default:
		return state
	}
}

// GetQuote reads a quote whole, as it was given: the newest revision of "id", or
// one by "id@2".
func (b *Book) GetQuote(ctx context.Context, id string) (Quote, error) {
	var q Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		q, err = b.readQuote(ctx, tx, id)
		return err
	})
	return q, err
}

func (b *Book) readQuote(ctx context.Context, tx Tx, id string) (Quote, error) {
	rec, err := tx.Quotes().Get(ctx, id)
	if err != nil {
		return Quote{}, absent(err, "quotes/"+id)
	}
	today, err := b.todayOf(ctx, tx)
	if err != nil {
		return Quote{}, err
	}
	return quoteOf(rec, today)
}

func (b *Book) todayOf(ctx context.Context, tx Tx) (time.Time, error) {
	_, today, err := b.plantToday(ctx, tx)
	return today, err
}

func (b *Book) plantToday(ctx context.Context, tx Tx) (Plant, time.Time, error) {
	plant, err := tx.Plant().Get(ctx)
	if err != nil {
		return Plant{}, time.Time{}, err
	}
	today, err := b.today(plant.Value)
	return plant.Value, today, err
}

// ListQuotes lists the newest revision of every quote; conditions: customer,
// state, formula.
func (b *Book) ListQuotes(ctx context.Context, query Query) ([]Quote, error) {
	var out []Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		out, _, err = b.listQuotes(ctx, tx, query)
		return err
	})
	return out, err
}

// ListQuoteRevisions lists all revisions of one quote, the first one first.
func (b *Book) ListQuoteRevisions(ctx context.Context, id string) ([]Quote, error) {
	var out []Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		out, _, err = b.listQuotes(ctx, tx, Query{Where: []Condition{{"quote", "=", id}}})
		if err == nil && len(out) == 0 {
			err = absent(ErrNotFound, "quotes/"+id)
		}
		return err
	})
	return out, err
}

func (b *Book) listQuotes(ctx context.Context, tx Tx, query Query) ([]Quote, Plant, error) {
	plant, today, err := b.plantToday(ctx, tx)
	if err != nil {
		return nil, plant, err
	}
	query.Where = lapsedByDate(query.Where, today)
	recs, err := tx.Quotes().List(ctx, query)
	if err != nil {
		return nil, plant, err
	}
	var out []Quote
	for _, rec := range recs {
		q, err := quoteOf(rec, today)
		if err != nil {
			return nil, plant, err
		}
		out = append(out, q)
	}
	return out, plant, nil
}

// lapsedByDate asks for the states as they are shown: an open quote lapses by
// its date, so a list of open ones leaves out what is past, and a list of lapsed
// ones goes by the date.
func lapsedByDate(where []Condition, today time.Time) []Condition {
	var out []Condition
	date := today.Format(time.DateOnly)
	for _, c := range where {
		switch {
		case c.Field != "state" || c.Op != "=" || c.Value == "accepted" || c.Value == "replaced":
			out = append(out, c)
		case c.Value == "lapsed":
			out = append(out, Condition{"valid_until", "<", date}, Condition{"state", "!=", "accepted"}, Condition{"state", "!=", "replaced"})
		default:
			out = append(out, c, Condition{"valid_until", ">=", date})
		}
	}
	return out
}
