package rpc

import (
	"context"
	"maps"
	"slices"

	"google.golang.org/genproto/googleapis/api/httpbody"

	"millbase/costing/money"
	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// coverageAsked is the question for either form of the board.
type coverageAsked interface {
	GetWeeks() int32
	GetDays() int32
	GetShortOnly() bool
	GetPegging() bool
	GetMaterial() string
}

// coverage answers the board for both forms of it.
func (s *PurchasingServer) coverage(ctx context.Context, req coverageAsked) (app.Coverage, error) {
	f := &fields{}
	q := app.CoverageQuery{Weeks: int(req.GetWeeks()), Days: int(req.GetDays()), ShortOnly: req.GetShortOnly(), Pegging: req.GetPegging(),
		Material: f.optionalID("material", req.GetMaterial(), materials)}
	if q.Weeks > 0 && q.Days > 0 {
		f.add("days", "the board is by week or by day; leave out weeks or days")
	}
	if err := f.err(); err != nil {
		return app.Coverage{}, err
	}
	return s.book.Coverage(ctx, q)
}

// GetCoverage implements the service.
func (s *PurchasingServer) GetCoverage(ctx context.Context, req *pb.GetCoverageRequest) (*pb.Coverage, error) {
	c, err := s.coverage(ctx, req)
	if err != nil {
		return nil, err
	}
	return &pb.Coverage{WeekDates: each(c.Periods, dateOut), Rows: each(c.Rows, coverageRowOut), Remarks: c.Remarks}, nil
}

// ExportCoverage implements the service.
func (s *PurchasingServer) ExportCoverage(ctx context.Context, req *pb.ExportCoverageRequest) (*httpbody.HttpBody, error) {
	c, err := s.coverage(ctx, req)
	if err != nil {
		return nil, err
	}
	return &httpbody.HttpBody{ContentType: "text/csv; charset=utf-8", Data: coverageCSV(c)}, nil
}

// GetPegging implements the service.
func (s *PurchasingServer) GetPegging(ctx context.Context, req *pb.GetPeggingRequest) (*pb.Pegging, error) {
	p, err := s.book.Pegging(ctx, req.GetName())
	if err != nil {
		return nil, err
	}
	out := &pb.Pegging{Name: p.Name, Needs: each(p.Needs, peggedOut), Serves: each(p.Serves, peggedOut)}
	for _, m := range slices.Sorted(maps.Keys(p.Free)) {
		if p.Free[m] > 0 {
			out.Free = append(out.Free, &pb.FreeMass{Material: nameOf(materials, m), QuantityKg: kg(p.Free[m])})
		}
	}
	return out, nil
}

func batchNames(ids []string) []string {
	return each(ids, func(id string) string { return nameOf(batches, id) })
}

func peggedOut(n app.PeggedNeed) *pb.PeggedNeed {
	return &pb.PeggedNeed{Material: nameOf(materials, n.Material), Title: n.Title, Date: dateOut(n.Date), QuantityKg: kg(n.Quantity), ShortKg: kg(n.Short),
		Batches: batchNames(n.Batches), Covers: each(n.Covers, func(c app.PegCover) *pb.PegCover {
			return &pb.PegCover{Source: c.Source, Supplier: nameOf(suppliers, c.Supplier), QuantityKg: kg(c.Quantity), ArrivalDate: dateOut(c.Arrival), LateDays: int32(c.LateDays)}
		})}
}

func coverageRowOut(r app.CoverageRow) *pb.CoverageRow {
	return &pb.CoverageRow{
		Material: nameOf(materials, r.Material), Title: r.Title, OnHandKg: kg(r.OnHand), QuarantinedKg: kg(r.Quarantined), ReservedKg: kg(r.Reserved),
		SafetyStockKg: kg(r.SafetyStock), RequiredKg: massesOut(r.Required), ExpectedKg: massesOut(r.Expected), ExpiringKg: massesOut(r.Expiring),
		ProjectedKg: massesOut(r.Projected), FirstShortDate: dateOut(r.FirstShort), ShortKg: kg(r.Short),
		PlannedReceiptKg: massesOut(r.PlannedReceipts), PlannedReleaseKg: massesOut(r.PlannedReleases), PastDueReleaseKg: kg(r.PastDue),
		PlannedProjectedKg: massesOut(r.WithPlanned), Batches: batchNames(r.Batches), Needs: each(r.Needs, peggedOut),
		Expedite: each(r.Expedite, func(e app.Expedite) *pb.Expedite {
			return &pb.Expedite{Date: dateOut(e.Date), QuantityKg: kg(e.Quantity), Source: e.Source, DueDate: dateOut(e.Due)}
		}),
		Suggestions: each(r.Suggestions, func(o app.OrderSuggestion) *pb.OrderSuggestion {
			return &pb.OrderSuggestion{
				Supplier: nameOf(suppliers, o.Supplier), Offer: offerName(o.Supplier, o.Offer), QuantityKg: kg(o.Quantity),
				PricePerKg: moneyOut(money.Money(o.PricePerKg)), LandedCost: moneyOut(o.Landed), OrderByDate: dateOut(o.OrderBy),
				ArrivalDate: dateOut(o.Arrival), Late: o.Late, ReceiptByDate: dateOut(o.ReceiptBy),
				PastDueDays: int32(o.PastDueDays), Batches: batchNames(o.Batches),
			}
		}),
	}
}
