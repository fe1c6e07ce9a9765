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
	ShortOnly bool   // only what is short or falls below its safety stock
	Material  string // only this one
}

// Coverage is the board: what the upcoming batches need, against stock and
// orders, by material and week.
type Coverage struct {
	Currency string
	Weeks    []time.Time // Mondays, midnight UTC
	Rows     []CoverageRow
	Remarks  []string
}

// CoverageRow is one material; the lists have one mass a week.
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
	Projected   []mass.Mass // at the end of the week, with no further order
	FirstShort  time.Time   // zero: covered
	Short       mass.Mass   // what is lacking at the deepest point
	Batches     []string    // that need it in the first short week
	Suggestions []OrderSuggestion
	BelowSafety bool
}

const (
	defaultWeeks = 8
	maxWeeks     = 52
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
	start := monday(s.today)
	n, err := s.net(start, q.Weeks*7)
	if err != nil {
		return Coverage{}, err
	}
	c := Coverage{Currency: s.plant.Currency, Remarks: n.remarks}
	for w := range q.Weeks {
		c.Weeks = append(c.Weeks, start.AddDate(0, 0, 7*w))
	}
	for _, id := range sortedKeys(s.materials) {
		m := s.materials[id]
		if q.Material != "" && id != q.Material {
			continue
		}
		row := n.row(m, q.Weeks)
		short := !row.FirstShort.IsZero() || row.BelowSafety
		if short {
			remarks, err := n.suggest(&row)
			if err != nil {
				return Coverage{}, err
			}
			c.Remarks = append(c.Remarks, remarks...)
		}
		if short || (!q.ShortOnly && n.shown(m)) || (q.Material != "" && !q.ShortOnly) {
			c.Rows = append(c.Rows, row)
		}
	}
	return c, nil
}

// shown leaves finished ink and archived materials off the board unless
// something needs them.
func (n *netter) shown(m BookMaterial) bool {
	if r := n.rows[m.ID]; len(r.demands) > 0 {
		return true
	}
	return m.Class != inventory.Ink && !m.Archived
}

// row sums the days of one material up into weeks.
func (n *netter) row(m BookMaterial, weeks int) CoverageRow {
	r, sums := n.rows[m.ID], n.s.sums(m.ID, n.s.today)
	row := CoverageRow{Material: m.ID, Title: m.Title, OnHand: sums.onHand, Quarantined: sums.quarantined,
		Reserved: sums.reserved, SafetyStock: m.SafetyStock}
	byWeek := func(days []mass.Mass) []mass.Mass {
		out := make([]mass.Mass, weeks)
		for d, v := range days {
			out[d/7] += v
		}
		return out
	}
	row.Required, row.Expected, row.Expiring = byWeek(r.required), byWeek(r.expected), byWeek(r.expiring)
	for w := range weeks {
		row.Projected = append(row.Projected, r.plan.Alone[7*w+6])
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

// suggest says what to order, or, for what is made here, that a batch is to be
// planned.
func (n *netter) suggest(row *CoverageRow) (remarks []string, err error) {
	lowest := slices.Min(n.rows[row.Material].plan.Alone[n.day(n.s.today):])
	need := row.SafetyStock - lowest
	if _, made := n.s.formulas.byMaterial[row.Material]; made {
		if row.FirstShort.IsZero() {
			return nil, nil
		}
		return []string{fmt.Sprintf("%s: %s more must be made by %s; its ingredients are counted, plan a batch of it.",
			row.Title, row.Short, row.FirstShort.Format(time.DateOnly))}, nil
	}
	best, ok, err := n.s.bestOrder(row.Material, need, row.FirstShort)
	if err != nil {
		return nil, err
	}
	if !ok {
		return []string{fmt.Sprintf("%s: %s is lacking and no supplier offers it today.", row.Title, need)}, nil
	}
	row.Suggestions = []OrderSuggestion{best}
	return nil, nil
}
