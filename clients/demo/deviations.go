package demo

import pb "millbase/proto/millbase/v1"

// deviations are the usual standard deviations of a lot's values: those of the
// bleach test, the tackmeter, the viscometer and the oven (invented, of the size
// that such tests repeat to).
func (m material) deviations() props {
	out := props{}
	part := func(key string, of float64) {
		if v := m.props[key]; v != 0 {
			out[key] = round(v*of, 5)
		}
	}
	switch m.class {
	case pb.MaterialClass_MATERIAL_CLASS_PIGMENT:
		out["tint_strength_fraction"] = 0.012
	case pb.MaterialClass_MATERIAL_CLASS_VARNISH:
		part("tack_units", 0.02)
		part("viscosity_pa_s", 0.04)
		part("volatile_fraction", 0.015)
	case pb.MaterialClass_MATERIAL_CLASS_DRIER, pb.MaterialClass_MATERIAL_CLASS_OIL:
		part("volatile_fraction", 0.01)
	}
	return out
}
