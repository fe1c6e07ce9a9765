package rpc

import (
	"bytes"
	"context"
	"errors"

	pb "millbase/proto/millbase/v1"

	"millbase/server/app"
	"millbase/solver/colour"
	"millbase/solver/colour/measured"
)

// curve reads a measured curve that must be given.
func (f *fields) curve(field string, c *pb.Curve) colour.Curve {
	if c == nil {
		f.add(field, "must be given: first wavelength, step and values")
		return colour.Curve{}
	}
	out := colour.Curve{First: int(c.GetFirstNm()), Step: int(c.GetStepNm()), Values: c.GetValues()}
	if err := out.Validate(); err != nil {
		f.add(field, "%v", err)
	}
	return out
}

// optionalCurve reads a measured curve; nil is nil.
func (f *fields) optionalCurve(field string, c *pb.Curve) *colour.Curve {
	if c == nil {
		return nil
	}
	out := f.curve(field, c)
	return &out
}

func curveOut(c colour.Curve) *pb.Curve {
	return &pb.Curve{FirstNm: int32(c.First), StepNm: int32(c.Step), Values: c.Values}
}

func optionalCurveOut(c *colour.Curve) *pb.Curve {
	if c == nil {
		return nil
	}
	return curveOut(*c)
}

func labOf(l *pb.Lab) colour.Lab { return colour.Lab{L: l.GetL(), A: l.GetA(), B: l.GetB()} }

func labOut(l colour.Lab) *pb.Lab { return &pb.Lab{L: l.L, A: l.A, B: l.B} }

// viewingOf reads a viewing; what is left out is D50 and 2 degrees.
func viewingOf(v *pb.Viewing) colour.Viewing {
	var out colour.Viewing
	if i := v.GetIlluminant(); i > 0 {
		out.Illuminant = colour.Illuminant(i - 1)
	}
	if o := v.GetObserver(); o > 0 {
		out.Observer = colour.Observer(o - 1)
	}
	return out
}

// secondViewingOf reads the second light; nil is A with the observer of the first.
func secondViewingOf(v *pb.Viewing, first colour.Viewing) colour.Viewing {
	if v == nil {
		return colour.Viewing{Illuminant: colour.A, Observer: first.Observer}
	}
	return viewingOf(v)
}

func viewingOut(v colour.Viewing) *pb.Viewing {
	return &pb.Viewing{Illuminant: pb.Illuminant(v.Illuminant + 1), Observer: pb.Observer(v.Observer + 1)}
}

func surfaceOf(s *pb.Surface) colour.Surface {
	return colour.Surface{K1: s.GetK1(), K2: s.GetK2(), Included: s.GetSpecularIncluded()}
}

func surfaceOut(s colour.Surface) *pb.Surface {
	return &pb.Surface{K1: s.K1, K2: s.K2, SpecularIncluded: s.Included}
}

// ReadMeasurements reads a file and keeps nothing.
func (s *colourService) ReadMeasurements(_ context.Context, req *pb.ReadMeasurementsRequest) (*pb.ReadMeasurementsResponse, error) {
	samples, err := measured.Read(bytes.NewReader(req.GetContent()))
	var bad *measured.Error
	if errors.As(err, &bad) {
		return nil, app.InvalidField("content", "%s", bad.Error())
	}
	if err != nil {
		return nil, err
	}
	out := &pb.ReadMeasurementsResponse{}
	for _, m := range samples {
		row := &pb.MeasuredSample{Title: m.Name, Line: int32(m.Line), Curve: optionalCurveOut(m.Curve)}
		if m.Lab != nil {
			row.Lab = labOut(*m.Lab)
		}
		out.Samples = append(out.Samples, row)
	}
	return out, nil
}

// CompareColours compares two colours; nothing is kept.
func (s *colourService) CompareColours(_ context.Context, req *pb.CompareColoursRequest) (*pb.CompareColoursResponse, error) {
	f := &fields{}
	q := app.CompareColours{Sample: f.colour("sample", req.GetSample()), Viewing: viewingOf(req.GetViewing()),
		Tolerance: req.GetToleranceDe00(), OverBlack: f.optionalCurve("over_black", req.GetOverBlack())}
	q.Second = secondViewingOf(req.GetSecondViewing(), q.Viewing)
	switch aim := req.GetProcessInk(); {
	case aim != pb.ProcessInk_PROCESS_INK_UNSPECIFIED && req.GetStandard() != nil:
		f.add("process_ink", "give a standard or a process ink, not both")
	case aim != pb.ProcessInk_PROCESS_INK_UNSPECIFIED:
		q.ProcessInk = word(aim)
	default:
		standard := f.colour("standard", req.GetStandard())
		q.Standard = &standard
	}
	if err := f.err(); err != nil {
		return nil, err
	}
	answer, err := app.CompareTwoColours(q)
	if err != nil {
		return nil, err
	}
	out := &pb.CompareColoursResponse{Metamerism: answer.Metamerism, OpacityPercent: answer.Opacity, WithinTolerance: answer.Within, Summary: answer.Summary}
	for _, d := range answer.Differences {
		out.Differences = append(out.Differences, &pb.ColourDifference{Viewing: viewingOut(d.Viewing), Sample: labOut(d.Sample), Standard: labOut(d.Standard),
			SampleSwatch: d.SampleSwatch, StandardSwatch: d.StandardSwatch, De76: d.DE76, De00: d.DE00, Lightness: d.Terms.L, Chroma: d.Terms.C, Hue: d.Terms.H})
	}
	return out, nil
}

// colour reads a colour: a curve or CIELAB.
func (f *fields) colour(field string, c *pb.Colour) app.ColourSeen {
	switch {
	case c.GetCurve() != nil && c.GetLab() != nil:
		f.add(field, "give a curve or CIELAB values, not both")
	case c.GetCurve() != nil:
		return app.ColourSeen{Curve: f.optionalCurve(field+".curve", c.GetCurve())}
	case c.GetLab() == nil:
		f.add(field+".curve", "give a curve, or CIELAB values")
	}
	return app.ColourSeen{Lab: labOf(c.GetLab())}
}
