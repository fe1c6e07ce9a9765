package paper

import (
	"fmt"

	pb "millbase/proto/millbase/v1"
)

// head is what both copies begin with.
type head struct {
	Plant, Number, Customer, Title string
	Date, ValidUntil, RateDate     string
	Currency, Notice               string
	Dense                          bool
	Foot                           string
}

// customerPage is a customer copy in words.
type customerPage struct {
	head
	Rows     []customerRow
	Shade    *shadePart
	Cautions []string
	Open     bool // it can still be accepted
}

type customerRow struct {
	Quantity, Cans, PerKg, Price, Days string
	Minimum                            bool
}

// closeRows is from how many rows on a page is set closer.
const closeRows = 9

// Customer sets a customer copy as an HTML page.
func Customer(q *pb.CustomerQuote) ([]byte, error) {
	p := customerPage{Cautions: q.Cautions, Open: q.State == "sent", head: head{
		Plant: q.PlantTitle, Number: number(q.Name, q.Revision), Customer: q.Customer, Title: q.Title, Date: day(q.QuoteDate), ValidUntil: day(q.ValidUntilDate),
		RateDate: day(q.RateDate), Currency: q.CurrencyCode, Notice: notice(q.State, q.Accepted), Dense: len(q.Prices) > closeRows}}
	p.Foot = foot(p.head, "Quotation")
	kilos := masses(columnOf(q.Prices, (*pb.CustomerPrice).GetQuantityKg))
	perKg := amounts(columnOf(q.Prices, (*pb.CustomerPrice).GetPricePerKg)...)
	prices := amounts(columnOf(q.Prices, (*pb.CustomerPrice).GetPrice)...)
	for i, c := range q.Prices {
		row := customerRow{Quantity: kilos[i], Cans: cansIn(c.Cans), PerKg: perKg[i], Price: prices[i], Days: "on request", Minimum: c.MinimumCharge}
		if c.LeadTimeDays != nil {
			row.Days = fmt.Sprint(*c.LeadTimeDays)
		}
		p.Rows = append(p.Rows, row)
	}
	if q.Shade != nil {
		p.Shade = &shadePart{InWords: q.Shade.InWords, Lights: lightsOf(q.Shade.Lights)}
		picture, err := inline(&pb.QuoteShade{Lights: q.Shade.Lights})
		if err != nil {
			return nil, err
		}
		p.Shade.Picture = picture
	}
	return set("customer.html", p)
}

// number is how a quote is called on paper: "q-31, revision 2".
func number(name string, revision int32) string {
	return fmt.Sprintf("%s, revision %d", last(name), revision)
}

// foot stands at the foot of each page.
func foot(h head, kind string) string { return fmt.Sprintf("%s · %s %s", h.Plant, kind, h.Number) }
