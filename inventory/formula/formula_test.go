package formula

import (
	"fmt"
	"slices"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"millbase/inventory/mass"
)

func all(string) float64 { return 1 }

func cyan() Formula {
	return Formula{ID: "cyan", Title: "Cyan", Material: "ink-cyan", YieldPartsPerMillion: 970_000,
		Ingredients: []Ingredient{{"pb15-3", "", 180_000}, {"varnish", "", 700_000}, {"oil", "", 120_000}},
		Route:       []RouteStep{{Premix, 1}, {ThreeRoll, 3}}}
}

func TestCheck(t *testing.T) {
	if got := cyan().Check(all); len(got) != 0 {
		t.Fatalf("a good formula has faults: %v", got)
	}
	for _, c := range []struct {
		name, field, says string
		change            func(*Formula)
	}{
		{"id", "id", "lower-case", func(f *Formula) { f.ID = "Cyan!" }},
		{"title", "title", "title", func(f *Formula) { f.Title = " " }},
		{"material", "material", "name the material", func(f *Formula) { f.Material = "" }},
		{"yield", "yield_fraction", "at most 1", func(f *Formula) { f.YieldPartsPerMillion = 1_000_001 }},
		{"none", "ingredients", "at least one", func(f *Formula) { f.Ingredients = nil }},
		{"sum", "ingredients", "add up to 0.999999: change them by +0.000001", func(f *Formula) { f.Ingredients[0].PartsPerMillion-- }},
		{"itself", "ingredients[1].material", "itself", func(f *Formula) { f.Ingredients[1].Material = "ink-cyan" }},
		{"negative", "ingredients[2].share", "above 0", func(f *Formula) { f.Ingredients[2].PartsPerMillion = -5 }},
		{"twice", "ingredients[1]", "ingredients[0]", func(f *Formula) { f.Ingredients[1].Material = "pb15-3" }},
		{"step", "route[0].step", "not known", func(f *Formula) { f.Route[0].Step = "stir" }},
		{"passes", "route[1].passes", "1 to 20", func(f *Formula) { f.Route[1].Passes = 21 }},
	} {
		f := cyan()
		c.change(&f)
		got := f.Check(all)
		if len(got) != 1 || got[0].Field != c.field || !strings.Contains(got[0].Problem, c.says) {
			t.Errorf("%s: got %v, want one fault at %s that says %q", c.name, got, c.field, c.says)
		}
	}
}

func TestRetainedSharesCount(t *testing.T) {
	// A presscake of 30 % pigment whose water is flushed out (common practice).
	retained := func(m string) float64 {
		if m == "presscake" {
			return 0.3
		}
		return 1
	}
	f := Formula{ID: "base", Title: "Base", Material: "base-cyan",
		Ingredients: []Ingredient{{"presscake", "", 600_000}, {"varnish", "", 820_000}}}
	if got := f.Check(retained); len(got) != 0 {
		t.Errorf("0.6 x 0.3 + 0.82 = 1, but %v", got)
	}
	f.Ingredients[1].PartsPerMillion = 400_000
	if got := f.Check(retained); len(got) != 1 {
		t.Errorf("0.6 x 0.3 + 0.4 = 0.58 passes: %v", got)
	}
}

func TestCycle(t *testing.T) {
	parts := map[string][]string{
		"ink": {"base", "varnish"}, "base": {"pigment", "work-off"}, "work-off": {"ink"},
		"other": {"base"},
	}
	of := func(m string) []string { return parts[m] }
	if got := Cycle("ink", of); !slices.Equal(got, []string{"ink", "base", "work-off", "ink"}) {
		t.Errorf("got %v", got)
	}
	if got := Cycle("other", of); got != nil {
		t.Errorf("other is not part of a cycle, got %v", got)
	}
}

func TestCycleIsOneOrThereIsNone(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 8).Draw(t, "materials")
		parts := map[string][]string{}
		for i := range n {
			for j := range n {
				if rapid.IntRange(0, 4).Draw(t, "edge") == 0 {
					parts[fmt.Sprint(i)] = append(parts[fmt.Sprint(i)], fmt.Sprint(j))
				}
			}
		}
		got := Cycle("0", func(m string) []string { return parts[m] })
		if got == nil {
			if reaches(parts, "0") {
				t.Fatal("0 is reached from itself, but no cycle was found")
			}
			return
		}
		if got[0] != "0" || got[len(got)-1] != "0" || len(got) < 2 {
			t.Fatalf("%v does not lead from 0 to 0", got)
		}
		for i := 1; i < len(got); i++ {
			if !slices.Contains(parts[got[i-1]], got[i]) {
				t.Fatalf("%s is no part of %s", got[i], got[i-1])
			}
		}
	})
}

func reaches(parts map[string][]string, target string) bool {
	seen := map[string]bool{}
	var visit func(string) bool
	visit = func(m string) bool {
		for _, p := range parts[m] {
			if p == target {
				return true
			}
			if !seen[p] {
				seen[p] = true
				if visit(p) {
					return true
				}
			}
		}
		return false
	}
	return visit(target)
}

func TestChargesStandOnTheScale(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := cyan()
		f.YieldPartsPerMillion = rapid.Int64Range(500_000, Whole).Draw(t, "yield")
		quantity := mass.Mass(rapid.Int64Range(int64(mass.Kilogram), int64(5*mass.Tonne)).Draw(t, "quantity"))
		division := rapid.SampledFrom([]mass.Mass{0, mass.Gram, 5 * mass.Gram, 100 * mass.Gram}).Draw(t, "division")
		for i, c := range f.Charges(quantity, division) {
			if division > 0 && (c%division != 0 || c == 0) {
				t.Fatalf("%s is not on a scale of %s", c, division)
			}
			if off := c - f.Charge(i, quantity); off > max(division, 1) || -off > max(division, 1) {
				t.Fatalf("%s is more than a division from %s", c, f.Charge(i, quantity))
			}
		}
	})
}
