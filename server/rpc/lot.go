package rpc

import (
	"context"

	pb "millbase/proto/millbase/v1"

	"millbase/inventory/lot"
	"millbase/server/app"
)

// lotService serves lots and what is on hand of them.
type lotService struct {
	pb.UnimplementedLotServiceServer
	book *app.Book
}

func (s *lotService) ReceiveLot(ctx context.Context, req *pb.ReceiveLotRequest) (*pb.Lot, error) {
	request, err := requestOf("ReceiveLot", req.GetMovementId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	r := app.Receipt{
		Lot: lotOf(f, req.GetLotId(), req.GetLot()), Quantity: f.positive("quantity_kg", req.GetQuantityKg()), Location: req.GetLocation(),
		MovementID: req.GetMovementId(), PurchaseOrder: f.optionalID("purchase_order", req.GetPurchaseOrder(), purchaseOrders), Request: request,
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	v, err := s.book.ReceiveLot(ctx, r)
	return lotOut(ctx, v), err
}

func (s *lotService) GetLot(ctx context.Context, req *pb.GetLotRequest) (*pb.Lot, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), lots)
	if err := f.err(); err != nil {
		return nil, err
	}
	v, err := s.book.Lot(ctx, id)
	return lotOut(ctx, v), err
}

var lotFilter = filterFields{
	"material": nameField(materials), "status": enumField(pb.LotStatus(0)), "supplier": nameField(suppliers),
	"batch": nameField(batches), "expiry_date": dateField, "received_date": dateField,
}

func (s *lotService) ListLots(ctx context.Context, req *pb.ListLotsRequest) (*pb.ListLotsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), lots, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := lotFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	views, err := s.book.Lots(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	views, next := cut(p, views, func(v app.LotView) string { return v.Value.ID })
	return &pb.ListLotsResponse{NextPageToken: next, Lots: each(views, func(v app.LotView) *pb.Lot { return lotOut(ctx, v) })}, nil
}

func (s *lotService) UpdateLot(ctx context.Context, req *pb.UpdateLotRequest) (*pb.Lot, error) {
	patch := req.GetLot()
	f := &fields{}
	id := f.id("lot.name", patch.GetName(), lots)
	version := f.etag("lot.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	v, err := s.book.UpdateLot(ctx, id, version, func(now app.LotView) (app.StockLot, error) {
		merged := lotWhole(now)
		if err := applyMask("lot", req.GetUpdateMask(), merged, patch); err != nil {
			return app.StockLot{}, err
		}
		f := &fields{}
		out := lotOf(f, id, merged)
		out.Batch, out.Tested = now.Value.Batch, now.Value.Tested
		if out.Cost.PriceCurrency == "" {
			out.Cost = now.Value.Cost
		}
		return out, f.err()
	})
	return lotOut(ctx, v), err
}

func (s *lotService) SetLotStatus(ctx context.Context, req *pb.SetLotStatusRequest) (*pb.Lot, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), lots)
	version := f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	v, err := s.book.SetLotStatus(ctx, id, lot.Status(word(req.GetStatus())), req.GetReason(), version)
	return lotOut(ctx, v), err
}

var balanceFilter = filterFields{
	"lot": nameField(lots), "material": nameField(materials), "location": textField, "status": enumField(pb.LotStatus(0)),
}

func (s *lotService) ListBalances(ctx context.Context, req *pb.ListBalancesRequest) (*pb.ListBalancesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), "balances", req.GetFilter(), req.GetAsOf().String())
	if err != nil {
		return nil, err
	}
	where, err := balanceFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	f := &fields{}
	asOf := f.moment("as_of", req.GetAsOf())
	if err := f.err(); err != nil {
		return nil, err
	}
	rows, err := s.book.Balances(ctx, p.query(where), asOf)
	if err != nil {
		return nil, err
	}
	rows, next := cut(p, rows, func(b app.LotBalance) string { return b.Lot + "/" + b.Location })
	return &pb.ListBalancesResponse{NextPageToken: next, Balances: each(rows, func(b app.LotBalance) *pb.Balance {
		return &pb.Balance{
			Lot: nameOf(lots, b.Lot), Material: nameOf(materials, b.Material), Location: b.Location,
			OnHandKg: kg(b.OnHand), ReservedKg: kg(b.Reserved), FreeKg: kg(b.Free()),
		}
	})}, nil
}

func lotOf(f *fields, id string, l *pb.Lot) app.StockLot {
	return app.StockLot{
		Lot: lot.Lot{
			ID: id, Material: f.id("lot.material", l.GetMaterial(), materials), SupplierLot: l.GetSupplierLot(),
			Supplier: f.optionalID("lot.supplier", l.GetSupplier(), suppliers), Status: lot.Status(word(l.GetStatus())),
			Certificate: f.set("lot.certificate", l.GetCertificate()), Deviations: f.set("lot.deviations", l.GetDeviations()), Note: l.GetNote(),
			ReceivedDate: f.date("lot.received_date", l.GetReceivedDate()), ExpiryDate: f.date("lot.expiry_date", l.GetExpiryDate()),
		},
		Cost: lotCostOf(f, l.GetCost()),
	}
}

func lotCostOf(f *fields, c *pb.LotCost) app.LotCost {
	if c == nil || c.GetPricePerKg() == nil {
		return app.LotCost{}
	}
	currency := c.GetPricePerKg().GetCurrencyCode()
	return app.LotCost{
		PriceCurrency: currency, PricePerKg: f.price("lot.cost.price_per_kg", c.GetPricePerKg(), ""),
		FreightPerKg: f.price("lot.cost.freight_per_kg", c.GetFreightPerKg(), currency),
		DutyPercent:  f.decimal("lot.cost.duty_percent", c.GetDutyPercent()),
		ExchangeRate: f.decimal("lot.cost.exchange_rate", c.GetExchangeRate()),
		RateDate:     f.date("lot.cost.rate_date", c.GetRateDate()),
	}
}

func lotOut(ctx context.Context, v app.LotView) *pb.Lot {
	out := lotWhole(v)
	if !app.CallerOf(ctx).Role.SeesCost() {
		out.Cost = nil
	}
	return out
}

// lotWhole writes a lot with its cost, whoever asks.
func lotWhole(v app.LotView) *pb.Lot {
	l := v.Value
	out := &pb.Lot{
		Name: nameOf(lots, l.ID), Material: nameOf(materials, l.Material), SupplierLot: l.SupplierLot, Supplier: nameOf(suppliers, l.Supplier),
		Status: enum[pb.LotStatus](string(l.Status)), Expired: v.Expired, Certificate: l.Certificate, Tested: l.Tested, Deviations: l.Deviations,
		ReceivedDate: dateOut(l.ReceivedDate), ExpiryDate: dateOut(l.ExpiryDate), Batch: nameOf(batches, l.Batch), Note: l.Note,
		OnHandKg: kg(v.OnHand), ReservedKg: kg(v.Reserved),
		Etag: etagOut(v.Version), CreateTime: momentOut(v.CreatedAt), UpdateTime: momentOut(v.UpdatedAt),
	}
	c := l.Cost
	currency := v.Currency
	if c.PriceCurrency != "" {
		currency = c.PriceCurrency
	}
	if c.PriceCurrency == "" && c.CostPerKg.IsZero() {
		return out
	}
	price := c.PricePerKg
	if c.PriceCurrency == "" { // made here: what it cost is its price
		price = c.CostPerKg
	}
	out.Cost = &pb.LotCost{
		PricePerKg: amountOut(currency, price), FreightPerKg: amountOut(currency, c.FreightPerKg), DutyPercent: decimalOut(c.DutyPercent),
		RateDate: dateOut(c.RateDate), LandedPerKg: amountOut(v.Currency, c.CostPerKg),
	}
	if !c.ExchangeRate.IsZero() {
		out.Cost.ExchangeRate = decimalOut(c.ExchangeRate)
	}
	return out
}
