package rpc

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"millbase/inventory/batch"
	"millbase/inventory/mass"
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
)

// BatchServer serves production batches.
type BatchServer struct {
	millbasev1.UnimplementedBatchServiceServer
	book *app.Book
}

// NewBatchServer serves the book's batches.
func NewBatchServer(book *app.Book) *BatchServer { return &BatchServer{book: book} }

var batchFilter = filterFields{"state": enumField(millbasev1.BatchState(0)), "material": nameField(materials), "due_date": dateField}

// CreateBatch implements the service.
func (s *BatchServer) CreateBatch(ctx context.Context, req *millbasev1.CreateBatchRequest) (*millbasev1.Batch, error) {
	f := &fields{}
	m := req.GetBatch()
	in := batch.Batch{
		ID:            req.GetBatchId(),
		Specification: f.optionalID("batch.specification", m.GetSpecification(), specifications),
		Material:      f.optionalID("batch.material", m.GetMaterial(), materials),
		Quantity:      f.positive("batch.quantity_kg", m.GetQuantityKg()),
		DueDate:       f.needDate("batch.due_date", m.GetDueDate()),
		Note:          m.GetNote(),
	}
	in.Formula, in.FormulaRevision = f.revision("batch.formula", m.GetFormula())
	if err := f.err(); err != nil {
		return nil, err
	}
	request, err := requestOf("CreateBatch", req.GetRequestId(), req)
	if err != nil {
		return nil, err
	}
	return batchAnswer(s.book.CreateBatch(ctx, in, request))
}

// GetBatch implements the service.
func (s *BatchServer) GetBatch(ctx context.Context, req *millbasev1.GetBatchRequest) (*millbasev1.Batch, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), batches)
	if err := f.err(); err != nil {
		return nil, err
	}
	return batchAnswer(s.book.GetBatch(ctx, id))
}

// ListBatches implements the service.
func (s *BatchServer) ListBatches(ctx context.Context, req *millbasev1.ListBatchesRequest) (*millbasev1.ListBatchesResponse, error) {
	p, err := readPage(req.GetPageSize(), req.GetPageToken(), req.GetFilter())
	if err != nil {
		return nil, err
	}
	where, err := batchFilter.conditions(req.GetFilter())
	if err != nil {
		return nil, err
	}
	list, err := s.book.ListBatches(ctx, p.query(where))
	if err != nil {
		return nil, err
	}
	out := &millbasev1.ListBatchesResponse{}
	list, out.NextPageToken = cut(p, list, func(r app.Record[batch.Batch]) string { return r.Value.ID })
	for _, rec := range list {
		out.Batches = append(out.Batches, batchOut(rec))
	}
	return out, nil
}

// ReserveBatch implements the service.
func (s *BatchServer) ReserveBatch(ctx context.Context, req *millbasev1.ReserveBatchRequest) (*millbasev1.Batch, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), batches)
	basis := f.basis("cost_basis", req.GetCostBasis())
	version := f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return batchAnswer(s.book.ReserveBatch(ctx, id, basis, version))
}

// FinishBatch implements the service.
func (s *BatchServer) FinishBatch(ctx context.Context, req *millbasev1.FinishBatchRequest) (*millbasev1.Batch, error) {
	f := &fields{}
	in := app.FinishRequest{
		Batch:    f.id("name", req.GetName(), batches),
		Finished: f.positive("finished_kg", req.GetFinishedKg()),
		Weights:  f.weights("weights", req.GetWeights()),
		Lot:      req.GetFinishedLotId(),
		Location: req.GetLocation(),
		Version:  f.etag("etag", req.GetEtag()),
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	var err error
	if in.Request, err = requestOf("FinishBatch", req.GetRequestId(), req); err != nil {
		return nil, err
	}
	return batchAnswer(s.book.FinishBatch(ctx, in))
}

// CancelBatch implements the service.
func (s *BatchServer) CancelBatch(ctx context.Context, req *millbasev1.CancelBatchRequest) (*millbasev1.Batch, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), batches)
	version := f.etag("etag", req.GetEtag())
	if err := f.err(); err != nil {
		return nil, err
	}
	return batchAnswer(s.book.CancelBatch(ctx, id, req.GetReason(), version))
}

// GetBatchTicket implements the service.
func (s *BatchServer) GetBatchTicket(ctx context.Context, req *millbasev1.GetBatchTicketRequest) (*millbasev1.BatchTicket, error) {
	f := &fields{}
	id := f.id("name", req.GetName(), batches)
	if err := f.err(); err != nil {
		return nil, err
	}
	t, err := s.book.BatchTicket(ctx, id)
	if err != nil {
		return nil, err
	}
	out := &millbasev1.BatchTicket{Batch: nameOf(batches, t.Batch), Title: t.Title, DueDate: dateOut(t.DueDate),
		QuantityKg: kg(t.Quantity), Route: routeOut(t.Route), Cautions: t.Cautions}
	for i, l := range t.Lines {
		out.Lines = append(out.Lines, &millbasev1.TicketLine{Step: int32(i + 1), Material: nameOf(materials, l.Material),
			Title: l.Title, Lot: nameOf(lots, l.Lot), Location: l.Location, WeighKg: kg(l.Quantity)})
	}
	return out, nil
}

// revision reads "formulas/x@3"; without a revision it is 0.
func (f *fields) revision(field, name string) (id string, revision int) {
	id = f.optionalID(field, name, formulas)
	id, number, pinned := strings.Cut(id, "@")
	if !pinned {
		return id, 0
	}
	revision, err := strconv.Atoi(number)
	if err != nil || revision < 1 {
		f.add(field, "%.80q does not name a revision; write it like formulas/%s@1", name, id)
	}
	return id, revision
}

func (f *fields) weights(field string, list []*millbasev1.ActualWeight) map[string]mass.Mass {
	out := map[string]mass.Mass{}
	for i, w := range list {
		at := fmt.Sprintf("%s[%d]", field, i)
		lot := f.id(at+".lot", w.GetLot(), lots)
		m := f.mass(at+".weighed_kg", w.GetWeighedKg())
		if _, twice := out[lot]; twice {
			f.add(at+".lot", "%s is listed twice; give one weight for each lot, over all its locations", w.GetLot())
		}
		if m < 0 {
			f.add(at+".weighed_kg", "must not be below 0 kg")
		}
		out[lot] = m
	}
	return out
}

func batchAnswer(rec app.Record[batch.Batch], err error) (*millbasev1.Batch, error) {
	if err != nil {
		return nil, err
	}
	return batchOut(rec), nil
}

func batchOut(rec app.Record[batch.Batch]) *millbasev1.Batch {
	v := rec.Value
	out := &millbasev1.Batch{
		Name:          nameOf(batches, v.ID),
		Specification: nameOf(specifications, v.Specification),
		Material:      nameOf(materials, v.Material),
		QuantityKg:    kg(v.Quantity),
		DueDate:       dateOut(v.DueDate),
		State:         enum[millbasev1.BatchState](string(v.State)),
		FinishedLot:   nameOf(lots, v.FinishedLot),
		FinishedKg:    kg(v.FinishedMass),
		FinishTime:    momentOut(v.FinishedAt),
		Note:          v.Note,
		Etag:          etagOut(rec.Version),
		CreateTime:    momentOut(rec.CreatedAt),
		UpdateTime:    momentOut(rec.UpdatedAt),
	}
	if v.Formula != "" {
		out.Formula = nameOf(formulas, fmt.Sprintf("%s@%d", v.Formula, v.FormulaRevision))
	}
	for _, l := range v.Lines {
		out.Lines = append(out.Lines, &millbasev1.BatchLine{Material: nameOf(materials, l.Material), Lot: nameOf(lots, l.Lot),
			Location: l.Location, QuantityKg: kg(l.Quantity), Reservation: nameOf(reservations, l.Reservation), WeighedKg: kg(l.Weighed)})
	}
	return out
}
