package plantday

import (
	"net/http"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/server/servertest"
)

// harbourBlue asks for a quote of a muted blue on uncoated paper, 120 kg and two
// more quantities.
func harbourBlue(change ...func(*pb.CreateQuoteRequest)) *pb.CreateQuoteRequest {
	r := &pb.CreateQuoteRequest{QuoteId: "q-blue", RequestId: uuid.NewString(), Quote: &pb.Quote{
		Customer: "Millgate Press", Title: "Harbour blue 2", QuantitiesKg: []float64{120, 25, 60}, Pack: "tin-2-5", WithLaboratoryCharge: true,
		ValidUntilDate: time.Now().AddDate(0, 0, 30).Format(time.DateOnly),
		Shade: &pb.QuoteShade{Material: "materials/harbour-blue-2", Match: &pb.MatchShadeRequest{
			Target: &pb.ShadeTarget{Lab: &pb.Lab{L: 52, A: -12, B: -22}}, Print: &pb.ShadePrint{Substrate: "substrates/uncoated-white"}, ToleranceDe00: 1}}}}
	for _, f := range change {
		f(r)
	}
	return r
}

// A colour is matched, quoted, sent, read by the order desk, accepted: then the
// ink, its released formula and its planned batch stand in the book.
func TestAQuoteFromAShade(t *testing.T) {
	s := plant(t)
	ctx, maker := t.Context(), pb.NewQuoteServiceClient(s.As(app.InkMaker))
	q, err := maker.CreateQuote(ctx, harbourBlue())
	must(t, 0, err)
	sum := 0.0
	for _, c := range q.Components {
		sum += c.Share
		if c.Lot == "" || !strings.HasPrefix(c.Material, "materials/") {
			t.Errorf("component %v", c)
		}
	}
	first := q.Shade.Lights[0]
	if sum < 1-1e-9 || sum > 1+1e-9 || q.Formula != "" || first.GetDe00() > 1.0001 || len(q.Breaks) != 3 || q.Shade.Match.QuantityKg != 120 || q.Shade.PredictedCurve == nil {
		t.Errorf("quoted %v", q)
	}
	again, err := maker.RebuildQuote(ctx, &pb.RebuildQuoteRequest{Name: "quotes/q-blue"})
	must(t, 0, err)
	if !again.Same {
		t.Errorf("rebuilt %v", again)
	}
	revised, err := maker.ReviseQuote(ctx, &pb.ReviseQuoteRequest{Name: "quotes/q-blue", Quote: &pb.Quote{MarginPercent: "40"}})
	must(t, 0, err)
	if len(revised.Components) != len(q.Components) || !proto.Equal(revised.Components[0], q.Components[0]) || !proto.Equal(revised.Shade.PredictedCurve, q.Shade.PredictedCurve) {
		t.Errorf("priced again it is another mixture: %v", revised.Components)
	}
	if _, err = maker.ReviseQuote(ctx, &pb.ReviseQuoteRequest{Name: "quotes/q-blue", MatchAgain: true, Quote: &pb.Quote{QuantitiesKg: []float64{80}}}); err != nil {
		t.Errorf("matched again for another quantity: %v", err)
	}
	_, err = maker.SendQuote(ctx, &pb.SendQuoteRequest{Name: "quotes/q-blue"})
	must(t, 0, err)
	acceptedByTheDesk(t, s)
}

func acceptedByTheDesk(t *testing.T, s *servertest.Server) {
	t.Helper()
	ctx, desk, maker := t.Context(), pb.NewQuoteServiceClient(s.As(app.OrderDesk)), s.As(app.InkMaker)
	seen, err := desk.GetCustomerQuote(ctx, &pb.GetCustomerQuoteRequest{Name: "quotes/q-blue"})
	must(t, 0, err)
	if seen.Revision != 3 || !strings.Contains(seen.Shade.GetInWords(), "under D50/2") || len(seen.Prices) != 1 || seen.Prices[0].LeadTimeDays == nil || len(seen.Prices[0].Cans) == 0 {
		t.Errorf("the desk reads %v", seen)
	}
	a, err := desk.AcceptQuote(ctx, &pb.AcceptQuoteRequest{Name: "quotes/q-blue", QuantityKg: 80, BatchId: "b-blue", RequestId: uuid.NewString()})
	must(t, 0, err)
	b, err := pb.NewBatchServiceClient(maker).GetBatch(ctx, &pb.GetBatchRequest{Name: a.Batch})
	must(t, 0, err)
	f, err := pb.NewFormulaServiceClient(maker).GetFormula(ctx, &pb.GetFormulaRequest{Name: b.Formula})
	must(t, 0, err)
	m, err := pb.NewMaterialServiceClient(maker).GetMaterial(ctx, &pb.GetMaterialRequest{Name: "materials/harbour-blue-2"})
	must(t, 0, err)
	if b.QuantityKg != 80 || b.DueDate != a.DueDate || b.Material != "materials/harbour-blue-2" || !f.Released || len(f.Route) == 0 || m.MaterialClass != pb.MaterialClass_MATERIAL_CLASS_INK || m.Title != "Harbour blue 2" {
		t.Errorf("accepted as %v: %v of %v, %v", a, b, f, m)
	}
	if _, err := pb.NewBatchServiceClient(maker).ReserveBatch(ctx, &pb.ReserveBatchRequest{Name: a.Batch}); err != nil {
		t.Errorf("the batch can't be reserved: %v", err)
	}
	if answer := s.REST(app.OrderDesk, http.MethodGet, "/v1/customerQuotes?filter=state%3Daccepted", nil); answer.Status != http.StatusOK || !strings.Contains(string(answer.Raw), "q-blue") {
		t.Errorf("accepted quotes over REST: %d %s", answer.Status, answer.Raw)
	}
}

// What can't be matched is refused in words that say what to do, and bad fields by
// their path.
func TestAQuoteOnAShadeIsRefused(t *testing.T) {
	s := plant(t)
	maker := pb.NewQuoteServiceClient(s.As(app.InkMaker))
	for name, c := range map[string]struct {
		code   codes.Code
		says   string
		change func(*pb.CreateQuoteRequest)
	}{
		"out of reach": {codes.FailedPrecondition, "quote the closest", func(r *pb.CreateQuoteRequest) {
			r.Quote.Shade.Match.Target.Lab = &pb.Lab{L: 80, A: -90, B: 90}
		}},
		"both":             {codes.InvalidArgument, "quote.shade", func(r *pb.CreateQuoteRequest) { r.Quote.Formula = "formulas/spot-plum" }},
		"neither":          {codes.InvalidArgument, "quote.formula", func(r *pb.CreateQuoteRequest) { r.Quote.Shade = nil }},
		"no question":      {codes.InvalidArgument, "quote.shade.match", func(r *pb.CreateQuoteRequest) { r.Quote.Shade.Match = nil }},
		"substrate":        {codes.NotFound, "substrates/none", func(r *pb.CreateQuoteRequest) { r.Quote.Shade.Match.Print.Substrate = "substrates/none" }},
		"no title":         {codes.InvalidArgument, "quote.title", func(r *pb.CreateQuoteRequest) { r.Quote.Title = "" }},
		"a raw material":   {codes.InvalidArgument, "quote.shade.material", func(r *pb.CreateQuoteRequest) { r.Quote.Shade.Material = "materials/base-blue" }},
		"another quantity": {codes.InvalidArgument, "quote.shade.match.quantity_kg", func(r *pb.CreateQuoteRequest) { r.Quote.Shade.Match.QuantityKg = 7 }},
		"book": {codes.InvalidArgument, "quote.shade.match.book.materials[0]", func(r *pb.CreateQuoteRequest) {
			r.Quote.Shade.Match.Book = &pb.BookCandidates{Materials: []string{"materials/none"}}
		}},
	} {
		_, err := maker.CreateQuote(t.Context(), harbourBlue(c.change))
		if status.Code(err) != c.code || !strings.Contains(protojson.Format(status.Convert(err).Proto()), c.says) {
			t.Errorf("%s: %v, want %s with %q", name, err, c.code, c.says)
		}
	}
	q, err := maker.CreateQuote(t.Context(), harbourBlue(func(r *pb.CreateQuoteRequest) {
		r.Quote.Shade.Match.Target.Lab, r.Quote.Shade.Offer = &pb.Lab{L: 80, A: -90, B: 90}, pb.ShadeOfferKind_SHADE_OFFER_KIND_CLOSEST
	}))
	if err != nil || q.Shade.Lights[0].GetDe00() < 1 || !strings.Contains(strings.Join(q.Assumptions, " "), "away") {
		t.Errorf("the closest to what is out of reach: %v, %v", q.GetAssumptions(), err)
	}
}
