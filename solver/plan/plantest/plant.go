package plantest

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"

	"millbase/inventory/property"
	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
	"millbase/solver/plan"
)

// Options shape a plant; the zero value of a field takes its default.
type Options struct {
	Batches   int     // 20
	Weeks     int     // 8
	Sorts     int     // of raw material, at least 20: 40
	Limits    int     // per specification: 10
	Specs     int     // specifications: 12
	Cover     float64 // what of the need is in store: 0.7
	Late      int     // weeks that a batch may be late
	Packs     bool    // offers come in packs, with a minimum order and a charge
	Breaks    bool    // and with price breaks
	Different bool    // lots of a sort differ in their properties
}

func (o *Options) fill() {
	set := func(v *int, usual int) {
		if *v == 0 {
			*v = usual
		}
	}
	set(&o.Batches, 20)
	set(&o.Weeks, 8)
	set(&o.Sorts, 40)
	set(&o.Limits, 10)
	set(&o.Specs, 12)
	if o.Cover == 0 {
		o.Cover = 0.7
	}
}

type maker struct {
	*rand.Rand
	o     Options
	sorts []formulation.Candidate
	p     *plan.Problem
}

// Plant makes a plant with its batches. Every batch can be made if nothing else is
// and everything can be bought in time.
func Plant(seed uint64, o Options) *plan.Problem {
	o.fill()
	base, kg := formulationtest.Hidden(seed, o.Sorts, o.Limits)
	m := &maker{Rand: rand.New(rand.NewPCG(seed, 5)), o: o, sorts: base.Candidates, p: &plan.Problem{Catalogue: base.Catalogue, Currency: base.Currency}}
	for t := range o.Weeks {
		m.p.Periods = append(m.p.Periods, plan.Period{Name: fmt.Sprintf("week %d", t+1), Budget: -1})
	}
	specs, formulas := m.specifications(base, kg)
	need := make([]float64, len(m.sorts))
	for i := range o.Batches {
		k := m.IntN(o.Specs)
		b := plan.Batch{ID: fmt.Sprintf("b-%d", i+1), Kg: 50 * float64(2+m.IntN(11)), Due: i * o.Weeks / o.Batches, MostLate: o.Late,
			LatePerKg: 0.3, UnmadePerKg: 40, Limits: specs[k]}
		b.Earliest = b.Due
		for j, share := range formulas[k] {
			need[j] += b.Kg * share
		}
		m.p.Batches = append(m.p.Batches, b)
	}
	for j := range m.sorts {
		m.sort(j, need[j])
	}
	return m.p
}

// specifications are limits around formulas of the usual proportions, with the
// formulas in kg per kg.
func (m *maker) specifications(base *formulation.Problem, kg []float64) (specs [][]formulation.Limit, formulas [][]float64) {
	for range m.o.Specs {
		formula, sum := make([]float64, len(kg)), 0.0
		for j := range kg {
			if kg[j] > 0 {
				formula[j] = kg[j] * (0.6 + 0.8*m.Float64())
				sum += formula[j] * m.sorts[j].Properties.Retained()
			}
		}
		for j := range formula {
			formula[j] /= sum
		}
		reports, err := formulation.Evaluate(base, formula)
		if err != nil {
			panic(fmt.Sprintf("plantest: %v", err))
		}
		var limits []formulation.Limit
		for i, l := range base.Limits {
			width := 0.02 + 0.08*m.Float64()
			bound := func(of *float64, factor float64) *float64 {
				if of == nil {
					return nil
				}
				v := reports[i].Value * factor
				return &v
			}
			l.Lower, l.Upper = bound(l.Lower, 1-width), bound(l.Upper, 1+width)
			limits = append(limits, l)
		}
		specs, formulas = append(specs, limits), append(formulas, formula)
	}
	return specs, formulas
}

// sort makes a raw material with its lots and its offer.
func (m *maker) sort(j int, need float64) {
	s := &m.sorts[j]
	id := fmt.Sprintf("m-%d", j+1)
	m.p.Materials = append(m.p.Materials, plan.Material{ID: id, Title: s.Title, Class: s.Class, ColourIndex: s.ColourIndex, StorageCost: 0.004, StorageMost: -1})
	need = math.Max(need, 20)
	left := need * m.o.Cover * (0.4 + 1.2*m.Float64())
	for k := range 1 + m.IntN(3) {
		lot := left * (0.3 + 0.4*m.Float64())
		left -= lot
		supply := plan.Supply{ID: fmt.Sprintf("%s/lot-%d", id, k+1), Material: j, Properties: s.Properties, Kg: math.Round(lot*1000) / 1000,
			CostPerKg: s.CostPerKg, Until: m.o.Weeks, Batch: -1}
		if m.o.Different {
			supply.Properties = maps.Clone(supply.Properties)
			for key, v := range supply.Properties {
				if key != property.RetainedFraction {
					supply.Properties[key] = v * (1 - 1e-3*float64(k))
				}
			}
			supply.CostPerKg *= 1 + 0.01*float64(k)
		}
		m.p.Supplies = append(m.p.Supplies, supply)
	}
	if m.IntN(5) == 0 {
		return
	}
	offer := plan.Offer{ID: id + "/offer", Material: j, Properties: s.Properties, MostPerPeriod: -1, Lead: m.IntN(min(4, m.o.Weeks))}
	price := s.CostPerKg * (1 + 0.2*m.Float64())
	for range m.o.Weeks {
		offer.Price = append(offer.Price, price)
		price *= 0.99 + 0.02*m.Float64()
	}
	offer.SalvagePerKg = 0.9 * s.CostPerKg
	if m.o.Packs {
		offer.Pack = []float64{25, 50, 180}[m.IntN(3)]
		offer.MinimumOrder = offer.Pack * float64(1+m.IntN(4))
		offer.PerOrder = 30
	}
	if m.o.Breaks {
		offer.Breaks = []plan.Break{{Factor: 1}, {From: 500, Factor: 0.97}, {From: 1000, Factor: 0.95}}
		offer.SalvagePerKg *= 0.9
	}
	m.p.Offers = append(m.p.Offers, offer)
}
