package colour

import "errors"

// Strength is how strong a batch is against its standard, both drawn down in the
// same proportion of white (ISO 787-24, ISO 18314-2): 1 is equal.
type Strength struct {
	AtMost    float64 // at the wavelength where the standard absorbs most
	AtMostNm  int
	Summed    float64 // by the sums of K/S from 400 to 700 nm
	Different float64 // CIEDE2000 between the drawdowns, D65/10
}

// ErrGrids is returned for curves at different wavelengths.
var ErrGrids = errors.New("the curves are at different wavelengths; measure both with the same settings")

// ErrBare is returned for a standard that does not absorb.
var ErrBare = errors.New("the standard's curve does not absorb anywhere; measure a drawdown of the standard in white")

// BleachTest compares the drawdowns of batch and standard, which must be valid.
func BleachTest(batch, standard Curve, s Surface) (Strength, error) {
	if !batch.SameGrid(standard) {
		return Strength{}, ErrGrids
	}
	var out Strength
	var most, mine, theirs float64
	for i := range standard.Values {
		nm := standard.First + i*standard.Step
		if nm < 400 || nm > 700 {
			continue
		}
		b, of := KS(floor(s.Inside(batch.Values[i]))), KS(floor(s.Inside(standard.Values[i])))
		mine, theirs = mine+b, theirs+of
		if of > most {
			most, out.AtMost, out.AtMostNm = of, b/of, nm
		}
	}
	if !(theirs > 1e-9) {
		return Strength{}, ErrBare
	}
	out.Summed = mine / theirs
	v := Viewing{D65, TenDegree}
	out.Different = Difference2000(batch.Seen(v), standard.Seen(v))
	return out, nil
}
