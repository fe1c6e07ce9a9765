package rpc

import (
	"context"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// TryCoverage implements the service.
func (s *PurchasingServer) TryCoverage(ctx context.Context, req *pb.TryCoverageRequest) (*pb.CoverageDifference, error) {
	f := &fields{}
	var changes []app.BoardChange
	for i, c := range req.GetChanges() {
		at, out := element("changes", i), app.BoardChange{}
		switch {
		case c.GetDelay() != nil:
			out.Order, out.Days = f.id(at+".delay.purchase_order", c.GetDelay().GetPurchaseOrder(), purchaseOrders), int(c.GetDelay().GetDays())
		case c.GetMove() != nil:
			out.Batch, out.DueDate = f.id(at+".move.batch", c.GetMove().GetBatch(), batches), f.needDate(at+".move.due_date", c.GetMove().GetDueDate())
		default:
			out.Lot = f.id(at+".rejected_lot", c.GetRejectedLot(), lots)
		}
		changes = append(changes, out)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	d, err := s.book.TryCoverage(ctx, app.CoverageQuery{Weeks: int(req.GetWeeks())}, changes)
	if err != nil {
		return nil, err
	}
	return &pb.CoverageDifference{CostBefore: moneyOut(d.CostBefore), CostAfter: moneyOut(d.CostAfter), Remarks: d.Remarks,
		Rows: each(d.Rows, func(m app.CoverageMove) *pb.CoverageMove {
			return &pb.CoverageMove{Material: nameOf(materials, m.Material), Title: m.Title, Before: boardStateOut(m.Before), After: boardStateOut(m.After)}
		})}, nil
}

func boardStateOut(s app.BoardState) *pb.CoverageState {
	return &pb.CoverageState{FirstShortDate: dateOut(s.FirstShort), ShortKg: kg(s.Short), Batches: batchNames(s.Batches), OrderedKg: kg(s.Ordered),
		LandedCost: moneyOut(s.Cost), Late: s.Late}
}
