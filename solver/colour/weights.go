package colour

import "sync"

// Weights turn the values of curves on one grid into tristimulus values.
type Weights struct {
	first, step int
	of          [3][]float64 // X, Y, Z
}

// grid is what weights are worked out for, once.
type grid struct {
	view               Viewing
	first, step, count int
}

var known sync.Map // grid -> *Weights

// WeightsFor returns the weights for curves on the grid of c, which must be
// valid. They add up to the white point; Y of the perfect diffuser is 100.
func WeightsFor(v Viewing, c Curve) *Weights {
	g := grid{v, c.First, c.Step, len(c.Values)}
	if w, ok := known.Load(g); ok {
		return w.(*Weights)
	}
	w := g.weights()
	known.Store(g, w)
	return w
}

func (g grid) weights() *Weights {
	w := &Weights{first: g.first, step: g.step}
	start := Shortest + (g.first-Shortest)%g.step
	full := fullWeights(g.view, start, g.step)
	for k := range w.of {
		w.of[k] = make([]float64, g.count)
		for i, v := range full[k] {
			at := (start + i*g.step - g.first) / g.step
			w.of[k][min(max(at, 0), g.count-1)] += v // ASTM E308: what is beyond goes to the ends
		}
	}
	return w
}

// fullWeights are those of a grid over the whole range (ASTM E2022).
func fullWeights(view Viewing, start, step int) (w [3][]float64) {
	t := tables()
	count := (Longest-start)/step + 1
	power, norm := t.power[view.Illuminant], 0.0
	for i, s := range power {
		norm += s * t.match[view.Observer][1][i]
	}
	for k := range w {
		w[k] = make([]float64, count)
		for i, s := range power {
			share := 100 * s * t.match[view.Observer][k][i] / norm
			first, parts := lagrange(float64(Shortest+i-start)/float64(step), count)
			for j, p := range parts {
				w[k][first+j] += share * p
			}
		}
	}
	return w
}

// lagrange is what the points of a grid contribute at a place on it: of the third
// degree over the two points on either side, of the second in the first and the
// last interval, and beyond the ends the point there.
func lagrange(at float64, count int) (first int, parts []float64) {
	switch i := int(at); {
	case at <= 0:
		return 0, []float64{1}
	case at >= float64(count-1):
		return count - 1, []float64{1}
	case i == 0:
		first, parts = 0, make([]float64, 3)
	case i == count-2:
		first, parts = count-3, make([]float64, 3)
	default:
		first, parts = i-1, make([]float64, 4)
	}
	for j := range parts {
		parts[j] = 1
		for m := range parts {
			if m != j {
				parts[j] *= (at - float64(first+m)) / float64(j-m)
			}
		}
	}
	return first, parts
}

// XYZ are tristimulus values; Y of the perfect diffuser is 100.
type XYZ struct{ X, Y, Z float64 }

// XYZ returns the tristimulus values of a curve on the weights' grid.
func (w *Weights) XYZ(c Curve) XYZ {
	var out [3]float64
	for k := range out {
		for i, r := range c.Values {
			out[k] += w.of[k][i] * r
		}
	}
	return XYZ{out[0], out[1], out[2]}
}

// White is the white point: the perfect diffuser.
func (w *Weights) White() XYZ {
	var out [3]float64
	for k := range out {
		for _, v := range w.of[k] {
			out[k] += v
		}
	}
	return XYZ{out[0], out[1], out[2]}
}

// Row is what each value of the curve adds to X (0), Y (1) and Z (2).
func (w *Weights) Row(k int) []float64 { return w.of[k] }
