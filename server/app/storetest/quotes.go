package storetest

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// drawQuote draws a sent quote whose terms hang on its id only: a revision says
// the same for good.
func drawQuote(t *rapid.T, id string) app.StoredQuote {
	return app.StoredQuote{ID: id, Revision: 1, Customer: "customer of " + id, Formula: "f-1@1", Body: bodyFor(id, 1),
		ValidUntil: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC), State: "sent", SentRevision: 1, Sent: dates.Draw(t, "sent on")}
}

func bodyFor(id string, revision int) json.RawMessage {
	return json.RawMessage(fmt.Sprintf(`{"note": "%s",  "total": "%d.10"}`, id, revision))
}

// testQuoteRevisions revises, sends and accepts quotes at random beside a model
// of them, and tries what is forbidden.
func testQuoteRevisions(t *testing.T, s app.Store) {
	update(t, s, func(tx app.Tx) error {
		_, err := tx.Batches().Create(t.Context(), batch.Batch{ID: "b-quote", Material: "m-1", Quantity: mass.Kilogram, State: batch.Planned})
		return err
	})
	n := 0
	rapid.Check(t, func(rt *rapid.T) {
		n++
		id := fmt.Sprintf("q-%06d", n)
		model := []app.StoredQuote{{ID: id, Revision: 1, Customer: "A", Formula: "f-1@1", State: "draft", Body: bodyFor(id, 1)}}
		put := func(v app.StoredQuote) error {
			return s.Update(t.Context(), func(ctx context.Context, tx app.Tx) (err error) {
				if v.Revision == 1 && v.SentRevision == 0 {
					_, err = tx.Quotes().Create(ctx, v)
				} else {
					_, err = tx.Quotes().Update(ctx, v, 0)
				}
				return err
			})
		}
		if err := put(model[0]); err != nil {
			rt.Fatal(err)
		}
		for range rapid.IntRange(1, 6).Draw(rt, "steps") {
			next := model[len(model)-1]
			if rapid.Bool().Draw(rt, "revise") {
				next.Revision++
				next.State, next.Sent, next.Body = "draft", time.Time{}, bodyFor(id, next.Revision)
				model = append(model, next)
			} else {
				next.State, next.SentRevision, next.Sent = "sent", next.Revision, dates.Draw(rt, "on")
				model[len(model)-1] = next
			}
			if err := put(next); err != nil {
				rt.Fatal(err)
			}
		}
		checkQuoteModel(t, rt, s, model)
		head := model[len(model)-1]
		for name, spoil := range map[string]func(*app.StoredQuote){
			"what a revision says": func(q *app.StoredQuote) { q.Body = bodyFor(id, 99) },
			"the customer":         func(q *app.StoredQuote) { q.Revision++; q.Customer = "B" },
			"a revision left out":  func(q *app.StoredQuote) { q.Revision += 2 },
			"an older revision":    func(q *app.StoredQuote) { q.Revision-- },
			"unsending":            func(q *app.StoredQuote) { q.State, q.SentRevision = "draft", head.SentRevision-1 },
		} {
			v := head
			spoil(&v)
			if err := put(v); err == nil || strings.Contains(err.Error(), "SQLSTATE") {
				rt.Errorf("%s: %v, want a refusal in words", name, err)
			}
		}
		if head.SentRevision > 0 {
			acceptQuote(rt, head, put)
		}
	})
}

func acceptQuote(rt *rapid.T, head app.StoredQuote, put func(app.StoredQuote) error) {
	half := head
	half.State = "accepted"
	var invalid app.Invalid
	if err := put(half); !errors.As(err, &invalid) || invalid[0].Field != "state" {
		rt.Errorf("accepted without a day: %v", err)
	}
	head.State, head.Accepted, head.AcceptedQuantity = "accepted", time.Date(2026, 4, 2, 0, 0, 0, 0, time.UTC), mass.Kilogram
	head.AcceptedDue, head.AcceptedBatch = head.Accepted.AddDate(0, 0, 9), "b-quote"
	if err := put(head); err != nil {
		rt.Fatal(err)
	}
	head.Revision++
	if err := put(head); !errors.Is(err, app.ErrConflict) || !strings.Contains(err.Error(), "accepted") {
		rt.Errorf("an accepted quote changed: %v", err)
	}
}

// checkQuoteModel reads every revision alone and in lists.
func checkQuoteModel(t *testing.T, rt *rapid.T, s app.Store, model []app.StoredQuote) {
	head := model[len(model)-1]
	for i := range model[:len(model)-1] {
		model[i].State, model[i].SentRevision = "replaced", head.SentRevision
		if model[i].Revision == head.SentRevision {
			model[i].State = "sent"
		}
	}
	view(t, s, func(tx app.Tx) error {
		newest, err := tx.Quotes().Get(t.Context(), head.ID)
		if err != nil {
			return err
		}
		same(rt, "newest", newest.Value, head)
		for _, v := range model {
			rec, err := tx.Quotes().Get(t.Context(), fmt.Sprintf("%s@%d", v.ID, v.Revision))
			if err != nil {
				return err
			}
			same(rt, "revision", rec.Value, v)
		}
		_, err = tx.Quotes().Get(t.Context(), fmt.Sprintf("%s@%d", head.ID, len(model)+1))
		wantFault(t, err, app.ErrNotFound, "there is no")
		all, err := tx.Quotes().List(t.Context(), app.Query{Where: []app.Condition{{Field: "quote", Op: "=", Value: head.ID}}})
		if err != nil {
			return err
		}
		same(rt, "all revisions", values(all), model)
		sent, err := tx.Quotes().List(t.Context(), app.Query{Where: []app.Condition{{Field: "sent", Op: "=", Value: "true"}, {Field: "id", Op: "=", Value: head.ID}}})
		if err != nil {
			return err
		}
		want := []app.StoredQuote{}
		if head.SentRevision > 0 {
			want = append(want, model[head.SentRevision-1])
		}
		same(rt, "sent last", values(sent), want)
		return nil
	})
}

func values[T any](recs []app.Record[T]) []T {
	out := []T{}
	for _, r := range recs {
		out = append(out, r.Value)
	}
	return out
}
