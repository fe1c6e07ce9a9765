package refusals

import (
	"github.com/google/uuid"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func (b *book) quote() *pb.Quote {
	return &pb.Quote{Customer: "Millgate Press", Formula: "formulas/cyan@1", QuantitiesKg: []float64{20}, ValidUntilDate: b.due, MinimumCharge: eur(50)}
}

// quoted makes a quote of its own, with as many revisions, and sends the last of
// them when asked.
func (b *book) quoted(revisions int, send bool) string {
	b.t.Helper()
	quotes, id := pb.NewQuoteServiceClient(b.server.As(app.Admin)), b.fresh("q")
	_, err := quotes.CreateQuote(b.t.Context(), &pb.CreateQuoteRequest{QuoteId: id, Quote: b.quote()})
	must(b.t, 0, err)
	for range revisions - 1 {
		_, err := quotes.ReviseQuote(b.t.Context(), &pb.ReviseQuoteRequest{Name: "quotes/" + id})
		must(b.t, 0, err)
	}
	if send {
		_, err := quotes.SendQuote(b.t.Context(), &pb.SendQuoteRequest{Name: "quotes/" + id})
		must(b.t, 0, err)
	}
	return "quotes/" + id
}

func (b *book) goodQuotes() map[string]func() proto.Message {
	return map[string]func() proto.Message{
		"CreateQuote": func() proto.Message {
			return &pb.CreateQuoteRequest{QuoteId: b.fresh("q"), Quote: b.quote(), RequestId: uuid.NewString()}
		},
		"GetQuote":           func() proto.Message { return &pb.GetQuoteRequest{Name: "quotes/q-1"} },
		"ListQuotes":         func() proto.Message { return &pb.ListQuotesRequest{} },
		"ListQuoteRevisions": func() proto.Message { return &pb.ListQuoteRevisionsRequest{Name: "quotes/q-1"} },
		"ReviseQuote": func() proto.Message {
			return &pb.ReviseQuoteRequest{Name: b.quoted(1, false), Quote: b.quote(), RequestId: uuid.NewString()}
		},
		"SendQuote": func() proto.Message { return &pb.SendQuoteRequest{Name: b.quoted(1, false)} },
		"AcceptQuote": func() proto.Message {
			return &pb.AcceptQuoteRequest{Name: b.quoted(1, true), QuantityKg: 20, BatchId: b.fresh("b"), DueDate: b.due, RequestId: uuid.NewString()}
		},
		"CompareQuoteRevisions": func() proto.Message { return &pb.CompareQuoteRevisionsRequest{Name: b.quoted(2, false)} },
		"RebuildQuote":          func() proto.Message { return &pb.RebuildQuoteRequest{Name: "quotes/q-1"} },
		"GetCustomerQuote":      func() proto.Message { return &pb.GetCustomerQuoteRequest{Name: "quotes/q-1"} },
		"ListCustomerQuotes":    func() proto.Message { return &pb.ListCustomerQuotesRequest{} },
	}
}
