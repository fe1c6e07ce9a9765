package app_test

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"

	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/server/app"
)

// stockedWorks can make 100 kg of cyan, and so can promise a day.
func stockedWorks(t *testing.T) *mill {
	x := newWorks(t)
	for _, m := range []string{"base-blue", "varnish", "drier"} {
		x.stock(m+"-1", m, 200, "7", 0)
	}
	return x
}

// quoted makes and, when asked, sends a quote for 20 and 100 kg of cyan.
func (x *mill) quoted(id string, send bool) app.Quote {
	x.t.Helper()
	q, err := x.book.CreateQuote(x.t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.Quantities = id, []mass.Mass{20 * kilo, 100 * kilo} }), app.Request{})
	if err == nil && send {
		q, err = x.book.SendQuote(x.t.Context(), id, q.Version)
	}
	if err != nil {
		x.t.Fatal(err)
	}
	return q
}

// asBefore prices a quote again with the terms that it has.
func asBefore(q app.Quote) (app.QuoteRequest, error) {
	r := app.QuoteRequest{Formula: q.Formula, Title: q.Title, Basis: q.Basis, Margin: &q.Margin, Currency: q.Currency, ValidUntil: q.ValidUntil,
		Pack: q.Pack, Minimum: q.Minimum, WithLaboratory: q.WithLaboratory}
	for _, k := range q.Breaks {
		r.Quantities = append(r.Quantities, k.Quantity)
	}
	return r, nil
}

func (x *mill) revise(id string, change ...func(*app.QuoteRequest)) app.Quote {
	x.t.Helper()
	q, err := x.book.ReviseQuote(x.t.Context(), id, 0, func(q app.Quote) (app.QuoteRequest, error) {
		r, err := asBefore(q)
		for _, f := range change {
			f(&r)
		}
		return r, err
	}, app.Request{})
	if err != nil {
		x.t.Fatal(err)
	}
	return q
}

// refused checks the reason of a fault and that its sentence says what to do.
func refused(t *testing.T, what string, err error, reason, says string) {
	t.Helper()
	var fault *app.Fault
	if !errors.As(err, &fault) || fault.Reason != reason || !strings.Contains(fault.Message, says) {
		t.Errorf("%s: %v, want %s with %q", what, err, reason, says)
	}
}

func stateOf(x *mill, book *app.Book, name string) app.QuoteState {
	x.t.Helper()
	q, err := book.GetQuote(x.t.Context(), name)
	if err != nil {
		x.t.Fatal(err)
	}
	return q.State
}

func TestAQuoteFromDraftToBatch(t *testing.T) {
	x := stockedWorks(t)
	q := x.quoted("q-1", false)
	accept := func(r app.AcceptRequest, req app.Request) (app.Acceptance, error) {
		return x.book.AcceptQuote(t.Context(), r, req)
	}
	want := app.AcceptRequest{Quote: "q-1", Quantity: 100 * kilo}
	_, err := accept(want, app.Request{})
	refused(t, "a draft accepted", err, "NOT_SENT", "has to send it")
	desk := app.WithCaller(t.Context(), app.Caller{Key: "k", Role: app.OrderDesk})
	_, err = x.book.GetCustomerQuote(desk, "q-1")
	refused(t, "a draft read by the order desk", err, "NOT_SENT", "has to send it")
	if q, err = x.book.SendQuote(t.Context(), "q-1", q.Version); err != nil || q.State != app.QuoteSent || !q.Sent.Equal(x.today) {
		t.Fatalf("sent %+v, %v", q, err)
	}
	if again, err := x.book.SendQuote(t.Context(), "q-1", 0); err != nil || again.Version != q.Version {
		t.Errorf("sent twice: version %d after %d, %v", again.Version, q.Version, err)
	}
	if c, err := x.book.GetCustomerQuote(desk, "q-1"); err != nil || c.State != app.QuoteSent || c.Prices[1].LeadDays != q.Breaks[1].Lead.Days || c.Plant != "Works" {
		t.Errorf("the order desk reads %+v, %v", c, err)
	}
	_, err = accept(app.AcceptRequest{Quote: "q-1", Quantity: 50 * kilo}, app.Request{})
	if err == nil || !strings.Contains(err.Error(), "quantity_kg") || !strings.Contains(err.Error(), "20 kg, 100 kg") {
		t.Errorf("a quantity that was not quoted: %v", err)
	}
	_, err = accept(app.AcceptRequest{Quote: "q-1", Quantity: 100 * kilo, Due: x.today}, app.Request{})
	if err == nil || !strings.Contains(err.Error(), "due_date") || !strings.Contains(err.Error(), "too early") {
		t.Errorf("earlier than promised: %v", err)
	}
	req := app.Request{ID: uuid.NewString(), Method: "AcceptQuote", Digest: []byte("a")}
	a, err := accept(want, req)
	if err != nil || a.Quote != "q-1@1" || a.Batch != "q-1" || a.Total.String() != "1344 EUR" || !a.Due.Equal(x.day(q.Breaks[1].Lead.Days)) {
		t.Fatalf("accepted %+v, %v", a, err)
	}
	made, err := x.book.GetBatch(t.Context(), "q-1")
	if err != nil || made.Value.State != batch.Planned || made.Value.Formula != "cyan" || made.Value.FormulaRevision != 1 || made.Value.Quantity != 100*kilo ||
		!made.Value.DueDate.Equal(a.Due) || made.Value.Material != "cyan" {
		t.Errorf("planned %+v, %v", made.Value, err)
	}
	if again, err := accept(want, req); err != nil || fmt.Sprint(again) != fmt.Sprint(a) {
		t.Errorf("the same request again: %+v, %v; want %+v", again, err, a)
	}
	_, err = accept(want, app.Request{})
	refused(t, "accepted twice", err, "QUOTE_ACCEPTED", "make a new quote")
	_, err = x.book.ReviseQuote(t.Context(), "q-1", 0, asBefore, app.Request{})
	refused(t, "an accepted one revised", err, "QUOTE_ACCEPTED", "batches/q-1")
	_, err = x.book.SendQuote(t.Context(), "q-1", 0)
	refused(t, "an accepted one sent", err, "QUOTE_ACCEPTED", "make a new quote")
	if state := stateOf(x, x.book, "q-1"); state != app.QuoteAccepted {
		t.Errorf("it is %s", state)
	}
	late := app.New(x.store, nil, func() time.Time { return x.day(400) })
	if state := stateOf(x, late, "q-1"); state != app.QuoteAccepted {
		t.Errorf("a year later it is %s: what was accepted does not lapse", state)
	}
}

func TestAQuoteLapses(t *testing.T) {
	x := stockedWorks(t)
	x.quoted("q-sent", true)
	x.quoted("q-draft", false)
	late := app.New(x.store, nil, func() time.Time { return x.day(31) })
	for _, id := range []string{"q-sent", "q-draft"} {
		if state := stateOf(x, late, id); state != app.QuoteLapsed {
			t.Errorf("%s is %s", id, state)
		}
	}
	_, err := late.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-sent", Quantity: 20 * kilo}, app.Request{})
	refused(t, "a lapsed one accepted", err, "QUOTE_LAPSED", "Revise the quote")
	_, err = late.SendQuote(t.Context(), "q-draft", 0)
	refused(t, "a lapsed draft sent", err, "QUOTE_LAPSED", "Revise the quote")
	if _, err := late.GetBatch(t.Context(), "q-sent"); !errors.Is(err, app.ErrNotFound) {
		t.Errorf("a refused acceptance left a batch: %v", err)
	}
	_, err = late.ReviseQuote(t.Context(), "q-sent", 0, asBefore, app.Request{})
	if err == nil || !strings.Contains(err.Error(), "quote.valid_until_date") {
		t.Errorf("revised without a new last day: %v", err)
	}
	_, err = late.ReviseQuote(t.Context(), "q-sent", 0, func(q app.Quote) (app.QuoteRequest, error) {
		r, err := asBefore(q)
		r.ValidUntil = x.day(60)
		return r, err
	}, app.Request{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := late.SendQuote(t.Context(), "q-sent", 0); err != nil {
		t.Fatal(err)
	}
	if _, err := late.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-sent@2", Quantity: 20 * kilo}, app.Request{}); err != nil {
		t.Errorf("revised, sent and accepted: %v", err)
	}
}

// A customer holds what was sent last: a draft after it changes nothing, and one
// sent after it takes its place.
func TestOnlyTheRevisionSentLastIsAccepted(t *testing.T) {
	x := stockedWorks(t)
	x.quoted("q-1", true)
	x.quoted("q-2", true)
	for _, id := range []string{"q-1", "q-2"} {
		x.revise(id, func(r *app.QuoteRequest) { margin := dec("40"); r.Margin = &margin })
	}
	desk := app.WithCaller(t.Context(), app.Caller{Key: "k", Role: app.OrderDesk})
	for _, name := range []string{"q-1", "q-1@1"} {
		if c, err := x.book.GetCustomerQuote(desk, name); err != nil || c.Revision != 1 || c.Prices[1].Total.String() != "1344 EUR" {
			t.Errorf("%s for the customer: %+v, %v; the draft is no one's yet", name, c, err)
		}
	}
	_, err := x.book.GetCustomerQuote(desk, "q-1@2")
	refused(t, "a draft revision read", err, "NOT_SENT", "q-1@2")
	_, err = x.book.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-1@2", Quantity: 20 * kilo}, app.Request{})
	refused(t, "a draft revision accepted", err, "NOT_SENT", "q-1@2")
	if a, err := x.book.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-1", Quantity: 100 * kilo}, app.Request{}); err != nil || a.Quote != "q-1@1" || a.Total.String() != "1344 EUR" {
		t.Errorf("accepted beside a draft: %+v, %v", a, err)
	}
	for name, want := range map[string]app.QuoteState{"q-1@1": app.QuoteAccepted, "q-1@2": app.QuoteReplaced, "q-1": app.QuoteReplaced, "q-2@1": app.QuoteSent, "q-2": app.QuoteDraft} {
		if got := stateOf(x, x.book, name); got != want {
			t.Errorf("%s is %s, want %s", name, got, want)
		}
	}
	if _, err := x.book.SendQuote(t.Context(), "q-2", 0); err != nil {
		t.Fatal(err)
	}
	_, err = x.book.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-2@1", Quantity: 20 * kilo}, app.Request{})
	refused(t, "a replaced one accepted", err, "QUOTE_REPLACED", "q-2@2")
	list, err := x.book.ListQuoteRevisions(t.Context(), "q-2")
	if err != nil || len(list) != 2 || list[0].State != app.QuoteReplaced || list[1].State != app.QuoteSent || list[0].Breaks[1].Total.String() != "1344 EUR" {
		t.Errorf("revisions %+v, %v", list, err)
	}
	copies, err := x.book.ListCustomerQuotes(desk, app.Query{})
	if err != nil || len(copies) != 2 || copies[0].Revision != 1 || copies[0].State != app.QuoteAccepted || copies[1].Revision != 2 || copies[1].State != app.QuoteSent {
		t.Errorf("copies %+v, %v", copies, err)
	}
}

// Of many who accept at the same moment one is first, and one batch is planned.
func TestAcceptedOnceByMany(t *testing.T) {
	x := stockedWorks(t)
	x.quoted("q-1", true)
	var group sync.WaitGroup
	done := make(chan error, 8)
	for i := range cap(done) {
		group.Go(func() {
			_, err := x.book.AcceptQuote(t.Context(), app.AcceptRequest{Quote: "q-1", Quantity: 20 * kilo, Batch: "b-" + string(rune('a'+i))}, app.Request{})
			done <- err
		})
	}
	group.Wait()
	first := 0
	for range cap(done) {
		if err := <-done; err == nil {
			first++
		} else {
			refused(t, "later", err, "QUOTE_ACCEPTED", "make a new quote")
		}
	}
	batches, err := x.book.ListBatches(t.Context(), app.Query{})
	if first != 1 || err != nil || len(batches) != 1 {
		t.Errorf("%d were first, %d batches, %v", first, len(batches), err)
	}
}

// Sending and accepting stand for the formula, which must be fit for production;
// the order desk does not hear what is wrong with it.
func TestAQuoteOnAFormulaThatWasWithdrawn(t *testing.T) {
	x := stockedWorks(t)
	if _, err := x.book.CreateFormula(t.Context(), formula.Formula{ID: "draft", Title: "Draft", Material: "cyan",
		Ingredients: []formula.Ingredient{{Material: "varnish", PartsPerMillion: 1_000_000}}}, app.Request{}); err != nil {
		t.Fatal(err)
	}
	if _, err := x.book.CreateQuote(t.Context(), x.quoteFor(func(r *app.QuoteRequest) { r.ID, r.Formula = "q-draft", "draft@1" }), app.Request{}); err != nil {
		t.Fatal(err)
	}
	_, err := x.book.SendQuote(t.Context(), "q-draft", 0)
	refused(t, "sent on a draft formula", err, "NOT_RELEASED", "release it")
	x.quoted("q-1", true)
	if _, err := x.book.ReleaseFormula(t.Context(), "cyan@1", false); err != nil {
		t.Fatal(err)
	}
	want := app.AcceptRequest{Quote: "q-1", Quantity: 20 * kilo}
	_, err = x.book.AcceptQuote(app.WithCaller(t.Context(), app.Caller{Key: "k", Role: app.OrderDesk}), want, app.Request{})
	refused(t, "accepted by the desk", err, "NOT_AS_QUOTED", "have the ink maker revise")
	if strings.Contains(err.Error(), "cyan") || strings.Contains(err.Error(), "formula") {
		t.Errorf("the order desk reads %q", err)
	}
	_, err = x.book.AcceptQuote(app.WithCaller(context.Background(), app.Caller{Key: "k", Role: app.InkMaker}), want, app.Request{})
	if err == nil || !strings.Contains(err.Error(), "formulas/cyan@1 is not released") {
		t.Errorf("accepted by the ink maker: %v", err)
	}
}
