package rpc

import (
	"errors"
	"math"
	"strconv"
	"time"

	"github.com/shopspring/decimal"
	moneypb "google.golang.org/genproto/googleapis/type/money"
	"google.golang.org/protobuf/types/known/timestamppb"

	"millbase/costing/money"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
)

// fields collects what is wrong with the fields of a request. Its methods
// convert one field each, to the zero value when the field is wrong.
type fields struct{ bad app.Invalid }

// add records a problem that a handler found itself.
func (f *fields) add(field, format string, args ...any) {
	f.bad = append(f.bad, app.InvalidField(field, format, args...)...)
}

// err is nil when nothing was wrong.
func (f *fields) err() error {
	if len(f.bad) == 0 {
		return nil
	}
	return f.bad
}

// mass reads kilograms: finite, whole milligrams, at most 1,000,000 t either way.
func (f *fields) mass(field string, kg float64) mass.Mass {
	m, err := mass.FromKilograms(kg)
	switch {
	case err == nil:
	case errors.Is(err, mass.ErrNotFinite):
		f.add(field, "is not a number; give kilograms as a plain number such as 12.5")
	case errors.Is(err, mass.ErrTooFine):
		f.add(field, "%s kg is finer than a milligram; give at most 6 decimal places", number(kg))
	case errors.Is(err, mass.ErrTooLarge):
		f.add(field, "%s kg is more than 1,000,000 t; check the unit, it is kilograms", number(kg))
	default:
		f.add(field, "%s is not a number of kilograms", number(kg))
	}
	return m
}

// positive reads kilograms above zero.
func (f *fields) positive(field string, kg float64) mass.Mass {
	m := f.mass(field, kg)
	if len(f.bad) == 0 || f.bad[len(f.bad)-1].Field != field {
		if m <= 0 {
			f.add(field, "must be above 0 kg")
		}
	}
	return m
}

// kg writes a mass for the edge.
func kg(m mass.Mass) float64 { return m.Kilograms() }

// number reads a finite float64 of a magnitude that the book can keep.
func (f *fields) number(field string, v float64) float64 {
	if math.IsNaN(v) || math.Abs(v) > property.Largest {
		f.add(field, "%s is not a plausible number; give a finite one of at most 1e12", number(v))
		return 0
	}
	return v
}

func number(v float64) string { return strconv.FormatFloat(v, 'g', 12, 64) }

// money reads an amount of money; nil is the zero Money.
func (f *fields) money(field string, m *moneypb.Money) money.Money {
	if m == nil {
		return money.Money{}
	}
	out, err := money.FromUnitsNanos(m.GetCurrencyCode(), m.GetUnits(), m.GetNanos())
	switch {
	case err == nil:
		return out
	case errors.Is(err, money.ErrCurrency):
		f.add(field+".currency_code", "%q is not a currency; give the three capital letters of ISO 4217, such as EUR", m.GetCurrencyCode())
	case errors.Is(err, money.ErrNanos):
		f.add(field+".nanos", "must lie between -999999999 and 999999999 and have the sign of units")
	default:
		f.add(field, "the amount is too large; give less than 1,000,000,000,000,000")
	}
	return money.Money{}
}

// price reads an amount of zero or more in the named currency; with an empty
// currency any. nil is zero.
func (f *fields) price(field string, m *moneypb.Money, currency string) decimal.Decimal {
	if m == nil {
		return decimal.Zero
	}
	before := len(f.bad)
	v := f.money(field, m)
	switch {
	case len(f.bad) > before:
	case v.Sign() < 0:
		f.add(field, "must not be below zero")
	case currency != "" && v.Currency != currency:
		f.add(field+".currency_code", "is %s where %s is expected; give all amounts here in %s", v.Currency, currency, currency)
	default:
		return v.Amount
	}
	return decimal.Zero
}

// moneyOut writes an amount, rounded half even to a billionth where it is finer
// (a computed cost); the zero Money is nil.
func moneyOut(m money.Money) *moneypb.Money {
	if m.Currency == "" {
		return nil
	}
	units, nanos, err := m.Round(9, money.RoundHalfEven).ToUnitsNanos()
	if err != nil {
		units, nanos = int64(math.MaxInt64), 999_999_999
		if m.Sign() < 0 {
			units, nanos = -units, -nanos
		}
	}
	return &moneypb.Money{CurrencyCode: m.Currency, Units: units, Nanos: nanos}
}

// amountOut writes a decimal amount of a currency.
func amountOut(currency string, amount decimal.Decimal) *moneypb.Money {
	return moneyOut(money.Money{Currency: currency, Amount: amount})
}

// decimal reads a plain decimal number such as "4.5"; empty is zero.
func (f *fields) decimal(field, s string) decimal.Decimal {
	if s == "" {
		return decimal.Zero
	}
	d, err := money.ParseDecimal(s)
	switch {
	case err == nil:
		return d
	case errors.Is(err, money.ErrTooLarge):
		f.add(field, "is too large; give less than 1,000,000,000,000,000")
	case errors.Is(err, money.ErrTooFine):
		f.add(field, "has too many decimal places; give at most %d", money.MaxPlaces)
	default:
		f.add(field, "%.40q is not a plain decimal number; write it like 4.5", s)
	}
	return decimal.Zero
}

// float reads a number as the shortest decimal that reads back as it.
func (f *fields) float(field string, v float64) decimal.Decimal {
	return decimal.NewFromFloat(f.number(field, v))
}

// decimalOut writes a decimal number; zero is "0".
func decimalOut(d decimal.Decimal) string { return d.String() }

// date reads a calendar date as midnight UTC; empty is the zero time.
func (f *fields) date(field, s string) time.Time {
	if s == "" {
		return time.Time{}
	}
	t, err := parseDate(s)
	if err != nil {
		f.add(field, "%.40q is not a date of the calendar; write it like 2026-03-31", s)
	}
	return t
}

// needDate reads a calendar date that must be given.
func (f *fields) needDate(field, s string) time.Time {
	if s == "" {
		f.add(field, "must be given, as a date like 2026-03-31")
	}
	return f.date(field, s)
}

func parseDate(s string) (time.Time, error) {
	t, err := time.Parse(time.DateOnly, s)
	if err == nil && t.Year() < 1900 {
		return time.Time{}, errors.New("before 1900")
	}
	return t, err
}

// dateOut writes a calendar date; the zero time is empty.
func dateOut(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.Format(time.DateOnly)
}

// moment reads a timestamp; nil is the zero time.
func (f *fields) moment(field string, t *timestamppb.Timestamp) time.Time {
	if t == nil {
		return time.Time{}
	}
	if err := t.CheckValid(); err != nil || t.AsTime().Year() < 1900 {
		f.add(field, "is not a moment between the years 1900 and 9999")
		return time.Time{}
	}
	return t.AsTime()
}

// momentOut writes a timestamp; the zero time is nil.
func momentOut(t time.Time) *timestamppb.Timestamp {
	if t.IsZero() {
		return nil
	}
	return timestamppb.New(t)
}

// set reads a map of property values. Whether the properties exist and the
// values are plausible is the catalogue's to say.
func (f *fields) set(field string, values map[string]float64) property.Set {
	out := make(property.Set, len(values))
	for key, v := range values {
		out[key] = f.number(field+`["`+key+`"]`, v)
	}
	return out
}

// each converts every element.
func each[A, B any](in []A, convert func(A) B) []B {
	out := make([]B, len(in))
	for i, v := range in {
		out[i] = convert(v)
	}
	return out
}
