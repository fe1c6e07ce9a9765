package rpc_test

import (
	"context"
	"strings"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// By hand, 100 kg on the lot basis: base 62.5 x 7 + varnish 61.25 x 7 + drier at its
// standard 1.25 x 9 = 877.50; let-down 1.5 h x 60 and wash-up 0.5 h x 60, test 40,
// canning 0.625 h x 36: 182.50; overhead a tenth of each: 1166, 11.66 a kilogram.
func TestCostFormula(t *testing.T) {
	s := works(t)
	for _, role := range []app.Role{app.InkMaker, app.Purchasing} {
		c := must[*pb.FormulaCost](t)(pb.NewFormulaServiceClient(s.As(role)).CostFormula(t.Context(), &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 100}))
		if c.GetTotal().GetUnits() != 1166 || c.GetTotal().GetNanos() != 0 || c.GetTotal().GetCurrencyCode() != "EUR" || c.GetPerKg().GetNanos() != 660_000_000 ||
			c.GetChargeKg() != 125 || c.GetFormula() != "formulas/recipe@1" || c.GetCostBasis() != pb.CostBasis_COST_BASIS_LOT {
			t.Errorf("%v", c)
		}
		sum := 0.0
		for _, l := range c.GetLines() {
			sum += money(l.GetAmount())
			if l.GetKind() == pb.CostLine_KIND_UNSPECIFIED || l.GetTitle() == "" {
				t.Errorf("line %v", l)
			}
		}
		near(t, "sum of the lines", sum, 1166, 1e-9)
		if len(c.GetAssumptions()) == 0 {
			t.Error("nothing is said of what was assumed")
		}
	}
	cost := func(role app.Role, r *pb.CostFormulaRequest) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := pb.NewFormulaServiceClient(s.As(role)).CostFormula(ctx, r)
			return err
		}
	}
	zero := 0.0
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", cost(app.OrderDesk, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1})},
		{"floor", codes.PermissionDenied, "", cost(app.Floor, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1})},
		{"unknown", codes.NotFound, "formulas/none", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/none", QuantityKg: 1})},
		{"no quantity", codes.InvalidArgument, "quantity_kg", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe"})},
		{"not a number", codes.InvalidArgument, "quantity_kg", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: zero / zero})},
		{"too fine", codes.InvalidArgument, "milligram", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1.0000001})},
		{"huge", codes.InvalidArgument, "quantity_kg", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1e300})},
		{"past", codes.InvalidArgument, "past", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1, Date: "2026-11-01"})},
		{"no date", codes.InvalidArgument, "date", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1, Date: "2026-13-01"})},
		{"pack", codes.InvalidArgument, "pail-20", cost(app.InkMaker, &pb.CostFormulaRequest{Name: "formulas/recipe", QuantityKg: 1, Pack: "drum"})},
	})
}

func quoteRequest(change ...func(*pb.CreateQuoteRequest)) *pb.CreateQuoteRequest {
	r := &pb.CreateQuoteRequest{QuoteId: "q-1", Quote: &pb.Quote{Customer: "A printer", Formula: "formulas/recipe", Title: "Process cyan",
		QuantitiesKg: []float64{20, 100}, ValidUntilDate: "2026-11-30", Pack: "pail-20", WithLaboratoryCharge: true}}
	for _, f := range change {
		f(r)
	}
	return r
}

// 100 kg: 1166 and five pails 15 and the laboratory 85 are 1266; / 0.75 / 100 =
// 16.88. The customer's copy has the same prices and nothing else.
func TestQuotes(t *testing.T) {
	s := works(t)
	quotes := pb.NewQuoteServiceClient(s.As(app.InkMaker))
	given := must[*pb.Quote](t)(quotes.CreateQuote(t.Context(), quoteRequest(func(r *pb.CreateQuoteRequest) { r.RequestId = uuid.NewString() })))
	b := given.GetBreaks()[1]
	if b.GetPricePerKg().GetUnits() != 16 || b.GetPricePerKg().GetNanos() != 880_000_000 || b.GetPrice().GetUnits() != 1688 || b.GetCost().GetUnits() != 1266 {
		t.Errorf("%v", b)
	}
	if again := must[*pb.Quote](t)(quotes.GetQuote(t.Context(), &pb.GetQuoteRequest{Name: "quotes/q-1"})); !proto.Equal(given, again) {
		t.Errorf("shown again:\n%v\n%v", given, again)
	}
	list := must[*pb.ListQuotesResponse](t)(quotes.ListQuotes(t.Context(), &pb.ListQuotesRequest{Filter: `customer = "A printer" AND formula = "formulas/recipe@1"`}))
	if len(list.GetQuotes()) != 1 || !proto.Equal(list.GetQuotes()[0], given) {
		t.Errorf("listed %v", list)
	}
	if _, err := pb.NewQuoteServiceClient(s.As(app.OrderDesk)).GetCustomerQuote(t.Context(), &pb.GetCustomerQuoteRequest{Name: "quotes/q-1"}); status.Code(err) != codes.FailedPrecondition {
		t.Errorf("the order desk reads a draft: %v", err)
	}
	must[*pb.Quote](t)(quotes.SendQuote(t.Context(), &pb.SendQuoteRequest{Name: "quotes/q-1", Etag: given.GetEtag()}))
	for _, role := range []app.Role{app.OrderDesk, app.InkMaker} {
		copied := must[*pb.CustomerQuote](t)(pb.NewQuoteServiceClient(s.As(role)).GetCustomerQuote(t.Context(), &pb.GetCustomerQuoteRequest{Name: "quotes/q-1"}))
		if len(copied.GetPrices()) != 2 || !proto.Equal(copied.GetPrices()[1].GetPrice(), b.GetPrice()) || copied.GetTitle() != "Process cyan" || copied.GetValidUntilDate() != "2026-11-30" {
			t.Errorf("customer's copy %v", copied)
		}
	}
}

// Every field that the customer's copy can hold, at any depth, is one of those
// that a customer may see.
func TestCustomerQuoteHasNoFieldForACost(t *testing.T) {
	allowed := map[string]bool{}
	for _, f := range []string{"name", "customer", "title", "prices", "valid_until_date", "quantity_kg", "price_per_kg", "price", "currency_code", "units", "nanos",
		"revision", "quote_date", "rate_date", "state", "plant_title", "cautions", "minimum_charge", "cans", "pack", "count", "lead_time_days",
		"accepted", "quote", "batch", "due_date", "accepted_date",
		"shade", "in_words", "lights", "viewing", "illuminant", "observer", "target", "predicted", "l", "a", "b", "target_swatch", "predicted_swatch", "de00", "de76", "delta_lightness", "delta_chroma", "delta_hue"} {
		allowed[f] = true
	}
	seen := 0
	var visit func(protoreflect.MessageDescriptor)
	visit = func(m protoreflect.MessageDescriptor) {
		for i := range m.Fields().Len() {
			f := m.Fields().Get(i)
			seen++
			if !allowed[string(f.Name())] {
				t.Errorf("the customer's copy has a field %s", f.FullName())
			}
			if f.Message() != nil {
				visit(f.Message())
			}
		}
	}
	visit((&pb.CustomerQuote{}).ProtoReflect().Descriptor())
	if seen < 10 {
		t.Errorf("only %d fields were looked at", seen)
	}
}

func TestQuoteRefusals(t *testing.T) {
	s := works(t)
	create := func(role app.Role, change func(*pb.CreateQuoteRequest)) func(context.Context) error {
		return func(ctx context.Context) error {
			_, err := pb.NewQuoteServiceClient(s.As(role)).CreateQuote(ctx, quoteRequest(change))
			return err
		}
	}
	invalid := codes.InvalidArgument
	refuse(t, []bad{
		{"order desk", codes.PermissionDenied, "", create(app.OrderDesk, func(*pb.CreateQuoteRequest) {})},
		{"purchasing", codes.PermissionDenied, "", create(app.Purchasing, func(*pb.CreateQuoteRequest) {})},
		{"id", invalid, "quote_id", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.QuoteId = "Q 1" })},
		{"no quote", invalid, "quote", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote = nil })},
		{"quantity", invalid, "quantities_kg", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.QuantitiesKg = []float64{-1} })},
		{"finer", invalid, "milligram", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.QuantitiesKg = []float64{0.0000001} })},
		{"twice", invalid, "twice", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.QuantitiesKg = []float64{1, 1} })},
		{"margin", invalid, "margin", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.MarginPercent = "100" })},
		{"currency", invalid, "SEK", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.CurrencyCode = "SEK" })},
		{"past", invalid, "valid_until_date", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.ValidUntilDate = "2026-11-01" })},
		{"formula", invalid, "quote.formula", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.Formula = "formulas/none" })},
		{"minimum", invalid, "minimum_charge", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.Quote.MinimumCharge = eur(-5, 0) })},
		{"unknown", codes.NotFound, "quotes/q-1", func(ctx context.Context) error {
			_, err := pb.NewQuoteServiceClient(s.As(app.OrderDesk)).GetCustomerQuote(ctx, &pb.GetCustomerQuoteRequest{Name: "quotes/q-1"})
			return err
		}},
		{"inside", codes.PermissionDenied, "", func(ctx context.Context) error {
			_, err := pb.NewQuoteServiceClient(s.As(app.OrderDesk)).GetQuote(ctx, &pb.GetQuoteRequest{Name: "quotes/q-1"})
			return err
		}},
		{"filter", invalid, "margin", func(ctx context.Context) error {
			_, err := pb.NewQuoteServiceClient(s.As(app.InkMaker)).ListQuotes(ctx, &pb.ListQuotesRequest{Filter: "margin = 3"})
			return err
		}},
	})
	id := uuid.NewString()
	quotes := pb.NewQuoteServiceClient(s.As(app.InkMaker))
	must[*pb.Quote](t)(quotes.CreateQuote(t.Context(), quoteRequest(func(r *pb.CreateQuoteRequest) { r.RequestId = id })))
	refuse(t, []bad{
		{"reused", codes.AlreadyExists, "", create(app.InkMaker, func(r *pb.CreateQuoteRequest) { r.RequestId, r.QuoteId = id, "q-2" })},
		{"taken", codes.AlreadyExists, "q-1", create(app.InkMaker, func(*pb.CreateQuoteRequest) {})},
	})
	if list := must[*pb.ListQuotesResponse](t)(quotes.ListQuotes(t.Context(), &pb.ListQuotesRequest{})); len(list.GetQuotes()) != 1 {
		t.Errorf("refused quotes were kept: %v", list)
	}
	if strings.Contains(string(s.REST(app.OrderDesk, "GET", "/v1/quotes/q-1:customerCopy", nil).Raw), "ecret") {
		t.Error("the customer's copy over REST tells a secret")
	}
}
