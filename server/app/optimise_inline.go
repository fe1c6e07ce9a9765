package app

import (
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"strings"

	"github.com/shopspring/decimal"

	"millbase/inventory/property"
	"millbase/solver"
	"millbase/solver/checked"
	"millbase/solver/formulation"
)

// addInline puts the candidates of the request into the pool, in the currency of
// the answer. They come first, so that their indices are those of the request.
func (s *setting) addInline() error {
	s.currency = s.plant.Currency
	if s.req.Book == nil {
		s.currency = s.inlineCurrency()
	}
	if s.req.Book == nil && len(s.req.Inline) == 0 {
		return InvalidField("candidates", "give at least one candidate, or take those of the book (book: {})")
	}
	if s.req.Book == nil && s.req.UseUp != nil {
		return InvalidField("use_up", "it prefers lots of the book, and the request takes none: give candidates their own use_premium_per_kg")
	}
	if s.currency == "" {
		return InvalidField("currency_code", "say in which currency the prices are")
	}
	var bad Invalid
	for i, c := range s.req.Inline {
		rate, ok := s.rate(c.Price.Currency)
		if !ok {
			bad = append(bad, FieldError{fmt.Sprintf("candidates[%d].price_per_kg", i),
				fmt.Sprintf("there is no exchange rate from %s to %s; give the price in %s", c.Price.Currency, s.currency, s.currency)})
			continue
		}
		s.pool.add(c.Candidate, c.Price.Amount.Mul(rate), nil)
		premium, ok := s.rate(c.UsePremium.Currency)
		switch {
		case c.UsePremium.Amount.Sign() < 0:
			bad = append(bad, FieldError{fmt.Sprintf("candidates[%d].use_premium_per_kg", i), "must not be below 0"})
		case !ok && c.UsePremium.Amount.Sign() > 0:
			bad = append(bad, FieldError{fmt.Sprintf("candidates[%d].use_premium_per_kg", i),
				fmt.Sprintf("there is no exchange rate from %s to %s; give it in %s", c.UsePremium.Currency, s.currency, s.currency)})
		default:
			s.pool.prefer(c.UsePremium.Amount.Mul(premium))
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

// inlineCurrency is that of the request, else of its prices, else the plant's.
func (s *setting) inlineCurrency() string {
	if s.req.Currency != "" {
		return s.req.Currency
	}
	for _, c := range s.req.Inline {
		if c.Price.Currency != "" {
			return c.Price.Currency
		}
	}
	return s.plant.Currency
}

// rate is the price of one unit of a candidate's currency in that of the answer.
func (s *setting) rate(currency string) (decimal.Decimal, bool) {
	if currency == "" {
		currency = s.inlineCurrency()
	}
	if currency == s.currency {
		return decimal.NewFromInt(1), true
	}
	if s.currency != s.plant.Currency {
		return decimal.Zero, false
	}
	rate, ok := s.plant.exchange(currency)
	if ok {
		s.say("1 %s = %s %s (%s) for the prices in the request.", currency, rate.Value, s.currency, dayOf(rate.Date))
	}
	return rate.Value, ok
}

// say adds an assumption once.
func (s *setting) say(format string, args ...any) {
	sentence := fmt.Sprintf(format, args...)
	for _, said := range s.said {
		if said == sentence {
			return
		}
	}
	s.said = append(s.said, sentence)
}

// sayWater adds the water density where it enters an answer.
func (s *setting) sayWater(p *formulation.Problem) {
	water := p.Settings.WaterDensityKgPerL
	if water == 0 {
		water = defaultWaterKgPerL
	}
	for _, l := range p.Limits {
		if l.Kind != formulation.VOCContent {
			continue
		}
		for _, c := range p.Candidates {
			if c.Properties[property.WaterFraction] > 0 {
				s.say("Water is taken at %g kg/L in %s.", water, l.Name())
				return
			}
		}
	}
}

// defaultWaterKgPerL is what formulation takes for a density of 0.
const defaultWaterKgPerL = 0.997

// checkAlone is the check of quantity, limits and settings when there is no
// candidate to check with them.
func (s *setting) checkAlone(p *formulation.Problem) error {
	with := *p
	with.Candidates = []formulation.Candidate{{ID: "any", Available: -1}}
	if err := with.Validate(); err != nil {
		return s.translate(err)
	}
	return nil
}

var faultField = regexp.MustCompile(`^(limits|candidates)\[(\d+)\](.*)$`)

// translate says the faults that the solver found in the words of the request.
func (s *setting) translate(err error) error {
	var faults formulation.FieldErrors
	var unproven *checked.Error
	var unusable *solver.ModelError
	switch {
	case errors.As(err, &unusable):
		return InvalidField("limits", "the figures are too large or too small to work with: %v", unusable)
	case errors.Is(err, formulation.ErrNumerical), errors.As(err, &unproven):
		field := "candidates"
		if len(s.req.Inline) == 0 {
			field = "limits"
		}
		return InvalidField(field, "%v", formulation.ErrNumerical)
	case !errors.As(err, &faults):
		return err
	}
	bad := make(Invalid, 0, len(faults))
	for _, f := range faults {
		bad = append(bad, s.translateFault(f))
	}
	return bad
}

func (s *setting) translateFault(f formulation.FieldError) FieldError {
	m := faultField.FindStringSubmatch(f.Field)
	if m == nil {
		return FieldError{strings.TrimPrefix(f.Field, "settings."), f.Problem}
	}
	i, _ := strconv.Atoi(m[2])
	switch {
	case m[1] == "limits" && s.origin[i] < 0:
		return FieldError{"specification", fmt.Sprintf("its limit %s can't be used as it stands (%s): %s", s.limits[i].Name(), strings.TrimPrefix(m[3], "."), f.Problem)}
	case m[1] == "limits":
		return FieldError{fmt.Sprintf("limits[%d]%s", s.origin[i], m[3]), f.Problem}
	case i >= len(s.req.Inline):
		c := s.pool.candidates[i]
		return FieldError{"book", fmt.Sprintf("%s (%s) can't be used as it stands (%s): %s. Correct it in the book, or exclude it", c.Name(), c.ID, strings.TrimPrefix(m[3], "."), f.Problem)}
	}
	return FieldError{f.Field, f.Problem}
}

// assumptions says what was taken for granted about the book.
func (r *stockRoom) assumptions(p *pool, c *choice) []string {
	out := []string{"Stock counts as it stands now, less what is reserved; lots are released and in date on " + dayOf(c.date) + "."}
	switch c.basis.String() {
	case "average":
		out = append(out, "Lots are valued at the average landed cost of what is on hand of the material.")
	case "replacement":
		out = append(out, "Lots are valued at the lowest landed price among the offers that hold today, at the price break of the whole quantity.")
	case "standard":
		out = append(out, "Lots are valued at the standard cost of the material.")
	default:
		out = append(out, "Lots are valued at their own landed cost.")
	}
	currencies := map[string]bool{}
	for j, ladder := range p.ladders {
		if ladder != nil {
			currencies[r.currencyOf(p.candidates[j].ID)] = true
		}
	}
	if len(currencies) == 0 {
		return out
	}
	out = append(out, "Offers are ordered today, landed (freight, duty, exchange rate), each at the price break that the quantity used of it reaches. Minimum orders and pack sizes are not counted.")
	for _, rate := range r.plant.Rates {
		if currencies[rate.Currency] && rate.Currency != r.plant.Currency {
			if used, _ := r.plant.exchange(rate.Currency); used.Value.Equal(rate.Rate) {
				out = append(out, fmt.Sprintf("1 %s = %s %s (%s).", rate.Currency, rate.Rate, r.plant.Currency, dayOf(rate.Date)))
			}
		}
	}
	return out
}

func (r *stockRoom) currencyOf(candidate string) string {
	for _, o := range r.offers {
		if candidate == offerName(o) {
			return o.Currency
		}
	}
	return ""
}
