package app

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"time"

	"millbase/costing/money"
	"millbase/costing/purchase"
	"millbase/inventory/batch"
	"millbase/inventory/lot"
	"millbase/inventory/mass"
)

// BoardChange is one thing that is other than the book has it; one of its parts is
// set.
type BoardChange struct {
	Order   string // comes Days later, or earlier below zero
	Days    int
	Lot     string // is rejected
	Batch   string // is due on DueDate
	DueDate time.Time
}

// CoverageDifference is what changes do to the board, without touching the book.
type CoverageDifference struct {
	Rows []CoverageMove
	// What the orders that the board suggests cost, landed.
	CostBefore, CostAfter money.Money
	Remarks               []string // of the board as changed, that it did not have before
}

// CoverageMove is a material whose shortage or suggested orders change.
type CoverageMove struct {
	Material      string
	Title         string
	Before, After BoardState
}

// BoardState is what the board says of a material.
type BoardState struct {
	FirstShort time.Time // zero: covered
	Short      mass.Mass
	Batches    []string // in the first short week
	Ordered    mass.Mass
	Cost       money.Money // landed
	Late       bool        // some order comes too late even ordered today
}

// mostBoardChanges can be tried out together.
const mostBoardChanges = 50

// TryCoverage says what the board would be with some things other than they are.
func (b *Book) TryCoverage(ctx context.Context, q CoverageQuery, changes []BoardChange) (CoverageDifference, error) {
	if q.Weeks == 0 {
		q.Weeks = defaultWeeks
	}
	if q.Weeks < 1 || q.Weeks > maxWeeks {
		return CoverageDifference{}, InvalidField("weeks", "give from 1 to %d weeks, or 0 for %d.", maxWeeks, defaultWeeks)
	}
	if len(changes) == 0 || len(changes) > mostBoardChanges {
		return CoverageDifference{}, InvalidField("changes", "give from 1 to %d changes.", mostBoardChanges)
	}
	var s *supply
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		s, err = b.loadSupply(ctx, tx)
		return err
	})
	if err != nil {
		return CoverageDifference{}, err
	}
	other, err := s.changed(changes)
	if err != nil {
		return CoverageDifference{}, err
	}
	before, err := s.coverage(q)
	if err != nil {
		return CoverageDifference{}, err
	}
	after, err := other.coverage(q)
	if err != nil {
		return CoverageDifference{}, err
	}
	return boardDifference(before, after), nil
}

// changed is a supply that has the changes, and shares with this one what stays.
func (s *supply) changed(changes []BoardChange) (*supply, error) {
	out := *s
	out.memo, out.seen = memo{}, ""
	out.orders, out.batches = slices.Clone(s.orders), slices.Clone(s.batches)
	out.stock = make(map[string][]stockItem, len(s.stock))
	for m, items := range s.stock {
		out.stock[m] = slices.Clone(items)
	}
	var bad Invalid
	for i, c := range changes {
		var field, why string
		switch {
		case c.Order != "":
			field, why = "delay.purchase_order", out.delay(c.Order, c.Days)
		case c.Lot != "":
			field, why = "rejected_lot", out.reject(c.Lot)
		case c.Batch != "":
			field, why = "move.batch", out.move(c.Batch, c.DueDate)
			if c.DueDate.Before(s.today) {
				field, why = "move.due_date", fmt.Sprintf("%s is past; give today, %s, or later", c.DueDate.Format(time.DateOnly), s.today.Format(time.DateOnly))
			}
		default:
			why = "name an order that is late, a lot that is rejected or a batch that moves"
		}
		if why != "" {
			bad = append(bad, FieldError{fmt.Sprintf("changes[%d].%s", i, cmp.Or(field, "change")), why})
		}
	}
	if len(bad) > 0 {
		return nil, bad
	}
	slices.SortStableFunc(out.batches, func(a, b batch.Batch) int {
		return cmp.Or(a.DueDate.Compare(b.DueDate), cmp.Compare(a.ID, b.ID))
	})
	return &out, nil
}

// delay brings what is open of an order some days later; what is overdue is
// expected today.
func (s *supply) delay(id string, days int) (why string) {
	i := slices.IndexFunc(s.orders, func(o purchase.Order) bool { return o.ID == id })
	switch {
	case i < 0:
		return fmt.Sprintf("purchaseOrders/%s is not on its way: name an order that is sent and not received", id)
	case days == 0:
		return "give by how many days it comes later, or earlier with a minus"
	}
	o := &s.orders[i]
	o.Lines = slices.Clone(o.Lines)
	for k := range o.Lines {
		due := o.Lines[k].DueDate
		if due.Before(s.today) {
			due = s.today
		}
		o.Lines[k].DueDate = due.AddDate(0, 0, days)
	}
	return ""
}

// reject takes a lot out of what can be used. A batch that had some of it set aside
// needs that from elsewhere.
func (s *supply) reject(id string) (why string) {
	material := s.lots[id].Material
	i := slices.IndexFunc(s.stock[material], func(it stockItem) bool { return it.ID == id && it.OnHand > 0 })
	if i < 0 {
		return fmt.Sprintf("lots/%s is not on hand: name a lot that is", id)
	}
	item := &s.stock[material][i]
	if ok, _ := item.UsableOn(s.today); !ok {
		return fmt.Sprintf("lots/%s is %s or past its date: it does not count already", id, item.Status)
	}
	item.Status = lot.Rejected
	s.lost = slices.Clone(s.lost)
	for _, b := range s.batches {
		for _, l := range b.Lines {
			if b.State == batch.Reserved && l.Lot == id {
				s.lost = append(s.lost, lostLine{b, material, l.Quantity})
			}
		}
	}
	return ""
}

// move changes the due date of a batch.
func (s *supply) move(id string, due time.Time) (why string) {
	i := slices.IndexFunc(s.batches, func(b batch.Batch) bool { return b.ID == id })
	if i < 0 {
		return fmt.Sprintf("batches/%s is not planned: name a batch that is still to be made", id)
	}
	s.batches[i].DueDate = due
	for k := range s.lost {
		if s.lost[k].batch.ID == id {
			s.lost[k].batch.DueDate = due
		}
	}
	return ""
}

// lostLine is what a reserved batch had set aside of a lot that can't be used.
type lostLine struct {
	batch    batch.Batch
	material string
	quantity mass.Mass
}

// need counts what reserved batches have lost.
func (n *netter) need(l lostLine) {
	start := l.batch.DueDate
	if f, ok := n.s.formulas.of(l.batch); ok {
		start = n.s.startBy(f, l.batch.Quantity, start)
	}
	if day := n.day(start); day < n.days {
		n.demands[l.material] = append(n.demands[l.material], demand{day, l.quantity, []string{l.batch.ID}})
	}
}

func boardDifference(before, after Coverage) CoverageDifference {
	out := CoverageDifference{CostBefore: money.Zero(before.Currency), CostAfter: money.Zero(before.Currency)}
	old, now := statesOf(before), statesOf(after)
	titles := map[string]string{}
	for _, r := range append(slices.Clone(before.Rows), after.Rows...) {
		titles[r.Material] = r.Title
	}
	for _, id := range sortedKeys(titles) {
		a, b := old[id], now[id]
		out.CostBefore.Amount, out.CostAfter.Amount = out.CostBefore.Amount.Add(a.Cost.Amount), out.CostAfter.Amount.Add(b.Cost.Amount)
		if a.FirstShort.Equal(b.FirstShort) && a.Short == b.Short && a.Ordered == b.Ordered && a.Cost.Amount.Equal(b.Cost.Amount) && a.Late == b.Late {
			continue
		}
		out.Rows = append(out.Rows, CoverageMove{Material: id, Title: titles[id], Before: a, After: b})
	}
	for _, r := range after.Remarks {
		if !slices.Contains(before.Remarks, r) {
			out.Remarks = append(out.Remarks, r)
		}
	}
	return out
}

func statesOf(c Coverage) map[string]BoardState {
	out := map[string]BoardState{}
	for _, r := range c.Rows {
		s := BoardState{FirstShort: r.FirstShort, Short: r.Short, Batches: r.Batches, Cost: money.Zero(c.Currency)}
		for _, o := range r.Suggestions {
			s.Ordered += o.Quantity
			s.Cost.Amount = s.Cost.Amount.Add(o.Landed.Amount)
			s.Late = s.Late || o.Late
		}
		out[r.Material] = s
	}
	return out
}
