package formula

import (
	"fmt"
	"math"
	"strings"

	"millbase/inventory"
)

// Whole is all of a formula, in parts per million.
const Whole int64 = 1_000_000

// MaxPasses is the most passes that one step may ask for.
const MaxPasses = 20

// Fault is one thing to change in a formula. Field is the path in the formula:
// "ingredients[2].share".
type Fault struct{ Field, Problem string }

// AllSteps lists the steps in the order in which a paste ink runs through them.
var AllSteps = []Step{Premix, BeadMill, ThreeRoll, QualityTest, LetDown, FinalPass, Canning}

// Valid reports whether s is one of AllSteps.
func (s Step) Valid() bool {
	for _, k := range AllSteps {
		if s == k {
			return true
		}
	}
	return false
}

// Check lists what has to change before f can stand in the book: ids, shares,
// yield, route. retained is the part of a kg of the material that stays in the
// ink (1 for nearly everything); the retained shares add up to exactly 1. Where
// some ingredient is not retained whole, a share of six decimals can't hit 1
// exactly: then the sum may be off by half a part per million per ingredient.
func (f Formula) Check(retained func(material string) float64) []Fault {
	var out []Fault
	add := func(field, problem string, args ...any) {
		out = append(out, Fault{field, fmt.Sprintf(problem, args...)})
	}
	if err := inventory.CheckID(f.ID); err != nil {
		add("id", "%v", err)
	}
	if strings.TrimSpace(f.Title) == "" {
		add("title", "give the formula a title")
	}
	if f.Material == "" {
		add("material", "name the material that the formula makes")
	}
	if y := f.YieldPartsPerMillion; y < 0 || y > Whole {
		add("yield_fraction", "must lie above 0 and be at most 1")
	}
	f.checkIngredients(add)
	if len(out) == 0 {
		f.checkSum(retained, add)
	}
	for i, s := range f.Route {
		if !s.Step.Valid() {
			add(fmt.Sprintf("route[%d].step", i), "step %q is not known: use one of %s", s.Step, AllStepsText)
		}
		if s.Passes < 1 || s.Passes > MaxPasses {
			add(fmt.Sprintf("route[%d].passes", i), "must be from 1 to %d", MaxPasses)
		}
	}
	return out
}

func (f Formula) checkIngredients(add func(field, problem string, args ...any)) {
	if len(f.Ingredients) == 0 {
		add("ingredients", "name at least one ingredient")
	}
	type what struct{ material, lot string }
	seen := make(map[what]int, len(f.Ingredients))
	for i, in := range f.Ingredients {
		at := fmt.Sprintf("ingredients[%d]", i)
		switch {
		case in.Material == "":
			add(at+".material", "name the material")
		case in.Material == f.Material:
			add(at+".material", "%s is what the formula makes: an ink can't be an ingredient of itself", in.Material)
		}
		if in.PartsPerMillion <= 0 || in.PartsPerMillion > Whole {
			add(at+".share", "must lie above 0 and be at most 1, with at most six decimals")
		}
		k := what{in.Material, in.Lot}
		if first, twice := seen[k]; twice {
			add(at, "is the same as ingredients[%d]: add the two shares together", first)
			continue
		}
		seen[k] = i
	}
}

func (f Formula) checkSum(retained func(material string) float64, add func(field, problem string, args ...any)) {
	var sum int64
	kept, whole := 0.0, true
	for _, in := range f.Ingredients {
		r := retained(in.Material)
		if r != 1 {
			whole = false
		}
		sum += in.PartsPerMillion
		kept += float64(in.PartsPerMillion) * r
	}
	switch {
	case whole && sum != Whole:
		add("ingredients", "the shares add up to %s: change them by %s so that they add up to exactly 1", share(sum), signed(Whole-sum))
	case !whole && math.Abs(kept-float64(Whole)) > 0.5*float64(len(f.Ingredients)):
		add("ingredients", "what stays in the ink adds up to %s: the retained shares must add up to 1", share(int64(math.Round(kept))))
	}
}

// share writes parts per million as a plain decimal without trailing zeros.
func share(ppm int64) string {
	sign := ""
	if ppm < 0 {
		sign, ppm = "-", -ppm
	}
	s := fmt.Sprintf("%s%d.%06d", sign, ppm/Whole, ppm%Whole)
	return strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
}

func signed(ppm int64) string {
	if ppm > 0 {
		return "+" + share(ppm)
	}
	return share(ppm)
}
