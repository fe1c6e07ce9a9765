package property

import (
	"errors"
	"fmt"
	"strings"
)

// ErrNothingCounts is returned by Blend when the basis of the blend is zero: a
// blend without pigment has no tint strength.
var ErrNothingCounts = errors.New("nothing in the blend counts towards it")

// MissingError says that a component has no value of a property that counts.
type MissingError struct {
	Component int
	Key       string
}

func (e *MissingError) Error() string {
	return fmt.Sprintf("component %d has no %s", e.Component, e.Key)
}

// Sum adds the values of a property over its qualifiers.
func (s Set) Sum(name string) float64 {
	sum := s[name]
	for k, v := range s {
		if len(k) > len(name) && k[len(name)] == '/' && strings.HasPrefix(k, name) {
			sum += v
		}
	}
	return sum
}

// Retained is the part of a kg weighed in that stays in the ink.
func (s Set) Retained() float64 {
	if r, ok := s[RetainedFraction]; ok {
		return r
	}
	return 1
}

// Blend is the value of d, under a qualifier or "", in a blend of kg[j] of
// sets[j]:
//
//	f^-1( sum b_j x_j f(p_j) / sum b_j x_j )
//
// where b_j is the amount of the basis per kg weighed in. An amount per kg
// weighed (PerKgWeighed) is summed and divided by what stays in the ink. A
// qualified property without a qualifier is summed over all of them.
//
// The errors are a *MissingError (a component that counts has no value and d no
// default) and ErrNothingCounts.
func Blend(d *Definition, qualifier string, sets []Set, kg []float64) (float64, error) {
	num, den, err := Totals(d, qualifier, sets, kg)
	if err != nil {
		return 0, err
	}
	if den == 0 {
		return 0, ErrNothingCounts
	}
	return d.Inverse(num / den), nil
}

// Totals are the two sums of Blend: the value is f^-1(num/den). The error is a
// *MissingError.
func Totals(d *Definition, qualifier string, sets []Set, kg []float64) (num, den float64, err error) {
	for j, s := range sets {
		if kg[j] == 0 {
			continue
		}
		stays := kg[j] * s.Retained()
		if d.PerKgWeighed() {
			v, ok := d.ValueIn(s, qualifier)
			if !ok {
				return 0, 0, &MissingError{j, Key(d.Name, qualifier)}
			}
			num, den = num+kg[j]*v, den+stays
			continue
		}
		b, err := d.weight(s, j, kg[j], stays)
		if err != nil {
			return 0, 0, err
		}
		if b == 0 {
			continue
		}
		v, ok := d.ValueIn(s, qualifier)
		if !ok {
			return 0, 0, &MissingError{j, Key(d.Name, qualifier)}
		}
		num, den = num+b*d.Forward(v), den+b
	}
	return num, den, nil
}

func (d *Definition) weight(s Set, j int, kg, stays float64) (float64, error) {
	switch d.Basis {
	case BasisMass:
		return stays, nil
	case BasisVolume:
		if stays == 0 {
			return 0, nil
		}
		rho, ok := s[DensityKgPerL]
		if !ok {
			return 0, &MissingError{j, DensityKgPerL}
		}
		return stays / rho, nil
	}
	return kg * s.Sum(d.Basis), nil
}

// ValueIn is the value of d in s, or its default; false when there is neither.
func (d *Definition) ValueIn(s Set, qualifier string) (float64, bool) {
	if d.Qualified && qualifier == "" {
		for k := range s {
			if name, _ := SplitKey(k); name == d.Name {
				return s.Sum(d.Name), true
			}
		}
	} else if v, ok := s[Key(d.Name, qualifier)]; ok {
		return v, true
	}
	if d.Default != nil {
		return *d.Default, true
	}
	return 0, false
}
