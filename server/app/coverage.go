package app

import (
	"context"
	"fmt"
	"slices"
	"time"

	"millbase/inventory"
	"millbase/inventory/mass"
)

// CoverageQuery asks for the coverage board.
type CoverageQuery struct {
	Weeks     int    // from this one on; 0 means 8
	Days      int    // by day from today on, so many; 0: by week
	ShortOnly bool   // only what is short or falls below its safety stock
	Material  string // only this one
	Pegging   bool   // with every need and what covers it
}

// Coverage is the board: what the upcoming batches need, against stock and
// orders, by material and period.
type Coverage struct {
	Currency string
	Periods  []time.Time // first days, midnight UTC: Mondays, or days from today on
	Rows     []CoverageRow
	Remarks  []string
}

// CoverageRow is one material; the lists have one mass a period.
type CoverageRow struct {
	Material    string
	Title       string
	OnHand      mass.Mass // released and in date, reserved or not
	Quarantined mass.Mass
	Reserved    mass.Mass
	SafetyStock mass.Mass
	Required    []mass.Mass
	Expected    []mass.Mass
	Expiring    []mass.Mass
	Projected   []mass.Mass // at the end of the period, with no further order
	// What the material's lot rule plans: receipts, and the releases for them; those
	// that lie before today stand in PastDue.
	PlannedReceipts []mass.Mass
	PlannedReleases []mass.Mass
	PastDue         mass.Mass
	WithPlanned     []mass.Mass // projected, with the planned receipts
	FirstShort      time.Time   // zero: covered
	Short           mass.Mass   // what is lacking at the deepest point
	Batches         []string    // that need it in the first short week
	Suggestions     []OrderSuggestion
	Expedite        []Expedite
	Needs           []PeggedNeed // where they are asked for
	BelowSafety     bool
}

const (
	defaultWeeks = 8
	maxWeeks     = 52
	maxDays      = 120
)

// Coverage works the board out. A batch needs its materials when it must be
// begun to be released on its due date; a batch whose lots are set aside counts
// through its reservations; a base ink is taken from stock first, and what is
// lacking of it is needed as its ingredients.
func (b *Book) Coverage(ctx context.Context, q CoverageQuery) (Coverage, error) {
	if q.Weeks == 0 {
		q.Weeks = defaultWeeks
	}
	if q.Weeks < 1 || q.Weeks > maxWeeks {
		return Coverage{}, InvalidField("weeks", "give from 1 to %d weeks, or 0 for %d.", maxWeeks, defaultWeeks)
	}
	if q.Days < 0 || q.Days > maxDays {
		return Coverage{}, InvalidField("days", "give from 1 to %d days, or 0 for a board by week.", maxDays)
	}
	var s *supply
	err := b.store.View(ctx, func(ctx context.Context, tx Tx) (err error) {
		s, err = b.loadSupply(ctx, tx)
		return err
	})
	if err != nil {
		return Coverage{}, err
	}
	if _, ok := s.materials[q.Material]; q.Material != "" && !ok {
		return Coverage{}, InvalidField("material", "materials/%s is not in the book.", q.Material)
	}
	return s.coverage(q)
}

// monday is the first day of the date's week (ISO 8601).
func monday(date time.Time) time.Time {
	return date.AddDate(0, 0, -(int(date.Weekday())+6)%7)
}

func (s *supply) coverage(q CoverageQuery) (Coverage, error) {
	p := periods{from: 0, days: 7, count: q.Weeks}
	start := monday(s.today)
	if q.Days > 0 {
		p = periods{from: int(s.today.Sub(start) / (24 * time.Hour)), days: 1, count: q.Days}
	}
	n, err := s.board(start, p.from+p.days*p.count)
	if err != nil {
		return Coverage{}, err
	}
	c := Coverage{Currency: s.plant.Currency, Remarks: n.remarks}
	for i := range p.count {
		c.Periods = append(c.Periods, n.date(p.from+i*p.days))
	}
	for _, id := range sortedKeys(s.materials) {
		m := s.materials[id]
		if q.Material != "" && id != q.Material {
			continue
		}
		row := n.row(m, p)
		short := !row.FirstShort.IsZero() || row.BelowSafety
		if short {
			c.Remarks = append(c.Remarks, n.unordered(row)...)
		}
		if q.Pegging {
			row.Needs = n.pegged(id)
		}
		if short || (!q.ShortOnly && n.shown(m)) || (q.Material != "" && !q.ShortOnly) {
			c.Rows = append(c.Rows, row)
		}
	}
	return c, nil
}

// periods are the columns of the board: so many of so many days, from a day of
// the horizon on.
type periods struct{ from, days, count int }

// sum adds the days up by period.
func (p periods) sum(days []mass.Mass) []mass.Mass {
	out := make([]mass.Mass, p.count)
	for d, v := range days {
		out[max(0, d-p.from)/p.days] += v
	}
	return out
}

// ends picks the last day of each period.
func (p periods) ends(days []mass.Mass) []mass.Mass {
	out := make([]mass.Mass, p.count)
	for i := range out {
		out[i] = days[p.from+(i+1)*p.days-1]
	}
	return out
}

// shown leaves finished ink and archived materials off the board unless
// something needs them.
func (n *netter) shown(m BookMaterial) bool {
	if r := n.rows[m.ID]; len(r.demands) > 0 {
		return true
	}
	return m.Class != inventory.Ink && !m.Archived
}

// row sums the days of one material up into periods.
func (n *netter) row(m BookMaterial, p periods) CoverageRow {
	r, sums := n.rows[m.ID], n.s.sums(m.ID, n.s.today)
	row := CoverageRow{Material: m.ID, Title: m.Title, OnHand: sums.onHand, Quarantined: sums.quarantined,
		Reserved: sums.reserved, SafetyStock: m.SafetyStock,
		Required: p.sum(r.required), Expected: p.sum(r.expected), Expiring: p.sum(r.expiring), Projected: p.ends(r.plan.Alone),
		PlannedReceipts: p.sum(r.plan.Receipts), PlannedReleases: p.sum(r.plan.Releases), PastDue: r.plan.PastDue, WithPlanned: p.ends(r.plan.Balance),
		Expedite: n.expedites(r)}
	for _, o := range r.orders {
		if o.Supplier != "" {
			row.Suggestions = append(row.Suggestions, o.OrderSuggestion)
		}
	}
	lowest := slices.Min(r.plan.Alone[n.day(n.s.today):])
	row.BelowSafety = lowest < m.SafetyStock
	if first := r.plan.FirstShort; first >= 0 {
		row.FirstShort, row.Short = n.date(first), r.plan.Shortage
		for _, d := range r.demands {
			if d.day/7 == first/7 {
				row.Batches = append(row.Batches, d.batches...)
			}
		}
		slices.Sort(row.Batches)
		row.Batches = slices.Compact(row.Batches)
	}
	return row
}

// unordered says what to do about what can't be ordered: what is made here is to
// be planned as a batch.
func (n *netter) unordered(row CoverageRow) []string {
	if _, made := n.s.formulas.byMaterial[row.Material]; made {
		if row.FirstShort.IsZero() {
			return nil
		}
		return []string{fmt.Sprintf("%s: %s more must be made by %s; its ingredients are counted, plan a batch of it.",
			row.Title, row.Short, row.FirstShort.Format(time.DateOnly))}
	}
	for _, o := range n.rows[row.Material].orders {
		if o.Supplier == "" {
			lowest := slices.Min(n.rows[row.Material].plan.Alone[n.day(n.s.today):])
			return []string{fmt.Sprintf("%s: %s is lacking and no supplier offers it today.", row.Title, row.SafetyStock-lowest)}
		}
	}
	return nil
}
