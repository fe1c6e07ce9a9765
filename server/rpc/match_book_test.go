package rpc_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
	"millbase/server/app"
	"millbase/solver/colour"
	"millbase/solver/match/matchtest"
)

// inBook are the base inks of the colour room, by material id.
var inBook = map[string]int{"yellow": 0, "red": 3, "cyan": 7, "black": 9, "transparent": 11}

// colourRoom is a stockroom with base inks that are characterised on a paper, one
// that is not, and a varnish.
type colourRoom struct{ stockroom }

func newColourRoom(t *testing.T) colourRoom {
	t.Helper()
	c := colourRoom{newStockroom(t)}
	colours := pb.NewColourServiceClient(c.As(app.Quality))
	good(colours.CreateSubstrate(t.Context(), &pb.CreateSubstrateRequest{SubstrateId: "offset", Substrate: &pb.Substrate{Title: "Offset paper",
		Curve: curveOf(matchtest.Paper()), FilmGPerM2: 1.5}}))(t)
	for id, i := range inBook {
		c.base(id, i)
		c.characterise(id, id, i)
		c.lot(id+"-1", id, 60, 1)
	}
	c.base("mauve", 6)
	c.lot("mauve-1", "mauve", 60, 1)
	return c
}

// base enters a base ink.
func (c colourRoom) base(id string, i int) {
	properties := map[string]float64{"density_kg_per_l": 1.1, "pigment_fraction/X": 0.25, "tack_units": 9}
	if matchtest.Bases[i].K == nil {
		delete(properties, "pigment_fraction/X")
	}
	good(c.materials(app.InkMaker).CreateMaterial(c.t.Context(), &pb.CreateMaterialRequest{MaterialId: id, Material: &pb.Material{
		Title: "Base " + id, MaterialClass: pb.MaterialClass_MATERIAL_CLASS_BASE_INK, Properties: properties}}))(c.t)
}

// characterise enters drawdowns of a base at 5, 20 and 100 % in the transparent one.
func (c colourRoom) characterise(as, id string, i int) {
	if matchtest.Bases[i].K == nil {
		return
	}
	var drawdowns []*pb.Drawdown
	for _, part := range []float64{0.05, 0.2, 1} {
		drawdowns = append(drawdowns, &pb.Drawdown{Concentration: part, Curve: curveOf(mixed(map[int]float64{i: part}))})
	}
	good(pb.NewColourServiceClient(c.As(app.Quality)).CreateCharacterisation(c.t.Context(), &pb.CreateCharacterisationRequest{CharacterisationId: as,
		Characterisation: &pb.Characterisation{Material: "materials/" + id, Substrate: "substrates/offset", Mode: pb.PrintMode_PRINT_MODE_FILM, Drawdowns: drawdowns}}))(c.t)
}

// lot receives a released lot of a base with its strength.
func (c colourRoom) lot(id, material string, kg, strength float64) {
	req := c.receipt(id, kg)
	req.Lot.Material, req.Lot.Certificate = "materials/"+material, nil
	if strength != 1 {
		req.Lot.Certificate = map[string]float64{"tint_strength_fraction": strength}
	}
	req.Lot.Cost = &pb.LotCost{PricePerKg: euro(5+int64(len(material)), 0)}
	if material == "transparent" {
		req.Lot.Cost.PricePerKg = euro(2, 0)
	}
	good(c.lots(app.Quality).ReceiveLot(c.t.Context(), req))(c.t)
}

// asks is a match of a mixture of the bases from the book.
func (c colourRoom) asks(target map[int]float64) *pb.MatchShadeRequest {
	return &pb.MatchShadeRequest{QuantityKg: 50, Target: &pb.ShadeTarget{Curve: curveOf(mixed(target))}, Print: &pb.ShadePrint{Substrate: "substrates/offset"}}
}

func (c colourRoom) match(req *pb.MatchShadeRequest) *pb.MatchShadeResponse {
	c.t.Helper()
	return good(pb.NewShadeServiceClient(c.As(app.InkMaker)).MatchShade(c.t.Context(), req))(c.t)
}

// masses are those of an offer by candidate.
func masses(o *pb.ShadeOffer) map[string]float64 {
	out := map[string]float64{}
	for _, c := range o.Components {
		out[c.Candidate] += c.MassKg
	}
	return out
}

func TestMatchFromTheBook(t *testing.T) {
	room := newColourRoom(t)
	recipe := map[int]float64{0: 0.2, 7: 0.1, 9: 0.01}
	out := room.match(room.asks(recipe))
	t.Log(out.Summary)
	if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || len(out.Offers) != 4 || out.Date == "" || out.CostBasis != pb.CostBasis_COST_BASIS_LOT {
		t.Fatalf("%s", out.Summary)
	}
	for _, o := range out.Offers {
		units, used, cost := [][]float64{}, []float64{}, 0.0
		for _, c := range o.Components {
			id := strings.TrimPrefix(c.Material, "materials/")
			if k := matchtest.Bases[inBook[id]].K; k != nil {
				units, used = append(units, k), append(used, c.MassKg/50)
			}
			cost += c.MassKg * money(c.PricePerKg)
			if !strings.HasPrefix(c.Candidate, "lots/"+id+"-") || c.FromOffer {
				t.Errorf("%v", c)
			}
		}
		// As it would really look: by the true curves of the bases, not the fits.
		curve, seen := colour.Film(matchtest.Paper(), units, used, colour.Surface{}), colour.Viewing{}
		target := mixed(recipe)
		near(t, "true difference of the "+o.Kind.String(), colour.Difference2000(target.Seen(seen), curve.Seen(seen)), o.Lights[0].GetDe00(), 0.01)
		near(t, "cost", money(o.TotalCost), cost, 0.00501)
	}
	closest := masses(out.Offers[1])
	for id, want := range map[string]float64{"lots/yellow-1": 10, "lots/cyan-1": 5, "lots/black-1": 0.5, "lots/transparent-1": 34.5} {
		near(t, id, closest[id], want, 0.05)
	}
	mauve := false
	for _, l := range out.LeftOut {
		mauve = mauve || l.Candidate == "lots/mauve-1" && strings.Contains(l.Reason, "not known on substrates/offset: make drawdowns")
	}
	if said := strings.Join(out.Assumptions, " "); !mauve || !strings.Contains(said, "only base inks") || !strings.Contains(said, "colourless: Base transparent.") {
		t.Errorf("left out %v; %s", out.LeftOut, said)
	}
}

// A stronger lot goes in for less, by the ratio of the strengths.
func TestStrengthOfALotChangesTheMatch(t *testing.T) {
	room := newColourRoom(t)
	room.lot("cyan-2", "cyan", 60, 1.25)
	req := room.asks(map[int]float64{7: 0.2})
	req.Offers = []pb.ShadeOfferKind{pb.ShadeOfferKind_SHADE_OFFER_KIND_CLOSEST}
	for lot, without := range map[string]string{"lots/cyan-1": "lots/cyan-2", "lots/cyan-2": "lots/cyan-1"} {
		req.Book = &pb.BookCandidates{Excluded: []string{without}}
		want := 10.0
		if lot == "lots/cyan-2" {
			want = 8
		}
		near(t, lot, masses(room.match(req).Offers[0])[lot], want, 0.02)
	}
}

func TestStockRunsShortInAMatch(t *testing.T) {
	room := newColourRoom(t)
	req := room.asks(map[int]float64{7: 0.8})
	req.QuantityKg = 100
	out := room.match(req)
	if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_OUT_OF_REACH || len(out.Reach.Stocks) != 1 || out.Reach.Stocks[0] != "lots/cyan-1" ||
		!strings.Contains(out.Summary, "too little of Base cyan, lot cyan-1") {
		t.Errorf("%s %v", out.Summary, out.Reach)
	}
	near(t, "what there is of it", masses(out.Offers[0])["lots/cyan-1"], 60, 1e-4)
	room.lot("cyan-9", "cyan", 60, 1)
	if out = room.match(req); out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || masses(out.Offers[1])["lots/cyan-9"] == 0 {
		t.Errorf("with more of it: %s", out.Summary)
	}
}

// The limits of a specification count beside the shade, and let other materials in.
func TestMatchWithASpecification(t *testing.T) {
	room := newColourRoom(t)
	good(room.materials(app.InkMaker).CreateMaterial(t.Context(), &pb.CreateMaterialRequest{MaterialId: "varnish", Material: &pb.Material{
		Title: "Varnish", MaterialClass: pb.MaterialClass_MATERIAL_CLASS_VARNISH, Properties: map[string]float64{"density_kg_per_l": 1, "tack_units": 13}}}))(t)
	room.lot("varnish-1", "varnish", 60, 1)
	tack := func(lower, upper float64) *pb.Limit {
		return &pb.Limit{LimitId: "tack", Title: "tack", Lower: &lower, Upper: &upper, Subject: &pb.Limit_Blended_{Blended: &pb.Limit_Blended{Property: "tack_units"}}}
	}
	good(pb.NewSpecificationServiceClient(room.As(app.InkMaker)).CreateSpecification(t.Context(), &pb.CreateSpecificationRequest{SpecificationId: "spot",
		Specification: &pb.Specification{Title: "A spot colour", Limits: []*pb.Limit{tack(11, 12)}}}))(t)
	req := room.asks(map[int]float64{0: 0.2, 7: 0.1})
	req.Specification = "specifications/spot"
	out := room.match(req)
	if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || out.Title != "A spot colour" {
		t.Fatalf("%s", out.Summary)
	}
	cheapest := out.Offers[0]
	if v := cheapest.Limits[0]; v.Value < 11-1e-6 || v.Binding != pb.LimitResult_BINDING_LOWER || v.ShadowPrice <= 0 {
		t.Errorf("%v", v)
	}
	near(t, "varnish", masses(cheapest)["lots/varnish-1"], 25, 1e-3) // (9 + 13)/2 = 11
	req.Limits = []*pb.Limit{tack(14, 15)}
	if out = room.match(req); out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_CLASH || !strings.Contains(out.Summary, "tack") || out.Clash == nil {
		t.Errorf("%s", out.Summary)
	}
}

func TestMatchOnTheScales(t *testing.T) {
	room := newColourRoom(t)
	req := room.asks(map[int]float64{0: 0.2, 7: 0.1})
	req.Weighing = &pb.Weighing{Scales: []*pb.Scale{{Title: "floor", DivisionKg: 0.05}}}
	req.Offers = []pb.ShadeOfferKind{pb.ShadeOfferKind_SHADE_OFFER_KIND_CHEAPEST}
	out := room.match(req)
	o := out.Offers[0]
	if o.Weighed == nil || o.Lights[0].GetDe00() > 1.0002 {
		t.Fatalf("%s: %v", out.Summary, o)
	}
	for _, c := range o.Components {
		if n := c.MassKg / 0.05; math.Abs(n-math.Round(n)) > 1e-6 || c.Scale != "floor" {
			t.Errorf("%v", c)
		}
	}
}

// What is not in the book, and a characterisation that was superseded.
func TestColourBookOfAMatch(t *testing.T) {
	room := newColourRoom(t)
	client := pb.NewShadeServiceClient(room.As(app.InkMaker))
	req := room.asks(map[int]float64{0: 0.2, 7: 0.1})
	req.Print.Substrate = "substrates/board"
	if _, err := client.MatchShade(t.Context(), req); status.Code(err) != codes.NotFound || !strings.Contains(err.Error(), "board") {
		t.Errorf("on a paper that is not there: %v", err)
	}
	// Drawn down anew, the cyan turns out to be what was called red.
	room.characterise("cyan-again", "cyan", 3)
	req = room.asks(map[int]float64{3: 0.2})
	req.Book = &pb.BookCandidates{Excluded: []string{"materials/red"}}
	out := room.match(req)
	if out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || masses(out.Offers[1])["lots/cyan-1"] == 0 {
		t.Errorf("by the newer drawdowns: %s", out.Summary)
	}
	// No coloured base at all.
	req.Book = &pb.BookCandidates{Materials: []string{"materials/transparent"}}
	if _, err := client.MatchShade(t.Context(), req); refusedAt(err, codes.InvalidArgument, "print.colourants") != nil {
		t.Errorf("nothing coloured: %v", err)
	}
	// Nothing at all.
	req.Book = &pb.BookCandidates{Materials: []string{"materials/mauve"}}
	if out = room.match(req); out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_CLASH || len(out.LeftOut) != 1 || !strings.Contains(out.Summary, "nothing to make it from") {
		t.Errorf("%s", out.Summary)
	}
	// A target measured beyond the paper's range is taken where both are.
	wide := mixed(map[int]float64{0: 0.2})
	wide.First, wide.Values = 360, append([]float64{wide.Values[0], wide.Values[0]}, wide.Values...)
	req = room.asks(map[int]float64{0: 0.2})
	req.Target.Curve = curveOf(wide)
	if out = room.match(req); out.Outcome != pb.ShadeOutcome_SHADE_OUTCOME_MATCHED || out.TargetCurve.FirstNm != 380 || fmt.Sprint(len(out.TargetCurve.Values)) != "36" {
		t.Errorf("%s %v", out.Summary, out.TargetCurve)
	}
}

// An offer of a supplier costs what the amount used of it does, not the quantity.
func TestOffersOfSuppliersInAMatch(t *testing.T) {
	room := newColourRoom(t)
	good(room.suppliers(app.Purchasing).CreateOffer(t.Context(), &pb.CreateOfferRequest{Parent: "suppliers/quellmark", OfferId: "cyan", Offer: &pb.Offer{
		Material: "materials/cyan", PriceBreaks: []*pb.PriceBreak{{PricePerKg: euro(20, 0)}, {FromKg: 5, PricePerKg: euro(8, 0)}}}}))(t)
	req := room.asks(map[int]float64{0: 0.2, 7: 0.11})
	req.Date, req.Book = time.Now().AddDate(0, 0, 30).Format(time.DateOnly), &pb.BookCandidates{Excluded: []string{"lots/cyan-1"}}
	both := map[float64]bool{}
	for _, quantity := range []float64{60, 46, 40} { // some 6, 5 and 4 kg: of 46 the closest takes the break, the cheapest does not
		req.QuantityKg = quantity
		for _, o := range room.match(req).Offers {
			used := masses(o)["suppliers/quellmark/offers/cyan"]
			if used < 3.5 || used > 7 {
				t.Errorf("%s: %g kg of the offer", o.Kind, used)
			}
			price := 20.0
			if used >= 5 {
				price = 8
			}
			for _, c := range o.Components {
				if c.FromOffer {
					near(t, fmt.Sprintf("price of %g kg", c.MassKg), money(c.PricePerKg), price, 0)
					both[quantity*price] = true
				}
			}
		}
	}
	if !both[46*20] || !both[46*8] {
		t.Error("no quantity at which one offer takes the break and another does not")
	}
}
