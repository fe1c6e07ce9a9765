package paper

import (
	"fmt"
	"html/template"
	"math"
	"regexp"
	"strings"

	pb "millbase/proto/millbase/v1"
)

// shadePart is what a copy says of the shade.
type shadePart struct {
	InWords string
	Lights  []light
	Picture template.HTML // an SVG of this package
}

// light is target and ink under one light, in words.
type light struct {
	Viewing     string
	Target, Ink [3]string
	De00        string
}

func lightsOf(lights []*pb.ShadeLight) []light {
	out := make([]light, len(lights))
	for i, l := range lights {
		out[i] = light{viewing(l.Viewing), coordinates(l.Target), coordinates(l.Predicted), difference(l.De00)}
	}
	return out
}

// Of the picture, in its own units: swatches on the left, curves on the right.
const (
	swatchWide, swatchHigh = 66.0, 52.0
	pairGap                = 24.0
	plotWide, plotHigh     = 260.0, 150.0
	plotLeft, plotTop      = 38.0, 26.0
	edge                   = 16.0 // around a picture of its own
)

// picture is target and match as it is drawn.
type picture struct {
	Wide, High float64
	Edge       float64
	Pairs      []pair
	Plot       *plot
}

// pair is the target's swatch with the ink's beside it, edge to edge as two prints
// are compared.
type pair struct {
	Y, LabelY       float64
	Viewing         string
	Target, Ink     string // "#rrggbb"; empty: not known
	De00            string
	Left, Mid, Wide float64
	High            float64
}

type plot struct {
	X, Y, Wide, High float64
	Across, Up       []tick
	Target, Ink      string // points of the lines; empty: no curve
	Keys             []key
}

type tick struct {
	At, Text float64
	Label    string
}

type key struct {
	X, End, Text, Y float64
	Label           string
	Asked           bool
}

var swatchPattern = regexp.MustCompile(`^#[0-9a-fA-F]{6}$`)

// swatch lets nothing but a colour through.
func swatch(text string) string {
	if swatchPattern.MatchString(text) {
		return text
	}
	return ""
}

// Picture draws the shade asked for and the shade matched as an SVG of its own:
// swatches under each light, and the reflectance curves where they are known. The
// width and height are in CSS pixels.
func Picture(s *pb.QuoteShade) (svg []byte, width, height int, err error) {
	p := pictureOf(s)
	p.Edge = edge
	svg, err = set("picture.svg", p)
	return svg, int(math.Ceil(p.Width())), int(math.Ceil(p.Height())), err
}

// inline is the picture within a page.
func inline(s *pb.QuoteShade) (template.HTML, error) {
	svg, err := set("picture.svg", pictureOf(s))
	return template.HTML(svg), err // made by html/template, which has escaped it
}

func pictureOf(s *pb.QuoteShade) picture {
	p := picture{}
	curves := s.GetTargetCurve() != nil || s.GetPredictedCurve() != nil
	for i, l := range s.GetLights() {
		x, y := 0.0, 20.0+float64(i)*(swatchHigh+44)
		if !curves { // side by side instead
			x, y = float64(i)*(2*swatchWide+pairGap), 20
		}
		p.Pairs = append(p.Pairs, pair{Y: y, LabelY: y + swatchHigh + 14, Viewing: viewing(l.Viewing), Target: swatch(l.TargetSwatch), Ink: swatch(l.PredictedSwatch),
			De00: difference(l.De00), Left: x, Mid: x + swatchWide, Wide: swatchWide, High: swatchHigh})
		p.Wide, p.High = max(p.Wide, x+2*swatchWide), max(p.High, y+swatchHigh+20)
	}
	if curves {
		p.Plot = plotOf(p.Wide+pairGap+plotLeft, plotTop, s.TargetCurve, s.PredictedCurve)
		p.Wide, p.High = p.Plot.X+p.Plot.Wide+14, max(p.High, p.Plot.Y+p.Plot.High+36)
	}
	return p
}

// plotOf draws reflectance factors against the wavelength, from 0 to 1, or as far
// as a fluorescent one goes.
func plotOf(x, y float64, target, ink *pb.Curve) *plot {
	g := &plot{X: x, Y: y, Wide: plotWide, High: plotHigh}
	first, end, top := math.Inf(1), math.Inf(-1), 1.0
	for _, c := range []*pb.Curve{target, ink} {
		if len(c.GetValues()) < 2 {
			continue
		}
		first, end = min(first, float64(c.FirstNm)), max(end, float64(c.FirstNm)+float64(c.StepNm)*float64(len(c.Values)-1))
		for _, v := range c.Values {
			top = max(top, v)
		}
	}
	if !(end > first) {
		return g
	}
	top = math.Ceil(top*5-1e-9) / 5
	across := func(nm float64) float64 { return x + (nm-first)/(end-first)*plotWide }
	up := func(v float64) float64 { return y + plotHigh - v/top*plotHigh }
	for nm := math.Ceil(first/50) * 50; nm <= end; nm += 50 {
		g.Across = append(g.Across, tick{across(nm), y + plotHigh + 15, fmt.Sprint(nm)})
	}
	for i := 0; float64(i)/5 <= top+1e-9; i++ {
		g.Up = append(g.Up, tick{up(float64(i) / 5), up(float64(i)/5) + 3.5, fmt.Sprintf("%.1f", float64(i)/5)})
	}
	line := func(c *pb.Curve) string {
		var points []string
		for i, v := range c.GetValues() {
			points = append(points, fmt.Sprintf("%.2f,%.2f", across(float64(c.FirstNm)+float64(i)*float64(c.StepNm)), up(v)))
		}
		return strings.Join(points, " ")
	}
	g.Target, g.Ink = line(target), line(ink)
	at := x + 90
	for _, k := range []key{{Label: "asked for", Asked: true}, {Label: "ink, predicted"}} {
		if !k.Asked && g.Ink == "" || k.Asked && g.Target == "" {
			continue
		}
		k.X, k.End, k.Text, k.Y = at, at+20, at+25, y-12
		g.Keys = append(g.Keys, k)
		at += 90
	}
	return g
}

// Where the parts of a drawing end.

// Width is that of the picture with its edge.
func (p picture) Width() float64 { return p.Wide + 2*p.Edge }

// Height is that of the picture with its edge.
func (p picture) Height() float64 { return p.High + 2*p.Edge }

// Corner is where the edge begins, on both axes.
func (p picture) Corner() float64 { return -p.Edge }

// Both is the width of the two swatches.
func (p pair) Both() float64 { return 2 * p.Wide }

// Known tells whether there is a difference to name.
func (p pair) Known() bool { return p.De00 != absent }

// Above is the line of the words over the swatches.
func (p pair) Above() float64 { return p.Y - 6 }

// Middle is the line of words within a swatch.
func (p pair) Middle() float64 { return p.Y + p.High/2 + 4 }

// End is the right edge.
func (g *plot) End() float64 { return g.X + g.Wide }

// Bottom is the line of the wavelengths.
func (g *plot) Bottom() float64 { return g.Y + g.High }

// TickEnd is where a tick below it ends.
func (g *plot) TickEnd() float64 { return g.Bottom() + 4 }

// Caption is the line of the words below the plot.
func (g *plot) Caption() float64 { return g.Bottom() + 31 }
