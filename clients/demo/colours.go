package demo

import (
	"context"
	"fmt"
	"math"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	pb "millbase/proto/millbase/v1"
)

// Paper is an invented substrate of the demo plant.
type Paper struct {
	ID, Title string
	// hold is how much of a film stays on top of the paper, where it colours most.
	hold, film float64
	at         func(nm float64) float64
}

// Papers are the substrates that the plant has characterised its base inks on.
var Papers = []Paper{
	{"coated-gloss", "Coated gloss, wood-free", 1, 1.2, func(nm float64) float64 { return 0.88 - 0.20*math.Exp(-(nm-380)/28) }},
	{"uncoated-white", "Uncoated white, wood-free", 0.6, 1.5, func(nm float64) float64 { return 0.85 - 0.28*math.Exp(-(nm-380)/35) }},
}

// band is an absorption band of a base ink: its height in K/S of a full-strength
// print on coated paper, its middle and its width, nm.
type band struct{ height, middle, width float64 }

// bands are those of the base inks, invented, of the hues and strengths that
// pigments of their Colour Index names usually print.
var bands = map[string][]band{
	"base-yellow":      {{26, 415, 35}, {14, 456, 15}},
	"base-yellow-fast": {{24, 420, 38}, {17, 468, 17}},
	"base-orange":      {{22, 425, 44}, {22, 500, 23}},
	"base-red":         {{11, 425, 40}, {26, 520, 31}, {11, 557, 13}},
	"base-bluish-red":  {{7, 400, 30}, {4, 450, 40}, {24, 535, 26}, {13, 567, 10}},
	"base-magenta":     {{4, 395, 30}, {20, 543, 24}, {10, 566, 9}},
	"base-violet":      {{3, 390, 26}, {22, 560, 38}, {17, 610, 21}},
	"base-blue":        {{3, 385, 28}, {26, 622, 36}, {20, 686, 34}},
	"base-green":       {{9, 395, 38}, {22, 640, 40}, {15, 700, 44}},
	"base-black":       {{27, 540, 1200}},
	"base-white":       {{0.05, 380, 60}},
	"base-transparent": nil,
}

// The wavelengths that the plant's instrument reads, nm.
const firstNm, stepNm, readings = 380, 10, 36

// Unit is the K/S that a base ink adds to a print on a paper at full strength, per
// 10 nm from 380 nm; nil where it is no base ink of the plant.
func Unit(base string, p Paper) []float64 {
	of, ok := bands[base]
	if !ok {
		return nil
	}
	out := make([]float64, readings)
	for i := range out {
		nm := float64(firstNm + stepNm*i)
		for _, b := range of {
			d := (nm - b.middle) / b.width
			out[i] += p.hold * b.height * math.Exp(-d*d/2)
		}
	}
	return out
}

// Reflectance is the bare paper's, per 10 nm from 380 nm.
func (p Paper) Reflectance() []float64 {
	out := make([]float64, readings)
	for i := range out {
		out[i] = round(p.at(float64(firstNm+stepNm*i)), 4)
	}
	return out
}

// Print is the reflectance of bases at their shares on a paper, by Kubelka and Munk
// for a translucent film, without the surface.
func (p Paper) Print(shares map[string]float64) []float64 {
	out := make([]float64, readings)
	units := map[string][]float64{}
	for base := range shares {
		units[base] = Unit(base, p)
	}
	for i, r := range p.Reflectance() {
		ks := (1 - r) * (1 - r) / (2 * r)
		for base, share := range shares {
			ks += share * units[base][i]
		}
		out[i] = 1 + ks - math.Sqrt(ks*ks+2*ks)
	}
	return out
}

// measured is a print as the instrument gives it: with its noise, the same in every
// load.
func measured(print []float64, seed float64) *pb.Curve {
	values := make([]float64, len(print))
	for i, r := range print {
		values[i] = round(r+0.002*math.Sin(seed+1.7*float64(i))*math.Sqrt(r), 4)
	}
	return &pb.Curve{FirstNm: firstNm, StepNm: stepNm, Values: values}
}

func (l *Loader) loadColours(ctx context.Context) (int, error) {
	n := 0
	for _, p := range Papers {
		_, err := l.colours.CreateSubstrate(ctx, &pb.CreateSubstrateRequest{SubstrateId: p.ID, RequestId: uid(l.today, "substrate", p.ID),
			Substrate: &pb.Substrate{Title: p.Title, Curve: &pb.Curve{FirstNm: firstNm, StepNm: stepNm, Values: p.Reflectance()}, FilmGPerM2: p.film,
				Measured: "45/0, no filter (M0), over white backing"}})
		if err != nil && status.Code(err) != codes.AlreadyExists {
			return n, fmt.Errorf("%s: %w", p.ID, err)
		}
		for j, k := range baseInks() {
			if err := l.characterise(ctx, k.id, p, float64(j)); err != nil {
				return n, fmt.Errorf("%s on %s: %w", k.id, p.ID, err)
			}
			n++
		}
	}
	return n, nil
}

// characterise enters the drawdowns of a base ink, let down in the transparent base.
func (l *Loader) characterise(ctx context.Context, base string, p Paper, seed float64) error {
	var drawdowns []*pb.Drawdown
	for i, concentration := range []float64{0.05, 0.2, 0.5, 1} {
		d := &pb.Drawdown{Concentration: concentration, Curve: measured(p.Print(map[string]float64{base: concentration}), seed+float64(i))}
		if bands[base] == nil { // transparent: the paper itself, to the last digit
			d.Curve.Values = p.Reflectance()
		}
		drawdowns = append(drawdowns, d)
	}
	id := base + "-" + p.ID
	_, err := l.colours.CreateCharacterisation(ctx, &pb.CreateCharacterisationRequest{CharacterisationId: id, RequestId: uid(l.today, "characterisation", id),
		Characterisation: &pb.Characterisation{Material: "materials/" + base, Substrate: "substrates/" + p.ID, Mode: pb.PrintMode_PRINT_MODE_FILM,
			Drawdowns: drawdowns, Note: "Printability tester, let down in the transparent base."}})
	if status.Code(err) == codes.AlreadyExists {
		return nil
	}
	return err
}
