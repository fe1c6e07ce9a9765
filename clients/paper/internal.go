package paper

import (
	"cmp"
	"fmt"
	"strings"

	"google.golang.org/genproto/googleapis/type/money"

	"millbase/clients/figures"
	pb "millbase/proto/millbase/v1"
)

// internalPage is an internal copy in words.
type internalPage struct {
	head
	Of, State, Sent, Basis, Margin string
	Rate, Cap, PlantCurrency       string
	Rows                           []internalRow
	Formula                        []formulaRow
	FormulaKg                      string // the quantity of its masses
	Costs                          []costTable
	Shade                          *shadePart
	Substrate                      string
	Tolerance, Metamerism, Bases   string
	Assumptions                    []string
}

type internalRow struct {
	Quantity, Batches, CostPerKg, Cost, PerKg, Price, Margin, Percent, Ready, Cans string
	Minimum                                                                        bool
}

type formulaRow struct{ Title, Material, Lot, Percent, Kg string }

// Internal sets the plant's own copy as an HTML page: formula, costs and margin.
// plant is who quotes.
func Internal(q *pb.Quote, plant string) ([]byte, error) {
	p := internalPage{Of: last(q.Formula), State: q.State, Sent: day(q.SentDate), Margin: q.MarginPercent, Cap: last(q.CappedByOffer), Assumptions: q.Assumptions,
		Basis: strings.ToLower(strings.TrimPrefix(q.CostBasis.String(), "COST_BASIS_")), head: head{
			Plant: plant, Number: number(q.Name, q.Revision), Customer: q.Customer, Title: q.Title, Date: day(q.QuoteDate), ValidUntil: day(q.ValidUntilDate),
			RateDate: day(q.RateDate), Currency: q.CurrencyCode, Notice: notice(q.State, q.Accepted)}}
	p.Foot = foot(p.head, "Internal copy of quotation")
	if len(q.Breaks) > 0 {
		p.PlantCurrency = q.Breaks[0].Cost.GetCurrencyCode()
		p.Costs = costTables(q.Breaks)
	}
	if p.PlantCurrency != p.Currency {
		p.Rate = fmt.Sprintf("1 %s = %s %s", p.Currency, q.ExchangeRate, p.PlantCurrency)
	}
	p.Rows = internalRows(q.Breaks)
	p.Formula, p.FormulaKg = formulaRows(q)
	if err := p.setShade(q.Shade); err != nil {
		return nil, err
	}
	rows := len(p.Rows) + len(p.Formula) + len(p.Assumptions)
	for _, c := range p.Costs {
		rows += len(c.Lines)
	}
	p.Dense = rows > 2*closeRows
	return set("internal.html", p)
}

func internalRows(breaks []*pb.QuoteBreak) []internalRow {
	out := make([]internalRow, len(breaks))
	if len(breaks) == 0 {
		return out
	}
	own, quoted := minor(breaks[0].Cost.GetCurrencyCode()), minor(breaks[0].Price.GetCurrencyCode())
	kilos := masses(columnOf(breaks, (*pb.QuoteBreak).GetQuantityKg))
	costKg, cost := rounded(own+2, columnOf(breaks, (*pb.QuoteBreak).GetCostPerKg)...), rounded(own, columnOf(breaks, (*pb.QuoteBreak).GetCost)...)
	priceKg, price := amounts(columnOf(breaks, (*pb.QuoteBreak).GetPricePerKg)...), amounts(columnOf(breaks, (*pb.QuoteBreak).GetPrice)...)
	margin := rounded(quoted, columnOf(breaks, (*pb.QuoteBreak).GetMargin)...)
	for i, b := range breaks {
		out[i] = internalRow{Quantity: kilos[i], Batches: fmt.Sprint(b.Batches), CostPerKg: costKg[i], Cost: cost[i], PerKg: priceKg[i], Price: price[i],
			Margin: margin[i], Percent: percent(b.MarginPercent), Ready: "on request", Cans: cansIn(b.Cans), Minimum: b.MinimumCharge}
		if b.LeadTime.GetPossible() {
			out[i].Ready = b.LeadTime.ReadyDate
		}
	}
	return out
}

// percent writes a decimal of the API to two places.
func percent(text string) string {
	whole, after, _ := strings.Cut(text, ".")
	if whole == "" {
		return absent
	}
	if len(after) > 2 {
		return fmt.Sprintf("%s.%s", grouped(whole), after[:2])
	}
	return grouped(whole) + "." + after + strings.Repeat("0", 2-len(after))
}

// formulaRows are the parts of the ink, with their masses at the quantity that was
// accepted, or that the shade was matched for, or at the first.
func formulaRows(q *pb.Quote) (rows []formulaRow, of string) {
	quantity := cmp.Or(q.GetAccepted().GetQuantityKg(), q.GetShade().GetMatch().GetQuantityKg())
	if quantity == 0 && len(q.Breaks) > 0 {
		quantity = q.Breaks[0].QuantityKg
	}
	for _, c := range q.Components {
		rows = append(rows, formulaRow{Title: c.Title, Material: last(c.Material), Lot: last(c.Lot),
			Percent: figures.Fixed(100*c.Share, 4), Kg: grouped(figures.Fixed(c.Share*quantity, 3))})
	}
	return rows, grouped(figures.Kg(quantity))
}

func (p *internalPage) setShade(s *pb.QuoteShade) (err error) {
	if s == nil {
		return nil
	}
	p.Of = "matched to a shade"
	p.Substrate, p.Tolerance, p.Bases = last(s.Substrate), figures.Number(s.ToleranceDe00, 2), fmt.Sprint(s.Bases)
	if s.Metamerism != nil {
		p.Metamerism = difference(s.Metamerism)
	}
	p.Shade = &shadePart{InWords: s.InWords, Lights: lightsOf(s.Lights)}
	p.Shade.Picture, err = inline(s)
	return err
}

// across is how many quantities stand side by side in a table of costs.
const across = 5

// costTable is the costs of up to [across] quantities, line by line.
type costTable struct {
	Quantities []string
	Lines      []costLine
	Totals     []string
}

type costLine struct {
	Kind, Title string
	Inner       bool // of a base ink, not of the ink itself
	Amounts     []string
}

// costKey is one line of the costs; the n-th of the same title is kept apart.
type costKey struct {
	kind  pb.CostLine_Kind
	title string
	level int32
	n     int
}

// costTables lays the cost lines of all quantities side by side; a line that a
// quantity does not have stays empty there.
func costTables(breaks []*pb.QuoteBreak) []costTable {
	var out []costTable
	for from := 0; from < len(breaks); from += across {
		out = append(out, costTableOf(breaks[from:min(from+across, len(breaks))]))
	}
	return out
}

func costTableOf(breaks []*pb.QuoteBreak) costTable {
	var order []costKey
	cells := map[costKey][]*money.Money{}
	for i, b := range breaks {
		seen := map[costKey]int{}
		for _, l := range b.Lines {
			k := costKey{kind: l.Kind, title: l.Title, level: l.Level}
			if l.Kind == pb.CostLine_KIND_PACKAGING { // "10 x tin": the count differs by quantity
				if _, title, counted := strings.Cut(l.Title, " x "); counted {
					k.title = title
				}
			}
			seen[k]++
			k.n = seen[k]
			if cells[k] == nil {
				order = append(order, k)
				cells[k] = make([]*money.Money, len(breaks))
			}
			cells[k][i] = l.Amount
		}
	}
	t := costTable{Quantities: masses(columnOf(breaks, (*pb.QuoteBreak).GetQuantityKg))}
	columns := make([][]string, len(breaks)) // by quantity: the lines, then the total
	for i, b := range breaks {
		column := make([]*money.Money, 0, len(order)+1)
		for _, k := range order {
			column = append(column, cells[k][i])
		}
		columns[i] = rounded(minor(b.Cost.GetCurrencyCode()), append(column, b.Cost)...)
		t.Totals = append(t.Totals, columns[i][len(order)])
	}
	for j, k := range order {
		line := costLine{Kind: strings.ReplaceAll(strings.ToLower(strings.TrimPrefix(k.kind.String(), "KIND_")), "_", "-"), Title: k.title, Inner: k.level > 0}
		for i := range breaks {
			line.Amounts = append(line.Amounts, columns[i][j])
		}
		t.Lines = append(t.Lines, line)
	}
	return t
}
