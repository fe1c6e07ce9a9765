package app

import (
	"context"
	"fmt"
	"strings"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/money"
	"millbase/inventory/mass"
)

// The kinds of lines that only a comparison of two quotes has.
const (
	ByExchangeRate CostKind = "exchange_rate"
	ByMargin       CostKind = "margin"
)

// QuoteComparison is what changed from one revision to another.
type QuoteComparison struct {
	From, To         string // "id@1"
	Currency         string
	Terms            []TermChange
	Quantities       []QuantityComparison
	OnlyFrom, OnlyTo []mass.Mass // quantities that only one of them has
}

// TermChange is a term that differs.
type TermChange struct{ Term, Before, After string }

// QuantityComparison is the difference at one quantity: the differences of its
// lines add up to that of the prices exactly.
type QuantityComparison struct {
	Quantity                  mass.Mass
	Before, After, Difference money.Money
	Lines                     []LineChange
}

// LineChange is one line of the difference, in the quote's currency: costs at
// the exchange rate of the earlier revision, then what the later rate makes of
// them, then the margin.
type LineChange struct {
	Kind                      CostKind
	Title                     string
	Level                     int
	Before, After, Difference money.Money
	What                      string // what changed: "4.2 -> 4.41 EUR per kg"
}

// comparedPlaces is to how many decimals a line of a comparison is rounded, half
// even, before anything is added: those of the API's money, so that what a
// caller adds up is exact.
const comparedPlaces = 9

// CompareQuote compares two revisions of a quote line by line. to 0 is the
// newest, from 0 the one before to.
func (b *Book) CompareQuote(ctx context.Context, id string, from, to int) (QuoteComparison, error) {
	var before, after Quote
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		name := id
		if to > 0 {
			name = revisionID(id, to)
		}
		if after, err = b.readQuote(ctx, tx, name); err != nil {
			return err
		}
		if from == 0 {
			from = after.Revision - 1
		}
		if from < 1 {
			return InvalidField("from_revision", "quotes/%s has no revision before %d; revise the quote first, or name two revisions.", id, after.Revision)
		}
		before, err = b.readQuote(ctx, tx, revisionID(id, from))
		return err
	})
	if err != nil {
		return QuoteComparison{}, err
	}
	return compareQuotes(before, after)
}

func compareQuotes(before, after Quote) (QuoteComparison, error) {
	c := QuoteComparison{From: revisionID(before.ID, before.Revision), To: revisionID(after.ID, after.Revision), Currency: after.Currency}
	if before.Currency != after.Currency {
		return c, InvalidField("from_revision", "quotes/%s is in %s and quotes/%s in %s; compare two revisions in the same currency.", c.From, before.Currency, c.To, after.Currency)
	}
	c.Terms = termChanges(before, after)
	for _, k := range before.Breaks {
		later, both := after.breakFor(k.Quantity)
		if !both {
			c.OnlyFrom = append(c.OnlyFrom, k.Quantity)
			continue
		}
		q, err := compareBreaks(before, after, k, later)
		if err != nil {
			return c, err
		}
		c.Quantities = append(c.Quantities, q)
	}
	for _, k := range after.Breaks {
		if _, both := before.breakFor(k.Quantity); !both {
			c.OnlyTo = append(c.OnlyTo, k.Quantity)
		}
	}
	return c, nil
}

func termChanges(before, after Quote) []TermChange {
	var out []TermChange
	check := func(term, b, a string) {
		if b != a {
			out = append(out, TermChange{term, b, a})
		}
	}
	day := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(time.DateOnly)
	}
	check("title", before.Title, after.Title)
	check("formula", before.Formula, after.Formula)
	check("cost basis", before.Basis.String(), after.Basis.String())
	check("margin, % of the price", before.Margin.String(), after.Margin.String())
	check("minimum charge", before.Minimum.Amount.String(), after.Minimum.Amount.String())
	check("pack", before.Pack, after.Pack)
	check("laboratory charge", fmt.Sprint(before.WithLaboratory), fmt.Sprint(after.WithLaboratory))
	check("exchange rate", before.Rate.String(), after.Rate.String())
	check("day of the rate", day(before.RateDate), day(after.RateDate))
	check("day of the prices", day(before.Made), day(after.Made))
	check("holds until", day(before.ValidUntil), day(after.ValidUntil))
	return out
}

// lineKey tells lines apart: the same kind, level and title, counted.
type lineKey struct {
	kind  CostKind
	level int
	title string
	n     int
}

func keyed(lines []CostLine) (keys []lineKey, byKey map[lineKey]CostLine) {
	byKey = map[lineKey]CostLine{}
	for _, l := range lines {
		k := lineKey{l.Kind, l.Level, l.Title, 0}
		for _, there := byKey[k]; there; _, there = byKey[k] {
			k.n++
		}
		byKey[k] = l
		keys = append(keys, k)
	}
	return keys, byKey
}

// perPlantUnit is the quote's currency per unit of the plant's, as it was priced.
func (q Quote) perPlantUnit() (money.Rate, error) {
	kept := money.Rate{From: q.Currency, To: q.PlantCurrency, Value: q.Rate, Date: q.RateDate}
	if q.Currency == q.PlantCurrency {
		return kept, nil
	}
	return kept.Inverse(ratePlaces, money.RoundDown)
}

func compareBreaks(before, after Quote, k, later QuoteBreak) (QuantityComparison, error) {
	out := QuantityComparison{Quantity: k.Quantity, Before: k.Total, After: later.Total}
	rate, err := before.perPlantUnit()
	if err != nil {
		return out, err
	}
	laterRate, err := after.perPlantUnit()
	if err != nil {
		return out, err
	}
	of := func(amount decimal.Decimal) money.Money {
		return money.Money{Currency: before.Currency, Amount: amount}
	}
	at := func(l CostLine, r money.Rate) decimal.Decimal {
		return of(l.Amount.Amount.Mul(r.Value)).Round(comparedPlaces, money.RoundHalfEven).Amount
	}
	add := func(kind CostKind, title string, level int, b, a decimal.Decimal, what string) {
		out.Lines = append(out.Lines, LineChange{kind, title, level, of(b), of(a), of(a.Sub(b)), what})
	}
	keys, old := keyed(k.Lines)
	laterKeys, fresh := keyed(later.Lines)
	for _, key := range laterKeys {
		if _, both := old[key]; !both {
			keys = append(keys, key)
		}
	}
	var sum, laterSum, atLaterRate decimal.Decimal
	for _, key := range keys {
		l, was := old[key]
		m, is := fresh[key]
		b, a := at(l, rate), at(m, rate)
		sum, laterSum, atLaterRate = sum.Add(b), laterSum.Add(a), atLaterRate.Add(at(m, laterRate))
		add(key.kind, key.title, key.level, b, a, whatChanged(l, m, was, is))
	}
	if effect := atLaterRate.Sub(laterSum); effect.Sign() != 0 || !rate.Value.Equal(laterRate.Value) {
		add(ByExchangeRate, "exchange rate", 0, decimal.Zero, effect, fmt.Sprintf("%s -> %s %s per %s", before.Rate, after.Rate, after.PlantCurrency, after.Currency))
	}
	b, a := k.Total.Amount.Sub(sum), later.Total.Amount.Sub(atLaterRate)
	add(ByMargin, "margin", 0, b, a, marginChange(k, later))
	out.Difference = of(later.Total.Amount.Sub(k.Total.Amount))
	return out, nil
}

// whatChanged says of a line what made it cost more or less.
func whatChanged(l, m CostLine, was, is bool) string {
	switch {
	case !was:
		return "new"
	case !is:
		return "gone"
	}
	var parts []string
	if !l.Rate.Amount.Equal(m.Rate.Amount) {
		per := "per kg"
		if l.Kind == CostProcess || l.Kind == CostWashUp {
			per = "per hour"
		}
		parts = append(parts, fmt.Sprintf("%s -> %s %s %s", l.Rate.Amount, m.Rate.Amount, m.Rate.Currency, per))
	}
	if l.Quantity != m.Quantity {
		parts = append(parts, fmt.Sprintf("%s -> %s", l.Quantity, m.Quantity))
	}
	if l.Time != m.Time {
		parts = append(parts, fmt.Sprintf("%s -> %s", l.Time, m.Time))
	}
	if len(parts) == 0 && !l.Amount.Amount.Equal(m.Amount.Amount) {
		parts = append(parts, fmt.Sprintf("%s -> %s", l.Amount, m.Amount))
	}
	return strings.Join(parts, ", ")
}

// marginChange says how the margin came to change.
func marginChange(k, later QuoteBreak) string {
	var parts []string
	if !k.MarginPercent.Equal(later.MarginPercent) {
		parts = append(parts, fmt.Sprintf("%s -> %s %% of the price", k.MarginPercent, later.MarginPercent))
	}
	switch {
	case later.Minimum && !k.Minimum:
		parts = append(parts, "the minimum charge applies now")
	case k.Minimum && !later.Minimum:
		parts = append(parts, "the minimum charge no longer applies")
	}
	return strings.Join(parts, ", ")
}
