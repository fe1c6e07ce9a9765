package rpc

import (
	"context"
	"fmt"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
)

func (s *supplierService) GetDeliveryPerformance(ctx context.Context, req *pb.GetDeliveryPerformanceRequest) (*pb.DeliveryPerformance, error) {
	f := &fields{}
	q := app.PerformanceQuery{Material: f.optionalID("material", req.GetMaterial(), materials), Since: f.date("since_date", req.GetSinceDate()),
		ServiceLevel: int(req.GetServiceLevelPercent())}
	if req.GetParent() != suppliers+"/-" {
		q.Supplier = f.id("parent", req.GetParent(), suppliers)
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	p, err := s.book.DeliveryPerformance(ctx, q)
	if err != nil {
		return nil, err
	}
	return &pb.DeliveryPerformance{ServiceLevelPercent: int32(p.ServiceLevel), Rows: each(p.Rows, func(r app.PerformanceRow) *pb.PerformanceRow {
		return performanceOut(r, p.ServiceLevel)
	})}, nil
}

func performanceOut(r app.PerformanceRow, level int) *pb.PerformanceRow {
	out := &pb.PerformanceRow{
		Supplier: nameOf(suppliers, r.Supplier), Material: nameOf(materials, r.Material), Deliveries: int32(r.Deliveries), OnTime: int32(r.OnTime),
		MeanDaysLate: r.MeanLate, MostDaysLate: int32(r.Latest), TimedDeliveries: int32(r.Timed), MeanQuotedDays: r.MeanQuoted, MeanActualDays: r.MeanActual,
		ActualDaysDeviation: r.Deviation, SuggestedSafetyTimeDays: int32(r.Suggested.Days), SuggestionCoversPercent: int32(r.Suggested.Covers),
		SafetyTimeDays: int32(r.SafetyTimeDays), OverdueLines: int32(r.Overdue), MostDaysOverdue: int32(r.MostOverdue),
	}
	if r.Deliveries > 0 {
		share := float64(r.OnTime) / float64(r.Deliveries)
		out.OnTimeShare = &share
	}
	switch {
	case r.Deliveries == 0:
		out.Basis = "Nothing has been delivered yet, so that nothing can be suggested."
	case r.Suggested.Enough:
		out.Basis = fmt.Sprintf("From %d deliveries: the next one is no later than this with a probability of at least %d %%.", r.Deliveries, r.Suggested.Covers)
	default:
		out.Basis = fmt.Sprintf("From %d deliveries, too few for %d %%: the latest of them, which covers %d %%; it takes %d deliveries.",
			r.Deliveries, level, r.Suggested.Covers, r.Suggested.Needed)
	}
	return out
}
