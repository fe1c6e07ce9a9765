package main

import (
	"fmt"
	"math"
	"sort"
	"strings"

	pb "millbase/proto/millbase/v1"
)

// printPlan shows a plan as a buyer reads it: what it costs, what to order today and
// later, what becomes of the batches, what is scarce.
func (a *app) printPlan(p *pb.Plan, formulas bool) {
	a.printPlanHead(p)
	a.printPlannedOrders(p)
	a.printPlannedBatches(p)
	if formulas {
		a.printPlannedFormulas(p)
	}
	a.printScarce(p)
	if len(p.LeftOut) > 0 {
		fmt.Fprintf(a.out, "\nLeft out:\n")
		for i, l := range p.LeftOut {
			if i == 12 {
				fmt.Fprintf(a.out, "  - and %d more (--json lists them)\n", len(p.LeftOut)-i)
				break
			}
			fmt.Fprintln(a.out, wrap(fmt.Sprintf("  - %s: %s", l.Title, l.Reason), 100, "    "))
		}
	}
	fmt.Fprintln(a.out)
	printAssumptions(a.out, p.Assumptions)
	if p.Name != "" && p.State == pb.PlanState_PLAN_STATE_PROPOSED {
		fmt.Fprintf(a.out, "\nTo take it: millbase plan accept %s\n", id(p.Name))
	}
}

func (a *app) printPlanHead(p *pb.Plan) {
	what := "Plan"
	if p.Name != "" {
		what = fmt.Sprintf("Plan %s (%s)", id(p.Name), word(p.State, "PLAN_STATE_"))
	}
	n := p.Count
	fmt.Fprintf(a.out, "%s: %d batches over %d periods, %d late, %d not made; %d orders, %d of them today\n", what, n.GetBatches(), len(p.Periods),
		n.GetLate(), n.GetUnmade(), n.GetOrders(), n.GetOrdersToday())
	fmt.Fprintf(a.out, "It costs %s; no plan costs less than %s (gap %s %%).\n", cash(p.Cost.GetTotal(), 2), cash(p.Bound, 2), fixed(p.GapPercent, 2))
	if p.Saving != nil {
		fmt.Fprintf(a.out, "Planning batch by batch in due order costs %s: the joint plan saves %s (%s %%).\n",
			cash(p.InTurnCost, 2), cash(p.Saving, 2), fixed(p.SavingPercent, 2))
	}
	var parts []string
	c := p.Cost
	for _, part := range []struct {
		title string
		cash  string
	}{
		{"lots", cashNumber(c.GetLots(), 2)}, {"orders", cashNumber(c.GetOrders(), 2)}, {"order charges", cashNumber(c.GetCharges(), 2)},
		{"storage", cashNumber(c.GetStorage(), 2)}, {"lots that expire", cashNumber(c.GetScrap(), 2)}, {"being late", cashNumber(c.GetLate(), 2)},
		{"not made", cashNumber(c.GetUnmade(), 2)}, {"below safety stock", cashNumber(c.GetBelowSafety(), 2)},
		{"sales", cashNumber(c.GetWorth(), 2)}, {"left over", cashNumber(c.GetLeftover(), 2)},
	} {
		if part.cash != "0.00" && part.cash != "" {
			parts = append(parts, part.title+" "+part.cash)
		}
	}
	fmt.Fprintln(a.out, wrap("Of it: "+strings.Join(parts, ", ")+".", 100, "  "))
}

// printPlannedOrders lists what must be placed today apart from what can wait.
func (a *app) printPlannedOrders(p *pb.Plan) {
	for _, today := range []bool{true, false} {
		t := newTable("order", ">kg", "from", "by", "arrives", ">landed", "for")
		for _, o := range p.Orders {
			if o.Today != today {
				continue
			}
			by, arrives := o.OrderByDate, o.ArrivalDate
			if by == "" {
				by, arrives = p.Periods[o.Period].Title, ""
				if int(o.ArrivalPeriod) < len(p.Periods) {
					arrives = p.Periods[o.ArrivalPeriod].Title
				}
			}
			from := id(o.Supplier)
			if from == "" {
				from = id(o.Offer)
			}
			t.add(cut(id(o.Material), 24), number(o.QuantityKg, 3), cut(from, 16), by, arrives, cash(o.LandedCost, 2), cut(shorten(ids(o.Batches), 2), 22))
		}
		if len(t.rows) == 0 {
			continue
		}
		if today {
			fmt.Fprint(a.out, "\nTo order today\n\n")
		} else {
			fmt.Fprint(a.out, "\nTo order later\n\n")
		}
		t.print(a.out)
	}
}

// cut shortens a text to n characters.
func cut(text string, n int) string {
	r := []rune(text)
	if len(r) <= n {
		return text
	}
	return string(r[:n-1]) + "~"
}

func (a *app) printPlannedBatches(p *pb.Plan) {
	if len(p.Batches) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nBatches\n\n")
	t := newTable("batch", ">kg", "due", "begin", ">per kg", "what")
	for _, b := range p.Batches {
		var begin []string
		for _, r := range b.Runs {
			day := r.BeginDate
			if day == "" {
				day = p.Periods[r.Period].Title
			}
			begin = append(begin, day)
		}
		t.add(cut(id(b.Batch), 28), number(b.QuantityKg, 3), b.DueDate, cut(strings.Join(begin, " "), 21), cashNumber(b.CostPerKg, 2), planBatchState(b))
	}
	t.print(a.out)
	for _, b := range p.Batches {
		if b.Why != "" {
			fmt.Fprintln(a.out, wrap(fmt.Sprintf("%s: %s", id(b.Batch), b.Why), 100, "    "))
		}
	}
	a.printPlannedChanges(p)
}

// planBatchState says in two words what becomes of a batch.
func planBatchState(b *pb.PlannedBatch) string {
	var out []string
	switch {
	case b.UnmadeKg > 0 && len(b.Runs) == 0:
		return "not made"
	case b.UnmadeKg > 0:
		out = append(out, number(b.UnmadeKg, 3)+" kg not made")
	case b.ToBePlanned:
		out = append(out, "to be planned")
	case b.FromStock:
		out = append(out, "from stock")
	default:
		out = append(out, "waits for goods")
	}
	if b.Late {
		out = append(out, "late")
	}
	if len(b.Changes) > 0 {
		out = append(out, "other formula")
	}
	return strings.Join(out, ", ")
}

// printPlannedChanges says of each batch what takes the place of what in its
// formula: the two largest differences either way. --formulas has all.
func (a *app) printPlannedChanges(p *pb.Plan) {
	t := newTable("batch", "more", "in place of")
	for _, b := range p.Batches {
		var more, less []*pb.PlannedShare
		for _, c := range b.Changes {
			if c.Planned > c.Formula {
				more = append(more, c)
			} else {
				less = append(less, c)
			}
		}
		if len(more)+len(less) > 0 {
			t.add(cut(id(b.Batch), 12), largestChanges(more), largestChanges(less))
		}
	}
	if len(t.rows) > 0 {
		fmt.Fprint(a.out, "\nOther than their formulas, parts in a hundred of the ink\n\n")
		t.print(a.out)
	}
}

// largestChanges names the two largest.
func largestChanges(of []*pb.PlannedShare) string {
	sort.SliceStable(of, func(i, j int) bool {
		return math.Abs(of[i].Planned-of[i].Formula) > math.Abs(of[j].Planned-of[j].Formula)
	})
	var words []string
	for _, c := range of[:min(2, len(of))] {
		words = append(words, cut(id(c.Material), 20)+" "+fixed(100*math.Abs(c.Planned-c.Formula), 1))
	}
	return strings.Join(words, ", ")
}

func (a *app) printPlannedFormulas(p *pb.Plan) {
	for _, b := range p.Batches {
		for _, r := range b.Runs {
			day := r.BeginDate
			if day == "" {
				day = p.Periods[r.Period].Title
			}
			fmt.Fprintf(a.out, "\n%s, %s kg, begun %s\n", id(b.Batch), number(r.MassKg, 3), day)
			t := newTable("from", "material", ">kg", ">%")
			for _, c := range r.Components {
				t.add(cut(id(c.Candidate), 30), cut(c.Material, 30), number(c.MassKg, 6), fixed(100*c.Share, 2))
			}
			t.print(a.out)
		}
	}
}

func (a *app) printScarce(p *pb.Plan) {
	if len(p.Scarce) == 0 {
		return
	}
	fmt.Fprint(a.out, "\nScarce: what one more kilogram would save\n\n")
	t := newTable("of", "material", ">per kg")
	for i, s := range p.Scarce {
		if i == 10 {
			break
		}
		t.add(cut(s.Title, 50), cut(s.Material, 30), cash(s.WorthPerKg, 2))
	}
	t.print(a.out)
}

func (a *app) printAcceptance(p *pb.Plan) {
	x := p.Acceptance
	fmt.Fprintf(a.out, "Plan %s is accepted.\n", id(p.Name))
	for _, part := range []struct {
		what  string
		names []string
	}{
		{"Purchase orders drafted", x.GetPurchaseOrders()}, {"Batches with their lots reserved", x.GetReservedBatches()},
		{"Base inks planned", x.GetPlannedBatches()}, {"Batches that wait for goods or base inks", x.GetWaitingBatches()},
	} {
		if len(part.names) > 0 {
			fmt.Fprintln(a.out, wrap(fmt.Sprintf("%s: %s", part.what, strings.Join(ids(part.names), ", ")), 100, "  "))
		}
	}
	if len(x.GetPurchaseOrders()) > 0 {
		fmt.Fprintln(a.out, "To send one: millbase orders send "+id(x.GetPurchaseOrders()[0]))
	}
}

// printDifference shows a plan with changes against the one without.
func (a *app) printDifference(p *pb.Plan) {
	d := p.Difference
	fmt.Fprintf(a.out, "With the changes the plan costs %s, without them %s.\n\n", cash(p.Cost.GetTotal(), 2), cash(d.GetCostWithout(), 2))
	for _, s := range d.GetSummary() {
		fmt.Fprintln(a.out, wrap("  - "+s, 100, "    "))
	}
	if len(d.GetOrders()) > 0 {
		fmt.Fprint(a.out, "\nOrders\n\n")
		t := newTable("offer", ">kg before", ">kg then", "by before", "by then")
		for _, o := range d.GetOrders() {
			t.add(cut(o.Title, 44), number(o.WithoutKg, 3), number(o.WithKg, 3), o.OrderByWithout, o.OrderByWith)
		}
		t.print(a.out)
	}
	if len(d.GetShortages()) > 0 {
		fmt.Fprint(a.out, "\nLeast stock over the plan\n\n")
		t := newTable("material", ">kg before", ">kg then")
		for _, s := range d.GetShortages() {
			t.add(cut(s.Title, 50), number(s.LeastWithoutKg, 3), number(s.LeastWithKg, 3))
		}
		t.print(a.out)
	}
	fmt.Fprintln(a.out)
	printAssumptions(a.out, p.Assumptions)
}
