package app

import (
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/inventory/mass"
)

// lines writes a result line by line; the amounts add up to its total exactly.
func (c *costing) lines(r rollup.Result) ([]CostLine, error) {
	return c.level(r, 0, "")
}

func (c *costing) level(r rollup.Result, level int, inside string) ([]CostLine, error) {
	var out []CostLine
	for _, m := range r.Materials {
		material, lot, pinned := strings.Cut(m.Material, "/")
		title := c.s.title(material)
		if m.Level != nil {
			inner, err := c.share(m, level+1, title)
			if err != nil {
				return nil, err
			}
			out = append(out, inner...)
			continue
		}
		if pinned {
			title += ", lot " + lot
		}
		out = append(out, CostLine{Kind: CostMaterial, Title: title + inside, Level: level, Quantity: m.Mass, Amount: m.Cost})
	}
	for k, s := range r.Steps {
		meaning := c.steps[r.Formula][k]
		if meaning.kind == "" {
			continue
		}
		amount, err := s.Machine.Add(s.Labour)
		if err != nil {
			return nil, err
		}
		line := CostLine{Kind: meaning.kind, Title: meaning.title + inside, Level: level, Time: s.Time, Rate: meaning.rate, Amount: amount}
		if meaning.kind == CostProcess {
			line.Quantity = s.In
		}
		out = append(out, line)
	}
	for _, p := range r.Packaging {
		out = append(out, c.packaging(p))
	}
	for _, o := range r.Overheads {
		out = append(out, CostLine{Kind: CostOverhead, Title: "overhead " + o.Name + inside, Level: level, Amount: o.Cost})
	}
	for _, o := range r.Once {
		out = append(out, CostLine{Kind: CostLaboratory, Title: o.Name, Amount: o.Cost})
	}
	for i := range out {
		if l := &out[i]; l.Kind == CostMaterial && l.Rate.Currency == "" && l.Quantity > 0 {
			perKg, err := l.Amount.PerKg(l.Quantity, costPlaces, money.RoundHalfEven)
			if err != nil {
				return nil, err
			}
			l.Rate = money.Money(perKg)
		}
	}
	return out, nil
}

func (c *costing) packaging(p rollup.PackLine) CostLine {
	return CostLine{Kind: CostPackaging, Title: decimal.NewFromInt(p.Count).String() + " x " + c.s.packTitle(p.Can), Amount: p.Cost}
}

// packTitle names a pack for people.
func (s *supply) packTitle(id string) string {
	for _, pack := range s.plant.Packs {
		if pack.ID == id && pack.Title != "" {
			return pack.Title
		}
	}
	return id
}

// share is the part of a lower batch that an ingredient takes, line by line: the
// masses and times in proportion, the amounts so that they add up to what the
// ingredient costs.
func (c *costing) share(m rollup.MaterialLine, level int, title string) ([]CostLine, error) {
	whole, err := c.level(*m.Level, level, ", in "+title)
	if err != nil || m.Mass == m.Level.Quantity || len(whole) == 0 {
		return whole, err
	}
	weights := make([]decimal.Decimal, len(whole))
	any := false
	for i, l := range whole {
		weights[i] = l.Amount.Amount
		any = any || l.Amount.Sign() > 0
	}
	for i := range whole {
		l := &whole[i]
		l.Quantity = mass.MulDiv(l.Quantity, int64(m.Mass), int64(m.Level.Quantity), mass.RoundHalfEven)
		l.Time = time.Duration(mass.MulDiv(mass.Mass(l.Time), int64(m.Mass), int64(m.Level.Quantity), mass.RoundHalfEven))
	}
	if !any {
		return whole, nil
	}
	amounts, err := m.Cost.Split(weights, rollup.Places)
	if err != nil {
		return nil, err
	}
	for i := range whole {
		whole[i].Amount = amounts[i]
	}
	return whole, nil
}
