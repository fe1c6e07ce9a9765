package rpc

import (
	"context"
	"fmt"
	"math"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/colour"
	"millbase/solver/match"
)

// ShadeServer serves the matching and correcting of shades.
type ShadeServer struct {
	millbasev1.UnimplementedShadeServiceServer
	book *app.Book
}

// NewShadeServer serves the book's matches.
func NewShadeServer(book *app.Book) *ShadeServer { return &ShadeServer{book: book} }

// MatchShade implements the service.
func (s *ShadeServer) MatchShade(ctx context.Context, req *millbasev1.MatchShadeRequest) (*millbasev1.MatchShadeResponse, error) {
	f := &fields{}
	in := f.shade(req)
	if err := f.err(); err != nil {
		return nil, err
	}
	m, err := s.book.MatchShade(ctx, in)
	if err != nil {
		return nil, shadeFields(err, req.GetWeighing())
	}
	return matchedOut(m), nil
}

// shade reads a request for mixtures that look like a colour.
func (f *fields) shade(req *millbasev1.MatchShadeRequest) app.MatchRequest {
	in := app.MatchRequest{
		Question: f.question(&millbasev1.OptimiseRequest{Specification: req.GetSpecification(), Limits: req.GetLimits(), QuantityKg: req.GetQuantityKg(),
			Date: req.GetDate(), CostBasis: req.GetCostBasis(), Book: req.GetBook(), Candidates: req.GetCandidates(), Properties: req.GetProperties(),
			CurrencyCode: req.GetCurrencyCode(), WaterDensityKgPerL: req.GetWaterDensityKgPerL(), Weighing: req.GetWeighing()}),
		Print:          f.print("print", req.GetPrint()),
		Target:         f.target("target", req.GetTarget()),
		Viewing:        viewingOf(req.GetViewing()),
		Tolerance:      f.number("tolerance_de00", req.GetToleranceDe00()),
		MaxBases:       int(req.GetMaxBases()),
		FrontierPoints: int(req.GetFrontierPoints()),
	}
	if req.GetSecondViewing() != nil {
		second := viewingOf(req.GetSecondViewing())
		in.Second = &second
	}
	for i, k := range req.GetOffers() {
		if k < millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST || k > millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_LEAST_METAMERIC {
			f.add(fmt.Sprintf("offers[%d]", i), "is not known; use one of SHADE_OFFER_KIND_CHEAPEST, _CLOSEST, _FEWEST_BASES and _LEAST_METAMERIC")
			continue
		}
		in.Kinds = append(in.Kinds, match.Kind(k-millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST))
	}
	return in
}

// print reads on what is printed.
func (f *fields) print(field string, m *millbasev1.ShadePrint) app.ShadePrint {
	out := app.ShadePrint{Substrate: f.optionalID(field+".substrate", m.GetSubstrate(), substrates), Bare: f.optionalCurve(field+".bare", m.GetBare())}
	if s := m.GetSurface(); s != nil {
		surface := surfaceOf(s)
		out.Surface = &surface
	}
	if m.GetMode() == millbasev1.PrintMode_PRINT_MODE_OPAQUE {
		out.Mode = match.Opaque
	}
	for _, c := range m.GetColourants() {
		out.Colourants = append(out.Colourants, app.InlineColourant{Candidate: c.GetCandidate(), Colourant: match.Colourant{K: c.GetK(), S: c.GetS()}})
	}
	return out
}

// target reads the colour to be made.
func (f *fields) target(field string, m *millbasev1.ShadeTarget) match.Target {
	switch {
	case m.GetCurve() != nil && m.GetLab() != nil:
		f.add(field, "give its curve or its lab values, not both")
		return match.Target{}
	case m.GetCurve() == nil && m.GetLab() == nil:
		f.add(field+".curve", "give the curve of the target, or its lab values")
		return match.Target{}
	}
	if m.GetLab() == nil {
		return match.Target{Curve: f.optionalCurve(field+".curve", m.GetCurve())}
	}
	return match.Target{Lab: labOf(m.GetLab())}
}

// shadeFields writes field paths as the API has them.
func shadeFields(err error, w *millbasev1.Weighing) error {
	return weighingFields(candidateFields(limitFields(err)), w)
}

var shadeOutcomes = map[match.Outcome]millbasev1.ShadeOutcome{
	match.Matched:    millbasev1.ShadeOutcome_SHADE_OUTCOME_MATCHED,
	match.OutOfReach: millbasev1.ShadeOutcome_SHADE_OUTCOME_OUT_OF_REACH,
	match.Clash:      millbasev1.ShadeOutcome_SHADE_OUTCOME_CLASH,
}

func matchedOut(m *app.Matched) *millbasev1.MatchShadeResponse {
	v, r, p := m.View, m.Result, m.Problem
	out := &millbasev1.MatchShadeResponse{
		Outcome:       shadeOutcomes[r.Outcome],
		Summary:       m.Summary,
		CurrencyCode:  v.Currency,
		Date:          dateOut(v.Date),
		CostBasis:     basisOut(v.Basis),
		ToleranceDe00: p.Tolerance,
		Assumptions:   v.Assumptions,
		Title:         v.Title,
		TargetCurve:   optionalCurveOut(p.Target.Curve),
	}
	first := shadeLight(p, p.Viewing, nil)
	second := shadeLight(p, p.SecondViewing(), nil)
	for _, l := range []*millbasev1.ShadeLight{first, second} {
		if l.Target != nil {
			out.Target = append(out.Target, &millbasev1.SeenColour{Viewing: l.Viewing, Lab: l.Target, Swatch: l.TargetSwatch})
		}
	}
	for i := range m.Offers {
		out.Offers = append(out.Offers, shadeOfferOut(m, &m.Offers[i]))
	}
	for i := range r.Frontier {
		out.Frontier = append(out.Frontier, shadePointOut(v, &r.Frontier[i]))
	}
	if r.Reach != nil {
		out.Reach = reachOut(p, r.Reach)
	}
	if r.Clash != nil && r.Clash.Clash != nil {
		out.Clash = clashOut(v, r.Clash.Clash)
	}
	for _, l := range v.LeftOut {
		out.LeftOut = append(out.LeftOut, &millbasev1.LeftOutCandidate{Candidate: l.Candidate, Title: l.Title, Reason: l.Why})
	}
	return out
}

func shadeOfferOut(m *app.Matched, o *app.MatchedOffer) *millbasev1.ShadeOffer {
	formula := optimisedOut(o.View)
	out := &millbasev1.ShadeOffer{
		Kind:       millbasev1.ShadeOfferKind(o.Kind) + millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST,
		Components: formula.Components,
		CostPerKg:  formula.CostPerKg,
		TotalCost:  formula.TotalCost,
		Limits:     formula.Limits,
		Weighed:    formula.Weighed,
		Proof:      formula.Proof,
		Unused:     formula.Unused,
		Bases:      int32(o.Bases),
	}
	if len(o.Answer.Components) == 0 {
		return out // none that can be weighed
	}
	out.Curve = curveOut(o.Curve)
	out.Lights = shadeLights(m.Problem, o.Offer)
	if !math.IsNaN(o.Metamerism) {
		out.Metamerism = &o.Metamerism
	}
	return out
}

// shadeLight sets the target, where it is known under a light, and a colour side
// by side.
func shadeLight(p *match.Problem, v colour.Viewing, seen *colour.Lab) *millbasev1.ShadeLight {
	switch {
	case p.Target.Curve != nil:
		target := p.Target.Curve.Seen(v)
		return lightOut(v, &target, seen)
	case v == p.Viewing:
		return lightOut(v, &p.Target.Lab, seen)
	}
	return lightOut(v, nil, seen)
}

func shadePointOut(v *app.Optimised, x *match.Point) *millbasev1.ShadePoint {
	out := &millbasev1.ShadePoint{ToleranceDe00: x.Tolerance, De00: x.DE00, CostPerKg: costOut(v, x.CostPerKg)}
	for j, share := range x.Shares {
		if share > shownShare {
			c := &v.Problem.Candidates[j]
			out.Shares = append(out.Shares, &millbasev1.ShadeShare{Candidate: c.ID, Title: c.Name(), Share: share, Material: candidateMaterial(c)})
		}
	}
	return out
}

// shownShare is the least share of a mixture of the frontier that is told: less is
// what is left of a search.
const shownShare = 1e-7

func reachOut(p *match.Problem, r *match.Reach) *millbasev1.ShadeReach {
	out := &millbasev1.ShadeReach{NearestDe00: r.Nearest, Why: r.Why, DeltaLightness: r.DeltaL, DeltaChroma: r.DeltaC, DeltaHue: r.DeltaH, WithoutLimitsDe00: r.Without}
	for _, i := range r.InTheWay {
		out.LimitIds = append(out.LimitIds, p.Blend.Limits[i].ID)
	}
	for _, j := range r.Short {
		out.Stocks = append(out.Stocks, p.Blend.Candidates[j].ID)
	}
	return out
}
