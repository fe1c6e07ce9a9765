package rpc_test

import (
	"math"
	"testing"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// The seats of the published grid cost 2 a kg, and from the next week on 1, as the
// buyer expects: the plan costs less with that outlook, as much as with the same
// forecast in the request, and without it what it cost before.
func TestPlanReadsTheOutlook(t *testing.T) {
	s := assembly(t, nil)
	suppliers, plans := pb.NewSupplierServiceClient(s.As(app.Purchasing)), pb.NewPlanServiceClient(s.As(app.Purchasing))
	const offer = "suppliers/quellmark/offers/seat"
	outlook := func(weeks ...*pb.ExpectedPrice) {
		must[*pb.PriceOutlook](t)(suppliers.UpdatePriceOutlook(t.Context(), &pb.UpdatePriceOutlookRequest{Outlook: &pb.PriceOutlook{Name: offer + "/outlook", Weeks: weeks}}))
	}
	cost := func(forecasts ...*pb.PriceForecast) float64 {
		p := must[*pb.Plan](t)(plans.MakePlan(t.Context(), &pb.MakePlanRequest{What: &pb.MakePlanRequest_Book{Book: &pb.PlanBook{Forecasts: forecasts}}}))
		if len(p.GetOrders()) == 0 {
			t.Fatalf("nothing is ordered: %v", p)
		}
		return money(p.GetCost().GetTotal())
	}
	plain := cost()
	outlook(&pb.ExpectedPrice{WeekDate: "2026-11-09", PricePerKg: eur(1, 0)})
	kept := cost()
	outlook()
	asked := cost(&pb.PriceForecast{Of: offer, FromDate: "2026-11-09", Price: &pb.PriceForecast_PricePerKg{PricePerKg: eur(1, 0)}})
	if again := cost(); math.Abs(again-plain) > 0.01 || kept >= plain-100 || math.Abs(kept-asked) > 0.01 {
		t.Errorf("%v, with the outlook %v, with the forecast %v, and without again %v", plain, kept, asked, again)
	}
}
