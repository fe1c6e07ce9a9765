package rpc

import (
	millbasev1 "millbase/proto/millbase/v1"
	"millbase/solver/colour"
)

// curve reads a measured curve; nil where there is none.
func (f *fields) curve(field string, m *millbasev1.Curve) *colour.Curve {
	if m == nil {
		return nil
	}
	out := &colour.Curve{First: int(m.GetFirstNm()), Step: int(m.GetStepNm()), Values: m.GetValues()}
	if err := out.Validate(); err != nil {
		f.add(field, "%v", err)
	}
	return out
}

func curveOut(c colour.Curve) *millbasev1.Curve {
	return &millbasev1.Curve{FirstNm: int32(c.First), StepNm: int32(c.Step), Values: c.Values}
}

// viewing reads under which light a colour is seen; unset is D50/2.
func (f *fields) viewing(field string, m *millbasev1.Viewing) colour.Viewing {
	illuminant, observer := m.GetIlluminant(), m.GetObserver()
	if illuminant < 0 || illuminant > millbasev1.Illuminant_ILLUMINANT_A || observer < 0 || observer > millbasev1.Observer_OBSERVER_TEN_DEGREE {
		f.add(field, "is not known; use ILLUMINANT_D50, ILLUMINANT_D65 or ILLUMINANT_A with OBSERVER_TWO_DEGREE or OBSERVER_TEN_DEGREE")
		return colour.Viewing{}
	}
	return colour.Viewing{Illuminant: colour.Illuminant(max(0, illuminant-1)), Observer: colour.Observer(max(0, observer-1))}
}

func viewingOut(v colour.Viewing) *millbasev1.Viewing {
	return &millbasev1.Viewing{Illuminant: millbasev1.Illuminant(v.Illuminant) + 1, Observer: millbasev1.Observer(v.Observer) + 1}
}

func labOut(l colour.Lab) *millbasev1.Lab {
	return &millbasev1.Lab{L: finiteOr0(l.L), A: finiteOr0(l.A), B: finiteOr0(l.B)}
}
