package rpc_test

import (
	"math"
	"testing"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// foodManufacture is the first food manufacture problem of H.P. Williams, Model
// Building in Mathematical Programming, section 12.1: five oils over six months, the
// prices per ton of each month, storage at 5 a ton and month, a product of hardness
// 3 to 6 that sells at 150, at most 200 tons of vegetable and 250 of other oil
// refined in a month, 500 of each oil in store at the beginning and at the end and
// 1,000 at most. Tons stand as kilograms.
func foodManufacture() *pb.PlanProblem {
	gbp := func(v float64) *moneypb.Money { return &moneypb.Money{CurrencyCode: "GBP", Units: int64(v)} }
	p := &pb.PlanProblem{CurrencyCode: "GBP", Properties: []*pb.Property{{Name: "hardness_units", Title: "Hardness", Unit: "units", MaxValue: 100}}}
	for _, month := range []string{"January", "February", "March", "April", "May", "June"} {
		p.Periods = append(p.Periods, &pb.ProblemPeriod{Title: month})
	}
	most := 1000.0
	for _, oil := range []struct {
		id       string
		hardness float64
		prices   []float64
	}{
		{"veg-1", 8.8, []float64{110, 130, 110, 120, 100, 90}},
		{"veg-2", 6.1, []float64{120, 130, 140, 110, 120, 100}},
		{"oil-1", 2.0, []float64{130, 110, 130, 120, 150, 140}},
		{"oil-2", 4.2, []float64{110, 90, 100, 120, 110, 80}},
		{"oil-3", 5.0, []float64{115, 115, 95, 125, 105, 135}},
	} {
		hard := map[string]float64{"hardness_units": oil.hardness}
		p.Materials = append(p.Materials, &pb.ProblemMaterial{MaterialId: oil.id, MaterialClass: pb.MaterialClass_MATERIAL_CLASS_OIL,
			StorageCostPerKg: gbp(5), StorageMostKg: &most, ClosingLeastKg: 500})
		p.Supplies = append(p.Supplies, &pb.ProblemSupply{SupplyId: oil.id + "-in-store", Material: oil.id, QuantityKg: 500, Properties: hard})
		offer := &pb.ProblemOffer{OfferId: oil.id + "-market", Material: oil.id, Properties: hard}
		for _, v := range oil.prices {
			offer.PricesPerKg = append(offer.PricesPerKg, gbp(v))
		}
		p.Offers = append(p.Offers, offer)
	}
	low, high, all := 3.0, 6.0, 6*450.0
	p.Batches = []*pb.ProblemBatch{{BatchId: "product", MostKg: &all, WorthPerKg: gbp(150), DuePeriod: 5,
		Limits: []*pb.Limit{{LimitId: "hardness", Lower: &low, Upper: &high, Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "hardness_units"}}}}}}
	p.Uses = []*pb.ProblemUse{{UseId: "vegetable", Materials: []string{"veg-1", "veg-2"}, MostKg: []float64{200}},
		{UseId: "other", Materials: []string{"oil-1", "oil-2", "oil-3"}, MostKg: []float64{250}}}
	return p
}

// TestFoodManufacture puts the problem through the public call. The book gives a
// profit of 107,843; 107,842.59 by an independent solver.
func TestFoodManufacture(t *testing.T) {
	conn, _ := freshBook(t, app.Purchasing)
	p := must[*pb.Plan](t)(pb.NewPlanServiceClient(conn).MakePlan(t.Context(), &pb.MakePlanRequest{What: &pb.MakePlanRequest_Problem{Problem: foodManufacture()}}))
	if profit := -money(p.GetCost().GetTotal()); p.GetOutcome() != pb.PlanOutcome_PLAN_OUTCOME_OPTIMAL || math.Abs(profit-107842.59) > 0.011 {
		t.Errorf("%v: a profit of %.4f, want 107842.59", p.GetOutcome(), profit)
	}
	balanced(t, foodManufacture(), p)
}

// balanced follows every oil through the months: what is in store, bought and used
// adds up to what the plan says is left, and no month refines or stores too much.
func balanced(t *testing.T, q *pb.PlanProblem, p *pb.Plan) {
	t.Helper()
	months := len(q.Periods)
	stock := map[string][]float64{}
	for _, s := range p.Stock {
		stock[s.Material] = s.MassKg
	}
	if len(stock) != len(q.Materials) {
		t.Errorf("stock of %d oils", len(stock))
	}
	refined := make([]map[string]float64, months)
	hardness, total := make([]float64, months), make([]float64, months)
	of := map[string]float64{}
	for _, s := range q.Supplies {
		of[s.Material] = s.Properties["hardness_units"]
	}
	for m := range months {
		refined[m] = map[string]float64{}
	}
	for _, b := range p.Batches {
		for _, r := range b.Runs {
			for _, c := range r.Components {
				refined[r.Period][c.Material] += c.MassKg
				hardness[r.Period] += c.MassKg * of[c.Material]
				total[r.Period] += c.MassKg
			}
		}
	}
	for material, left := range stock {
		now := 500.0
		for m := range months {
			for _, o := range p.Orders {
				if o.Material == material && int(o.ArrivalPeriod) == m {
					now += o.QuantityKg
				}
			}
			now -= refined[m][material]
			if math.Abs(now-left[m]) > 1e-4 || left[m] < -1e-6 || left[m] > 1000+1e-6 {
				t.Errorf("%s, month %d: %g in store, it adds up to %g", material, m, left[m], now)
			}
		}
		if left[months-1] < 500-1e-4 {
			t.Errorf("%s: only %g left at the end", material, left[months-1])
		}
	}
	for m := range months {
		veg := refined[m]["veg-1"] + refined[m]["veg-2"]
		if h := hardness[m] / total[m]; veg > 200+1e-4 || total[m]-veg > 250+1e-4 || h < 3-1e-6 || h > 6+1e-6 {
			t.Errorf("month %d: %g vegetable, %g other, hardness %g", m, veg, total[m]-veg, h)
		}
	}
}
