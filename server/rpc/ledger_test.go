package rpc_test

import (
	"fmt"
	"math"
	"sync"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

const (
	issue      = pb.MovementKind_MOVEMENT_KIND_ISSUE
	adjustment = pb.MovementKind_MOVEMENT_KIND_ADJUSTMENT
	transfer   = pb.MovementKind_MOVEMENT_KIND_TRANSFER
	back       = pb.MovementKind_MOVEMENT_KIND_RETURN
	scrap      = pb.MovementKind_MOVEMENT_KIND_SCRAP
)

func TestMovements(t *testing.T) {
	s := newStockroom(t)
	post := func(req *pb.CreateMovementRequest) *pb.Movement {
		t.Helper()
		m := good(s.ledger(app.Floor).CreateMovement(t.Context(), req))(t)
		sum := 0.0
		for _, e := range m.GetEntries() {
			sum += e.GetQuantityKg()
		}
		if sum != 0 || m.GetPostTime() == nil || m.GetActor() != "floor of the test" || m.GetName() != "movements/"+req.GetMovementId() {
			t.Errorf("posted: %v", m)
		}
		return m
	}
	first := post(s.movement(issue, 12.5))
	if first.GetCustomer() != "a printer" || first.GetQuantityKg() != 12.5 || first.GetEntries()[1].GetAccount() != "customer/a printer" {
		t.Errorf("the issue reads %v", first)
	}
	post(s.movement(adjustment, -2.5))
	post(s.movement(adjustment, 1))
	move := s.movement(transfer, 30)
	move.Movement.ToLocation = "mill-room"
	if m := post(move); m.GetLocation() != "main" || m.GetToLocation() != "mill-room" || m.GetQuantityKg() != 30 {
		t.Errorf("the transfer reads %v", m)
	}
	post(s.movement(back, 6))
	post(s.movement(scrap, 0.000001))
	if on := s.onHand("l-1"); on != 79.999999 {
		t.Errorf("%v kg on hand, want 79.999999", on)
	}
	read := good(s.ledger(app.Floor).GetMovement(t.Context(), &pb.GetMovementRequest{Name: first.GetName()}))(t)
	if !proto.Equal(read, first) {
		t.Errorf("posted as %v, read as %v", first, read)
	}
	list := good(s.ledger(app.Floor).ListMovements(t.Context(), &pb.ListMovementsRequest{Filter: `lot = "lots/l-1"`, PageSize: 4}))(t)
	if len(list.GetMovements()) != 4 || list.GetMovements()[0].GetKind() != scrap || list.GetNextPageToken() == "" {
		t.Errorf("the newest are %v", list)
	}
	older := good(s.ledger(app.Floor).ListMovements(t.Context(), &pb.ListMovementsRequest{Filter: `lot = "lots/l-1"`, PageSize: 4, PageToken: list.GetNextPageToken()}))(t)
	if n := len(older.GetMovements()); n != 3 || older.GetMovements()[n-1].GetKind() != pb.MovementKind_MOVEMENT_KIND_RECEIPT {
		t.Errorf("the older are %v", older)
	}
	s.checked()
}

func TestMovementsThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	for name, c := range map[string]struct {
		kind   pb.MovementKind
		kg     float64
		change func(m *pb.Movement)
		want   refusal
	}{
		"more than there is":     {issue, 101, nil, refusal{codes.FailedPrecondition, "100 kg"}},
		"nothing":                {issue, 0, nil, refusal{codes.InvalidArgument, "quantity_kg"}},
		"below zero":             {issue, -1, nil, refusal{codes.InvalidArgument, "quantity_kg"}},
		"NaN":                    {issue, math.NaN(), nil, refusal{codes.InvalidArgument, "quantity_kg"}},
		"infinity":               {scrap, math.Inf(1), nil, refusal{codes.InvalidArgument, "quantity_kg"}},
		"1e300":                  {scrap, 1e300, nil, refusal{codes.InvalidArgument, "1,000,000 t"}},
		"finer than a milligram": {issue, 0.0000001, nil, refusal{codes.InvalidArgument, "milligram"}},
		"an adjustment of zero":  {adjustment, 0, nil, refusal{codes.InvalidArgument, "must not be 0"}},
		"an adjustment below":    {adjustment, -101, nil, refusal{codes.FailedPrecondition, "100 kg"}},
		"no lot":                 {issue, 1, func(m *pb.Movement) { m.Lot = "" }, refusal{codes.InvalidArgument, "movement.lot"}},
		"an unknown lot":         {issue, 1, func(m *pb.Movement) { m.Lot = "lots/none" }, refusal{codes.InvalidArgument, "none"}},
		"an unknown lot back":    {back, 1, func(m *pb.Movement) { m.Lot = "lots/none" }, refusal{codes.InvalidArgument, "lots/none"}},
		"no location":            {issue, 1, func(m *pb.Movement) { m.Location = "" }, refusal{codes.InvalidArgument, "location"}},
		"another location":       {issue, 1, func(m *pb.Movement) { m.Location = "attic" }, refusal{codes.FailedPrecondition, "attic"}},
		"to nobody":              {issue, 1, func(m *pb.Movement) { m.Customer = "" }, refusal{codes.InvalidArgument, "batch or a customer"}},
		"to two":                 {issue, 1, func(m *pb.Movement) { m.Batch = "batches/b-1" }, refusal{codes.InvalidArgument, "batch"}},
		"an unknown batch":       {issue, 1, func(m *pb.Movement) { m.Customer, m.Batch = "", "batches/none" }, refusal{codes.InvalidArgument, "batches/none"}},
		"an unknown reservation": {issue, 1, func(m *pb.Movement) { m.Reservation = "reservations/" + uuid.NewString() }, refusal{codes.InvalidArgument, "no such reservation"}},
		"a transfer to nowhere":  {transfer, 1, nil, refusal{codes.InvalidArgument, "to_location"}},
		"a transfer on the spot": {transfer, 1, func(m *pb.Movement) { m.ToLocation = "main" }, refusal{codes.InvalidArgument, "to_location"}},
		"a scrap to a customer":  {scrap, 1, func(m *pb.Movement) { m.Customer = "x" }, refusal{codes.InvalidArgument, "movement.customer"}},
		"a receipt":              {pb.MovementKind_MOVEMENT_KIND_RECEIPT, 1, nil, refusal{codes.InvalidArgument, "lots:receive"}},
		"a production":           {pb.MovementKind_MOVEMENT_KIND_PRODUCTION, 1, nil, refusal{codes.InvalidArgument, "finishing a batch"}},
		"a reversal":             {pb.MovementKind_MOVEMENT_KIND_REVERSAL, 1, nil, refusal{codes.InvalidArgument, "reverse"}},
		"no kind":                {0, 1, nil, refusal{codes.InvalidArgument, "movement.kind"}},
		"an unknown kind":        {77, 1, nil, refusal{codes.InvalidArgument, "movement.kind"}},
		"a zero byte":            {scrap, 1, func(m *pb.Movement) { m.Note = "a\x00b" }, refusal{codes.InvalidArgument, "zero"}},
	} {
		req := s.movement(c.kind, c.kg)
		if c.change != nil {
			c.change(req.Movement)
		}
		_, err := s.ledger(app.Floor).CreateMovement(t.Context(), req)
		c.want.check(t, name, err)
	}
	_, err := s.ledger(app.Floor).CreateMovement(t.Context(), &pb.CreateMovementRequest{MovementId: "7", Movement: s.movement(scrap, 1).Movement})
	refusal{codes.InvalidArgument, "UUID"}.check(t, "a bad id", err)
	_, err = s.ledger(app.OrderDesk).CreateMovement(t.Context(), s.movement(scrap, 1))
	refusal{codes.PermissionDenied, "order desk"}.check(t, "the order desk", err)
	_, err = s.ledger(app.Floor).GetMovement(t.Context(), &pb.GetMovementRequest{Name: "movements/" + uuid.NewString()})
	refusal{codes.NotFound, "no movement"}.check(t, "an unknown movement", err)
	if s.onHand("l-1") != 100 {
		t.Errorf("%g kg after refusals only", s.onHand("l-1"))
	}
	s.checked()
}

func TestTheSameMovementAgain(t *testing.T) {
	s := newStockroom(t)
	req := s.movement(issue, 10)
	var all sync.WaitGroup
	for range 8 { // the same request from many hands
		all.Go(func() {
			if _, err := s.ledger(app.Floor).CreateMovement(t.Context(), req); err != nil {
				t.Error(err)
			}
		})
	}
	all.Wait()
	if s.onHand("l-1") != 90 {
		t.Errorf("%g kg on hand, want 90", s.onHand("l-1"))
	}
	other := proto.Clone(req).(*pb.CreateMovementRequest)
	other.Movement.QuantityKg = 11
	_, err := s.ledger(app.Floor).CreateMovement(t.Context(), other)
	refusal{codes.AlreadyExists, "other content"}.check(t, "the id with another quantity", err)
	s.checked()
}

func TestBatchesOfMovements(t *testing.T) {
	s := newStockroom(t)
	req := &pb.BatchCreateMovementsRequest{}
	for range 50 {
		req.Requests = append(req.Requests, s.movement(issue, 1))
	}
	out := good(s.ledger(app.Floor).BatchCreateMovements(t.Context(), req))(t)
	if len(out.GetMovements()) != 50 || out.GetMovements()[49].GetName() != "movements/"+req.GetRequests()[49].GetMovementId() || s.onHand("l-1") != 50 {
		t.Errorf("%d posted, %g kg on hand", len(out.GetMovements()), s.onHand("l-1"))
	}
	good(s.ledger(app.Floor).BatchCreateMovements(t.Context(), req))(t)
	for name, c := range map[string]struct {
		spoil func(r *pb.BatchCreateMovementsRequest)
		want  refusal
	}{
		"one is too much":   {func(r *pb.BatchCreateMovementsRequest) { r.Requests[2].Movement.QuantityKg = 1000 }, refusal{codes.FailedPrecondition, "movement 3"}},
		"one is not a mass": {func(r *pb.BatchCreateMovementsRequest) { r.Requests[2].Movement.QuantityKg = 1e-9 }, refusal{codes.InvalidArgument, "requests[2].movement.quantity_kg"}},
		"one has no kind":   {func(r *pb.BatchCreateMovementsRequest) { r.Requests[2].Movement.Kind = 0 }, refusal{codes.InvalidArgument, "requests[2].movement.kind"}},
		"one goes nowhere":  {func(r *pb.BatchCreateMovementsRequest) { r.Requests[2].Movement.Customer = "" }, refusal{codes.InvalidArgument, "requests[2].movement.batch"}},
		"none":              {func(r *pb.BatchCreateMovementsRequest) { r.Requests = nil }, refusal{codes.InvalidArgument, "requests"}},
	} {
		bad := &pb.BatchCreateMovementsRequest{Requests: []*pb.CreateMovementRequest{s.movement(issue, 1), s.movement(issue, 1), s.movement(issue, 1)}}
		c.spoil(bad)
		_, err := s.ledger(app.Floor).BatchCreateMovements(t.Context(), bad)
		c.want.check(t, name, err)
	}
	if s.onHand("l-1") != 50 {
		t.Errorf("%g kg on hand: a list went in by half", s.onHand("l-1"))
	}
	s.checked()
}

func TestCounts(t *testing.T) {
	s := newStockroom(t)
	count := func(kg float64) *pb.CountStockRequest {
		return &pb.CountStockRequest{Lot: "lots/l-1", Location: "main", CountedKg: kg, MovementId: uuid.NewString(), Note: "yearly count"}
	}
	less := count(97.25)
	m := good(s.ledger(app.Floor).CountStock(t.Context(), less))(t)
	if m.GetQuantityKg() != -2.75 || m.GetKind() != adjustment || s.onHand("l-1") != 97.25 {
		t.Errorf("counted: %v, on hand %g", m, s.onHand("l-1"))
	}
	good(s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(issue, 7.25)))(t)
	again := good(s.ledger(app.Floor).CountStock(t.Context(), less))(t)
	if !proto.Equal(m, again) || s.onHand("l-1") != 90 {
		t.Errorf("the same count later: %v, on hand %g", again, s.onHand("l-1"))
	}
	right := count(90)
	if m := good(s.ledger(app.Floor).CountStock(t.Context(), right))(t); m.GetName() != "" || m.GetQuantityKg() != 0 {
		t.Errorf("a count that agrees: %v", m)
	}
	good(s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(issue, 10)))(t)
	good(s.ledger(app.Floor).CountStock(t.Context(), right))(t)
	if s.onHand("l-1") != 80 {
		t.Errorf("an old count was applied: %g kg", s.onHand("l-1"))
	}
	for name, c := range map[string]struct {
		change func(r *pb.CountStockRequest)
		want   refusal
	}{
		"below zero":       {func(r *pb.CountStockRequest) { r.CountedKg = -1 }, refusal{codes.InvalidArgument, "counted_kg"}},
		"NaN":              {func(r *pb.CountStockRequest) { r.CountedKg = math.NaN() }, refusal{codes.InvalidArgument, "counted_kg"}},
		"an unknown lot":   {func(r *pb.CountStockRequest) { r.Lot = "lots/none" }, refusal{codes.InvalidArgument, "lots/none"}},
		"reused":           {func(r *pb.CountStockRequest) { r.MovementId = less.MovementId }, refusal{codes.AlreadyExists, "other content"}},
		"no movement id":   {func(r *pb.CountStockRequest) { r.MovementId = "" }, refusal{codes.InvalidArgument, "movement_id"}},
		"finer than a mg":  {func(r *pb.CountStockRequest) { r.CountedKg = 1e-8 }, refusal{codes.InvalidArgument, "milligram"}},
		"more than a ship": {func(r *pb.CountStockRequest) { r.CountedKg = 1e300 }, refusal{codes.InvalidArgument, "1,000,000 t"}},
	} {
		req := count(5)
		c.change(req)
		_, err := s.ledger(app.Floor).CountStock(t.Context(), req)
		c.want.check(t, name, err)
	}
	s.checked()
}

// While others take from the lot, a count must still end at a figure that was
// true at its moment: no kilogram may vanish.
func TestCountsWhileStockMoves(t *testing.T) {
	s := newStockroom(t)
	var all sync.WaitGroup
	for range 4 {
		all.Go(func() {
			for range 5 {
				if _, err := s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(issue, 1)); err != nil {
					t.Error(err)
				}
			}
		})
	}
	counted := 0
	for i := range 5 {
		_, err := s.ledger(app.Floor).CountStock(t.Context(), &pb.CountStockRequest{Lot: "lots/l-1", Location: "main", CountedKg: 200, MovementId: uuid.NewString(), Note: fmt.Sprint(i)})
		if err == nil {
			counted++
		}
	}
	all.Wait()
	on := s.onHand("l-1")
	if counted == 0 || on > 200 || on < 180 {
		t.Errorf("%d counts went through; %g kg on hand, want between 180 and 200", counted, on)
	}
	s.checked()
}

func TestReversals(t *testing.T) {
	s := newStockroom(t)
	m := good(s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(issue, 10)))(t)
	reverse := func(name, id string) (*pb.Movement, error) {
		return s.ledger(app.Purchasing).ReverseMovement(t.Context(), &pb.ReverseMovementRequest{Name: name, MovementId: id, Note: "wrong lot"})
	}
	id := uuid.NewString()
	r := good(reverse(m.GetName(), id))(t)
	if r.GetReverses() != m.GetName() || s.onHand("l-1") != 100 {
		t.Errorf("reversed: %v, on hand %g", r, s.onHand("l-1"))
	}
	if again := good(reverse(m.GetName(), id))(t); !proto.Equal(r, again) || s.onHand("l-1") != 100 {
		t.Errorf("again: %v", again)
	}
	_, err := reverse(m.GetName(), uuid.NewString())
	refusal{codes.FailedPrecondition, "reversed already"}.check(t, "a second reversal", err)
	_, err = reverse(r.GetName(), uuid.NewString())
	refusal{codes.FailedPrecondition, "can't be reversed"}.check(t, "a reversal of a reversal", err)
	_, err = reverse("movements/"+uuid.NewString(), uuid.NewString())
	refusal{codes.NotFound, "no movement"}.check(t, "an unknown movement", err)
	_, err = s.ledger(app.Floor).ReverseMovement(t.Context(), &pb.ReverseMovementRequest{Name: m.GetName(), MovementId: uuid.NewString()})
	refusal{codes.PermissionDenied, "role floor"}.check(t, "the floor", err)
	s.checked()
}
