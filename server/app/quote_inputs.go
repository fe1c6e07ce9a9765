package app

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"time"

	"millbase/costing/purchase"
	"millbase/costing/valuation"
	"millbase/inventory/formula"
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
	Materials []BookMaterial    `json:"materials"`
	Lots      []StockLot        `json:"lots"`
	Stock     []stockInput      `json:"stock"` // in the order in which it is taken
	Offers    []purchase.Offer  `json:"offers"`
	Formulas  []formula.Formula `json:"formulas"` // by which the materials are made
}

type stockInput struct {
	Lot      string    `json:"lot"`
	OnHand   mass.Mass `json:"on_hand_mg"`
	Reserved mass.Mass `json:"reserved_mg"`
}

// inputsOf picks out of the supply what a quote of the formula rests on.
func (s *supply) inputsOf(r QuoteRequest, f formula.Formula) (json.RawMessage, error) {
	in := quoteInputs{Format: inputsFormat, Today: s.today, Request: r, Basis: r.Basis.String(), Formula: f, Plant: s.plant}
	materials := s.restsOn(f)
	for _, id := range materials {
		if m, known := s.materials[id]; known {
			// Only what costing looks at, so that a quote stays small.
			m.Properties, m.Deviations, m.Cautions = nil, nil, nil
			in.Materials = append(in.Materials, m)
		}
		if made, ok := s.formulas.byMaterial[id]; ok {
			in.Formulas = append(in.Formulas, made)
		}
		for _, o := range s.offers[id] {
			in.Offers = append(in.Offers, o)
		}
		for _, i := range s.stock[id] {
			in.Stock = append(in.Stock, stockInput{i.ID, i.OnHand, i.Reserved})
		}
	}
	for _, id := range sortedKeys(s.lots) {
		if l := s.lots[id]; slices.Contains(materials, l.Material) {
			l.Certificate, l.Tested, l.Deviations = nil, nil, nil
			in.Lots = append(in.Lots, l)
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
		s.materials[m.ID] = m
	}
	for _, f := range in.Formulas {
		s.formulas.byMaterial[f.Material] = f
	}
	for _, o := range in.Offers {
		s.offers[o.Material] = append(s.offers[o.Material], o)
	}
	for _, l := range in.Lots {
		s.lots[l.ID] = l
	}
	for _, i := range in.Stock {
		l, known := s.lots[i.Lot]
		if !known {
			return nil, fmt.Errorf("stock of lot %q, which is not among the inputs", i.Lot)
		}
		s.stock[l.Material] = append(s.stock[l.Material], stockItem{l, i.OnHand, i.Reserved})
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
