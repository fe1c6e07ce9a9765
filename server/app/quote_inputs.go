package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"github.com/shopspring/decimal"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// inputsFormat is the form in which the inputs of a quote are kept. Whoever
// renames or reinterprets a field of a type below raises it and reads the older
// forms into the new one; a quote kept in testdata is rebuilt by a test.
const inputsFormat = 1

// quoteInputs is all that the cost and the prices of a quote hang on: what was
// asked for, the formula, and the part of the book that costing looks at.
type quoteInputs struct {
	Format    int               `json:"format"`
	Today     time.Time         `json:"today"`
	Request   QuoteRequest      `json:"request"`
	Basis     string            `json:"basis"` // by its name: Request's is a number
	Formula   formula.Formula   `json:"formula"`
	Plant     Plant             `json:"plant"`
	Materials []materialInput   `json:"materials"`
	Lots      []lotInput        `json:"lots"` // of each material in the order in which they are taken
	Offers    []purchase.Offer  `json:"offers"`
	Formulas  []formula.Formula `json:"formulas"` // by which the materials are made
}

type materialInput struct {
	ID       string          `json:"id"`
	Title    string          `json:"title"`
	Class    inventory.Class `json:"class"`
	Standard decimal.Decimal `json:"standard_cost_per_kg"`
}

type lotInput struct {
	ID       string          `json:"id"`
	Material string          `json:"material"`
	Status   lot.Status      `json:"status"`
	Received string          `json:"received,omitempty"`
	Expiry   string          `json:"expiry,omitempty"`
	CostKg   decimal.Decimal `json:"cost_per_kg"`
	OnHand   mass.Mass       `json:"on_hand_mg"` // 0: named by a formula, not in stock
	Reserved mass.Mass       `json:"reserved_mg,omitempty"`
}

func inputOf(i stockItem) lotInput {
	day := func(t time.Time) string {
		if t.IsZero() {
			return ""
		}
		return t.Format(time.DateOnly)
	}
	return lotInput{i.ID, i.Material, i.Status, day(i.ReceivedDate), day(i.ExpiryDate), i.Cost.CostPerKg, i.OnHand, i.Reserved}
}

func (i lotInput) item() (stockItem, error) {
	out := stockItem{StockLot: StockLot{Lot: lot.Lot{ID: i.ID, Material: i.Material, Status: i.Status}, Cost: LotCost{CostPerKg: i.CostKg}}, OnHand: i.OnHand, Reserved: i.Reserved}
	for _, d := range []struct {
		text string
		to   *time.Time
	}{{i.Received, &out.ReceivedDate}, {i.Expiry, &out.ExpiryDate}} {
		if d.text == "" {
			continue
		}
		var err error
		if *d.to, err = time.Parse(time.DateOnly, d.text); err != nil {
			return out, fmt.Errorf("lot %s: %w", i.ID, err)
		}
	}
	return out, nil
}

// inputsOf picks out of the supply what a quote of the formula rests on.
func (s *supply) inputsOf(r QuoteRequest, f formula.Formula) (json.RawMessage, error) {
	in := quoteInputs{Format: inputsFormat, Today: s.today, Request: r, Basis: r.Basis.String(), Formula: f, Plant: s.plant}
	for _, id := range s.restsOn(f) {
		if m, known := s.materials[id]; known {
			in.Materials = append(in.Materials, materialInput{id, m.Title, m.Class, m.StandardCostPerKg})
		}
		if made, ok := s.formulas.byMaterial[id]; ok {
			in.Formulas = append(in.Formulas, made)
		}
		in.Offers = append(in.Offers, s.offers[id]...)
		for _, i := range s.stock[id] {
			in.Lots = append(in.Lots, inputOf(i))
		}
	}
	for _, of := range append(slices.Clone(in.Formulas), f) {
		for _, part := range of.Ingredients {
			l, known := s.lots[part.Lot]
			if there := slices.ContainsFunc(in.Lots, func(i lotInput) bool { return i.ID == part.Lot }); known && !there {
				in.Lots = append(in.Lots, inputOf(stockItem{StockLot: l}))
			}
		}
	}
	return json.Marshal(in)
}

// restsOn lists the materials of a formula and, where a material is made here,
// what that one is made from, all the way down.
func (s *supply) restsOn(f formula.Formula) []string {
	seen := map[string]bool{f.Material: true}
	next := []formula.Formula{f}
	for len(next) > 0 {
		now := next[0]
		next = next[1:]
		for _, in := range now.Ingredients {
			if seen[in.Material] {
				continue
			}
			seen[in.Material] = true
			if made, ok := s.formulas.byMaterial[in.Material]; ok {
				next = append(next, made)
			}
		}
	}
	return sortedKeys(seen)
}

// readInputs reads what a revision was worked out from. A field that this
// version does not know is an error: to leave it out could change a price.
func readInputs(raw json.RawMessage) (quoteInputs, error) {
	var in quoteInputs
	d := json.NewDecoder(bytes.NewReader(raw))
	d.DisallowUnknownFields()
	if err := d.Decode(&in); err != nil {
		return in, err
	}
	if in.Format < 1 || in.Format > inputsFormat {
		return in, fmt.Errorf("inputs of format %d; this version reads up to %d", in.Format, inputsFormat)
	}
	var err error
	in.Request.Basis, err = valuation.ParseBasis(in.Basis)
	return in, err
}

// supply is the part of the book that was kept.
func (in quoteInputs) supply() (*supply, error) {
	s := &supply{plant: in.Plant, now: in.Today, today: in.Today, materials: map[string]BookMaterial{}, lots: map[string]StockLot{},
		suppliers: map[string]purchase.Supplier{}, stock: map[string][]stockItem{}, offers: map[string][]purchase.Offer{},
		formulas: formulaBook{byMaterial: map[string]formula.Formula{}}}
	for _, m := range in.Materials {
		s.materials[m.ID] = BookMaterial{Material: inventory.Material{ID: m.ID, Title: m.Title, Class: m.Class}, StandardCostPerKg: m.Standard}
	}
	for _, f := range in.Formulas {
		s.formulas.byMaterial[f.Material] = f
	}
	for _, o := range in.Offers {
		s.offers[o.Material] = append(s.offers[o.Material], o)
	}
	for _, l := range in.Lots {
		item, err := l.item()
		if err != nil {
			return nil, err
		}
		if s.lots[l.ID] = item.StockLot; l.OnHand != 0 {
			s.stock[l.Material] = append(s.stock[l.Material], item)
		}
	}
	var err error
	s.calendar, err = plantCalendar(in.Plant)
	return s, err
}

// RebuiltQuote is a revision worked out again from what was kept with it.
type RebuiltQuote struct {
	Quote       string // "id@2"
	Format      int    // of the inputs
	Differences []QuoteDifference
}

// QuoteDifference is a figure that does not come out as it was given. Quantity
// is zero for one of the whole quote.
type QuoteDifference struct {
	Quantity      mass.Mass
	What          string
	Kept, Rebuilt string
}

// RebuildQuote works a revision out again from its kept inputs alone, with this
// version of the program, and compares every line and price to the last digit.
// Lead times are not prices and are left out.
func (b *Book) RebuildQuote(ctx context.Context, name string) (RebuiltQuote, error) {
	var kept Quote
	var raw json.RawMessage
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		if kept, err = b.readQuote(ctx, tx, name); err != nil {
			return err
		}
		raw, err = tx.Inputs(ctx, kept.ID, kept.Revision)
		return err
	})
	if isNotFound(err) && kept.ID != "" {
		return RebuiltQuote{}, Faultf(ErrNotReady, "INPUTS_NOT_KEPT", "quotes/"+name,
			"quotes/%s was made before the inputs of quotes were kept; revise it, and the revision can be rebuilt.", name)
	}
	if err != nil {
		return RebuiltQuote{}, err
	}
	out := RebuiltQuote{Quote: revisionID(kept.ID, kept.Revision)}
	again, format, err := rebuild(raw)
	if err != nil {
		return out, fmt.Errorf("rebuilding quotes/%s: %w", out.Quote, err)
	}
	out.Format, out.Differences = format, quoteDifferences(kept, again)
	return out, nil
}

// rebuild works a quote out from its kept inputs.
func rebuild(raw json.RawMessage) (q Quote, format int, err error) {
	in, err := readInputs(raw)
	if err != nil {
		return q, 0, err
	}
	s, err := in.supply()
	if err != nil {
		return q, in.Format, err
	}
	q, err = s.quote(in.Request, in.Formula)
	return q, in.Format, err
}

// quoteDifferences compares all figures, and the lines in their order.
func quoteDifferences(kept, again Quote) []QuoteDifference {
	var out []QuoteDifference
	at := mass.Mass(0)
	check := func(what string, kept, again fmt.Stringer) {
		if k, a := kept.String(), again.String(); k != a {
			out = append(out, QuoteDifference{at, what, k, a})
		}
	}
	check("margin asked for, %", kept.Margin, again.Margin)
	check("exchange rate", kept.Rate, again.Rate)
	check("number of quantities", count(len(kept.Breaks)), count(len(again.Breaks)))
	for i := range min(len(kept.Breaks), len(again.Breaks)) {
		k, a := kept.Breaks[i], again.Breaks[i]
		at = k.Quantity
		check("quantity", k.Quantity, a.Quantity)
		check("cost", k.Cost, a.Cost)
		check("price per kg", k.Price, a.Price)
		check("price", k.Total, a.Total)
		if k.Margin.Currency != "" { // older quotes do not say
			check("margin", k.Margin, a.Margin)
		}
		check("batches", count(k.Batches), count(a.Batches))
		check("number of cost lines", count(len(k.Lines)), count(len(a.Lines)))
		for j := range min(len(k.Lines), len(a.Lines)) {
			check(fmt.Sprintf("line %d, %s", j+1, k.Lines[j].Title), k.Lines[j], a.Lines[j])
		}
	}
	return out
}

// count is a number that can be compared like the other figures.
type count int

func (c count) String() string { return fmt.Sprint(int(c)) }

// String writes the whole line, so that two lines are the same when they read
// the same.
func (l CostLine) String() string {
	return fmt.Sprintf("%s %s, level %d: %s, %s, at %s: %s", l.Kind, l.Title, l.Level, l.Quantity, l.Time.Truncate(time.Second), l.Rate, l.Amount)
}
