package app

import (
	"context"
	"time"

	"millbase/costing/purchase"
)

// PerformanceQuery asks how suppliers kept to their dates.
type PerformanceQuery struct {
	Supplier     string    // empty: all
	Material     string    // empty: all
	Since        time.Time // deliveries from this date on; zero: all
	ServiceLevel int       // percent, from 50 to 99; 0 means 95
}

// DeliveryPerformance is a line for each supplier and material, and one for each
// supplier over all of its materials, in front of them.
type DeliveryPerformance struct {
	ServiceLevel int
	Rows         []PerformanceRow
}

// PerformanceRow is how one supplier delivered one material.
type PerformanceRow struct {
	Supplier string
	Material string // empty: all that was asked for
	purchase.Performance
	Suggested purchase.SafetyTime
	// SafetyTimeDays are those that the material has today.
	SafetyTimeDays int
	// Overdue are open lines past their due date, which count in nothing above: the
	// oldest is MostOverdue days late today.
	Overdue     int
	MostOverdue int
}

const usualServiceLevel = 95

// DeliveryPerformance works out of the purchase orders' deliveries how suppliers
// kept to their dates, and what safety time that suggests.
func (b *Book) DeliveryPerformance(ctx context.Context, q PerformanceQuery) (DeliveryPerformance, error) {
	if q.ServiceLevel == 0 {
		q.ServiceLevel = usualServiceLevel
	}
	if q.ServiceLevel < 50 || q.ServiceLevel > 99 {
		return DeliveryPerformance{}, InvalidField("service_level_percent", "give from 50 to 99 percent, or 0 for %d.", usualServiceLevel)
	}
	gathered := map[string]map[string]*deliveries{}
	safety := map[string]int{}
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) error {
		in, err := b.plantDay(ctx, tx)
		if err != nil {
			return err
		}
		if safety, err = safetyTimes(ctx, tx, q); err != nil {
			return err
		}
		orders, err := ordersOf(ctx, tx, q.Supplier)
		if err != nil {
			return err
		}
		gathered = gatherDeliveries(orders, q, in.today)
		return nil
	})
	if err != nil {
		return DeliveryPerformance{}, err
	}
	out := DeliveryPerformance{ServiceLevel: q.ServiceLevel}
	for _, supplier := range sortedKeys(gathered) {
		all, rows := &deliveries{}, []PerformanceRow(nil)
		for _, material := range sortedKeys(gathered[supplier]) {
			d := gathered[supplier][material]
			all.add(d.arrivals, d.overdue, d.mostOverdue)
			row := d.row(supplier, material, q.ServiceLevel)
			row.SafetyTimeDays = safety[material]
			rows = append(rows, row)
		}
		out.Rows = append(append(out.Rows, all.row(supplier, "", q.ServiceLevel)), rows...)
	}
	return out, nil
}

// safetyTimes are the materials' today; what is asked for must be in the book.
func safetyTimes(ctx context.Context, tx Tx, q PerformanceQuery) (map[string]int, error) {
	recs, err := tx.Materials().List(ctx, Query{})
	if err != nil {
		return nil, err
	}
	out := map[string]int{}
	for _, r := range recs {
		out[r.Value.ID] = r.Value.Ordering.SafetyTimeDays
	}
	if _, ok := out[q.Material]; q.Material != "" && !ok {
		return nil, InvalidField("material", "materials/%s is not in the book.", q.Material)
	}
	return out, nil
}

func ordersOf(ctx context.Context, tx Tx, supplier string) ([]Record[purchase.Order], error) {
	var q Query
	if supplier != "" {
		if _, err := tx.Suppliers().Get(ctx, supplier); err != nil {
			return nil, err
		}
		q.Where = []Condition{{"supplier", "=", supplier}}
	}
	return tx.PurchaseOrders().List(ctx, q)
}

// deliveries are those of one supplier and material.
type deliveries struct {
	arrivals             []purchase.Arrival
	overdue, mostOverdue int
}

func (d *deliveries) add(arrivals []purchase.Arrival, overdue, mostOverdue int) {
	d.arrivals = append(d.arrivals, arrivals...)
	d.overdue += overdue
	d.mostOverdue = max(d.mostOverdue, mostOverdue)
}

func (d *deliveries) row(supplier, material string, percent int) PerformanceRow {
	return PerformanceRow{Supplier: supplier, Material: material, Performance: purchase.Judge(d.arrivals),
		Suggested: purchase.SuggestSafetyTime(d.arrivals, percent), Overdue: d.overdue, MostOverdue: d.mostOverdue}
}

// gatherDeliveries sorts deliveries by supplier and material.
func gatherDeliveries(orders []Record[purchase.Order], q PerformanceQuery, today time.Time) map[string]map[string]*deliveries {
	out := map[string]map[string]*deliveries{}
	for _, rec := range orders {
		o := rec.Value
		sent := o.State == purchase.Sent || o.State == purchase.PartReceived
		for _, l := range o.Lines {
			if q.Material != "" && l.Material != q.Material {
				continue
			}
			arrivals, overdue, by := o.Arrivals(l, q.Since), 0, 0
			if sent && l.Open() > 0 && l.DueDate.Before(today) {
				overdue, by = 1, int(today.Sub(l.DueDate)/(24*time.Hour))
			}
			if len(arrivals)+overdue == 0 {
				continue
			}
			if out[o.Supplier] == nil {
				out[o.Supplier] = map[string]*deliveries{}
			}
			if out[o.Supplier][l.Material] == nil {
				out[o.Supplier][l.Material] = &deliveries{}
			}
			out[o.Supplier][l.Material].add(arrivals, overdue, by)
		}
	}
	return out
}
