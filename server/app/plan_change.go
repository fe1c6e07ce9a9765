package app

import (
	"fmt"
	"maps"
	"slices"

	"millbase/costing/purchase"
	"millbase/inventory/batch"
)

// change lays the changes that are tried out over what was read of the book. What
// was read is others' as well: what changes is copied.
func (j *jointPlanning) change() error {
	if len(j.req.Changes) == 0 {
		return nil
	}
	j.supply.orders, j.supply.batches = slices.Clone(j.supply.orders), slices.Clone(j.supply.batches)
	var bad Invalid
	for i, c := range j.req.Changes {
		field, why := j.changeOne(c)
		if why != "" {
			bad = append(bad, FieldError{fmt.Sprintf("changes[%d].%s", i, field), why})
		}
	}
	if len(bad) > 0 {
		return bad
	}
	return nil
}

func (j *jointPlanning) changeOne(c PlanChange) (field, why string) {
	switch {
	case c.Order != "":
		k := slices.IndexFunc(j.supply.orders, func(o purchase.Order) bool { return o.ID == c.Order })
		if k < 0 {
			return "late.purchase_order", fmt.Sprintf("purchaseOrders/%s is no order that was sent and is still to come", c.Order)
		}
		o := &j.supply.orders[k]
		o.Lines = slices.Clone(o.Lines)
		for i := range o.Lines {
			due := o.Lines[i].DueDate
			if due.Before(j.today) {
				due = j.today
			}
			o.Lines[i].DueDate = due.AddDate(0, 0, c.Days)
		}
	case c.Of != "":
		if !j.sold(c.Of) {
			return "price.of", notSold(c.Of)
		}
	case c.Lot != "":
		k := slices.IndexFunc(j.room.lots, func(l StockLot) bool { return l.ID == c.Lot })
		if k < 0 {
			return "rejected_lot", fmt.Sprintf("lots/%s is no lot in stock", c.Lot)
		}
		j.room.lots = slices.Delete(slices.Clone(j.room.lots), k, k+1)
		j.room.names = maps.Clone(j.room.names)
		j.room.names["lots/"+c.Lot] = true
		if j.rejected == nil {
			j.rejected = map[string]bool{}
		}
		j.rejected[c.Lot] = true
	case c.Batch != "":
		k := slices.IndexFunc(j.supply.batches, func(b batch.Batch) bool { return b.ID == c.Batch })
		switch {
		case k < 0:
			return "due.batch", fmt.Sprintf("batches/%s is no open batch of the book", c.Batch)
		case j.supply.batches[k].State != batch.Planned:
			return "due.batch", fmt.Sprintf("the lots of batches/%s are set aside already; it can be begun at any time", c.Batch)
		case c.DueDate.Before(j.today):
			return "due.due_date", fmt.Sprintf("is past; give today, %s, or later", dayOf(j.today))
		}
		j.supply.batches[k].DueDate = c.DueDate
	}
	return "", ""
}
