package app

import (
	"fmt"
	"reflect"
	"testing"

	"pgregory.net/rapid"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/formula"
	"millbase/inventory/mass"
)

// On any book with open orders and planned batches: every peg adds up and no order
// is given twice; a delivery that comes later, or a lot that is rejected, never
// makes a shortage smaller or later; and trying out leaves the supply as it was.
func TestBoardPegsAndChanges(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		s := drawSupply(t)
		s.formulas.revisions = map[string]formula.Formula{"ink@1": s.formulas.byMaterial["ink"], "base@1": s.formulas.byMaterial["base"]}
		day := func(label string, most int) int { return rapid.IntRange(0, most).Draw(t, label) }
		for i := range rapid.IntRange(1, 3).Draw(t, "orders") {
			s.orders = append(s.orders, purchase.Order{ID: fmt.Sprint("po-", i), State: purchase.Sent, Lines: []purchase.Line{{
				Material: rapid.SampledFrom([]string{"blue", "varnish"}).Draw(t, "ordered"), Quantity: drawMass(t, "on order", 300*mass.Kilogram),
				DueDate: propertyDay.AddDate(0, 0, day("due", 30))}}})
		}
		for i := range rapid.IntRange(1, 4).Draw(t, "batches") {
			of := rapid.SampledFrom([]string{"ink", "base"}).Draw(t, "of")
			s.batches = append(s.batches, batch.Batch{ID: fmt.Sprint("b-", i), Formula: of, FormulaRevision: 1, Material: of,
				Quantity: drawMass(t, "planned", 400*mass.Kilogram), DueDate: propertyDay.AddDate(0, 0, day("due", 40)), State: batch.Planned})
		}
		changes := []BoardChange{{Order: "po-0", Days: 1 + day("late", 20)}}
		for _, item := range s.stock["blue"] {
			if ok, _ := item.UsableOn(s.today); ok && item.OnHand > 0 && len(changes) == 1 {
				s.lots[item.ID] = item.StockLot
				changes = append(changes, BoardChange{Lot: item.ID})
			}
		}
		q := CoverageQuery{Weeks: 8, Pegging: true}
		before, err := s.coverage(q)
		if err != nil {
			t.Fatal(err)
		}
		checkPegs(t, before)
		other, err := s.changed(changes)
		if err != nil {
			t.Fatal(err)
		}
		after, err := other.coverage(q)
		if err != nil {
			t.Fatal(err)
		}
		checkPegs(t, after)
		old := statesOf(before)
		for id, now := range statesOf(after) {
			was := old[id]
			if now.Short < was.Short || (!was.FirstShort.IsZero() && now.FirstShort.After(was.FirstShort)) {
				t.Fatalf("%s is short of %s from %s, and with less of %s from %s", id, was.Short, was.FirstShort, now.Short, now.FirstShort)
			}
		}
		if again, err := s.coverage(q); err != nil || !reflect.DeepEqual(before, again) {
			t.Fatalf("trying out has changed the board: %v", err)
		}
	})
}

func checkPegs(t *rapid.T, c Coverage) {
	for _, r := range c.Rows {
		required, needed := mass.Mass(0), mass.Mass(0)
		for _, m := range r.Required {
			required += m
		}
		taken := map[string]mass.Mass{}
		for _, n := range r.Needs {
			sum := n.Short
			for _, cover := range n.Covers {
				sum += cover.Quantity
				taken[cover.Source] += cover.Quantity
			}
			if sum != n.Quantity || n.Short < 0 || len(n.Batches) == 0 {
				t.Fatalf("%s: the covers of %+v do not add up", r.Material, n)
			}
			needed += n.Quantity
		}
		expected, planned := mass.Mass(0), mass.Mass(0)
		for i := range r.Expected {
			expected += r.Expected[i]
			planned += r.PlannedReceipts[i]
		}
		if needed != required || taken[coverStock] > r.OnHand || taken[coverPlanned] > planned {
			t.Fatalf("%s: %s pegged of %s; %s of stock from %s, %s of %s planned", r.Material, needed, required, taken[coverStock], r.OnHand, taken[coverPlanned], planned)
		}
		delete(taken, coverStock)
		delete(taken, coverPlanned)
		for _, q := range taken {
			if expected -= q; expected < 0 {
				t.Fatalf("%s: more is taken of orders than is expected: %v", r.Material, taken)
			}
		}
	}
}
