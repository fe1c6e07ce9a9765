package app

import (
	"cmp"
	"crypto/sha256"
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/solver"
	"millbase/solver/formulation"
	"millbase/solver/reprice"
)

// repricing is one RepriceRequest with what the book had to say to it.
type repricing struct {
	req           RepriceRequest
	engine        solver.Engine
	supply        *supply
	room          *stockRoom
	date          time.Time
	specs         map[string]Record[formulation.Specification]
	catalogueMark string                // changes when a property of the plant does
	yearly        map[string]mass.Mass  // by formula: finished within a year
	trials        map[string]PriceTrial // by material
	asked         []repricedInk
	pools         map[mass.Mass]*pricePool // by quantity
	next          *keptBook
	after         *reprice.Book // next at the prices tried out
	ways          []reprice.Way // by program
	changed       []bool        // by program: the trials change the mix
	said          []string
}

// repricedInk is one formula of the book with the batch that it is made in.
type repricedInk struct {
	formula  formula.Formula
	spec     Record[formulation.Specification]
	quantity mass.Mass
	without  []string // materials that can't go in: what it makes, and what is made from that
}

// without are the materials that can't go into what makes m: m itself and, at any
// level, what is made from it.
func (s *supply) without(m string) []string {
	if c := s.materials[m].Class; c == inventory.Ink || c == inventory.Packaging {
		return nil // never a candidate
	}
	out := []string{m}
	for at := 0; at < len(out); at++ {
		for makes, f := range s.formulas.byMaterial {
			if s.materials[makes].Class == inventory.WorkOff {
				continue // goes back into what it came from
			}
			if !slices.Contains(out, makes) && slices.ContainsFunc(f.Ingredients, func(in formula.Ingredient) bool { return in.Material == out[at] }) {
				out = append(out, makes)
			}
		}
	}
	slices.Sort(out)
	return out
}

func compareIDs(a, b formula.Formula) int { return cmp.Compare(a.ID, b.ID) }

// pricePool is the candidates of every formula that is made in one quantity, at
// the book's prices and at those tried out.
type pricePool struct {
	candidates []formulation.Candidate // at the book's prices
	tried      []formulation.Candidate // the same at the prices tried out
	now, then  []decimal.Decimal       // the exact prices of the two
	at         map[string]int          // by material, where each has one candidate
	first      int                     // number of its first candidate among all pools
	mark       string                  // what a program is made of, beside prices and stock
}

// price makes the pool of every quantity.
func (r *repricing) price() error {
	r.pools = map[mass.Mass]*pricePool{}
	first := 0
	for _, a := range r.asked {
		if r.pools[a.quantity] != nil {
			continue
		}
		p, err := r.pool(a.quantity)
		if err != nil {
			return err
		}
		p.first = first
		first += len(p.candidates)
		r.pools[a.quantity] = p
	}
	return nil
}

func (r *repricing) pool(quantity mass.Mass) (*pricePool, error) {
	p := &pricePool{}
	var err error
	if r.req.Basis == valuation.Lot {
		err = r.fromLots(p, quantity)
	} else {
		err = r.fromMaterials(p, quantity)
	}
	if err != nil {
		return nil, err
	}
	hash := sha256.New()
	fmt.Fprintf(hash, "%s|%g|", r.catalogueMark, r.supply.plant.WaterDensityKgPerL)
	p.tried = slices.Clone(p.candidates)
	for j := range p.candidates {
		c := &p.candidates[j]
		c.CostPerKg, p.tried[j].CostPerKg = p.now[j].InexactFloat64(), p.then[j].InexactFloat64()
		fmt.Fprintf(hash, "%s|%s|%s|%s|%t", c.ID, c.Material, c.Class, c.ColourIndex, c.Available == 0)
		for _, key := range slices.Sorted(maps.Keys(c.Properties)) {
			fmt.Fprintf(hash, "|%s=%g", key, c.Properties[key])
		}
		fmt.Fprintln(hash)
	}
	p.mark = string(hash.Sum(nil))
	return p, nil
}

// fromLots takes what Optimise would take: every lot with something free, at its
// own landed cost, and every offer.
func (r *repricing) fromLots(p *pricePool, quantity mass.Mass) error {
	chosen, err := r.room.choose(BookCandidates{}, r.date, r.req.Basis, quantity)
	if err != nil {
		return err
	}
	var lots pool
	r.room.fill(&lots, chosen)
	for j, c := range lots.candidates {
		then := lots.prices[j]
		if t, ok := r.trials[c.Material]; ok {
			then = t.of(money.Money{Amount: then}, mass.Kilogram).Amount
		}
		p.candidates, p.now, p.then = append(p.candidates, c), append(p.now, lots.prices[j]), append(p.then, then)
	}
	return nil
}

// fromMaterials takes one candidate per material, with its own properties, at what
// it costs on the basis. There is any amount of what can be bought or made; of
// work-off there is what is on hand.
func (r *repricing) fromMaterials(p *pricePool, quantity mass.Mass) error {
	p.at = map[string]int{}
	now, then := r.supply.costing(r.req.Basis, r.date), r.supply.costing(r.req.Basis, r.date)
	then.tried = r.trials
	for _, id := range slices.Sorted(maps.Keys(r.supply.materials)) {
		m := r.supply.materials[id]
		if m.Archived || m.Class == inventory.Packaging || m.Class == inventory.Ink {
			continue
		}
		before, why, err := now.perKg(id, quantity)
		if err != nil {
			return err
		}
		after, whyNot, err := then.perKg(id, quantity)
		if err != nil {
			return err
		}
		if why != "" || whyNot != "" {
			r.say("%s takes no part: %s", r.supply.title(id), cmp.Or(why, whyNot))
			continue
		}
		c := formulation.Candidate{ID: "materials/" + id, Title: m.Title, Material: id, Class: m.Class, ColourIndex: m.ColourIndex,
			Properties: r.supply.typical(m), Available: -1}
		c.Deviation = deviationsOf(c.Properties, r.room.catalogue, m.Deviations)
		if m.Class == inventory.WorkOff {
			c.Available = 0
			for _, i := range r.supply.stock[id] {
				c.Available += i.free(r.date)
			}
		}
		p.at[id] = len(p.candidates)
		p.candidates, p.now, p.then = append(p.candidates, c), append(p.now, before), append(p.then, after)
	}
	for _, n := range then.notes {
		r.say("%s", n)
	}
	return nil
}

// typical is what the book knows of a material, and what it does not, as the
// certificate of the lot received last has it: base inks are described by what was
// measured of them.
func (s *supply) typical(m BookMaterial) property.Set {
	var last StockLot
	for _, i := range s.stock[m.ID] {
		if last.ID == "" || i.ReceivedDate.After(last.ReceivedDate) || i.ReceivedDate.Equal(last.ReceivedDate) && i.ID > last.ID {
			last = i.StockLot
		}
	}
	return last.Values().Merge(m.Properties)
}

func (r *repricing) say(format string, args ...any) {
	if s := fmt.Sprintf(format, args...); !slices.Contains(r.said, s) {
		r.said = append(r.said, s)
	}
}

// perKg is what a material costs per kg when so much of it is bought, or made in
// the batches that the plant makes it in; why is set where it has no cost.
func (c *costing) perKg(material string, quantity mass.Mass) (price decimal.Decimal, why string, err error) {
	cost, of := money.Money{}, quantity
	if f, made := c.s.formulas.byMaterial[material]; made && c.madeHere(material) {
		if b := c.s.standardBatch(f); b > 0 {
			of = b
		}
		r, e := c.cost(f, of, nil)
		cost, err = r.Total, e
		if t, ok := c.tried[material]; ok && err == nil {
			cost = t.of(cost, of)
		}
	} else {
		of = mostOf(quantity, c.s.materials[material].Properties)
		cost, err = c.price(material, of)
	}
	var fault *Fault
	if errors.As(err, &fault) {
		return price, fault.Error(), nil
	}
	if err != nil {
		return price, "", err
	}
	perKg, err := cost.PerKg(of, pricePlaces, money.RoundHalfEven)
	return perKg.Amount, "", err
}
