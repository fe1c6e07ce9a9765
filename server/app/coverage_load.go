package app

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"time"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/calendar"
	"millbase/inventory/formula"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// supply is the state of the book from which coverage, lead times and costs are
// worked out. It is read in a fixed, small number of queries whatever the size
// of the plant.
type supply struct {
	plant     Plant
	now       time.Time
	today     time.Time          // calendar date at the plant, midnight UTC
	calendar  *calendar.Calendar // nil: the plant has no shifts
	materials map[string]BookMaterial
	suppliers map[string]purchase.Supplier
	lots      map[string]StockLot
	stock     map[string][]stockItem // by material, first to expire first
	offers    map[string][]purchase.Offer
	orders    []purchase.Order // sent or part received
	batches   []batch.Batch    // planned or reserved, by due date
	formulas  formulaBook
	memo      memo
	lost      []lostLine // of reserved batches, where a rejected lot is tried out
	// seen stands for all of it but the moment; empty, nothing can be said.
	seen string
}

// stockItem is what is on hand of a lot, over all locations.
type stockItem struct {
	StockLot
	OnHand, Reserved mass.Mass
}

// free is what of the item may still be used on the date.
func (i stockItem) free(date time.Time) mass.Mass {
	if ok, _ := i.UsableOn(date); !ok {
		return 0
	}
	return max(0, i.OnHand-i.Reserved)
}

// ordersOpen and batchesOpen are those that still bring or need something.
var (
	ordersOpen  = Query{Where: []Condition{{"state", "!=", string(purchase.Draft)}, {"state", "!=", string(purchase.Received)}, {"state", "!=", string(purchase.Cancelled)}}}
	batchesOpen = Query{Where: []Condition{{"state", "!=", string(batch.Finished)}, {"state", "!=", string(batch.Cancelled)}}}
)

// stockAhead and supplyAhead are what loadStock and loadSupply list.
var (
	stockAhead = []Ahead{{List: AheadPlant}, {List: AheadMaterials}, {List: AheadSuppliers}, {List: AheadOffers}, {List: AheadBalances},
		{List: AheadLots}, {List: AheadFormulas}}
	supplyAhead = append(slices.Clone(stockAhead), Ahead{AheadOrders, ordersOpen}, Ahead{AheadBatches, batchesOpen})
)

// loadSupply reads all of it.
func (b *Book) loadSupply(ctx context.Context, tx Tx) (*supply, error) {
	seen, err := tx.ReadAhead(ctx, supplyAhead...)
	if err != nil {
		return nil, err
	}
	s, err := b.loadStock(ctx, tx)
	if err != nil {
		return nil, err
	}
	if !s.formulas.asked {
		s.seen = seen
	}
	orders, err := tx.PurchaseOrders().List(ctx, ordersOpen)
	if err != nil {
		return nil, err
	}
	for _, o := range orders {
		s.orders = append(s.orders, o.Value)
	}
	batches, err := tx.Batches().List(ctx, batchesOpen)
	if err != nil {
		return nil, err
	}
	for _, r := range batches {
		s.batches = append(s.batches, r.Value)
	}
	slices.SortStableFunc(s.batches, func(a, b batch.Batch) int {
		return cmp.Or(a.DueDate.Compare(b.DueDate), cmp.Compare(a.ID, b.ID))
	})
	return s, s.formulas.addRevisions(ctx, tx, s.batches)
}

// loadStock reads what a cost needs: the plant, materials, stock, offers and
// the released formulas.
func (b *Book) loadStock(ctx context.Context, tx Tx) (*supply, error) {
	seen, err := tx.ReadAhead(ctx, stockAhead...)
	if err != nil {
		return nil, err
	}
	s, err := b.stockSeen(ctx, tx, seen)
	if err != nil {
		return nil, err
	}
	s.now = b.clock()
	if s.today, err = b.today(s.plant); err != nil {
		return nil, err
	}
	s.formulas, err = loadFormulas(ctx, tx)
	return s, err
}

// keptStock is the stock as it was seen last, put in order.
type keptStock struct {
	seen  string
	stock supply
}

// stockSeen puts what loadStock lists in order, or takes it as it was put in order
// for the same lists: a supply is not changed once it is read.
func (b *Book) stockSeen(ctx context.Context, tx Tx, seen string) (*supply, error) {
	if k := b.keptStock.Load(); k != nil && seen != "" && k.seen == seen {
		s := k.stock
		return &s, nil
	}
	s, err := readStock(ctx, tx)
	if err == nil && seen != "" {
		b.keptStock.Store(&keptStock{seen, *s})
	}
	return s, err
}

func readStock(ctx context.Context, tx Tx) (*supply, error) {
	plant, err := tx.Plant().Get(ctx)
	if err != nil {
		return nil, err
	}
	s := &supply{plant: plant.Value, materials: map[string]BookMaterial{}, suppliers: map[string]purchase.Supplier{},
		stock: map[string][]stockItem{}, offers: map[string][]purchase.Offer{}}
	if s.calendar, err = plantCalendar(plant.Value); err != nil {
		return nil, err
	}
	materials, err := tx.Materials().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	for _, m := range materials {
		s.materials[m.Value.ID] = m.Value
	}
	suppliers, err := tx.Suppliers().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	for _, r := range suppliers {
		s.suppliers[r.Value.ID] = r.Value
	}
	offers, err := tx.Offers().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	for _, r := range offers {
		o := r.Value
		o.LeadTimeDays = cmp.Or(o.LeadTimeDays, s.suppliers[o.Supplier].LeadTimeDays, s.materials[o.Material].Ordering.LeadTimeDays)
		if !s.suppliers[o.Supplier].Archived {
			s.offers[o.Material] = append(s.offers[o.Material], o)
		}
	}
	return s, s.loadLots(ctx, tx)
}

func (s *supply) loadLots(ctx context.Context, tx Tx) error {
	balances, err := tx.Stock().Balances(ctx, Query{}, time.Time{})
	if err != nil {
		return err
	}
	lots, err := tx.Lots().List(ctx, Query{})
	if err != nil {
		return err
	}
	s.lots = make(map[string]StockLot, len(lots))
	for _, r := range lots {
		s.lots[r.Value.ID] = r.Value
	}
	items := map[string]*stockItem{}
	var order []string
	for _, b := range balances {
		item := items[b.Lot]
		if item == nil {
			l, ok := s.lots[b.Lot]
			if !ok {
				return fmt.Errorf("balance of lot %q, which is not in the book", b.Lot)
			}
			item = &stockItem{StockLot: l}
			items[b.Lot] = item
			order = append(order, b.Lot)
		}
		item.OnHand += b.OnHand
		item.Reserved += b.Reserved
	}
	for _, id := range order {
		item := items[id]
		s.stock[item.Material] = append(s.stock[item.Material], *item)
	}
	for _, items := range s.stock {
		slices.SortFunc(items, firstToExpire)
	}
	return nil
}

// firstToExpire orders lots as weigh-up takes them: the first to expire, then
// the first received, then by id.
func firstToExpire(a, b stockItem) int {
	switch {
	case a.ExpiryDate.IsZero() != b.ExpiryDate.IsZero():
		if a.ExpiryDate.IsZero() {
			return 1
		}
		return -1
	default:
		return cmp.Or(a.ExpiryDate.Compare(b.ExpiryDate), a.ReceivedDate.Compare(b.ReceivedDate), cmp.Compare(a.ID, b.ID))
	}
}

// sums of one material's stock on a date.
type stockSums struct {
	onHand      mass.Mass // released and in date
	quarantined mass.Mass
	reserved    mass.Mass // of what is released and in date
}

func (s *supply) sums(material string, date time.Time) stockSums {
	var out stockSums
	for _, i := range s.stock[material] {
		if ok, _ := i.UsableOn(date); ok {
			out.onHand += i.OnHand
			out.reserved += i.Reserved
		} else if i.Status == lot.Quarantined && !i.ExpiredOn(date) {
			out.quarantined += i.OnHand
		}
	}
	return out
}

// title names a material for people.
func (s *supply) title(material string) string {
	if m, ok := s.materials[material]; ok && m.Title != "" {
		return m.Title
	}
	return material
}

// plantCalendar is the plant's shifts and holidays as a working calendar; nil
// when the plant has no shifts.
func plantCalendar(p Plant) (*calendar.Calendar, error) {
	if len(p.Shifts) == 0 {
		return nil, nil
	}
	c := calendar.Config{Zone: p.TimeZone, Week: map[time.Weekday][]calendar.Shift{}, Special: map[calendar.Date][]calendar.Shift{}}
	for _, shift := range p.Shifts {
		to := shift.ToMinute
		if to <= shift.FromMinute {
			to += 24 * 60 // a night shift ends on the next day
		}
		c.Week[shift.Weekday] = append(c.Week[shift.Weekday], calendar.Shift{Start: shift.FromMinute, End: to})
	}
	for _, h := range p.Holidays {
		c.Special[calendar.Date{Year: h.Year(), Month: h.Month(), Day: h.Day()}] = nil
	}
	cal, err := calendar.New(c)
	if err != nil {
		return nil, Faultf(ErrNotReady, "PLANT_CALENDAR", "plant", "The plant's calendar can't be used: %v.", err)
	}
	return cal, nil
}

// formulaBook is the newest released revision of each formula, and the
// revisions that batches name.
type formulaBook struct {
	released   map[string]formula.Formula // by id
	revisions  map[string]formula.Formula // by "id@revision"
	byMaterial map[string]formula.Formula // the newest released for each material
	bySpec     map[string]formula.Formula // the newest released for each specification
	asked      bool                       // for more than the newest revisions
}

// loadFormulas reads the newest revision of every formula, and the newest
// released one of those whose newest is still a draft.
func loadFormulas(ctx context.Context, tx Tx) (formulaBook, error) {
	f := formulaBook{released: map[string]formula.Formula{}, revisions: map[string]formula.Formula{},
		byMaterial: map[string]formula.Formula{}, bySpec: map[string]formula.Formula{}}
	recs, err := tx.Formulas().List(ctx, Query{})
	if err != nil {
		return f, err
	}
	for _, r := range recs {
		v := r.Value
		f.revisions[revisionID(v.ID, v.Revision)] = v
		if !v.Released {
			f.asked = true
			if v, err = newestReleased(ctx, tx, v.ID); err != nil {
				return f, err
			}
		}
		if !v.Released {
			continue
		}
		f.released[v.ID] = v
		f.revisions[revisionID(v.ID, v.Revision)] = v
		newest(f.byMaterial, v.Material, v)
		newest(f.bySpec, v.Specification, v)
	}
	return f, nil
}

// newestReleased is the last released revision of a formula; not Released when
// there is none.
func newestReleased(ctx context.Context, tx Tx, id string) (formula.Formula, error) {
	recs, err := tx.Formulas().List(ctx, Query{Where: []Condition{{"formula", "=", id}, {"released", "=", "true"}}})
	if err != nil || len(recs) == 0 {
		return formula.Formula{}, err
	}
	return recs[len(recs)-1].Value, nil
}

// newest keeps the formula made last, the first by id on a tie.
func newest(in map[string]formula.Formula, key string, v formula.Formula) {
	if key == "" {
		return
	}
	old, ok := in[key]
	if !ok || v.Created.After(old.Created) || (v.Created.Equal(old.Created) && v.ID < old.ID) {
		in[key] = v
	}
}

// addRevisions reads the revisions that batches name and that are not the
// newest released ones.
func (f *formulaBook) addRevisions(ctx context.Context, tx Tx, batches []batch.Batch) error {
	for _, b := range batches {
		id := revisionID(b.Formula, b.FormulaRevision)
		if _, known := f.revisions[id]; known || b.Formula == "" {
			continue
		}
		rec, err := tx.Formulas().Get(ctx, id)
		if errors.Is(err, ErrNotFound) {
			continue
		}
		if err != nil {
			return err
		}
		f.revisions[id] = rec.Value
	}
	return nil
}

// of is the formula by which the batch is made: its own revision, or the newest
// released formula of its specification.
func (f *formulaBook) of(b batch.Batch) (formula.Formula, bool) {
	if b.Formula != "" {
		v, ok := f.revisions[revisionID(b.Formula, b.FormulaRevision)]
		return v, ok
	}
	v, ok := f.bySpec[b.Specification]
	return v, ok
}
