package match

import (
	"math"

	"millbase/solver"
)

// cuts is the number of rows that hold one difference: the six faces of a cube
// first, then a plane for every direction in which the cube was too coarse.
const cuts = 18

// family is the rows that hold the difference to one eye.
type family struct {
	eye        int
	first      int // its first row in the model
	at         int // where its entries begin among those of a column's rows of the shade
	allowed    float64
	directions [cuts][3]float64
	n, oldest  int    // directions in use; the one to give way next
	near       linear // around the last point
}

// cube gives the family the six directions that it starts with.
func (f *family) cube() {
	f.n = 0
	for axis := range 3 {
		for _, sign := range [...]float64{1, -1} {
			var v [3]float64
			v[axis] = sign
			f.directions[f.n] = v
			f.n++
		}
	}
}

// put writes the row of a direction u: u'(value + by (x - from)) <= allowed, the
// excess aside.
func (s *program) put(f *family, c int) {
	u := f.directions[c]
	bound := f.allowed - dot(u, f.near.value)
	for k, slot := range s.slot {
		if slot < 0 {
			continue
		}
		v := dot(u, f.near.by[k])
		s.model.Value[slot+f.at+c] = v
		bound += v * s.from[k]
	}
	s.model.Rows[f.first+c].Upper = bound
}

// vector is the difference vector at x to first order.
func (s *program) vector(f *family, x []float64) [3]float64 {
	v := f.near.value
	for k, slot := range s.slot {
		if slot < 0 {
			continue
		}
		d := x[k] - s.from[k]
		for a := range v {
			v[a] += f.near.by[k][a] * d
		}
	}
	return v
}

// cut adds a direction where the vector at the answer is longer than most; when
// there is no room, in the place of the one that it leaves most room to. It reports
// whether it did.
func (s *program) cut(f *family, last *solver.Solution, most float64) bool {
	c := f.n
	if c == cuts {
		room := -1.0
		for i := 6; i < cuts; i++ {
			if r := s.model.Rows[f.first+i].Upper - last.Activity[f.first+i]; r > room {
				room, c = r, i
			}
		}
	}
	return s.turn(f, c, last.X, most)
}

// also is cut for a mixture from elsewhere; the oldest direction makes room.
func (s *program) also(f *family, x []float64, most float64) bool {
	c := f.n
	if c == cuts {
		c = 6 + f.oldest%(cuts-6)
		f.oldest++
	}
	return s.turn(f, c, x, most)
}

// turn points direction c where the vector at x is longer than most, and reports
// whether it is.
func (s *program) turn(f *family, c int, x []float64, most float64) bool {
	v := s.vector(f, x)
	size := length(v)
	if size <= most {
		return false
	}
	if c == f.n {
		f.n++
	}
	f.directions[c] = [3]float64{v[0] / size, v[1] / size, v[2] / size}
	s.put(f, c)
	return true
}

// loosen lets any difference through.
func (s *program) loosen(f *family) {
	for c := range cuts {
		s.model.Rows[f.first+c].Upper = math.Inf(1)
	}
}
