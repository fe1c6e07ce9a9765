package app

import (
	"context"
	"time"
)

// ReviseQuote prices a quote again as its next revision: change makes the new
// request from the newest revision. The revisions before stay as they are. It
// may be called more than once. version is the etag that was read; 0 skips the
// check.
func (b *Book) ReviseQuote(ctx context.Context, id string, version int64, change func(Quote) (QuoteRequest, error), req Request) (Quote, error) {
	var out Quote
	err := b.store.Update(ctx, func(ctx context.Context, tx Tx) error {
		head, err := tx.Quotes().Get(ctx, id)
		if err != nil {
			return absent(err, "quotes/"+id)
		}
		next := revisionID(id, head.Value.Revision+1)
		seen, err := seenBefore(ctx, tx, req, next)
		if err != nil {
			return err
		}
		if seen != "" {
			out, err = b.readQuote(ctx, tx, seen)
			return err
		}
		rec, today, err := b.quoteToChange(ctx, tx, id, version)
		if err != nil {
			return err
		}
		now, err := quoteOf(rec, today)
		if err != nil {
			return err
		}
		r, err := change(now)
		if err != nil {
			return err
		}
		r.ID, r.Customer = id, now.Customer
		if err := r.check(); err != nil {
			return err
		}
		p, err := b.priceQuote(ctx, tx, r)
		if err != nil {
			return err
		}
		v := rec.Value
		v.Revision++
		v.Formula, v.State, v.ValidUntil, v.Made, v.Sent, v.Body = p.quote.Formula, string(QuoteDraft), p.quote.ValidUntil, p.quote.Made, time.Time{}, p.body
		v.Inputs = p.inputs
		if rec, err = tx.Quotes().Update(ctx, v, rec.Version); err != nil {
			return err
		}
		out, err = quoteOf(rec, p.quote.Made)
		return err
	})
	return out, err
}
