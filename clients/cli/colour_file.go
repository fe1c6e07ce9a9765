package main

import (
	"context"
	"fmt"
	"os"
	"strconv"
	"strings"

	"google.golang.org/grpc"

	pb "millbase/proto/millbase/v1"
)

// colourHelp says how a colour is named on the command line.
const colourHelp = `A colour is L*,a*,b* ("52.1,38.2,-12.4"), or a measurement file: CGATS.17 (ISO 28178),
CxF3 (ISO 17972-1) or CSV with a wavelength at the head of each column. FILE#SAMPLE picks
one of its samples by name; without it the file holds just one.`

// readSamples has the server read a measurement file.
func (a *app) readSamples(ctx context.Context, conn grpc.ClientConnInterface, file string) ([]*pb.MeasuredSample, error) {
	content, err := os.ReadFile(file)
	if err != nil {
		return nil, &exit{exitUsage, err.Error()}
	}
	answer, err := pb.NewColourServiceClient(conn).ReadMeasurements(ctx, &pb.ReadMeasurementsRequest{Content: content})
	if err != nil {
		return nil, a.failed(err)
	}
	return answer.Samples, nil
}

// colour reads a colour as colourHelp says.
func (a *app) colour(ctx context.Context, conn grpc.ClientConnInterface, text string) (*pb.Colour, error) {
	if lab := parseLab(text); lab != nil {
		return &pb.Colour{Lab: lab}, nil
	}
	file, sample, _ := strings.Cut(text, "#")
	samples, err := a.readSamples(ctx, conn, file)
	if err != nil {
		return nil, err
	}
	found, err := pick(samples, file, sample)
	if err != nil {
		return nil, err
	}
	if found.Curve != nil {
		return &pb.Colour{Curve: found.Curve}, nil
	}
	return &pb.Colour{Lab: found.Lab}, nil
}

// curve reads a colour that must be a curve.
func (a *app) curve(ctx context.Context, conn grpc.ClientConnInterface, text string) (*pb.Curve, error) {
	c, err := a.colour(ctx, conn, text)
	if err == nil && c.Curve == nil {
		err = &exit{exitUsage, fmt.Sprintf("%s has no curve; measure it with the spectral values", text)}
	}
	return c.GetCurve(), err
}

// pick is the sample of that name, or the only one.
func pick(samples []*pb.MeasuredSample, file, name string) (*pb.MeasuredSample, error) {
	var names []string
	for _, s := range samples {
		if s.Title == name || name == "" && len(samples) == 1 {
			return s, nil
		}
		names = append(names, s.Title)
	}
	if name == "" {
		return nil, &exit{exitUsage, fmt.Sprintf("%s holds %d samples; name one, as in '%s#%s'", file, len(samples), file, names[0])}
	}
	return nil, &exit{exitUsage, fmt.Sprintf("%s has no sample %q; it has %s", file, name, strings.Join(names, ", "))}
}

// parseLab reads "52.1,38.2,-12.4"; nil when it is none.
func parseLab(text string) *pb.Lab {
	parts := strings.Split(text, ",")
	if len(parts) != 3 {
		return nil
	}
	var v [3]float64
	for i, p := range parts {
		f, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil {
			return nil
		}
		v[i] = f
	}
	return &pb.Lab{L: v[0], A: v[1], B: v[2]}
}

// parseViewing reads "D50/2"; empty is nil, which the server takes for D50/2.
func parseViewing(text string) (*pb.Viewing, error) {
	if text == "" {
		return nil, nil
	}
	light, observer, _ := strings.Cut(text, "/")
	illuminant, ok := pb.Illuminant_value["ILLUMINANT_"+strings.ToUpper(light)]
	eyes := map[string]pb.Observer{"2": pb.Observer_OBSERVER_TWO_DEGREE, "10": pb.Observer_OBSERVER_TEN_DEGREE}[observer]
	if !ok || illuminant == 0 || eyes == 0 {
		return nil, &exit{exitUsage, fmt.Sprintf("%q is no viewing; use D50/2, D65/10, A/2 or the like", text)}
	}
	return &pb.Viewing{Illuminant: pb.Illuminant(illuminant), Observer: eyes}, nil
}

// viewing prints "D50/2".
func viewing(v *pb.Viewing) string {
	eyes := "2"
	if v.GetObserver() == pb.Observer_OBSERVER_TEN_DEGREE {
		eyes = "10"
	}
	return strings.TrimPrefix(v.GetIlluminant().String(), "ILLUMINANT_") + "/" + eyes
}

// lab prints a colour.
func lab(l *pb.Lab) string {
	if l == nil {
		return "-"
	}
	return fmt.Sprintf("%.1f %.1f %.1f", l.L, l.A, l.B)
}
