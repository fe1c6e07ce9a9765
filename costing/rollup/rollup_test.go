package rollup_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/shopspring/decimal"
	"pgregory.net/rapid"

	"millbase/costing/money"
	"millbase/costing/rollup"
	"millbase/inventory/mass"
)

const (
	kg   = mass.Kilogram
	hour = time.Hour
)

func dec(s string) decimal.Decimal { return decimal.RequireFromString(s) }
func eur(s string) money.Money     { return money.MustParse(s + " EUR") }

func prices(pairs ...string) func(string, mass.Mass) (money.Money, error) {
	m := map[string]money.PerKg{}
	for i := 0; i < len(pairs); i += 2 {
		m[pairs[i]] = money.MustPerKg(pairs[i+1], "EUR")
	}
	return rollup.Fixed(m)
}

func book(price func(string, mass.Mass) (money.Money, error), formulas ...rollup.Formula) rollup.Book {
	b := rollup.Book{Currency: "EUR", Formulas: map[string]rollup.Formula{}, Price: price}
	for _, f := range formulas {
		b.Formulas[f.ID] = f
	}
	return b
}

func cost(t testing.TB, b rollup.Book, id string, q mass.Mass) rollup.Result {
	t.Helper()
	r, err := b.Cost(id, q, nil)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// Job-order costing, a worked example of accounting course texts: materials
// 40,610; 1,147 h at 11; overhead 20 per labour hour; total 76,167 for 3,100
// units, 24.57 each. The units are kilograms here, at 13.10 of material each.
func TestJobOrder(t *testing.T) {
	b := book(prices("metal", "13.10"), rollup.Formula{
		ID:          "job",
		Ingredients: []rollup.Ingredient{{Material: "metal", Part: kg}},
		Route:       []rollup.Step{{Name: "work", PerRun: 1147 * hour, Crew: dec("1"), Labour: eur("11")}},
	})
	b.Overhead.PerLabourHour = eur("20")
	r := cost(t, b, "job", 3100*kg)
	for name, c := range map[string]struct{ got, want money.Money }{
		"materials": {r.BoughtTotal, eur("40610")},
		"labour":    {r.LabourTotal, eur("12617")},
		"overhead":  {r.OverheadTotal, eur("22940")},
		"total":     {r.Total, eur("76167")},
	} {
		if !c.got.Equal(c.want) {
			t.Errorf("%s: %s, want %s", name, c.got, c.want)
		}
	}
	if each, err := r.PerKg(2, money.RoundHalfEven); err != nil || each.Amount.String() != "24.57" {
		t.Errorf("each: %s, %v; want 24.57", each, err)
	}
}

// A base ink of 20 % pigment inside an ink, worked out by hand.
func TestBaseInkInsideAnInk(t *testing.T) {
	base := rollup.Formula{
		ID: "base",
		Ingredients: []rollup.Ingredient{
			{Material: "PB15:3", Part: 20 * kg}, {Material: "varnish", Part: 80 * kg}},
		Route: []rollup.Step{{Name: "three-roll mill", Kind: rollup.ThreeRollMill, Passes: 2, PerHour: 50 * kg,
			SetUp: hour, WashUp: hour, Machine: eur("30"), Labour: eur("24"), Crew: dec("0.5")}},
	}
	ink := rollup.Formula{
		ID: "ink",
		Ingredients: []rollup.Ingredient{
			{Material: "base", MadeBy: "base", Part: 5 * kg}, {Material: "varnish", Part: 5 * kg}},
	}
	b := book(prices("PB15:3", "10", "varnish", "2"), base, ink)
	b.Overhead.MaterialPercent, b.Overhead.ConversionPercent = dec("5"), dec("10")

	// 100 kg of ink: 50 kg of base, 50 kg of varnish for 100. Base: 10 kg of
	// pigment for 100, 40 kg of varnish for 80, 1 + 2 x 50/50 + 1 = 4 h at 30 and
	// at half of 24; overhead 5 % of 180 and 10 % of 168.
	r := cost(t, b, "ink", 100*kg)
	level := r.Materials[0].Level
	if level == nil || !level.Total.Equal(eur("373.8")) || level.Steps[0].Time != 4*hour {
		t.Fatalf("50 kg of base: %+v", level)
	}
	if !r.MadeTotal.Equal(eur("373.8")) || !r.BoughtTotal.Equal(eur("100")) || !r.OverheadTotal.Equal(eur("5")) || !r.Total.Equal(eur("478.8")) {
		t.Errorf("ink: made %s, bought %s, overhead %s, total %s", r.MadeTotal, r.BoughtTotal, r.OverheadTotal, r.Total)
	}
	need := r.Requirements()
	if need["PB15:3"] != 10*kg || need["varnish"] != 90*kg || len(need) != 2 {
		t.Errorf("requirements %v", need)
	}
	// At a standard batch of 500 kg: 1800 of materials, 1 + 20 + 1 = 22 h for 924,
	// overhead 90 + 92.4: 2906.4, of which 50 kg are a tenth.
	base.StandardBatch = 500 * kg
	b.Formulas["base"] = base
	if r = cost(t, b, "ink", 100*kg); !r.MadeTotal.Equal(eur("290.64")) {
		t.Errorf("50 kg out of a batch of 500: %s, want 290.64", r.MadeTotal)
	}
	if need := r.Requirements(); need["PB15:3"] != 10*kg || need["varnish"] != 90*kg {
		t.Errorf("requirements out of a standard batch %v", need)
	}
}

func TestLossesAndLateIngredients(t *testing.T) {
	f := rollup.Formula{
		ID: "ink",
		Ingredients: []rollup.Ingredient{
			{Material: "pigment", Part: 80 * kg}, {Material: "wax", Part: 20 * kg, Step: 1}},
		Route: []rollup.Step{
			{Name: "bead mill", LossPercent: dec("20"), Capacity: 500 * kg, SetUp: hour},
			{Name: "let-down", LossPerRun: 1 * kg, Capacity: 51 * kg, PerRun: 2 * hour},
		},
	}
	// 100 kg: two let-downs, each losing 1 kg: 102 in, of it 81.6 of pigment and
	// 20.4 of wax. The bead mill keeps 80 %: 102 kg of pigment.
	r := cost(t, book(prices("pigment", "1", "wax", "1"), f), "ink", 100*kg)
	if r.Steps[1].Runs != 2 || r.Steps[1].In != 102*kg || r.Steps[1].Time != 4*hour || r.Steps[0].Loss != 20400*mass.Gram {
		t.Errorf("steps %+v", r.Steps)
	}
	if r.Materials[0].Mass != 102*kg || r.Materials[1].Mass != 20400*mass.Gram || r.Charge != 122400*mass.Gram {
		t.Errorf("weighed in %s: %s and %s", r.Charge, r.Materials[0].Mass, r.Materials[1].Mass)
	}
}

// A trace that cannot be weighed costs nothing and breaks nothing.
func TestLessThanAMilligram(t *testing.T) {
	f := rollup.Formula{ID: "ink",
		Ingredients: []rollup.Ingredient{{Material: "trace", Part: 1}, {Material: "base", MadeBy: "base", Part: 1}, {Material: "varnish", Part: 10 * kg, Step: 1}},
		Route:       []rollup.Step{{Name: "premix", LossPerRun: kg, PerRun: hour, Machine: eur("30")}, {Name: "let-down"}}}
	r := cost(t, book(prices("varnish", "2"), f), "ink", kg)
	if r.Charge != kg || !r.BoughtTotal.Equal(eur("2")) || !r.MachineTotal.Equal(eur("30")) || r.Steps[0].In != 0 {
		t.Errorf("weighed in %s, bought %s, machine %s", r.Charge, r.BoughtTotal, r.MachineTotal)
	}
}

// 110 parts make 100: 10 % more is weighed in than comes out.
func TestNotAllIsRetained(t *testing.T) {
	f := rollup.Formula{ID: "ink", Makes: 100 * kg, Ingredients: []rollup.Ingredient{{Material: "solid", Part: 90 * kg}, {Material: "solvent", Part: 20 * kg}}}
	r := cost(t, book(prices("solid", "1", "solvent", "1"), f), "ink", 50*kg)
	if r.Charge != 55*kg || r.NotRetained != 5*kg || r.Materials[1].Mass != 10*kg {
		t.Errorf("weighed in %s, not retained %s", r.Charge, r.NotRetained)
	}
	f.Makes = 111 * kg
	if _, err := book(prices(), f).Cost("ink", kg, nil); !errors.Is(err, rollup.ErrFormula) {
		t.Errorf("110 kg that make 111: %v", err)
	}
}

func TestPack(t *testing.T) {
	cans := []rollup.Can{{ID: "2.5 kg", Holds: 2500 * mass.Gram, Cost: eur("1.20")}, {ID: "1 kg", Holds: kg, Cost: eur("0.70")}}
	for _, c := range []struct {
		q    mass.Mass
		want string
	}{{kg, "1 x 1 kg 0.7"}, {2 * kg, "1 x 2.5 kg 1.2"}, {5001 * mass.Gram, "2 x 2.5 kg 2.4, 1 x 1 kg 0.7"}, {100_001 * kg, "40000 x 2.5 kg 48000, 1 x 1 kg 0.7"}} {
		got, err := rollup.Pack(cans, c.q)
		var lines []string
		for _, l := range got {
			lines = append(lines, fmt.Sprintf("%d x %s %s", l.Count, l.Can, l.Cost.Amount))
		}
		if text := strings.Join(lines, ", "); err != nil || text != c.want {
			t.Errorf("%s: %s, %v; want %s", c.q, text, err, c.want)
		}
	}
	b := book(prices("x", "1"), rollup.Formula{ID: "ink", Ingredients: []rollup.Ingredient{{Material: "x", Part: 1}}})
	r, err := b.Cost("ink", 5*kg, cans)
	if err != nil || !r.Total.Equal(eur("7.4")) || !r.PackagingTotal.Equal(eur("2.4")) {
		t.Errorf("5 kg in cans: %s, %v", r.Total, err)
	}
}

func TestErrors(t *testing.T) {
	bought := rollup.Ingredient{Material: "x", Part: kg}
	made := func(by string) rollup.Ingredient { return rollup.Ingredient{Material: by, MadeBy: by, Part: kg} }
	one := func(id string, g ...rollup.Ingredient) rollup.Formula { return rollup.Formula{ID: id, Ingredients: g} }
	step := func(s rollup.Step) rollup.Formula {
		f := one("f", bought)
		f.Route = []rollup.Step{s}
		return f
	}
	deep := make([]rollup.Formula, 0, 31)
	for i := range 30 {
		next := fmt.Sprintf("f%d", i)
		deep = append(deep, one(strings.Replace(next, "f0", "f", 1), made(fmt.Sprintf("f%d", i+1)), made(fmt.Sprintf("f%d", i+1))))
	}
	late := one("f", rollup.Ingredient{Material: "x", Part: kg, Step: 1})
	late.Route = make([]rollup.Step, 2)
	for name, c := range map[string]struct {
		formulas []rollup.Formula
		err      error
	}{
		"unknown":             {nil, rollup.ErrUnknown},
		"unknown below":       {[]rollup.Formula{one("f", made("g"))}, rollup.ErrUnknown},
		"itself":              {[]rollup.Formula{one("f", made("f"))}, rollup.ErrCycle},
		"cycle":               {[]rollup.Formula{one("f", bought, made("g")), one("g", made("h")), one("h", made("g"))}, rollup.ErrCycle},
		"too deep":            {deep, rollup.ErrTooDeep},
		"empty":               {[]rollup.Formula{one("f")}, rollup.ErrFormula},
		"no part":             {[]rollup.Formula{one("f", rollup.Ingredient{Material: "x"})}, rollup.ErrFormula},
		"negative part":       {[]rollup.Formula{one("f", rollup.Ingredient{Material: "x", Part: -1})}, rollup.ErrFormula},
		"no such step":        {[]rollup.Formula{one("f", rollup.Ingredient{Material: "x", Part: 1, Step: 1})}, rollup.ErrFormula},
		"nothing in it":       {[]rollup.Formula{late}, rollup.ErrFormula},
		"loses all":           {[]rollup.Formula{step(rollup.Step{LossPercent: dec("100")})}, rollup.ErrFormula},
		"loses its capacity":  {[]rollup.Formula{step(rollup.Step{Capacity: kg, LossPerRun: kg})}, rollup.ErrFormula},
		"tiny capacity":       {[]rollup.Formula{step(rollup.Step{Capacity: 1})}, rollup.ErrFormula},
		"tiny throughput":     {[]rollup.Formula{step(rollup.Step{PerHour: 1, Passes: 100})}, rollup.ErrFormula},
		"negative time":       {[]rollup.Formula{step(rollup.Step{SetUp: -1})}, rollup.ErrFormula},
		"foreign rate":        {[]rollup.Formula{step(rollup.Step{SetUp: hour, Machine: money.MustParse("1 USD")})}, money.ErrMismatch},
		"negative batch size": {[]rollup.Formula{{ID: "f", Ingredients: []rollup.Ingredient{bought}, StandardBatch: -1}}, rollup.ErrFormula},
		"too much to weigh":   {[]rollup.Formula{step(rollup.Step{LossPercent: dec("99.9999999999")})}, rollup.ErrQuantity},
	} {
		if _, err := book(prices("x", "1"), c.formulas...).Cost("f", 1000*kg, nil); !errors.Is(err, c.err) {
			t.Errorf("%s: %v, want %v", name, err, c.err)
		}
	}
	b := book(prices("x", "1"), one("f", bought, made("g")), one("g", made("h")), one("h", made("g")))
	if _, err := b.Cost("f", kg, nil); err == nil || !strings.Contains(err.Error(), "f > g > h > g") {
		t.Errorf("the path of the cycle is missing: %v", err)
	}
	for _, q := range []mass.Mass{0, -1, mass.Max + 1} {
		if _, err := b.Cost("f", q, nil); !errors.Is(err, rollup.ErrQuantity) {
			t.Errorf("quantity %s: %v", q, err)
		}
	}
	if _, err := book(prices(), one("f", bought)).Cost("f", kg, nil); err == nil {
		t.Error("a material without a price was costed")
	}
	if _, err := rollup.Pack([]rollup.Can{{ID: "none", Cost: eur("1")}}, kg); !errors.Is(err, rollup.ErrCan) {
		t.Errorf("a can that holds nothing: %v", err)
	}
}

func randomBook(t *rapid.T) rollup.Book {
	formula := func(id string) rollup.Formula {
		f := rollup.Formula{ID: id}
		for range rapid.IntRange(0, 4).Draw(t, "steps") {
			f.Route = append(f.Route, rollup.Step{
				LossPercent: decimal.New(rapid.Int64Range(0, 2000).Draw(t, "loss"), -2),
				LossPerRun:  mass.Mass(rapid.Int64Range(0, int64(kg)).Draw(t, "loss per run")),
				Capacity:    mass.Mass(rapid.SampledFrom([]int64{0, 20, 77, 500}).Draw(t, "capacity")) * kg,
				PerHour:     mass.Mass(rapid.Int64Range(0, int64(90*kg)).Draw(t, "per hour")), Passes: rapid.IntRange(0, 3).Draw(t, "passes"),
				SetUp: time.Duration(rapid.IntRange(0, 7000).Draw(t, "set-up")) * time.Second, Crew: dec("0.35"),
				Machine: money.Money{Currency: "EUR", Amount: decimal.New(rapid.Int64Range(0, 9999).Draw(t, "machine"), -2)}, Labour: eur("31.17"),
			})
			if f.Route[len(f.Route)-1].PerHour < kg {
				f.Route[len(f.Route)-1].PerHour = 0
			}
		}
		for i := range rapid.IntRange(1, 5).Draw(t, "ingredients") {
			g := rollup.Ingredient{Material: "x", Part: mass.Mass(rapid.Int64Range(1, int64(50*kg)).Draw(t, "part"))}
			if i > 0 && len(f.Route) > 0 {
				g.Step = rapid.IntRange(0, len(f.Route)-1).Draw(t, "step")
			}
			f.Ingredients = append(f.Ingredients, g)
		}
		return f
	}
	ink, base := formula("ink"), formula("base")
	ink.Ingredients = append(ink.Ingredients, rollup.Ingredient{Material: "base", MadeBy: "base", Part: 7 * kg})
	if rapid.Bool().Draw(t, "not all retained") {
		ink.Makes = 6 * kg
	}
	base.StandardBatch = mass.Mass(rapid.SampledFrom([]int64{0, 300}).Draw(t, "batch")) * kg
	b := book(prices("x", "3.217"), ink, base)
	b.Overhead = rollup.Overhead{MaterialPercent: dec("2.5"), ConversionPercent: dec("12"), PerLabourHour: eur("7"), PerMachineHour: eur("3")}
	return b
}

// What is weighed in is what is finished plus what each step loses, and the
// total is the sum of its lines, on both levels.
func TestMassAndMoneyAddUp(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		q := mass.Mass(rapid.Int64Range(int64(kg), int64(2000*kg)).Draw(t, "quantity"))
		r, err := randomBook(t).Cost("ink", q, []rollup.Can{{ID: "can", Holds: kg, Cost: eur("0.93")}})
		if err != nil {
			t.Fatal(err)
		}
		checkResult(t, &r)
		checkResult(t, r.Materials[len(r.Materials)-1].Level)
	})
}

func checkResult(t *rapid.T, r *rollup.Result) {
	charge, lost, total := mass.Mass(0), mass.Mass(0), money.Zero("EUR")
	add := func(m money.Money) { total.Amount = total.Amount.Add(m.Amount) }
	for _, m := range r.Materials {
		charge += m.Mass
		add(m.Cost)
	}
	for _, s := range r.Steps {
		lost += s.Loss
		if s.Loss < 0 || s.Loss != s.In-s.Out {
			t.Fatalf("step %+v gains mass", s)
		}
		add(s.Machine)
		add(s.Labour)
	}
	for _, p := range r.Packaging {
		add(p.Cost)
	}
	for _, o := range r.Overheads {
		add(o.Cost)
	}
	if charge != r.Charge || charge != r.Quantity+lost+r.NotRetained {
		t.Fatalf("weighed in %s (%s), finished %s, lost %s", charge, r.Charge, r.Quantity, lost)
	}
	if !total.Equal(r.Total) {
		t.Fatalf("lines add up to %s, total %s", total, r.Total)
	}
}

// More ink never costs less in all.
func TestMoreNeverCostsLess(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		b := randomBook(t)
		q := mass.Mass(rapid.Int64Range(int64(kg), int64(500*kg)).Draw(t, "quantity"))
		more := q + mass.Mass(rapid.Int64Range(int64(kg), int64(100*kg)).Draw(t, "more"))
		small, err := b.Cost("ink", q, nil)
		if err != nil {
			t.Fatal(err)
		}
		large, err := b.Cost("ink", more, nil)
		if err != nil || large.Total.Amount.LessThan(small.Total.Amount) {
			t.Fatalf("%s costs %s, %s costs %s (%v)", q, small.Total, more, large.Total, err)
		}
	})
}

// A cost that comes once is added to the level asked about, not to those below,
// and carries no overhead.
func TestCostsThatComeOnce(t *testing.T) {
	one := func(id string, g rollup.Ingredient) rollup.Formula {
		return rollup.Formula{ID: id, Ingredients: []rollup.Ingredient{g}}
	}
	b := book(prices("x", "2"), one("ink", rollup.Ingredient{Material: "base", MadeBy: "base", Part: kg}), one("base", rollup.Ingredient{Material: "x", Part: kg}))
	b.Overhead.MaterialPercent = dec("10")
	b.Once = []rollup.OverheadLine{{Name: "laboratory", Cost: eur("50")}}
	for _, q := range []struct {
		mass  mass.Mass
		total string
	}{{kg, "52.2"}, {100 * kg, "270"}} {
		r := cost(t, b, "ink", q.mass)
		if !r.Total.Equal(eur(q.total)) || !r.OnceTotal.Equal(eur("50")) || !r.Materials[0].Level.OnceTotal.IsZero() {
			t.Errorf("%s: total %s, once %s; want %s and 50", q.mass, r.Total, r.OnceTotal, q.total)
		}
	}
}
