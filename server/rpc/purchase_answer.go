package rpc

import (
	"context"
	"time"

	"millbase/costing/money"
	"millbase/costing/purchase"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// orderAnswer writes what a use case says of one order.
func (s *PurchasingServer) orderAnswer(ctx context.Context) func(app.Record[purchase.Order], error) (*pb.PurchaseOrder, error) {
	return func(rec app.Record[purchase.Order], err error) (*pb.PurchaseOrder, error) {
		if err != nil {
			return nil, err
		}
		out, err := s.ordersOut(ctx, []app.Record[purchase.Order]{rec})
		if err != nil {
			return nil, err
		}
		return out[0], nil
	}
}

// ordersOut writes orders with what their deliveries cost in the end.
func (s *PurchasingServer) ordersOut(ctx context.Context, recs []app.Record[purchase.Order]) ([]*pb.PurchaseOrder, error) {
	lots, err := s.book.DeliveredLots(ctx, recs)
	if err != nil {
		return nil, err
	}
	currency := ""
	if len(lots) > 0 {
		if currency, err = s.book.PlantCurrency(ctx); err != nil {
			return nil, err
		}
	}
	return each(recs, func(rec app.Record[purchase.Order]) *pb.PurchaseOrder { return orderOut(rec, lots, currency) }), nil
}

// orderOut writes an order; lots are those that its deliveries brought, currency is
// the plant's.
func orderOut(rec app.Record[purchase.Order], lots map[string]app.StockLot, currency string) *pb.PurchaseOrder {
	o := rec.Value
	out := &pb.PurchaseOrder{
		Name: nameOf(purchaseOrders, o.ID), Supplier: nameOf(suppliers, o.Supplier), Note: o.Note, SentDate: dateOut(o.SentDate),
		State: enum[pb.PurchaseOrderState](string(o.State)),
		Etag:  etagOut(rec.Version), CreateTime: momentOut(rec.CreatedAt), UpdateTime: momentOut(rec.UpdatedAt),
	}
	total := money.Zero(o.Currency)
	for _, l := range o.Lines {
		line := &pb.PurchaseOrderLine{
			Material: nameOf(materials, l.Material), QuantityKg: kg(l.Quantity), ReceivedKg: kg(l.Received), OpenKg: kg(l.Open()),
			PricePerKg: amountOut(o.Currency, l.PricePerKg), DueDate: dateOut(l.DueDate), Closing: enum[pb.LineClosing](string(l.Closing)),
		}
		if l.Offer != "" {
			line.Offer = offerName(o.Supplier, l.Offer)
		}
		for _, d := range l.Deliveries {
			delivery, difference := deliveryOut(o, l, d, lots[d.Lot].Cost, currency)
			line.Deliveries = append(line.Deliveries, delivery)
			total.Amount = total.Amount.Add(difference.Amount)
		}
		out.Lines = append(out.Lines, line)
	}
	if !total.IsZero() {
		out.PriceDifference = moneyOut(total)
	}
	return out
}

// deliveryOut writes a delivery, and how much more it costs than ordered: nothing
// where it was reversed or is priced in another currency.
func deliveryOut(o purchase.Order, l purchase.Line, d purchase.Delivery, cost app.LotCost, currency string) (*pb.OrderDelivery, money.Money) {
	out := &pb.OrderDelivery{Movement: nameOf(movements, d.Movement), Lot: nameOf(lots, d.Lot), QuantityKg: kg(d.Quantity), ReceivedDate: dateOut(d.Date),
		DaysLate: int32(d.Date.Sub(l.DueDate) / (24 * time.Hour)), Reversed: d.Reversed}
	difference := money.Zero(o.Currency)
	if cost.PriceCurrency != "" {
		out.PricePerKg = amountOut(cost.PriceCurrency, cost.PricePerKg)
		out.LandedPerKg = amountOut(currency, cost.CostPerKg)
	}
	if cost.PriceCurrency == o.Currency && !d.Reversed {
		difference = money.PerKg{Currency: o.Currency, Amount: cost.PricePerKg.Sub(l.PricePerKg)}.Of(d.Quantity)
		out.PriceDifference = moneyOut(difference)
	}
	return out, difference
}
