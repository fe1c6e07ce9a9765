package storetest

import (
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/inventory"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
	"millbase/inventory/property"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// The generators draw every field, text in any script, so that a field that is
// not kept is found out. They draw each empty list as nil.

var (
	words = rapid.Map(rapid.StringN(0, 12, 40), func(s string) string {
		return strings.ReplaceAll(strings.ToValidUTF8(s, "?"), "\x00", "0")
	})
	flags  = rapid.Bool()
	counts = rapid.IntRange(0, 1000)
	masses = rapid.Map(rapid.Int64Range(0, int64(mass.Max)), func(n int64) mass.Mass { return mass.Mass(n) })
	prices = rapid.Map(rapid.Int64Range(-1e12, 1e12), func(n int64) decimal.Decimal { return decimal.New(n, -6).Truncate(6) })
	// Adding zero makes -0 plain 0, the only float that jsonb does not keep.
	floats = rapid.Map(rapid.Float64Range(-1e9, 1e9), func(f float64) float64 { return f + 0 })
	dates  = rapid.Map(rapid.IntRange(-1, 40000), func(d int) time.Time {
		if d < 0 {
			return time.Time{}
		}
		return time.Date(1970, 1, 1+d, 0, 0, 0, 0, time.UTC)
	})
	optional = rapid.Ptr(floats, true)
)

func list[T any](t *rapid.T, g *rapid.Generator[T]) []T {
	if l := rapid.SliceOfN(g, 0, 3).Draw(t, "list"); len(l) > 0 {
		return l
	}
	return nil
}

func drawSet(t *rapid.T) property.Set {
	if m := rapid.MapOfN(words, floats, 0, 4).Draw(t, "properties"); len(m) > 0 {
		return m
	}
	return nil
}

func drawProperty(t *rapid.T, id string) property.Definition {
	return property.Definition{Name: id, Title: words.Draw(t, "title"), Unit: words.Draw(t, "unit"), Qualified: flags.Draw(t, "qualified"),
		Index: property.Index(words.Draw(t, "index")), Basis: words.Draw(t, "basis"), Scale: floats.Draw(t, "scale"),
		Offset: floats.Draw(t, "offset"), Exponent: floats.Draw(t, "exponent"), Default: optional.Draw(t, "default"),
		Min: floats.Draw(t, "min"), Max: floats.Draw(t, "max"), BuiltIn: flags.Draw(t, "built-in")}
}

func drawMaterial(t *rapid.T, id string) app.BookMaterial {
	return app.BookMaterial{StandardCostPerKg: prices.Draw(t, "standard"), Material: inventory.Material{
		ID: id, Title: words.Draw(t, "title"), Class: rapid.SampledFrom(inventory.Classes).Draw(t, "class"), Properties: drawSet(t), Deviations: drawSet(t),
		ColourIndex: words.Draw(t, "index"), ShelfLifeDays: counts.Draw(t, "days"), SafetyStock: masses.Draw(t, "stock"),
		Ordering: inventory.Ordering{Rule: rapid.SampledFrom([]inventory.LotRule{"", inventory.LotForLot, inventory.FixedLot, inventory.PeriodLots}).Draw(t, "rule"),
			Lot: masses.Draw(t, "lot"), PeriodDays: counts.Draw(t, "period"), LeadTimeDays: counts.Draw(t, "lead time"),
			SafetyTimeDays: counts.Draw(t, "safety time"), FenceDays: counts.Draw(t, "fence")},
		Cautions: list(t, words), Archived: flags.Draw(t, "archived")}}
}

func drawSupplier(t *rapid.T, id string) purchase.Supplier {
	return purchase.Supplier{ID: id, Title: words.Draw(t, "title"), Currency: words.Draw(t, "currency"),
		LeadTimeDays: counts.Draw(t, "days"), Contact: words.Draw(t, "contact"), Archived: flags.Draw(t, "archived")}
}

func drawOffer(t *rapid.T, id string) purchase.Offer {
	return purchase.Offer{ID: id, Supplier: "s-1", Material: "m-1", Currency: words.Draw(t, "currency"),
		Breaks: list(t, rapid.Custom(func(t *rapid.T) purchase.Break {
			return purchase.Break{From: masses.Draw(t, "from"), PricePerKg: prices.Draw(t, "price")}
		})),
		PackSize: masses.Draw(t, "pack"), MinimumOrder: masses.Draw(t, "minimum"), LeadTimeDays: counts.Draw(t, "days"),
		FreightPerKg: prices.Draw(t, "freight"), DutyPercent: prices.Draw(t, "duty"),
		ValidFrom: dates.Draw(t, "from"), ValidUntil: dates.Draw(t, "until")}
}

func drawLot(t *rapid.T, id string) app.StockLot {
	statuses := []lot.Status{lot.Quarantined, lot.Released, lot.Held, lot.Rejected}
	return app.StockLot{
		Lot: lot.Lot{ID: id, Material: "m-1", SupplierLot: words.Draw(t, "supplier lot"),
			Supplier: rapid.SampledFrom([]string{"", "s-1"}).Draw(t, "supplier"), Status: rapid.SampledFrom(statuses).Draw(t, "status"),
			Certificate: drawSet(t), Tested: drawSet(t), Deviations: drawSet(t), ReceivedDate: dates.Draw(t, "received"), ExpiryDate: dates.Draw(t, "expiry"),
			Batch: words.Draw(t, "batch"), Note: words.Draw(t, "note")},
		Cost: app.LotCost{CostPerKg: prices.Draw(t, "cost"), PricePerKg: prices.Draw(t, "price"), PriceCurrency: words.Draw(t, "currency"),
			FreightPerKg: prices.Draw(t, "freight"), DutyPercent: prices.Draw(t, "duty"), ExchangeRate: prices.Draw(t, "rate"), RateDate: dates.Draw(t, "date")}}
}

func drawSpecification(t *rapid.T, id string) formulation.Specification {
	return formulation.Specification{ID: id, Title: words.Draw(t, "title"), Material: rapid.SampledFrom([]string{"", "m-1"}).Draw(t, "material"),
		Limits: list(t, rapid.Custom(func(t *rapid.T) formulation.Limit {
			return formulation.Limit{ID: words.Draw(t, "id"), Title: words.Draw(t, "title"), Kind: formulation.LimitKind(words.Draw(t, "kind")),
				Lower: optional.Draw(t, "lower"), Upper: optional.Draw(t, "upper"), ColourIndex: words.Draw(t, "pigment"),
				ByStrength: flags.Draw(t, "strength"), Metal: words.Draw(t, "metal"), Materials: list(t, words),
				Classes: list(t, rapid.SampledFrom(inventory.Classes)), Property: words.Draw(t, "property"),
				Index: property.Index(words.Draw(t, "index")), MoveWeight: floats.Draw(t, "weight"),
				Confidence: floats.Draw(t, "confidence"), Budget: floats.Draw(t, "budget"), Spread: floats.Draw(t, "spread"), Hard: flags.Draw(t, "hard")}
		})),
		Note: words.Draw(t, "note"), Archived: flags.Draw(t, "archived")}
}

func drawBatch(t *rapid.T, id string) batch.Batch {
	b := batch.Batch{ID: id, Specification: rapid.SampledFrom([]string{"", "sp-1"}).Draw(t, "specification"), Material: "m-1",
		Quantity: masses.Draw(t, "quantity") + 1, DueDate: dates.Draw(t, "due"),
		State: rapid.SampledFrom([]batch.State{batch.Planned, batch.Reserved, batch.Finished, batch.Cancelled}).Draw(t, "state"),
		Lines: list(t, rapid.Custom(func(t *rapid.T) batch.Line {
			return batch.Line{Material: words.Draw(t, "material"), Lot: words.Draw(t, "lot"), Location: words.Draw(t, "location"),
				Quantity: masses.Draw(t, "quantity"), Reservation: words.Draw(t, "reservation"), Weighed: masses.Draw(t, "weighed")}
		})),
		FinishedLot: rapid.SampledFrom([]string{"", "l-1"}).Draw(t, "lot"), FinishedMass: masses.Draw(t, "made"),
		FinishedAt: dates.Draw(t, "at"), Properties: drawSet(t), Note: words.Draw(t, "note")}
	if flags.Draw(t, "by formula") {
		b.Formula, b.FormulaRevision = "f-1", 1
	}
	return b
}

func drawOrder(t *rapid.T, id string) purchase.Order {
	states := []purchase.OrderState{purchase.Draft, purchase.Sent, purchase.PartReceived, purchase.Received, purchase.Cancelled}
	return purchase.Order{ID: id, Supplier: "s-1", Currency: words.Draw(t, "currency"), State: rapid.SampledFrom(states).Draw(t, "state"),
		Lines: list(t, rapid.Custom(func(t *rapid.T) purchase.Line {
			return purchase.Line{Material: words.Draw(t, "material"), Offer: words.Draw(t, "offer"), Quantity: masses.Draw(t, "quantity"),
				Received: masses.Draw(t, "received"), PricePerKg: prices.Draw(t, "price"), DueDate: dates.Draw(t, "due"),
				Closing: purchase.Closing(words.Draw(t, "closing")), Deliveries: list(t, rapid.Custom(func(t *rapid.T) purchase.Delivery {
					return purchase.Delivery{Movement: words.Draw(t, "movement"), Lot: words.Draw(t, "lot"), Quantity: masses.Draw(t, "quantity"),
						Date: dates.Draw(t, "date"), Reversed: flags.Draw(t, "reversed")}
				}))}
		})), Note: words.Draw(t, "note"), SentDate: dates.Draw(t, "sent")}
}

func drawKey(t *rapid.T, id string) app.APIKey {
	digest := uuid.New() // unique in the table
	return app.APIKey{ID: id, Title: words.Draw(t, "title"), Role: words.Draw(t, "role"), Digest: digest[:], Revoked: flags.Draw(t, "revoked")}
}

func drawPlant(t *rapid.T) app.Plant {
	return app.Plant{Title: words.Draw(t, "title"), Currency: words.Draw(t, "currency"),
		TimeZone:           rapid.SampledFrom([]string{"UTC", "Europe/Vienna", "America/Chicago"}).Draw(t, "zone"),
		WaterDensityKgPerL: floats.Draw(t, "water"), ScaleDivision: masses.Draw(t, "division"), OverheadPercent: prices.Draw(t, "overhead"),
		MarginPercent: prices.Draw(t, "margin"), LaboratoryCharge: prices.Draw(t, "laboratory"), QualityReleaseDays: counts.Draw(t, "days"),
		OverDeliveryPercent: decimal.NewFromInt(int64(counts.Draw(t, "over"))), UnderDeliveryPercent: decimal.NewFromInt(int64(rapid.IntRange(0, 100).Draw(t, "under"))),
		Shifts: list(t, rapid.Custom(func(t *rapid.T) app.Shift {
			return app.Shift{Weekday: time.Weekday(rapid.IntRange(0, 6).Draw(t, "day")), FromMinute: counts.Draw(t, "from"), ToMinute: counts.Draw(t, "to")}
		})),
		Holidays: list(t, dates),
		Machines: list(t, rapid.Custom(func(t *rapid.T) app.Machine {
			return app.Machine{ID: words.Draw(t, "id"), Title: words.Draw(t, "title"), Steps: list(t, words), Capacity: masses.Draw(t, "capacity"),
				KgPerHour: prices.Draw(t, "throughput"), MinutesPerBatch: counts.Draw(t, "batch"), SetupMinutes: counts.Draw(t, "setup"),
				WashUpMinutes: counts.Draw(t, "wash-up"), RatePerHour: prices.Draw(t, "rate"), LossPercent: prices.Draw(t, "loss"),
				LossPerCharge: masses.Draw(t, "loss per charge"), ShortWashUp: counts.Draw(t, "short wash-up"), LabourPerHour: prices.Draw(t, "labour"),
				Crew: prices.Draw(t, "crew")}
		})),
		Rates: list(t, rapid.Custom(func(t *rapid.T) app.ExchangeRate {
			return app.ExchangeRate{Currency: words.Draw(t, "currency"), Rate: prices.Draw(t, "rate"), Date: dates.Draw(t, "date")}
		})),
		Packs: list(t, rapid.Custom(func(t *rapid.T) app.Pack {
			return app.Pack{ID: words.Draw(t, "id"), Title: words.Draw(t, "title"), Holds: masses.Draw(t, "holds"), Material: words.Draw(t, "material"), Cost: prices.Draw(t, "cost")}
		})),
		Scales: list(t, rapid.Custom(func(t *rapid.T) app.Scale {
			return app.Scale{Title: words.Draw(t, "title"), Division: masses.Draw(t, "division"), From: masses.Draw(t, "from")}
		}))}
}

func testFormulas(t *testing.T, s app.Store) {
	var made []app.Record[formula.Formula]
	rapid.Check(t, func(rt *rapid.T) {
		f := formula.Formula{ID: "f-2", Title: words.Draw(rt, "title"), Material: rapid.SampledFrom([]string{"", "m-1"}).Draw(rt, "material"),
			Specification: rapid.SampledFrom([]string{"", "sp-1"}).Draw(rt, "specification"),
			Ingredients: list(rt, rapid.Custom(func(t *rapid.T) formula.Ingredient {
				return formula.Ingredient{Material: words.Draw(t, "material"), Lot: words.Draw(t, "lot"), PartsPerMillion: rapid.Int64Range(0, 1e6).Draw(t, "parts")}
			})),
			Route: list(rt, rapid.Custom(func(t *rapid.T) formula.RouteStep {
				return formula.RouteStep{Step: formula.Step(words.Draw(t, "step")), Passes: counts.Draw(t, "passes")}
			})),
			YieldPartsPerMillion: rapid.Int64Range(0, 1e6).Draw(rt, "yield"), Released: flags.Draw(rt, "released"), Note: words.Draw(rt, "note")}
		update(t, s, func(tx app.Tx) error {
			rec, err := tx.Formulas().Create(t.Context(), f)
			f.Revision, f.Created = len(made)+1, rec.CreatedAt
			same(rt, "revision", rec.Value, f)
			made = append(made, rec)
			return err
		})
	})
	last := made[len(made)-1]
	update(t, s, func(tx app.Tx) error {
		newest, err := tx.Formulas().Get(t.Context(), "f-2")
		equal(t, "newest", newest, last)
		if err != nil {
			return err
		}
		second, err := tx.Formulas().Get(t.Context(), "f-2@2")
		equal(t, "f-2@2", second, made[1])
		if err != nil {
			return err
		}
		all, err := tx.Formulas().List(t.Context(), app.Query{Where: []app.Condition{{Field: "formula", Op: "=", Value: "f-2"}}})
		equal(t, "all revisions", all, made)
		if err != nil {
			return err
		}
		list, err := tx.Formulas().List(t.Context(), app.Query{After: "f-1"})
		equal(t, "newest of each after f-1", list, []app.Record[formula.Formula]{last})
		if err != nil {
			return err
		}
		turned := second.Value
		turned.Released, turned.Title = !turned.Released, "an edit that is not kept"
		changed, err := tx.Formulas().Update(t.Context(), turned, second.Version)
		if changed.Value.Released == second.Value.Released || changed.Value.Title != second.Value.Title {
			t.Errorf("released a revision: %+v", changed.Value)
		}
		if _, err := tx.Formulas().Update(t.Context(), turned, second.Version); !errors.Is(err, app.ErrStale) {
			t.Errorf("an old version: %v", err)
		}
		return err
	})
}
