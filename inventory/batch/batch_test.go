package batch

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"pgregory.net/rapid"

	"millbase/inventory"
	"millbase/inventory/mass"
	"millbase/inventory/property"
)

var due = time.Date(2030, 3, 1, 0, 0, 0, 0, time.UTC)

func planned() Batch {
	return Batch{ID: "b-1", Formula: "cyan", FormulaRevision: 2, Material: "ink-cyan", Quantity: 100 * mass.Kilogram, DueDate: due}
}

func TestPlan(t *testing.T) {
	if b, err := Plan(planned()); err != nil || b.State != Planned {
		t.Fatalf("a good batch: %v, %v", b.State, err)
	}
	for name, change := range map[string]func(*Batch){
		"lower-case": func(b *Batch) { b.ID = "B 1" },
		"either":     func(b *Batch) { b.Specification = "cyan" },
		"either a":   func(b *Batch) { b.Formula = "" },
		"revision":   func(b *Batch) { b.FormulaRevision = 0 },
		"material":   func(b *Batch) { b.Material = "" },
		"above 0":    func(b *Batch) { b.Quantity = 0 },
		"due date":   func(b *Batch) { b.DueDate = time.Time{} },
	} {
		b := planned()
		change(&b)
		if _, err := Plan(b); !errors.Is(err, ErrPlan) || !strings.Contains(err.Error(), name) {
			t.Errorf("want an error that says %q, got %v", name, err)
		}
	}
}

func TestLife(t *testing.T) {
	b, _ := Plan(planned())
	if _, err := b.Finish(Done{Mass: 1}); !errors.Is(err, ErrState) {
		t.Errorf("a planned batch was finished: %v", err)
	}
	r, err := b.Reserve([]Line{{Material: "m", Lot: "l", Location: "a", Quantity: 10}})
	if err != nil || r.State != Reserved {
		t.Fatalf("reserve: %v %v", r.State, err)
	}
	if _, err := r.Reserve(r.Lines); !errors.Is(err, ErrState) {
		t.Errorf("reserved twice: %v", err)
	}
	if _, err := r.Finish(Done{Mass: 11, Lot: "f"}); !errors.Is(err, ErrWeight) {
		t.Errorf("more came out than went in: %v", err)
	}
	f, err := r.Finish(Done{Mass: 9, Lot: "f", At: due})
	if err != nil || f.State != Finished || f.Lines[0].Weighed != 10 || r.Lines[0].Weighed != 0 {
		t.Errorf("finish: %+v %v (and the batch before: %+v)", f, err, r)
	}
	if _, err := f.Cancel("no"); !errors.Is(err, ErrState) {
		t.Errorf("a finished batch was cancelled: %v", err)
	}
	if c, err := r.Cancel("customer gone"); err != nil || c.State != Cancelled || c.Lines != nil || c.Note != "Cancelled: customer gone" {
		t.Errorf("cancel: %+v %v", c, err)
	}
}

func TestWeigh(t *testing.T) {
	lines := []Line{{Lot: "a", Location: "1", Quantity: 10}, {Lot: "b", Location: "1", Quantity: 5}, {Lot: "a", Location: "2", Quantity: 20}}
	for name, c := range map[string]struct {
		actual map[string]mass.Mass
		want   [3]mass.Mass
	}{
		"as the ticket": {nil, [3]mass.Mass{10, 5, 20}},
		"less":          {map[string]mass.Mass{"a": 7}, [3]mass.Mass{7, 5, 0}},
		"more":          {map[string]mass.Mass{"a": 33}, [3]mass.Mass{10, 5, 23}},
		"none":          {map[string]mass.Mass{"b": 0}, [3]mass.Mass{10, 0, 20}},
	} {
		got, err := Weigh(lines, c.actual)
		if err != nil || got[0].Weighed != c.want[0] || got[1].Weighed != c.want[1] || got[2].Weighed != c.want[2] {
			t.Errorf("%s: %+v, %v", name, got, err)
		}
	}
	if _, err := Weigh(lines, map[string]mass.Mass{"c": 1}); !errors.Is(err, ErrWeight) {
		t.Errorf("a lot that is not on the ticket: %v", err)
	}
}

func TestWeighKeepsEveryMilligram(t *testing.T) {
	lots := []string{"a", "b", "c"}
	rapid.Check(t, func(t *rapid.T) {
		want := map[string]mass.Mass{}
		var lines []Line
		for range rapid.IntRange(1, 8).Draw(t, "lines") {
			l := Line{Lot: rapid.SampledFrom(lots).Draw(t, "lot"), Quantity: mass.Mass(rapid.Int64Range(1, 1000).Draw(t, "mg"))}
			lines = append(lines, l)
			want[l.Lot] += l.Quantity
		}
		actual := map[string]mass.Mass{}
		for lot := range want {
			if rapid.Bool().Draw(t, "weighed "+lot) {
				actual[lot] = mass.Mass(rapid.Int64Range(0, 5000).Draw(t, "actual"))
				want[lot] = actual[lot]
			}
		}
		out, err := Weigh(lines, actual)
		if err != nil {
			t.Fatal(err)
		}
		got := map[string]mass.Mass{}
		for _, l := range out {
			if l.Weighed < 0 {
				t.Fatalf("%+v is negative", l)
			}
			got[l.Lot] += l.Weighed
		}
		for lot, m := range want {
			if got[lot] != m {
				t.Fatalf("lot %s: %s weighed, %s on the lines", lot, m, got[lot])
			}
		}
	})
}

func TestWeighingOrder(t *testing.T) {
	class := map[string]inventory.Class{"v": inventory.Varnish, "v2": inventory.Varnish, "p": inventory.Pigment,
		"w": inventory.Wax, "d": inventory.Drier, "o": inventory.Oil}
	lines := []Line{{Material: "d", Quantity: 1}, {Material: "w", Quantity: 2}, {Material: "v", Lot: "1", Quantity: 3},
		{Material: "p", Quantity: 9}, {Material: "v2", Quantity: 5}, {Material: "v", Lot: "2", Quantity: 4}, {Material: "o", Quantity: 8}}
	var got string
	for _, l := range WeighingOrder(lines, func(m string) inventory.Class { return class[m] }) {
		got += l.Material + l.Lot + " "
	}
	// Common practice: varnish and oil, pigment, then the let-down.
	if got != "v1 v2 v2 o p w d " {
		t.Errorf("got %s", got)
	}
}

func TestProperties(t *testing.T) {
	sets := []property.Set{
		{"density_kg_per_l": 2, "pigment_fraction/PB15:3": 1, "oil_absorption_g_per_100g": 45},
		{"density_kg_per_l": 1, "binder_solids_fraction": 0.6, "volatile_fraction": 0.4, "tack_units": 10},
	}
	got := Properties(property.BuiltIn(), sets, []float64{2, 8})
	// By hand: 1/(0.2/2 + 0.8/1) = 1.1111; 2 of 10 kg; 0.8 x 0.6; 0.8 x 0.4.
	want := property.Set{"density_kg_per_l": 10.0 / 9, "pigment_fraction/PB15:3": 0.2,
		"binder_solids_fraction": 0.48, "volatile_fraction": 0.32, "oil_absorption_g_per_100g": 45, "tint_strength_fraction": 1}
	for key, want := range want {
		if math.Abs(got[key]-want) > 1e-12 {
			t.Errorf("%s: %g, want %g", key, got[key], want)
		}
	}
	if v, ok := got["tack_units"]; ok {
		t.Errorf("the pigment has no tack, but the blend has %g", v)
	}
	if v, ok := got["water_fraction"]; ok {
		t.Errorf("there is no water, but %g is listed", v)
	}
	if bad := property.BuiltIn().Check(got, ""); len(bad) > 0 {
		t.Errorf("the catalogue refuses it: %v", bad)
	}
}
