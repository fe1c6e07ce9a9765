package formulationtest_test

import (
	"reflect"
	"testing"

	"millbase/solver/formulation"
	"millbase/solver/formulation/formulationtest"
)

// The hidden formula meets its problem, and the same seed makes the same one.
func TestHiddenFormulaMeetsTheLimits(t *testing.T) {
	for seed := range uint64(50) {
		p, kg := formulationtest.Hidden(seed, 12+int(seed), 3+int(seed)%20)
		reports, err := formulation.Evaluate(p, kg)
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range reports {
			if !r.Met {
				t.Errorf("seed %d: %s is %g", seed, p.Limits[r.Limit].ID, r.Value)
			}
		}
		for j, c := range p.Candidates {
			if c.Available >= 0 && kg[j] > c.Available.Kilograms() {
				t.Errorf("seed %d: %s needs %g kg of %s", seed, c.ID, kg[j], c.Available)
			}
		}
		if again, _ := formulationtest.Hidden(seed, 12+int(seed), 3+int(seed)%20); !reflect.DeepEqual(p, again) {
			t.Errorf("seed %d makes two problems", seed)
		}
	}
}
