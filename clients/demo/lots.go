package demo

import (
	"fmt"
	"math"
	"math/rand/v2"
	"time"

	pb "millbase/proto/millbase/v1"
)

// seed fixes every figure that is drawn.
const seed = 20260214

// delivery is one lot as it comes in.
type delivery struct {
	request *pb.ReceiveLotRequest
	status  pb.LotStatus
}

// draw gives values in the style of a certificate: mean 1, spread as given.
func draw(r *rand.Rand, spread float64) float64 {
	return 1 + spread*math.Max(-2.2, math.Min(2.2, r.NormFloat64()))
}

func round(v float64, decimals int) float64 {
	p := math.Pow(10, float64(decimals))
	return math.Round(v*p) / p
}

// deliveries draws the lots of a material: strength, tack and price differ from
// lot to lot, as they do in life. Numbers run on from first.
func deliveries(m material, today time.Time, r *rand.Rand, first int) []delivery {
	var out []delivery
	for i := range m.lots {
		age := 5 + r.IntN(40) + i*28
		received := today.AddDate(0, 0, -age)
		expiry := received.AddDate(0, 0, int(m.shelfDays))
		if m.shelfDays == 0 {
			expiry = today.AddDate(5, 0, 0)
		}
		lot := &pb.Lot{
			Material: "materials/" + m.id, SupplierLot: fmt.Sprintf("%c%05d", 'A'+rune(r.IntN(20)), r.IntN(100000)),
			Status: pb.LotStatus_LOT_STATUS_QUARANTINED, ReceivedDate: received.Format(time.DateOnly),
			Certificate: certificate(m, r),
		}
		kg := round(m.lotKg*(0.35+0.8*r.Float64()), 1)
		if m.packKg > 0 {
			kg = math.Max(1, math.Round(kg/m.packKg)) * m.packKg
		}
		currency, factor, freight, duty := "EUR", 1.0, 0.0, ""
		if len(m.suppliers) > 0 {
			s := supplierByID(m.suppliers[i%len(m.suppliers)])
			lot.Supplier = "suppliers/" + s.id
			currency, factor, freight, duty = s.currency, s.factor/rates[s.currency].value, s.freight, s.duty
		}
		price := round(m.price*factor*draw(r, 0.035), 3)
		lot.Cost = &pb.LotCost{PricePerKg: amount(currency, price), DutyPercent: duty}
		if freight > 0 {
			lot.Cost.FreightPerKg = amount(currency, freight)
		}
		status := lotStatus(m, i, r)
		if m.id == nearExpiry && i == 1 {
			expiry = today.AddDate(0, 0, 5)
			lot.Note = "Use first: five days left."
		}
		lot.ExpiryDate = expiry.Format(time.DateOnly)
		id := fmt.Sprintf("l-%d", first+i)
		out = append(out, delivery{status: status, request: &pb.ReceiveLotRequest{
			LotId: id, Lot: lot, QuantityKg: kg, Location: location(m.class), MovementId: uid(today, "receive", id),
		}})
	}
	return out
}

// nearExpiry is the material with a lot that soon expires.
const nearExpiry = "tung"

// lotStatus leaves most lots released; the newest of some wait for the
// laboratory, a few are held or rejected.
func lotStatus(m material, i int, r *rand.Rand) pb.LotStatus {
	if m.id == scarce || m.lots < 4 {
		return pb.LotStatus_LOT_STATUS_RELEASED
	}
	switch v := r.Float64(); {
	case i == 0 && v < 0.30:
		return pb.LotStatus_LOT_STATUS_QUARANTINED
	case i > 0 && v < 0.025:
		return pb.LotStatus_LOT_STATUS_HELD
	case i > 0 && v < 0.04:
		return pb.LotStatus_LOT_STATUS_REJECTED
	}
	return pb.LotStatus_LOT_STATUS_RELEASED
}

// certificate is what the supplier's paper says of the lot.
func certificate(m material, r *rand.Rand) props {
	out := props{}
	vary := func(key string, spread float64, decimals int) {
		if v, ok := m.props[key]; ok && v != 0 {
			out[key] = round(v*draw(r, spread), decimals)
		}
	}
	switch m.class {
	case pb.MaterialClass_MATERIAL_CLASS_PIGMENT:
		out["tint_strength_fraction"] = round(draw(r, 0.035), 3)
		vary("oil_absorption_g_per_100g", 0.04, 1)
	case pb.MaterialClass_MATERIAL_CLASS_VARNISH:
		vary("tack_units", 0.03, 1)
		vary("viscosity_pa_s", 0.06, 1)
	case pb.MaterialClass_MATERIAL_CLASS_DRIER:
		for _, metal := range []string{"cobalt", "manganese", "zirconium", "calcium"} {
			vary("metal_fraction/"+metal, 0.02, 4)
		}
	case pb.MaterialClass_MATERIAL_CLASS_OIL:
		vary("volatile_fraction", 0.03, 3)
		out["volatile_fraction"] = math.Min(out["volatile_fraction"], 1)
	}
	return out
}

func location(c pb.MaterialClass) string {
	switch c {
	case pb.MaterialClass_MATERIAL_CLASS_PIGMENT:
		return "dry-store"
	case pb.MaterialClass_MATERIAL_CLASS_VARNISH, pb.MaterialClass_MATERIAL_CLASS_OIL:
		return "tank-hall"
	case pb.MaterialClass_MATERIAL_CLASS_PACKAGING:
		return "packing"
	case pb.MaterialClass_MATERIAL_CLASS_BASE_INK, pb.MaterialClass_MATERIAL_CLASS_INK:
		return "finished-store"
	}
	return "main-store"
}
