package rpc

import (
	"github.com/shopspring/decimal"

	moneypb "google.golang.org/genproto/googleapis/type/money"

	"millbase/costing/money"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

func (f *fields) useUp(field string, m *millbasev1.UseUp) *app.UseUp {
	if m == nil {
		return nil
	}
	return &app.UseUp{
		WithinDays: int(m.GetWithinDays()),
		WorkOff:    m.GetWorkOff(),
		Premium:    f.premium(field+".premium_per_kg", m.GetPremiumPerKg()),
		Percent:    decimal.NewFromFloat(f.number(field+".premium_percent", m.GetPremiumPercent())),
	}
}

// premium reads an amount that may leave its currency out: it is then in that of
// the answer.
func (f *fields) premium(field string, m *moneypb.Money) money.PerKg {
	if m.GetCurrencyCode() != "" {
		return money.PerKg(f.money(field, m))
	}
	with := &moneypb.Money{CurrencyCode: "EUR", Units: m.GetUnits(), Nanos: m.GetNanos()}
	return money.PerKg{Amount: f.money(field, with).Amount}
}

// premiumOut is what a component earns; nothing where it has no premium.
func premiumOut(o *app.Optimised, c *formulation.Component) *moneypb.Money {
	p := o.UsePremium(c)
	if p.Sign() == 0 {
		return nil
	}
	return amountOut(o.Currency, p)
}

// usedUpOut says what the preference for using candidates up comes to.
func usedUpOut(out *millbasev1.OptimiseResponse, o *app.Optimised) {
	use, kg := o.Answer.UseUp, o.Problem.Quantity.Kilograms()
	total := func(perKg float64) *moneypb.Money {
		return moneyOut(money.Money{Currency: o.Currency, Amount: decimal.NewFromFloat(perKg * kg)}.RoundMinor(money.RoundHalfEven))
	}
	out.UseUpPremium, out.UseUpCost = total(use.Premium), total(use.Extra)
	for _, l := range use.Lots {
		c := &o.Problem.Candidates[l.Candidate]
		out.UsedUp = append(out.UsedUp, &millbasev1.UsedUp{
			Candidate:     c.ID,
			Title:         c.Name(),
			MassKg:        l.Mass.Kilograms(),
			MassWithoutKg: l.KgWithout,
			Premium:       amountOut(o.Currency, decimal.NewFromFloat(l.Premium).RoundBank(4)),
			CostPerKg:     amountOut(o.Currency, decimal.NewFromFloat(l.Extra).RoundBank(6)),
			Needed:        l.Needed,
			Unknown:       l.Unknown,
		})
	}
}
