package rpc

import (
	"context"
	"math"
	"slices"
	"strings"

	"github.com/shopspring/decimal"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/formulation"
)

// StudyServer serves frontiers and comparisons.
type StudyServer struct {
	millbasev1.UnimplementedStudyServiceServer
	book *app.Book
}

// NewStudyServer serves the book's frontiers and comparisons.
func NewStudyServer(book *app.Book) *StudyServer { return &StudyServer{book: book} }

// TraceFrontier implements the service.
func (s *StudyServer) TraceFrontier(ctx context.Context, req *millbasev1.TraceFrontierRequest) (*millbasev1.TraceFrontierResponse, error) {
	f, q := &fields{}, &fields{}
	in := app.FrontierRequest{
		Question: q.question(req.GetQuestion()),
		Limit:    req.GetLimitId(),
		Stock:    req.GetStock(),
		Until:    f.date("until_date", req.GetUntilDate()),
		From:     req.From,
		To:       req.To,
	}
	switch req.GetSide() {
	case millbasev1.LimitResult_BINDING_UNSPECIFIED:
	case millbasev1.LimitResult_BINDING_LOWER:
		in.Side = formulation.AtLower
	case millbasev1.LimitResult_BINDING_UPPER:
		in.Side = formulation.AtUpper
	default:
		f.add("side", "is the bound that moves: use BINDING_LOWER or BINDING_UPPER, or leave it out")
	}
	f.bad = append(f.bad, inside("question", q.bad)...)
	if err := f.err(); err != nil {
		return nil, err
	}
	out, err := s.book.TraceFrontier(ctx, in)
	if err != nil {
		return nil, questionFields(err)
	}
	return frontierOut(out), nil
}

// inside writes field paths as those of a message within the request.
func inside(field string, bad app.Invalid) app.Invalid {
	out := slices.Clone(bad)
	for i := range out {
		out[i].Field = field + "." + out[i].Field
	}
	return out
}

// frontierFields are the fields of a frontier that stand beside its question, by
// what the solver calls them.
var frontierFields = map[string]string{"limit_id": "limit_id", "stock": "stock", "until_date": "until_date", "side": "side",
	"from": "from", "to": "to", "limit": "limit_id", "candidate": "stock", "question": "question"}

// questionFields writes the field paths of a question within a request.
func questionFields(err error) error {
	bad, ok := candidateFields(limitFields(err)).(app.Invalid)
	if !ok {
		return err
	}
	out := slices.Clone(bad)
	for i := range out {
		if own, ok := frontierFields[out[i].Field]; ok {
			out[i].Field = own
		} else {
			out[i].Field = "question." + strings.TrimPrefix(out[i].Field, "question.")
		}
	}
	return out
}

func frontierOut(t *app.TracedFrontier) *millbasev1.TraceFrontierResponse {
	out := &millbasev1.TraceFrontierResponse{Title: t.Title, Unit: t.Unit, CurrencyCode: t.Currency, Straight: t.Straight,
		Summary: t.Summary, Assumptions: t.Assumptions}
	for i := range t.Points {
		p := &t.Points[i]
		at := &millbasev1.FrontierPoint{Bound: finiteOr0(p.Bound), Change: p.Change, SlopeBefore: finite(p.Before), SlopeAfter: finite(p.After)}
		if !p.Date.IsZero() {
			at.Date = dateOut(p.Date)
		}
		if a := p.Formula.Answer; a.Outcome == formulation.Optimal {
			at.CostPerKg = amountOut(t.Currency, decimal.NewFromFloat(finiteOr0(p.Cost)).RoundBank(4))
			at.CostExact = finiteOr0(p.Cost)
			for k := range a.Components {
				at.Components = append(at.Components, componentOut(p.Formula, &a.Components[k]))
			}
		}
		out.Points = append(out.Points, at)
	}
	for _, l := range t.LeftOut {
		out.LeftOut = append(out.LeftOut, &millbasev1.LeftOutCandidate{Candidate: l.Candidate, Title: l.Title, Reason: l.Why})
	}
	return out
}

// finite is nil for what JSON can't say.
func finite(v *float64) *float64 {
	if v == nil || math.IsInf(*v, 0) || math.IsNaN(*v) {
		return nil
	}
	return v
}
