package rpc

import (
	"fmt"
	"math"
	"slices"

	"google.golang.org/protobuf/proto"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	"millbase/inventory"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/plan"
)

// problemReader reads a joint plan that stands in the request. Ids become indices;
// amounts and masses become the solver's numbers.
type problemReader struct {
	*fields
	m         *pb.PlanProblem
	p         *plan.Problem
	materials map[string]int
	batches   map[string]int
	supplies  map[string]int
	offers    map[string]int
}

func (f *fields) planProblem(m *pb.PlanProblem) *app.InlinePlan {
	r := &problemReader{fields: f, m: m, p: &plan.Problem{Currency: m.GetCurrencyCode()}, materials: map[string]int{}, batches: map[string]int{},
		supplies: map[string]int{}, offers: map[string]int{}}
	r.p.Settings.WaterDensityKgPerL = f.number("problem.water_density_kg_per_l", m.GetWaterDensityKgPerL())
	for i, period := range m.GetPeriods() {
		at := fmt.Sprintf("problem.periods[%d]", i)
		out := plan.Period{Name: period.GetTitle(), Budget: -1}
		if period.GetBudget() != nil {
			out.Budget = r.amount(at+".budget", period.GetBudget())
		}
		if out.Name == "" {
			out.Name = fmt.Sprint(i)
		}
		r.p.Periods = append(r.p.Periods, out)
	}
	r.numbered("materials", "material_id", r.materials, len(m.GetMaterials()), func(i int) string { return m.GetMaterials()[i].GetMaterialId() })
	r.numbered("batches", "batch_id", r.batches, len(m.GetBatches()), func(i int) string { return m.GetBatches()[i].GetBatchId() })
	r.numbered("supplies", "supply_id", r.supplies, len(m.GetSupplies()), func(i int) string { return m.GetSupplies()[i].GetSupplyId() })
	r.numbered("offers", "offer_id", r.offers, len(m.GetOffers()), func(i int) string { return m.GetOffers()[i].GetOfferId() })
	for i, o := range m.GetOffers() {
		if _, twice := r.supplies[o.GetOfferId()]; twice {
			f.add(fmt.Sprintf("problem.offers[%d].offer_id", i), "%q is the id of a supply as well; give each its own", o.GetOfferId())
		}
	}
	for i := range m.GetMaterials() {
		r.material(fmt.Sprintf("problem.materials[%d]", i), m.GetMaterials()[i])
	}
	for i := range m.GetSupplies() {
		r.supply(fmt.Sprintf("problem.supplies[%d]", i), m.GetSupplies()[i])
	}
	for i := range m.GetOffers() {
		r.offer(fmt.Sprintf("problem.offers[%d]", i), m.GetOffers()[i])
	}
	for i := range m.GetBatches() {
		r.batch(fmt.Sprintf("problem.batches[%d]", i), m.GetBatches()[i])
	}
	for i := range m.GetUses() {
		r.use(fmt.Sprintf("problem.uses[%d]", i), m.GetUses()[i])
	}
	out := &app.InlinePlan{Problem: r.p}
	for i, p := range m.GetProperties() {
		out.Properties = append(out.Properties, f.requestProperty(fmt.Sprintf("problem.properties[%d]", i), p))
	}
	return out
}

// numbered numbers the ids of a list, each of which may stand there once.
func (r *problemReader) numbered(list, field string, into map[string]int, n int, id func(int) string) {
	for i := range n {
		if first, twice := into[id(i)]; twice {
			r.add(fmt.Sprintf("problem.%s[%d].%s", list, i, field), "%q is that of %s[%d] as well; give each its own", id(i), list, first)
			continue
		}
		into[id(i)] = i
	}
}

// amount reads an amount of zero or more in the problem's one currency.
func (r *problemReader) amount(field string, m *moneypb.Money) float64 {
	v := r.signed(field, m)
	if v < 0 {
		r.add(field, "must not be below zero")
		return 0
	}
	return v
}

// signed reads an amount, which may be below zero; nil is zero.
func (r *problemReader) signed(field string, m *moneypb.Money) float64 {
	if m == nil {
		return 0
	}
	if m.GetCurrencyCode() == "" && r.p.Currency != "" {
		m = proto.Clone(m).(*moneypb.Money)
		m.CurrencyCode = r.p.Currency
	}
	if m.GetCurrencyCode() == "" {
		r.add(field+".currency_code", "say in which currency: give it here, or currency_code of the problem")
		return 0
	}
	v := r.money(field, m)
	if r.p.Currency == "" {
		r.p.Currency = v.Currency
	}
	if v.Currency != "" && v.Currency != r.p.Currency {
		r.add(field+".currency_code", "is %s where the others are %s; a plan is of one currency", v.Currency, r.p.Currency)
	}
	return v.Amount.InexactFloat64()
}

// kilograms reads a mass of zero or more.
func (r *problemReader) kilograms(field string, kg float64) float64 {
	m := r.mass(field, kg)
	if m < 0 {
		r.add(field, "must not be below 0 kg")
	}
	return m.Kilograms()
}

// most reads a mass that may be absent, which is -1: no limit.
func (r *problemReader) most(field string, kg *float64) float64 {
	if kg == nil {
		return -1
	}
	return r.kilograms(field, *kg)
}

// index finds an id; an unknown one is an error and 0.
func (r *problemReader) index(field, id, list string, of map[string]int) int {
	i, ok := of[id]
	if !ok {
		r.add(field, "%.80q is none of the %s of the problem", id, list)
	}
	return i
}

func (r *problemReader) period(field string, t int32) int {
	if int(t) >= len(r.p.Periods) {
		r.add(field, "there are %d periods, counted from 0: give at most %d", len(r.p.Periods), len(r.p.Periods)-1)
	}
	return int(t)
}

func (r *problemReader) material(at string, m *pb.ProblemMaterial) {
	r.p.Materials = append(r.p.Materials, plan.Material{
		ID: m.GetMaterialId(), Title: m.GetTitle(), Class: inventory.Class(word(m.GetMaterialClass())), ColourIndex: m.GetColourIndex(),
		StorageCost:   r.amount(at+".storage_cost_per_kg", m.GetStorageCostPerKg()),
		StorageMost:   r.most(at+".storage_most_kg", m.StorageMostKg),
		ClosingLeast:  r.kilograms(at+".closing_least_kg", m.GetClosingLeastKg()),
		SafetyStock:   r.kilograms(at+".safety_stock_kg", m.GetSafetyStockKg()),
		SafetyPenalty: r.amount(at+".below_safety_per_kg", m.GetBelowSafetyPerKg()),
	})
}

func (r *problemReader) supply(at string, m *pb.ProblemSupply) {
	s := plan.Supply{
		ID:         m.GetSupplyId(),
		Material:   r.index(at+".material", m.GetMaterial(), "materials", r.materials),
		Properties: r.set(at+".properties", m.GetProperties()),
		Kg:         r.kilograms(at+".quantity_kg", m.GetQuantityKg()),
		CostPerKg:  r.amount(at+".cost_per_kg", m.GetCostPerKg()),
		From:       r.period(at+".from_period", m.GetFromPeriod()),
		Until:      len(r.p.Periods),
		Batch:      -1,
		ScrapCost:  r.amount(at+".scrap_cost_per_kg", m.GetScrapCostPerKg()),
	}
	if m.UntilPeriod != nil {
		if s.Until = r.period(at+".until_period", m.GetUntilPeriod()); s.Until < s.From {
			r.add(at+".until_period", "is before from_period; it can be used in no period")
		}
	}
	if m.GetBatch() != "" {
		s.Batch = r.index(at+".batch", m.GetBatch(), "batches", r.batches)
	}
	r.p.Supplies = append(r.p.Supplies, s)
}

func (r *problemReader) offer(at string, m *pb.ProblemOffer) {
	o := plan.Offer{
		ID: m.GetOfferId(), Title: m.GetTitle(),
		Material:     r.index(at+".material", m.GetMaterial(), "materials", r.materials),
		Properties:   r.set(at+".properties", m.GetProperties()),
		MinimumOrder: r.kilograms(at+".minimum_order_kg", m.GetMinimumOrderKg()),
		Pack:         r.kilograms(at+".pack_size_kg", m.GetPackSizeKg()),
		MostPerPeriod: r.most(at+".most_per_period_kg",
			m.MostPerPeriodKg),
		PerOrder:     r.amount(at+".cost_per_order", m.GetCostPerOrder()),
		Lead:         int(m.GetLeadPeriods()),
		ShelfLife:    int(m.GetShelfLifePeriods()),
		SalvagePerKg: r.amount(at+".leftover_per_kg", m.GetLeftoverPerKg()),
	}
	for i, b := range m.GetBreaks() {
		field := fmt.Sprintf("%s.breaks[%d]", at, i)
		from := r.kilograms(field+".from_kg", b.GetFromKg())
		if i > 0 && from <= o.Breaks[i-1].From {
			r.add(field+".from_kg", "must be above that of the break before")
		}
		o.Breaks = append(o.Breaks, plan.Break{From: from, Factor: r.fields.number(field+".price_factor", b.GetPriceFactor())})
	}
	if n := len(m.GetPricesPerKg()); n != 1 && n != len(r.p.Periods) {
		r.add(at+".prices_per_kg", "give one price for each of the %d periods, or one for all, not %d", len(r.p.Periods), n)
		return
	}
	for t := range r.p.Periods {
		i := min(t, len(m.GetPricesPerKg())-1)
		if len(m.GetPricesPerKg()) > 1 || t == 0 {
			o.Price = append(o.Price, r.amount(fmt.Sprintf("%s.prices_per_kg[%d]", at, i), m.GetPricesPerKg()[i]))
		} else {
			o.Price = append(o.Price, o.Price[0])
		}
	}
	if least := slices.Min(o.Price) * lowestFactor(o.Breaks); o.SalvagePerKg >= least && o.SalvagePerKg > 0 {
		r.add(at+".leftover_per_kg", "must be below the lowest price, %s, or it would pay to buy without end", number(least))
	}
	r.p.Offers = append(r.p.Offers, o)
}

func lowestFactor(breaks []plan.Break) float64 {
	low := 1.0
	for _, b := range breaks {
		low = min(low, b.Factor)
	}
	return low
}

func (r *problemReader) batch(at string, m *pb.ProblemBatch) {
	b := plan.Batch{
		ID: m.GetBatchId(), Title: m.GetTitle(),
		Kg:          r.kilograms(at+".quantity_kg", m.GetQuantityKg()),
		Worth:       r.amount(at+".worth_per_kg", m.GetWorthPerKg()),
		Earliest:    r.period(at+".earliest_period", m.GetEarliestPeriod()),
		Due:         r.period(at+".due_period", m.GetDuePeriod()),
		MostLate:    int(m.GetMostLatePeriods()),
		LatePerKg:   r.amount(at+".late_per_kg", m.GetLatePerKg()),
		UnmadePerKg: r.amount(at+".unmade_per_kg", m.GetUnmadePerKg()),
		Limits:      r.limits(at+".limits", m.GetLimits()),
	}
	b.Most = b.Kg
	if m.MostKg != nil {
		if b.Most = r.kilograms(at+".most_kg", m.GetMostKg()); b.Most < b.Kg {
			r.add(at+".most_kg", "is below quantity_kg; give more, or leave it out")
		}
	}
	if b.Most <= 0 {
		r.add(at+".quantity_kg", "must be above 0 kg unless most_kg is")
	}
	if b.Due < b.Earliest {
		r.add(at+".due_period", "is before earliest_period")
	}
	if b.Kg > 0 && m.GetUnmadePerKg() == nil {
		b.UnmadePerKg = math.NaN() // the plan's own choice
	}
	for i, id := range m.GetCandidates() {
		field := fmt.Sprintf("%s.candidates[%d]", at, i)
		if j, ok := r.supplies[id]; ok {
			b.Supplies = append(b.Supplies, j)
		} else if j, ok := r.offers[id]; ok {
			b.Offers = append(b.Offers, j)
		} else {
			r.add(field, "%.80q is no supply and no offer of the problem", id)
		}
	}
	if len(m.GetCandidates()) > 0 { // nil would be all
		b.Supplies, b.Offers = slices.Concat([]int{}, b.Supplies), slices.Concat([]int{}, b.Offers)
	}
	r.p.Batches = append(r.p.Batches, b)
}

func (r *problemReader) use(at string, m *pb.ProblemUse) {
	u := plan.Use{ID: m.GetUseId(), Title: m.GetTitle()}
	for i, id := range m.GetMaterials() {
		u.Materials = append(u.Materials, r.index(fmt.Sprintf("%s.materials[%d]", at, i), id, "materials", r.materials))
	}
	if n := len(m.GetMostKg()); n != 1 && n != len(r.p.Periods) {
		r.add(at+".most_kg", "give one mass for each of the %d periods, or one for all, not %d", len(r.p.Periods), n)
		return
	}
	for t := range r.p.Periods {
		i := min(t, len(m.GetMostKg())-1)
		u.Most = append(u.Most, r.kilograms(fmt.Sprintf("%s.most_kg[%d]", at, i), m.GetMostKg()[i]))
	}
	r.p.Uses = append(r.p.Uses, u)
}
