package rpc

import (
	"context"

	pb "millbase/proto/millbase/v1"

	"millbase/server/app"
)

// lotTestService serves what quality control measured on lots.
type lotTestService struct {
	pb.UnimplementedLotTestServiceServer
	book *app.Book
}

const tests = "tests"

func (s *lotTestService) RecordLotTest(ctx context.Context, req *pb.RecordLotTestRequest) (*pb.LotTest, error) {
	request, err := requestOf("RecordLotTest", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	in := req.GetTest()
	t := app.LotTest{Lot: f.id("parent", req.GetParent(), lots), ID: req.GetTestId(), Values: f.set("test.values", in.GetValues()), Method: in.GetMethod(),
		Note: in.GetNote(), Date: f.date("test.test_date", in.GetTestDate())}
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.RecordLotTest(ctx, t, request)
	return lotTestOut(rec), err
}

func (s *lotTestService) RecordBleachTest(ctx context.Context, req *pb.RecordBleachTestRequest) (*pb.LotTest, error) {
	request, err := requestOf("RecordBleachTest", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	f := &fields{}
	t := app.BleachTest{Batch: f.curve("lot", req.GetLot()), Standard: f.curve("standard", req.GetStandard()), Surface: surfaceOf(req.GetSurface()),
		Summed: req.GetFigure() == pb.BleachFigure_BLEACH_FIGURE_SUMMED, StandardIsFor: req.GetStandardStrength(),
		LotTest: app.LotTest{Lot: f.id("parent", req.GetParent(), lots), ID: req.GetTestId(), Method: req.GetMethod(), Note: req.GetNote(),
			Date: f.date("test_date", req.GetTestDate())}}
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.RecordBleachTest(ctx, t, request)
	return lotTestOut(rec), err
}

func (s *lotTestService) GetLotTest(ctx context.Context, req *pb.GetLotTestRequest) (*pb.LotTest, error) {
	f := &fields{}
	lot, test := f.child("name", req.GetName(), lots, tests)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.LotTest(ctx, lot, test)
	return lotTestOut(rec), err
}

func (s *lotTestService) ListLotTests(ctx context.Context, req *pb.ListLotTestsRequest) (*pb.ListLotTestsResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetParent(), "")
	if err != nil {
		return nil, err
	}
	f := &fields{}
	lot := f.id("parent", req.GetParent(), lots)
	if err := f.err(); err != nil {
		return nil, err
	}
	if lot == "-" {
		lot = ""
	}
	recs, err := s.book.LotTests(ctx, lot, p.query(nil))
	if err != nil {
		return nil, err
	}
	recs, next := cut(p, recs, func(r app.Record[app.LotTest]) string { return app.LotTestID(r.Value.Lot, r.Value.ID) })
	return &pb.ListLotTestsResponse{Tests: each(recs, lotTestOut), NextPageToken: next}, nil
}

func (s *lotTestService) WithdrawLotTest(ctx context.Context, req *pb.WithdrawLotTestRequest) (*pb.LotTest, error) {
	f := &fields{}
	lot, test := f.child("name", req.GetName(), lots, tests)
	if err := f.err(); err != nil {
		return nil, err
	}
	rec, err := s.book.WithdrawLotTest(ctx, lot, test, req.GetReason())
	return lotTestOut(rec), err
}

func lotTestOut(r app.Record[app.LotTest]) *pb.LotTest {
	t := r.Value
	out := &pb.LotTest{Name: nameOf(lots, t.Lot) + "/tests/" + t.ID, Values: t.Values, Method: t.Method, Note: t.Note, TestDate: dateOut(t.Date),
		Tester: t.Tester, Withdrawn: t.Withdrawn, WithdrawnReason: t.Reason, Warnings: t.Warnings(), CreateTime: momentOut(r.CreatedAt)}
	if b := t.Bleach; b != nil {
		out.Bleach = &pb.BleachResult{StrengthAtMostAbsorption: b.AtMost, MostAbsorptionNm: int32(b.AtMostNm), StrengthSummed: b.Summed, De00: b.DE00}
	}
	return out
}
