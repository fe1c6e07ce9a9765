package rpc_test

import (
	"math"
	"testing"

	"github.com/google/uuid"
	"google.golang.org/grpc/codes"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/fieldmaskpb"
	"google.golang.org/protobuf/types/known/timestamppb"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func TestReceiveALot(t *testing.T) {
	s := newStockroom(t)
	l := good(s.lots(app.Purchasing).GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-1"}))(t)
	if l.GetOnHandKg() != 100 || l.GetReservedKg() != 0 || l.GetSupplierLot() != "Q-77" || l.GetReceivedDate() == "" || l.GetExpiryDate() == "" || l.GetExpired() {
		t.Errorf("the lot reads %v", l)
	}
	// (8.50 + 0.20 + 4 % of 8.50) x 1, by hand.
	if c := l.GetCost().GetLandedPerKg(); c.GetUnits() != 9 || c.GetNanos() != 40_000_000 || c.GetCurrencyCode() != "EUR" {
		t.Errorf("landed at %v, want 9.04 EUR", c)
	}
	if hidden := good(s.lots(app.Floor).GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-1"}))(t); hidden.GetCost() != nil {
		t.Errorf("the floor sees what the lot cost: %v", hidden.GetCost())
	}
	s.checked()
}

func TestReceiveAgainIsAnsweredAsBefore(t *testing.T) {
	s := newStockroom(t)
	req := s.receipt("l-2", 40)
	first := good(s.lots(app.Quality).ReceiveLot(t.Context(), req))(t)
	again := good(s.lots(app.Quality).ReceiveLot(t.Context(), req))(t)
	if !proto.Equal(first, again) || s.onHand("l-2") != 40 {
		t.Errorf("again: %v, on hand %g", again, s.onHand("l-2"))
	}
	other := proto.Clone(req).(*pb.ReceiveLotRequest)
	other.QuantityKg = 41
	_, err := s.lots(app.Quality).ReceiveLot(t.Context(), other)
	refusal{codes.AlreadyExists, "other content"}.check(t, "the id with another quantity", err)
	other.MovementId = uuid.NewString()
	_, err = s.lots(app.Quality).ReceiveLot(t.Context(), other)
	refusal{codes.AlreadyExists, "exists already"}.check(t, "the lot again", err)
	if s.onHand("l-2") != 40 {
		t.Errorf("after the refusals %g kg on hand", s.onHand("l-2"))
	}
	s.checked()
}

func TestReceiptsThatAreRefused(t *testing.T) {
	s := newStockroom(t)
	for name, c := range map[string]struct {
		change func(r *pb.ReceiveLotRequest)
		want   refusal
	}{
		"nothing":                {func(r *pb.ReceiveLotRequest) { r.QuantityKg = 0 }, refusal{codes.InvalidArgument, "quantity_kg"}},
		"below zero":             {func(r *pb.ReceiveLotRequest) { r.QuantityKg = -1 }, refusal{codes.InvalidArgument, "quantity_kg"}},
		"NaN":                    {func(r *pb.ReceiveLotRequest) { r.QuantityKg = math.NaN() }, refusal{codes.InvalidArgument, "quantity_kg"}},
		"1e300":                  {func(r *pb.ReceiveLotRequest) { r.QuantityKg = 1e300 }, refusal{codes.InvalidArgument, "1,000,000 t"}},
		"finer than a milligram": {func(r *pb.ReceiveLotRequest) { r.QuantityKg = 1.0000001 }, refusal{codes.InvalidArgument, "milligram"}},
		"no material":            {func(r *pb.ReceiveLotRequest) { r.Lot.Material = "" }, refusal{codes.InvalidArgument, "lot.material"}},
		"an unknown material":    {func(r *pb.ReceiveLotRequest) { r.Lot.Material = "materials/none" }, refusal{codes.InvalidArgument, "materials/none"}},
		"an unknown supplier":    {func(r *pb.ReceiveLotRequest) { r.Lot.Supplier = "suppliers/none" }, refusal{codes.InvalidArgument, "suppliers/none"}},
		"an unknown order":       {func(r *pb.ReceiveLotRequest) { r.PurchaseOrder = "purchaseOrders/none" }, refusal{codes.InvalidArgument, "purchaseOrders/none"}},
		"a bad id":               {func(r *pb.ReceiveLotRequest) { r.LotId = "L 1" }, refusal{codes.InvalidArgument, "lot_id"}},
		"no movement id":         {func(r *pb.ReceiveLotRequest) { r.MovementId = "" }, refusal{codes.InvalidArgument, "movement_id"}},
		"no location":            {func(r *pb.ReceiveLotRequest) { r.Location = "" }, refusal{codes.InvalidArgument, "location"}},
		"no lot":                 {func(r *pb.ReceiveLotRequest) { r.Lot = nil }, refusal{codes.InvalidArgument, "lot: must be given"}},
		"an unknown property":    {func(r *pb.ReceiveLotRequest) { r.Lot.Certificate = map[string]float64{"taste_units": 1} }, refusal{codes.InvalidArgument, "taste_units"}},
		"an implausible value":   {func(r *pb.ReceiveLotRequest) { r.Lot.Certificate = map[string]float64{"density_kg_per_l": 160} }, refusal{codes.InvalidArgument, "not plausible"}},
		"a value that is NaN":    {func(r *pb.ReceiveLotRequest) { r.Lot.Certificate = map[string]float64{"density_kg_per_l": math.NaN()} }, refusal{codes.InvalidArgument, "finite"}},
		"30 February":            {func(r *pb.ReceiveLotRequest) { r.Lot.ExpiryDate = "2026-02-30" }, refusal{codes.InvalidArgument, "expiry_date"}},
		"expired before receipt": {func(r *pb.ReceiveLotRequest) { r.Lot.ReceivedDate, r.Lot.ExpiryDate = "2026-02-02", "2026-02-01" }, refusal{codes.InvalidArgument, "before the received date"}},
		"received tomorrow":      {func(r *pb.ReceiveLotRequest) { r.Lot.ReceivedDate = "2999-01-01" }, refusal{codes.InvalidArgument, "after today"}},
		"a price below zero":     {func(r *pb.ReceiveLotRequest) { r.Lot.Cost.PricePerKg = euro(-1, 0) }, refusal{codes.InvalidArgument, "below zero"}},
		"two currencies":         {func(r *pb.ReceiveLotRequest) { r.Lot.Cost.FreightPerKg.CurrencyCode = "USD" }, refusal{codes.InvalidArgument, "give all amounts here in EUR"}},
		"no exchange rate": {func(r *pb.ReceiveLotRequest) {
			r.Lot.Cost.PricePerKg.CurrencyCode, r.Lot.Cost.FreightPerKg = "USD", nil
		}, refusal{codes.InvalidArgument, "no rate from USD"}},
	} {
		req := s.receipt("l-9", 10)
		c.change(req)
		_, err := s.lots(app.Quality).ReceiveLot(t.Context(), req)
		c.want.check(t, name, err)
	}
	_, err := s.lots(app.Floor).ReceiveLot(t.Context(), s.receipt("l-9", 10))
	refusal{codes.PermissionDenied, "quarantined"}.check(t, "the floor releases a lot", err)
	_, err = s.lots(app.InkMaker).ReceiveLot(t.Context(), s.receipt("l-9", 10))
	refusal{codes.PermissionDenied, "role ink maker"}.check(t, "an ink maker receives", err)
	_, err = s.lots(app.Quality).GetLot(t.Context(), &pb.GetLotRequest{Name: "lots/l-9"})
	refusal{codes.NotFound, "l-9"}.check(t, "the lot that was refused", err)
	s.checked()
}

func TestLotStatus(t *testing.T) {
	s := newStockroom(t)
	set := func(status pb.LotStatus, reason, etag string) (*pb.Lot, error) {
		return s.lots(app.Quality).SetLotStatus(t.Context(), &pb.SetLotStatusRequest{Name: "lots/l-1", Status: status, Reason: reason, Etag: etag})
	}
	_, err := set(pb.LotStatus_LOT_STATUS_HELD, "", "")
	refusal{codes.InvalidArgument, "say why"}.check(t, "held without a reason", err)
	held := good(set(pb.LotStatus_LOT_STATUS_HELD, "looks pale", "v1"))(t)
	if held.GetStatus() != pb.LotStatus_LOT_STATUS_HELD || held.GetEtag() != "v2" || held.GetNote() == "" {
		t.Errorf("held: %v", held)
	}
	_, err = set(pb.LotStatus_LOT_STATUS_RELEASED, "", "v1")
	refusal{codes.Aborted, "read it again"}.check(t, "a stale etag", err)
	_, err = s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(pb.MovementKind_MOVEMENT_KIND_ISSUE, 1))
	refusal{codes.FailedPrecondition, "held"}.check(t, "an issue of a held lot", err)

	good(set(pb.LotStatus_LOT_STATUS_REJECTED, "off shade", ""))(t)
	_, err = set(pb.LotStatus_LOT_STATUS_RELEASED, "", "")
	refusal{codes.FailedPrecondition, "quarantine first"}.check(t, "a rejected lot released", err)
	_, err = s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(pb.MovementKind_MOVEMENT_KIND_ISSUE, 1))
	refusal{codes.FailedPrecondition, "rejected"}.check(t, "an issue of a rejected lot", err)
	_, err = s.ledger(app.Floor).CreateReservation(t.Context(), &pb.CreateReservationRequest{ReservationId: uuid.NewString(),
		Reservation: &pb.Reservation{Lot: "lots/l-1", Location: "main", QuantityKg: 1}})
	refusal{codes.FailedPrecondition, "scrapped or returned"}.check(t, "a reservation of a rejected lot", err)
	good(s.ledger(app.Quality).CreateMovement(t.Context(), s.movement(pb.MovementKind_MOVEMENT_KIND_SCRAP, 10)))(t)
	good(s.ledger(app.Quality).CreateMovement(t.Context(), s.movement(pb.MovementKind_MOVEMENT_KIND_RETURN, 20)))(t)
	good(set(pb.LotStatus_LOT_STATUS_QUARANTINED, "to be tested anew", ""))(t)
	good(set(pb.LotStatus_LOT_STATUS_RELEASED, "", ""))(t)
	good(s.ledger(app.Floor).CreateMovement(t.Context(), s.movement(pb.MovementKind_MOVEMENT_KIND_ISSUE, 1)))(t)
	if s.onHand("l-1") != 69 {
		t.Errorf("%g kg on hand, want 69", s.onHand("l-1"))
	}
	_, err = s.lots(app.Floor).SetLotStatus(t.Context(), &pb.SetLotStatusRequest{Name: "lots/l-1", Status: 2})
	refusal{codes.PermissionDenied, "role floor"}.check(t, "the floor", err)
	s.checked()
}

func TestUpdateALot(t *testing.T) {
	s := newStockroom(t)
	update := func(l *pb.Lot, paths ...string) (*pb.Lot, error) {
		l.Name = "lots/l-1"
		return s.lots(app.Quality).UpdateLot(t.Context(), &pb.UpdateLotRequest{Lot: l, UpdateMask: &fieldmaskpb.FieldMask{Paths: paths}})
	}
	l := good(update(&pb.Lot{Certificate: map[string]float64{"tint_strength_fraction": 0.97}, Etag: "v1"}, "certificate"))(t)
	if l.GetCertificate()["tint_strength_fraction"] != 0.97 || l.GetSupplierLot() != "Q-77" || l.GetEtag() != "v2" || l.GetOnHandKg() != 100 {
		t.Errorf("after a new strength: %v", l)
	}
	for name, c := range map[string]struct {
		lot   *pb.Lot
		paths []string
		want  refusal
	}{
		"a stale etag":        {&pb.Lot{Note: "x", Etag: "v1"}, []string{"note"}, refusal{codes.Aborted, "read it again"}},
		"another material":    {&pb.Lot{Material: "materials/red"}, []string{"material"}, refusal{codes.InvalidArgument, "lot.material"}},
		"another status":      {&pb.Lot{Status: pb.LotStatus_LOT_STATUS_HELD}, []string{"status"}, refusal{codes.InvalidArgument, "setStatus"}},
		"an unknown field":    {&pb.Lot{}, []string{"colour"}, refusal{codes.InvalidArgument, "update_mask"}},
		"an entry of the map": {&pb.Lot{}, []string{"certificate.tack_units"}, refusal{codes.InvalidArgument, "whole field"}},
		"NaN":                 {&pb.Lot{Certificate: map[string]float64{"density_kg_per_l": math.NaN()}}, []string{"certificate"}, refusal{codes.InvalidArgument, "lot.certificate"}},
		"an implausible one":  {&pb.Lot{Certificate: map[string]float64{"density_kg_per_l": 1e11}}, []string{"certificate"}, refusal{codes.InvalidArgument, "plausible"}},
		"a bad date":          {&pb.Lot{ExpiryDate: "2026-02-30"}, []string{"expiry_date"}, refusal{codes.InvalidArgument, "expiry_date"}},
	} {
		_, err := update(c.lot, c.paths...)
		c.want.check(t, name, err)
	}
	_, err := s.lots(app.Quality).UpdateLot(t.Context(), &pb.UpdateLotRequest{})
	refusal{codes.InvalidArgument, "lot: must be given"}.check(t, "nothing", err)
	priced := good(s.lots(app.Admin).UpdateLot(t.Context(), &pb.UpdateLotRequest{
		Lot: &pb.Lot{Name: "lots/l-1", Cost: &pb.LotCost{PricePerKg: euro(10, 0)}}, UpdateMask: &fieldmaskpb.FieldMask{Paths: []string{"cost.price_per_kg"}}}))(t)
	// 10 + 0.20 + 4 % of 10, by hand: freight and duty were not named by the mask.
	if c := priced.GetCost().GetLandedPerKg(); c.GetUnits() != 10 || c.GetNanos() != 600_000_000 {
		t.Errorf("a new price lands at %v, want 10.60 EUR", c)
	}
}

func TestListLotsAndBalances(t *testing.T) {
	s := newStockroom(t)
	before := timestamppb.Now()
	for _, id := range []string{"l-2", "l-3", "l-4"} {
		good(s.lots(app.Quality).ReceiveLot(t.Context(), s.receipt(id, 10)))(t)
	}
	var seen []string
	token := ""
	for range 5 {
		page := good(s.lots(app.Floor).ListLots(t.Context(), &pb.ListLotsRequest{PageSize: 2, PageToken: token, Filter: `status = RELEASED AND material = "materials/blue"`}))(t)
		for _, l := range page.GetLots() {
			seen = append(seen, l.GetName())
			if l.GetOnHandKg() == 0 || l.GetCost() != nil {
				t.Errorf("in the list: %v", l)
			}
		}
		if token = page.GetNextPageToken(); token == "" {
			break
		}
	}
	if len(seen) != 4 || seen[0] != "lots/l-1" || seen[3] != "lots/l-4" {
		t.Errorf("the pages hold %v", seen)
	}
	now := good(s.lots(app.Floor).ListBalances(t.Context(), &pb.ListBalancesRequest{Filter: "location = main", PageSize: 3}))(t)
	if len(now.GetBalances()) != 3 || now.GetNextPageToken() == "" || now.GetBalances()[0].GetFreeKg() != 100 {
		t.Errorf("stock now: %v", now)
	}
	rest := good(s.lots(app.Floor).ListBalances(t.Context(), &pb.ListBalancesRequest{Filter: "location = main", PageSize: 3, PageToken: now.GetNextPageToken()}))(t)
	if len(rest.GetBalances()) != 1 || rest.GetNextPageToken() != "" {
		t.Errorf("the rest of it: %v", rest)
	}
	past := good(s.lots(app.Floor).ListBalances(t.Context(), &pb.ListBalancesRequest{AsOf: before}))(t)
	if len(past.GetBalances()) != 1 || past.GetBalances()[0].GetLot() != "lots/l-1" {
		t.Errorf("stock before: %v", past)
	}
	for name, c := range map[string]struct {
		req  *pb.ListBalancesRequest
		want refusal
	}{
		"the future":        {&pb.ListBalancesRequest{AsOf: timestamppb.New(before.AsTime().AddDate(1, 0, 0))}, refusal{codes.InvalidArgument, "future"}},
		"another filter":    {&pb.ListBalancesRequest{PageToken: now.GetNextPageToken()}, refusal{codes.InvalidArgument, "another filter"}},
		"an unknown field":  {&pb.ListBalancesRequest{Filter: "colour = red"}, refusal{codes.InvalidArgument, "not a field"}},
		"a page of 2,000":   {&pb.ListBalancesRequest{PageSize: 2000}, refusal{codes.InvalidArgument, "page_size"}},
		"a broken token":    {&pb.ListBalancesRequest{PageToken: "?"}, refusal{codes.InvalidArgument, "page_token"}},
		"no such timestamp": {&pb.ListBalancesRequest{AsOf: &timestamppb.Timestamp{Seconds: math.MaxInt64}}, refusal{codes.InvalidArgument, "as_of"}},
	} {
		_, err := s.lots(app.Floor).ListBalances(t.Context(), c.req)
		c.want.check(t, name, err)
	}
}
