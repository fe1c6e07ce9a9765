package app

import (
	"context"
	"time"
)

// SendQuote marks the newest revision as sent: the order desk may read its
// customer copy from now on, and the customer may accept it. By sending, the ink
// maker stands for the formula, so a formula must be released. Doing it twice
// changes nothing. version is the etag that was read; 0 skips the check.
func (b *Book) SendQuote(ctx context.Context, id string, version int64) (Quote, error) {
	var out Quote
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		rec, today, err := b.quoteToChange(ctx, tx, id, version)
		if err != nil {
			return err
		}
		v := rec.Value
		switch v.stateOn(today) {
		case QuoteSent:
			out, err = quoteOf(rec, today)
			return err
		case QuoteLapsed:
			return lapsed(&v)
		}
		if err := b.mayBeSent(ctx, tx, &v); err != nil {
			return err
		}
		v.State, v.SentRevision, v.Sent = string(QuoteSent), v.Revision, today
		if rec, err = tx.Quotes().Update(ctx, v, rec.Version); err != nil {
			return err
		}
		out, err = quoteOf(rec, today)
		return err
	})
	return out, err
}

// mayBeSent refuses a quote on a formula that production may not use.
func (b *Book) mayBeSent(ctx context.Context, tx Tx, v *StoredQuote) error {
	if v.Formula == "" {
		return nil
	}
	f, err := tx.Formulas().Get(ctx, v.Formula)
	if err != nil {
		return err
	}
	if !f.Value.Released {
		return Faultf(ErrNotReady, "NOT_RELEASED", "formulas/"+v.Formula,
			"formulas/%s is not released; release it, or revise the quote with a released one, before quotes/%s is sent.", v.Formula, v.ID)
	}
	return nil
}

// quoteToChange reads the newest revision of a quote that may still change.
func (b *Book) quoteToChange(ctx context.Context, tx Tx, id string, version int64) (Record[StoredQuote], time.Time, error) {
	rec, err := tx.Quotes().Get(ctx, id)
	if err != nil {
		return rec, time.Time{}, absent(err, "quotes/"+id)
	}
	if version != 0 && version != rec.Version {
		return rec, time.Time{}, stale("quotes/" + id)
	}
	if rec.Value.State == string(QuoteAccepted) {
		return rec, time.Time{}, alreadyAccepted(&rec.Value)
	}
	today, err := b.todayOf(ctx, tx)
	return rec, today, err
}

func alreadyAccepted(v *StoredQuote) error {
	return Faultf(ErrNotReady, "QUOTE_ACCEPTED", "quotes/"+v.ID, "quotes/%s was accepted on %s for %s (batches/%s); for anything else make a new quote.",
		revisionID(v.ID, v.SentRevision), v.Accepted.Format(time.DateOnly), v.AcceptedQuantity, v.AcceptedBatch)
}

func lapsed(v *StoredQuote) error {
	return Faultf(ErrNotReady, "QUOTE_LAPSED", "quotes/"+v.ID, "quotes/%s lapsed: it held until %s. Revise the quote at today's prices and send that.",
		revisionID(v.ID, v.Revision), v.ValidUntil.Format(time.DateOnly))
}
