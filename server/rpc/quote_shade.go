package rpc

import (
	"errors"
	"slices"

	"google.golang.org/protobuf/encoding/protojson"
	"google.golang.org/protobuf/proto"

	millbasev1 "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/colour"
	"millbase/solver/match"
)

// quoteShade reads the shade that a quote is on.
func (f *fields) quoteShade(field string, m *millbasev1.QuoteShade, quantities []float64) *app.QuoteShadeTerms {
	if m == nil {
		return nil
	}
	if m.GetMatch() == nil {
		f.add(field+".match", "say what is to be matched")
		return nil
	}
	ask := proto.CloneOf(m.GetMatch())
	if ask.GetQuantityKg() == 0 && len(quantities) > 0 {
		ask.QuantityKg = quantities[0]
	}
	inner := &fields{}
	out := &app.QuoteShadeTerms{Match: inner.shade(ask), Material: f.optionalID(field+".material", m.GetMaterial(), materials), Route: f.route(field, m.GetRoute())}
	f.bad = append(f.bad, under(field+".match.", inner.bad)...)
	if m.GetOffer() != millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_UNSPECIFIED {
		out.Offer = match.Kind(m.GetOffer() - millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST)
	}
	var err error
	if out.Asked, err = protojson.Marshal(ask); err != nil {
		f.add(field+".match", "can't be kept: %v", err)
	}
	return out
}

// under puts fields below another one.
func under(field string, bad app.Invalid) app.Invalid {
	out := slices.Clone(bad)
	for i := range out {
		out[i].Field = field + out[i].Field
	}
	return out
}

// quoteFields writes the field paths of the question for a shade as the API has
// them.
func quoteFields(err error, asked *millbasev1.MatchShadeRequest) error {
	var fault *app.ShadeFault
	if !errors.As(err, &fault) {
		return err
	}
	err = shadeFields(fault.Err, asked.GetWeighing())
	var invalid app.Invalid
	if errors.As(err, &invalid) {
		return under("quote.shade.match.", invalid)
	}
	return err
}

func quoteShadeOut(s *app.QuoteShade) *millbasev1.QuoteShade {
	if s == nil {
		return nil
	}
	asked := &millbasev1.MatchShadeRequest{}
	if err := (protojson.UnmarshalOptions{DiscardUnknown: true}).Unmarshal(s.Asked, asked); err != nil {
		asked = nil // kept by a version that asked otherwise; the answer still stands
	}
	out := &millbasev1.QuoteShade{
		Match: asked, Offer: offerKind(s.Offer), Material: nameOf(materials, s.Material), Route: routeOut(s.Route), InWords: s.InWords(),
		Substrate: nameOf(substrates, s.Substrate), ToleranceDe00: s.Tolerance, PredictedCurve: curveOut(s.Predicted),
		Lights: each(s.Lights, seenShadeOut), Metamerism: s.Metamerism, Bases: int32(s.Bases),
	}
	if s.Target != nil {
		out.TargetCurve = curveOut(*s.Target)
	}
	return out
}

func offerKind(name string) millbasev1.ShadeOfferKind {
	i := slices.IndexFunc(match.Kinds, func(k match.Kind) bool { return k.String() == name })
	return millbasev1.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST + millbasev1.ShadeOfferKind(max(0, i))
}

func seenShadeOut(l app.SeenShade) *millbasev1.ShadeLight {
	return lightOut(l.Viewing, l.Target, &l.Predicted)
}

// lightOut sets target and prediction, as far as they are known, side by side.
func lightOut(v colour.Viewing, target, seen *colour.Lab) *millbasev1.ShadeLight {
	out := &millbasev1.ShadeLight{Viewing: viewingOut(v)}
	if target != nil {
		out.Target, out.TargetSwatch = labOut(*target), target.Swatch()
	}
	if seen != nil {
		out.Predicted, out.PredictedSwatch = labOut(*seen), seen.Swatch()
	}
	if target != nil && seen != nil {
		de00, de76, t := colour.Difference2000(*target, *seen), colour.Difference(*target, *seen), colour.Terms(*target, *seen)
		out.De00, out.De76, out.DeltaLightness, out.DeltaChroma, out.DeltaHue = &de00, &de76, &t.L, &t.C, &t.H
	}
	return out
}
