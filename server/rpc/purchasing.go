package rpc

import (
	"context"
	"fmt"

	"millbase/costing/purchase"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// PurchasingServer serves purchase orders and the coverage board.
type PurchasingServer struct {
	millbasev1.UnimplementedPurchasingServiceServer
	book *app.Book
}

// NewPurchasingServer serves the book's purchasing.
func NewPurchasingServer(book *app.Book) *PurchasingServer { return &PurchasingServer{book: book} }

var orderFilter = filterFields{"state": enumField(millbasev1.PurchaseOrderState(0)), "supplier": nameField(suppliers)}

// element is the path of one element of a list.
func element(list string, i int) string { return fmt.Sprintf("%s[%d]", list, i) }

func offerName(supplier, offer string) string {
	return nameOf(suppliers, supplier) + "/offers/" + offer
}

// CreatePurchaseOrder implements the service.
func (s *PurchasingServer) CreatePurchaseOrder(ctx context.Context, req *millbasev1.CreatePurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	f := &fields{}
	in := f.order(req.GetPurchaseOrderId(), req.GetPurchaseOrder())
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("CreatePurchaseOrder", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.CreatePurchaseOrder(ctx, in, request))
}

// order reads an order; all its prices are in one currency.
func (f *fields) order(id string, m *millbasev1.PurchaseOrder) purchase.Order {
	o := purchase.Order{ID: id, Supplier: f.id("purchase_order.supplier", m.GetSupplier(), suppliers), Note: m.GetNote()}
	for i, l := range m.GetLines() {
		at := element("purchase_order.lines", i)
		line := purchase.Line{
			Material: f.id(at+".material", l.GetMaterial(), materials), Quantity: f.positive(at+".quantity_kg", l.GetQuantityKg()),
			DueDate: f.needDate(at+".due_date", l.GetDueDate()),
		}
		if i == 0 {
			o.Currency = l.GetPricePerKg().GetCurrencyCode()
		}
		line.PricePerKg = f.price(at+".price_per_kg", l.GetPricePerKg(), o.Currency)
		if l.GetOffer() != "" {
			supplier, offer := f.child(at+".offer", l.GetOffer(), suppliers, "offers")
			if supplier != "" && supplier != o.Supplier {
				f.add(at+".offer", "is an offer of suppliers/%s, but the order goes to suppliers/%s; order from one supplier at a time", supplier, o.Supplier)
			}
			line.Offer = offer
		}
		o.Lines = append(o.Lines, line)
	}
	return o
}

// UpdatePurchaseOrder implements the service.
func (s *PurchasingServer) UpdatePurchaseOrder(ctx context.Context, req *millbasev1.UpdatePurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	patch := req.GetPurchaseOrder()
	f := &fields{}
	id, version := f.id("purchase_order.name", patch.GetName(), purchaseOrders), f.etag("purchase_order.etag", patch.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.UpdatePurchaseOrder(ctx, id, version, func(now app.Record[purchase.Order]) (purchase.Order, error) {
		merged := orderOut(now, nil, "")
		if err := applyMask("purchase_order", req.GetUpdateMask(), merged, patch); err != nil {
			return now.Value, err
		}
		f := &fields{}
		o := f.order(id, merged)
		return o, f.err()
	}))
}

// GetPurchaseOrder implements the service.
func (s *PurchasingServer) GetPurchaseOrder(ctx context.Context, req *millbasev1.GetPurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), purchaseOrders)
	if err := f.err(); err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.GetPurchaseOrder(ctx, id))
}

// ListPurchaseOrders implements the service.
func (s *PurchasingServer) ListPurchaseOrders(ctx context.Context, req *millbasev1.ListPurchaseOrdersRequest) (*millbasev1.ListPurchaseOrdersResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := orderFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListPurchaseOrders(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListPurchaseOrdersResponse{}
	list, out.NextPageToken = cut(p, list, func(r app.Record[purchase.Order]) string { return r.Value.ID })
	out.PurchaseOrders, err = s.ordersOut(ctx, list)
	return out, err
}

// SendPurchaseOrder implements the service.
func (s *PurchasingServer) SendPurchaseOrder(ctx context.Context, req *millbasev1.SendPurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	f := &fields{}
	id, version := f.id("name", req.GetName(), purchaseOrders), f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.SendPurchaseOrder(ctx, id, version))
}

// CancelPurchaseOrder implements the service.
func (s *PurchasingServer) CancelPurchaseOrder(ctx context.Context, req *millbasev1.CancelPurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	f := &fields{}
	id, version := f.id("name", req.GetName(), purchaseOrders), f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.CancelPurchaseOrder(ctx, id, req.GetReason(), version))
}

// ClosePurchaseOrder implements the service.
func (s *PurchasingServer) ClosePurchaseOrder(ctx context.Context, req *millbasev1.ClosePurchaseOrderRequest) (*millbasev1.PurchaseOrder, error) {
	f := &fields{}
	id, version := f.id("name", req.GetName(), purchaseOrders), f.etag("etag", req.GetEtag())
	material := f.optionalID("material", req.GetMaterial(), materials)
	if err := f.err(); err != nil {
		return nil, err
	}
	return s.orderAnswer(ctx)(s.book.ClosePurchaseOrder(ctx, id, material, req.GetReason(), version))
}
