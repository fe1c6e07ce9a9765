package app_test

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/mass"
	"millbase/server/app"
)

func (x *mill) leadTime(role app.Role, material string, kg mass.Mass) app.LeadTime {
	x.t.Helper()
	l, err := x.book.LeadTime(as(role), app.LeadTimeQuery{Material: material, Quantity: kg * kilo})
	if err != nil {
		x.t.Fatal(err)
	}
	return l
}

func (x *mill) at(day, hour, minute, second int) time.Time {
	return x.today.AddDate(0, 0, day).Add(time.Duration(hour)*time.Hour + time.Duration(minute)*time.Minute + time.Duration(second)*time.Second)
}

// filledUp has enough of everything for 125 kg of charge.
func filledUp(t *testing.T) *mill {
	x := newWorks(t)
	x.stock("cyan-1", "cyan", 30, "10", 200)
	x.stock("base-1", "base-blue", 100, "7", 0)
	x.stock("varnish-1", "varnish", 200, "3", 0)
	x.stock("drier-1", "drier", 10, "9", 0)
	return x
}

func check(t *testing.T, l app.LeadTime, by app.Decides, ready time.Time, reason string) {
	t.Helper()
	if !l.Possible || l.DecidedBy != by || !l.Ready.Equal(ready) || !strings.Contains(l.Reason, reason) {
		t.Errorf("possible %t, %s, ready %s, %q; want %s, %s, %q", l.Possible, l.DecidedBy, l.Ready, l.Reason, by, ready, reason)
	}
	y, m, d := ready.Date()
	if !l.ReadyDate.Equal(time.Date(y, m, d, 0, 0, 0, 0, time.UTC)) {
		t.Errorf("ready date %s for %s", l.ReadyDate, ready)
	}
}

// 30 kg of cyan are released and free; reserved, quarantined and expired ones
// are not for sale.
func TestLeadTimeFromStock(t *testing.T) {
	x := filledUp(t)
	check(t, x.leadTime(app.OrderDesk, "cyan", 30), app.ByFinishedStock, x.at(0, 8, 0, 0), "All 30 kg can be had from stock")
	x.reserve("cyan-1", 10)
	if l := x.leadTime(app.OrderDesk, "cyan", 30); l.FromStock != 20*kilo || l.ToMake != 10*kilo || l.DecidedBy == app.ByFinishedStock {
		t.Errorf("with 10 kg reserved: %+v", l)
	}
	// Not before Saturday the 7th: the plant opens on Monday the 9th.
	l, err := x.book.LeadTime(as(app.OrderDesk), app.LeadTimeQuery{Material: "cyan", Quantity: 5 * kilo, From: x.day(5)})
	if err != nil {
		t.Fatal(err)
	}
	check(t, l, app.ByFinishedStock, x.at(7, 8, 0, 0), "from stock")
}

// By hand, 130 kg: 30 from stock, 100 made of 125 kg of charge. Everything is
// there: let-down in the big mixer 0.5 + 1 + 0.5 h from 08:00 to 10:00, test to
// 11:00, canning 125/200 h to 11:37:30; released a working day later.
func TestLeadTimeByProcess(t *testing.T) {
	x := filledUp(t)
	l := x.leadTime(app.InkMaker, "cyan", 130)
	check(t, l, app.ByProcessTime, x.at(1, 11, 37, 30), "30 kg of it can be had from stock at once")
	if l.FromStock != 30*kilo || l.ToMake != 100*kilo || len(l.Steps) != 4 || l.Steps[0].Title != "let down on Big mixer" {
		t.Errorf("%+v", l)
	}
	// On a Friday the release waits for Monday.
	fri := app.New(x.store, nil, func() time.Time { return x.at(4, 8, 0, 0) })
	got, err := fri.LeadTime(as(app.InkMaker), app.LeadTimeQuery{Material: "cyan", Quantity: 130 * kilo})
	if err != nil {
		t.Fatal(err)
	}
	check(t, got, app.ByProcessTime, x.at(7, 11, 37, 30), "nothing waits")
}

// The drier runs out: 1.25 kg are needed, 1 is there. The order of the 4th
// brings it before a new one would (three days, the 5th); without the order the
// new one decides; without an offer as well nothing can be promised.
func TestLeadTimeByMaterial(t *testing.T) {
	x := newWorks(t)
	x.stock("base-1", "base-blue", 100, "7", 0)
	x.stock("varnish-1", "varnish", 200, "3", 0)
	x.stock("drier-1", "drier", 1, "9", 0)
	l := x.leadTime(app.Purchasing, "cyan", 100)
	if l.Possible || l.DecidedBy != app.ByNothingPossible || !strings.Contains(l.Reason, "0.25 kg of Cobalt drier are lacking") || !l.Ready.IsZero() {
		t.Errorf("without an offer: %+v", l)
	}
	if d := x.leadTime(app.OrderDesk, "cyan", 100); d.Possible || strings.Contains(d.Reason, "drier") || !strings.Contains(d.Reason, "can't be promised") {
		t.Errorf("to the order desk: %+v", d)
	}
	x.offer(purchase.Offer{ID: "drier", Material: "drier", Currency: "USD", Breaks: []purchase.Break{{PricePerKg: dec("10")}}})
	check(t, x.leadTime(app.Purchasing, "cyan", 100), app.ByMaterial, x.at(4, 11, 37, 30), "Waits for Cobalt drier: 0.25 kg more must be ordered, and ordered today it is here on 5 November")
	x.sent("po-118", "drier", 5*kilo, 2)
	check(t, x.leadTime(app.Purchasing, "cyan", 100), app.ByMaterial, x.at(3, 11, 37, 30), "Waits for Cobalt drier, due 4 November on purchase order po-118.")
	check(t, x.leadTime(app.OrderDesk, "cyan", 100), app.ByMaterial, x.at(3, 11, 37, 30), "Waits for a raw material, due 4 November.")
}

// A batch of 400 kg is due today: 500 kg of charge in the big mixer from 08:00 to
// 10:00, on the bench to 11:00, canned in 2.5 h to 13:30. So 100 kg more get the
// mixer from 10:00 to 12:00, the bench to 13:00, and the filler from 13:30 to
// 14:07:30.
func TestLeadTimeByCapacity(t *testing.T) {
	x := filledUp(t)
	x.stock("base-2", "base-blue", 1000, "7", 0)
	x.stock("varnish-2", "varnish", 1000, "3", 0)
	if l := x.leadTime(app.InkMaker, "cyan", 130); l.DecidedBy != app.ByProcessTime {
		t.Errorf("nothing is planned yet: %+v", l)
	}
	x.plan(batch.Batch{ID: "b-1", Formula: "cyan", FormulaRevision: 1, Material: "cyan", Quantity: 400 * kilo, DueDate: x.day(0)})
	check(t, x.leadTime(app.InkMaker, "cyan", 130), app.ByCapacity, x.at(1, 14, 7, 30), "Waits for Big mixer, taken by earlier batches until 2 November.")
	check(t, x.leadTime(app.OrderDesk, "cyan", 130), app.ByCapacity, x.at(1, 14, 7, 30), "The plant is busy with earlier orders until 2 November.")
}

// No base ink is left, so 62.5 kg of it are made first: premix on the slower of
// the mixers that hold it 2 h to 10:00, mill 62.5 x 2 / 100 + 1 h to 12:15, released
// on Tuesday at 12:15. Then let-down to 14:15, test to 15:15, canning to 15:52:30,
// released on Wednesday. Its 37.5 kg of varnish are not there twice: 61.25 + 37.5 =
// 98.75 are needed.
func TestLeadTimeWithABaseInk(t *testing.T) {
	x := newWorks(t)
	x.stock("varnish-1", "varnish", 98, "3", 0)
	x.stock("blue-1", "blue", 25, "12", 0)
	x.stock("drier-1", "drier", 10, "9", 0)
	l := x.leadTime(app.InkMaker, "cyan", 100)
	if l.Possible || !strings.Contains(l.Reason, "0.75 kg of Alkyd varnish are lacking") {
		t.Errorf("with 0.75 kg of varnish too little: %+v", l)
	}
	x.stock("varnish-2", "varnish", 1, "3", 0)
	l = x.leadTime(app.InkMaker, "cyan", 100)
	check(t, l, app.ByMaterial, x.at(2, 15, 52, 30), "Waits for Base blue, which is made here first, by 3 November (its materials are there).")
	desk := x.leadTime(app.OrderDesk, "cyan", 100)
	check(t, desk, app.ByMaterial, x.at(2, 15, 52, 30), "Waits for a raw material, due 3 November.")
}

// A base ink that the plant can't make can still be bought.
func TestLeadTimeWithABaseInkThatIsBought(t *testing.T) {
	x := newWorks(t)
	x.stock("varnish-1", "varnish", 200, "3", 0)
	x.stock("drier-1", "drier", 10, "9", 0)
	p := worksPlant()
	p.Machines = append(p.Machines[:2:2], p.Machines[3:]...) // no three-roll mill
	x.figures(p)
	if l := x.leadTime(app.InkMaker, "cyan", 100); l.Possible || !strings.Contains(l.Reason, "Base blue can't be made for it: No machine of the plant does the step three roll mill") {
		t.Errorf("without a mill and an offer: %+v", l)
	}
	x.offer(purchase.Offer{ID: "base", Material: "base-blue", Currency: "USD", Breaks: []purchase.Break{{PricePerKg: dec("10")}}})
	check(t, x.leadTime(app.InkMaker, "cyan", 100), app.ByMaterial, x.at(4, 11, 37, 30), "Waits for Base blue: 62.5 kg more must be ordered")
}

// What planned batches need is not promised again, unless an order placed today
// would be there before they need it.
func TestLeadTimeLeavesPlannedBatchesTheirMaterials(t *testing.T) {
	x := newWorks(t)
	x.stock("base-1", "base-blue", 1000, "7", 0)
	x.stock("varnish-1", "varnish", 1000, "3", 0)
	x.stock("drier-1", "drier", 2, "9", 0)
	x.plan(batch.Batch{ID: "b-1", Formula: "cyan", FormulaRevision: 1, Material: "cyan", Quantity: 100 * kilo, DueDate: x.day(11)})
	if l := x.leadTime(app.InkMaker, "cyan", 100); l.Possible || !strings.Contains(l.Reason, "0.5 kg of Cobalt drier") {
		t.Errorf("the batch has first call on the drier: %+v", l)
	}
	x.offer(purchase.Offer{ID: "drier", Material: "drier", Currency: "USD", Breaks: []purchase.Break{{PricePerKg: dec("10")}}})
	check(t, x.leadTime(app.InkMaker, "cyan", 100), app.ByProcessTime, x.at(1, 11, 37, 30), "nothing waits")
}

// The price is the rolled-up cost of lots at 25 % margin: base 437.5, varnish
// 61.25 x 3 = 183.75, drier 11.25 (see TestCostOfLots for the rest), so 632.5 +
// 63.25 + 182.5 + 18.25 = 896.5; / 0.75 / 100 = 11.9533..., up to 11.96.
func TestLeadTimePrice(t *testing.T) {
	x := filledUp(t)
	if l := x.leadTime(app.OrderDesk, "cyan", 100); l.Price.String() != "11.96 EUR/kg" {
		t.Errorf("price %s, want 11.96 EUR/kg", l.Price)
	}
	p := worksPlant()
	p.MarginPercent = dec("100")
	x.figures(p)
	if l := x.leadTime(app.OrderDesk, "cyan", 100); l.Price.Currency != "" {
		t.Errorf("at a margin of 100 %% there is no price, got %s", l.Price)
	}
}

func TestLeadTimeOfWhatIsNoProduct(t *testing.T) {
	x := filledUp(t)
	ask := func(role app.Role, q app.LeadTimeQuery) error {
		_, err := x.book.LeadTime(as(role), q)
		return err
	}
	// To the order desk a raw material is as unknown as a name that nobody has
	// given.
	raw, unknown := ask(app.OrderDesk, app.LeadTimeQuery{Material: "blue", Quantity: kilo}), ask(app.OrderDesk, app.LeadTimeQuery{Material: "nothing", Quantity: kilo})
	if !errors.Is(raw, app.ErrNotFound) || !errors.Is(unknown, app.ErrNotFound) ||
		strings.ReplaceAll(raw.Error(), "blue", "nothing") != unknown.Error() {
		t.Errorf("raw material: %v; unknown: %v", raw, unknown)
	}
	var invalid app.Invalid
	if err := ask(app.InkMaker, app.LeadTimeQuery{Material: "blue", Quantity: kilo}); !errors.As(err, &invalid) || !strings.Contains(err.Error(), "pigment") {
		t.Errorf("an ink maker is told what it is: %v", err)
	}
	for _, q := range []app.LeadTimeQuery{{Material: "cyan"}, {Material: "cyan", Quantity: -kilo}, {Material: "cyan", Quantity: kilo, From: x.day(-1)}} {
		if err := ask(app.OrderDesk, q); !errors.As(err, &invalid) {
			t.Errorf("%+v: %v", q, err)
		}
	}
	if l := x.leadTime(app.InkMaker, "cyan", 900_000); l.Possible || !strings.Contains(l.Reason, "batches") {
		t.Errorf("far too much: %+v", l)
	}
	p := worksPlant()
	p.Machines[4].KgPerHour = dec("0.000000001")
	x.figures(p)
	if l := x.leadTime(app.InkMaker, "cyan", 100); l.Possible || !strings.Contains(l.Reason, "longer than") {
		t.Errorf("a throughput of a milligram a day: %+v", l)
	}
	p = worksPlant()
	p.Machines = p.Machines[:3]
	x.figures(p)
	if l := x.leadTime(app.InkMaker, "cyan", 100); l.Possible || !strings.Contains(l.Reason, "quality test") {
		t.Errorf("without a bench: %+v", l)
	}
	p.Shifts = nil
	x.figures(p)
	if l := x.leadTime(app.OrderDesk, "cyan", 100); l.Possible || l.Reason == "" {
		t.Errorf("without shifts: %+v", l)
	}
}

func TestProducts(t *testing.T) {
	x := filledUp(t)
	x.material("old-ink", "Ink that nobody makes", "ink", "", "", nil)
	list, err := x.book.Products(as(app.OrderDesk), app.Query{})
	if err != nil || len(list) != 1 || list[0] != (app.Product{Material: "cyan", Title: "Sheetfed cyan", InStock: 30 * kilo}) {
		t.Errorf("products %+v, %v", list, err)
	}
	x.stock("old-1", "old-ink", 4, "1", 0)
	first, err := x.book.Products(as(app.OrderDesk), app.Query{Limit: 1})
	if err != nil || len(first) != 1 {
		t.Fatalf("first page %+v, %v", first, err)
	}
	next, err := x.book.Products(as(app.OrderDesk), app.Query{Limit: 1, After: first[0].Material})
	if err != nil || len(next) != 1 || next[0].Material != "old-ink" {
		t.Errorf("next page %+v, %v", next, err)
	}
}

// No answer to the order desk names a raw material, a lot, a supplier, a machine
// or an order, however the promise comes about.
func TestOrderDeskReadsNoSecret(t *testing.T) {
	x := newWorks(t)
	look := func() {
		t.Helper()
		raw, err := json.Marshal(x.leadTime(app.OrderDesk, "cyan", 100))
		if err != nil {
			t.Fatal(err)
		}
		for _, secret := range []string{"blue", "varnish", "drier", "cobalt", "acme", "po-118", "mixer", "roll", "b-1", "alkyd", "recipe"} {
			if strings.Contains(strings.ToLower(string(raw)), secret) {
				t.Errorf("the order desk reads %q in %s", secret, raw)
			}
		}
	}
	look() // nothing there
	x.stock("varnish-1", "varnish", 600, "3", 0)
	x.stock("blue-1", "blue", 300, "12", 0)
	look() // no drier
	x.sent("po-118", "drier", 5*kilo, 2)
	look() // waits for the drier
	x.stock("drier-1", "drier", 10, "9", 0)
	look() // base ink made first
	x.plan(batch.Batch{ID: "b-1", Formula: "cyan", FormulaRevision: 1, Material: "cyan", Quantity: 300 * kilo, DueDate: x.day(0)})
	x.stock("base-1", "base-blue", 900, "7", 0)
	look() // waits for the mixer
}
