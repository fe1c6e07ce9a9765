package rpc

import (
	"context"
	"fmt"
	"strings"

	pb "millbase/proto/millbase/v1"

	"millbase/inventory/ledger"
	"millbase/server/app"
)

// ledgerService serves the stock ledger.
type ledgerService struct {
	pb.UnimplementedLedgerServiceServer
	book *app.Book
}

func (s *ledgerService) CreateMovement(ctx context.Context, req *pb.CreateMovementRequest) (*pb.Movement, error) {
	f := &fields{}
	p := postingOf(f, "movement.", req)
	if err := f.err(); err != nil {
		return nil, err
	}
	m, err := s.book.Post(ctx, p)
	return movementOut(m), err
}

func (s *ledgerService) BatchCreateMovements(ctx context.Context, req *pb.BatchCreateMovementsRequest) (*pb.BatchCreateMovementsResponse, error) {
	f := &fields{}
	ps := make([]app.Posting, len(req.GetRequests()))
	for i, r := range req.GetRequests() {
		ps[i] = postingOf(f, fmt.Sprintf("requests[%d].movement.", i), r)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	ms, err := s.book.PostAll(ctx, ps)
	if err != nil {
		return nil, err
	}
	return &pb.BatchCreateMovementsResponse{Movements: each(ms, movementOut)}, nil
}

func postingOf(f *fields, field string, req *pb.CreateMovementRequest) app.Posting {
	m := req.GetMovement()
	return app.Posting{
		ID: req.GetMovementId(), Kind: ledger.Kind(word(m.GetKind())), Location: m.GetLocation(), ToLocation: m.GetToLocation(),
		Lot: f.id(field+"lot", m.GetLot(), lots), Quantity: f.mass(field+"quantity_kg", m.GetQuantityKg()),
		Batch: f.optionalID(field+"batch", m.GetBatch(), batches), Customer: m.GetCustomer(),
		Reservation: f.optionalID(field+"reservation", m.GetReservation(), reservations), Note: m.GetNote(),
	}
}

func (s *ledgerService) CountStock(ctx context.Context, req *pb.CountStockRequest) (*pb.Movement, error) {
	request, err := requestOf("CountStock", req.GetMovementId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	c := app.Count{
		Lot: f.id("lot", req.GetLot(), lots), Location: req.GetLocation(), Counted: f.mass("counted_kg", req.GetCountedKg()),
		MovementID: strings.ToLower(req.GetMovementId()), Note: req.GetNote(), Request: request,
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	m, err := s.book.CountStock(ctx, c)
	if err != nil {
		return nil, err
	}
	out := movementOut(m)
	out.Lot, out.Location = req.GetLot(), req.GetLocation()
	return out, nil
}

func (s *ledgerService) GetMovement(ctx context.Context, req *pb.GetMovementRequest) (*pb.Movement, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), movements)
	if err := f.err(); err != nil {
		return nil, err
	}
	m, err := s.book.Movement(ctx, id)
	return movementOut(m), err
}

var movementFilter = filterFields{
	"lot": nameField(lots), "batch": nameField(batches), "kind": enumField(pb.MovementKind(0)), "post_time": momentField.as("posted_at"),
}

func (s *ledgerService) ListMovements(ctx context.Context, req *pb.ListMovementsRequest) (*pb.ListMovementsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), movements, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := movementFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	ms, err := s.book.Movements(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	ms, next := cut(p, ms, func(m ledger.Movement) string { return m.ID })
	return &pb.ListMovementsResponse{Movements: each(ms, movementOut), NextPageToken: next}, nil
}

func (s *ledgerService) ReverseMovement(ctx context.Context, req *pb.ReverseMovementRequest) (*pb.Movement, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), movements)
	if err := f.err(); err != nil {
		return nil, err
	}
	m, err := s.book.Reverse(ctx, id, req.GetMovementId(), req.GetNote())
	return movementOut(m), err
}

func (s *ledgerService) CreateReservation(ctx context.Context, req *pb.CreateReservationRequest) (*pb.Reservation, error) {
	r := req.GetReservation()
	f := &fields{}
	in := ledger.Reservation{
		ID: req.GetReservationId(), Lot: f.id("reservation.lot", r.GetLot(), lots), Location: r.GetLocation(),
		Quantity: f.positive("reservation.quantity_kg", r.GetQuantityKg()), Batch: f.optionalID("reservation.batch", r.GetBatch(), batches), Note: r.GetNote(),
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	made, err := s.book.Reserve(ctx, in)
	return reservationOut(made), err
}

func (s *ledgerService) GetReservation(ctx context.Context, req *pb.GetReservationRequest) (*pb.Reservation, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), reservations)
	if err := f.err(); err != nil {
		return nil, err
	}
	r, err := s.book.Reservation(ctx, id)
	return reservationOut(r), err
}

var reservationFilter = filterFields{"lot": nameField(lots), "batch": nameField(batches), "open": flagField}

func (s *ledgerService) ListReservations(ctx context.Context, req *pb.ListReservationsRequest) (*pb.ListReservationsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), reservations, req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := reservationFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	rs, err := s.book.Reservations(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	rs, next := cut(p, rs, func(r ledger.Reservation) string { return r.ID })
	return &pb.ListReservationsResponse{Reservations: each(rs, reservationOut), NextPageToken: next}, nil
}

func (s *ledgerService) ReleaseReservation(ctx context.Context, req *pb.ReleaseReservationRequest) (*pb.Reservation, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), reservations)
	if err := f.err(); err != nil {
		return nil, err
	}
	r, err := s.book.ReleaseReservation(ctx, id)
	return reservationOut(r), err
}

func (s *ledgerService) CheckLedger(ctx context.Context, _ *pb.CheckLedgerRequest) (*pb.CheckLedgerResponse, error) {
	c, err := s.book.CheckLedger(ctx)
	if err != nil {
		return nil, err
	}
	return &pb.CheckLedgerResponse{
		Movements: c.Movements, Entries: c.Entries, Balances: c.Balances, OnHandKg: kg(c.InStock), CheckTime: momentOut(c.CheckedAt),
		Differences: each(c.Differences, func(d app.LedgerDifference) *pb.LedgerDifference {
			return &pb.LedgerDifference{
				Lot: nameOf(lots, d.Lot), Location: d.Location, KeptOnHandKg: kg(d.Kept.OnHand), RebuiltOnHandKg: kg(d.Rebuilt.OnHand),
				KeptReservedKg: kg(d.Kept.Reserved), RebuiltReservedKg: kg(d.Rebuilt.Reserved),
			}
		}),
	}, nil
}
