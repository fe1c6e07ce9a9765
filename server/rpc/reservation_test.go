package rpc_test

import (
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestReservations(t *testing.T) {
	s := newStockroom(t)
	reserve := func(kg float64) *pb.CreateReservationRequest {
		return &pb.CreateReservationRequest{ReservationId: uuid.NewString(), Reservation: &pb.Reservation{Lot: "lots/l-1", Location: "main", QuantityKg: kg, Note: "for a rush"}}
	}
	req := reserve(60)
	r := good(s.ledger(app.InkMaker).CreateReservation(t.Context(), req))(t)
	if r.GetRemainingKg() != 60 || r.GetActor() == "" || r.GetCreateTime() == nil {
		t.Errorf("reserved: %v", r)
	}
	if again := good(s.ledger(app.InkMaker).CreateReservation(t.Context(), req))(t); !proto.Equal(r, again) {
		t.Errorf("again: %v", again)
	}
	other := proto.Clone(req).(*pb.CreateReservationRequest)
	other.Reservation.QuantityKg = 1
	_, err := s.ledger(app.InkMaker).CreateReservation(t.Context(), other)
	refusal{codes.AlreadyExists, "other content"}.check(t, "the id with another quantity", err)
	_, err = s.ledger(app.InkMaker).CreateReservation(t.Context(), reserve(41))
	refusal{codes.FailedPrecondition, "40 kg"}.check(t, "more than is free", err)
	_, err = s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(issue, 41))
	refusal{codes.FailedPrecondition, "40 kg"}.check(t, "an issue of what is reserved", err)

	use := s.movement(issue, 50)
	use.Movement.Reservation = r.GetName()
	if m := good(s.ledger(app.Floor).CreateMovement(t.Context(), use))(t); m.GetReservation() != r.GetName() {
		t.Errorf("the issue reads %v", m)
	}
	if left := good(s.ledger(app.Floor).GetReservation(t.Context(), &pb.GetReservationRequest{Name: r.GetName()}))(t); left.GetRemainingKg() != 10 {
		t.Errorf("left of it: %v", left)
	}
	use = s.movement(issue, 11)
	use.Movement.Reservation = r.GetName()
	_, err = s.ledger(app.Floor).CreateMovement(t.Context(), use)
	refusal{codes.FailedPrecondition, "reserv"}.check(t, "more than the reservation holds", err)
	open := good(s.ledger(app.Floor).ListReservations(t.Context(), &pb.ListReservationsRequest{Filter: `lot = "lots/l-1" AND open = true`}))(t)
	if len(open.GetReservations()) != 1 {
		t.Errorf("open: %v", open)
	}
	for range 2 { // releasing a closed one changes nothing
		freed := good(s.ledger(app.Floor).ReleaseReservation(t.Context(), &pb.ReleaseReservationRequest{Name: r.GetName()}))(t)
		if freed.GetRemainingKg() != 0 || freed.GetQuantityKg() != 60 {
			t.Errorf("released: %v", freed)
		}
	}
	l := good(s.lots(app.Floor).GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-1"}))(t)
	if l.GetOnHandKg() != 50 || l.GetReservedKg() != 0 {
		t.Errorf("the lot reads %v", l)
	}
	unknown := "reservations/" + uuid.NewString()
	_, err = s.ledger(app.Floor).GetReservation(t.Context(), &pb.GetReservationRequest{Name: unknown})
	refusal{codes.NotFound, "no reservation"}.check(t, "an unknown one read", err)
	_, err = s.ledger(app.Floor).ReleaseReservation(t.Context(), &pb.ReleaseReservationRequest{Name: unknown})
	refusal{codes.NotFound, "no reservation"}.check(t, "an unknown one released", err)
	s.checked()
}

func TestReservationsThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	for name, c := range map[string]struct {
		change func(r *pb.Reservation)
		want   refusal
	}{
		"nothing":          {func(r *pb.Reservation) { r.QuantityKg = 0 }, refusal{codes.InvalidArgument, "quantity_kg"}},
		"too fine":         {func(r *pb.Reservation) { r.QuantityKg = 1e-9 }, refusal{codes.InvalidArgument, "milligram"}},
		"1e300":            {func(r *pb.Reservation) { r.QuantityKg = 1e300 }, refusal{codes.InvalidArgument, "1,000,000 t"}},
		"an unknown lot":   {func(r *pb.Reservation) { r.Lot = "lots/none" }, refusal{codes.InvalidArgument, "lots/none"}},
		"an unknown batch": {func(r *pb.Reservation) { r.Batch = "batches/none" }, refusal{codes.InvalidArgument, "batches/none"}},
		"an empty shelf":   {func(r *pb.Reservation) { r.Location = "attic" }, refusal{codes.FailedPrecondition, "attic"}},
		"no location":      {func(r *pb.Reservation) { r.Location = "" }, refusal{codes.InvalidArgument, "location"}},
	} {
		r := &pb.Reservation{Lot: "lots/l-1", Location: "main", QuantityKg: 5}
		c.change(r)
		_, err := s.ledger(app.InkMaker).CreateReservation(t.Context(), &pb.CreateReservationRequest{ReservationId: uuid.NewString(), Reservation: r})
		c.want.check(t, name, err)
	}
	_, err := s.ledger(app.Quality).CreateReservation(t.Context(), &pb.CreateReservationRequest{ReservationId: uuid.NewString(),
		Reservation: &pb.Reservation{Lot: "lots/l-1", Location: "main", QuantityKg: 5}})
	refusal{codes.PermissionDenied, "role quality"}.check(t, "quality", err)
	s.checked()
}
